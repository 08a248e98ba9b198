"""A sweep from plan to file: what is left to do, doing it, keeping it, putting it together."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import bedsim
from bedsim.errors import InputError, ResultFileError
from bedsim.identity import identity
from bedsim.model.convert import stations_of
from bedsim.results.sweep import CellPart, CellResult, SweepResult
from bedsim.results.sweep_parts import PartStore, only_writer
from bedsim.results.sweep_store import made_by, read_sweep, write_sweep
from bedsim.sweep import answers, doubt, doubt_work, prices, sensitivity
from bedsim.sweep.drawing import BLOCK
from bedsim.sweep.figures import ENVELOPE_MEMBERS, metric_names
from bedsim.sweep.plan import SENSITIVITY, Cell, Plan, by_group
from bedsim.sweep.pool import Work
from bedsim.sweep.tasks import Order, Piece, Task, meets
from bedsim.sweep.whole_travel import with_travel
from bedsim.units import UM

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]
Key = tuple[int, int, int]  # cell, first member, one past the last

SLOW_PRINTERS = 4096  # of one task without friction: bounds its memory
# Of one batch of the propagator and of the deviations, whose machines in full serve all of a batch
DYNAMIC_MEMBERS, DYNAMIC_CELLS = {"propagator": BLOCK, "deviations": 4 * BLOCK}, 8
NAN = float("nan")


def order_of(plan: Plan) -> Order:
    """What all tasks of a plan share."""
    return Order(
        engine=plan.file.engine,
        seed=plan.file.seed,
        lateral_target=plan.lateral_target,
        height_target=plan.height_target,
        other_members=plan.file.lot_doubt.members,
    )


def run_sweep(
    plan: Plan,
    target: Path,
    work: Work,
    progress: Progress = lambda done, total: None,
    remark: Callable[[str], None] = lambda text: None,
) -> SweepResult:
    """Do what is left of a sweep and write it to `target`; a finished file of the same plan is read instead.

    `progress(done, total)` in printers; `remark` hears what a user should know beside the answer.  Raises
    ResultFileError if the target holds anything else, is being written by another sweep or cannot be written;
    finished parts are kept then, and the same call goes on from there.
    """
    with only_writer(target):
        if target.exists():
            return _finished_before(plan, target)
        store = PartStore(target=target, fingerprint=plan.fingerprint, program=str(identity()))
        aside = store.set_aside()
        if aside is not None:
            remark(f"Finished parts that another program made are not mixed in: kept in {aside}.")
        _do_all(plan, store, work, progress)
        result = assemble(plan, store)
        write_sweep(result, target)
        store.remove()
        return result


def _finished_before(plan: Plan, target: Path) -> SweepResult:
    fingerprint, program = made_by(target)
    if fingerprint != plan.fingerprint:
        raise ResultFileError(
            f"{target}: holds a sweep of another plan. Give another --output, or remove it."
        )
    if program != str(identity()):
        raise ResultFileError(
            f"{target}: holds a sweep of this plan by another program ({program}; this is {identity()}). "
            "Give another --output, or remove it."
        )
    return read_sweep(target)


# ---- what is left -------------------------------------------------------------------------------------


def _rounds(plan: Plan) -> Iterator[tuple[int, int]]:
    """Members from, to: all at once, or in steps if the sweep may stop early."""
    step = plan.file.members if plan.file.stop is None else plan.file.stop.step
    for first in range(0, plan.file.members, step):
        yield first, min(first + step, plan.file.members)


def _do_all(plan: Plan, store: PartStore, work: Work, progress: Progress) -> None:
    done = store.finished()
    total = plan.file.members * len(plan.cells)
    open_cells = list(plan.cells)
    counted = 0
    besides = doubt_work.left(plan, order_of(plan), store.finished_doubt())
    total += sum(task.printers for task in besides)
    for first, last in _rounds(plan):
        tasks: list[Piece] = [*_left(plan, open_cells, first, last, done)]
        counted += (last - first) * len(open_cells) - sum(t.printers for t in tasks)
        tasks, besides = [*tasks, *besides], []
        progress(counted, total)
        for parts in work(tasks):
            for part in parts:
                store.write(part)
            counted += sum(p.members for p in parts)
            progress(counted, total)
        if plan.file.stop is not None:
            done = store.finished()
            open_cells = [c for c in open_cells if not _sure(plan, store, done, c, last)]
            total = counted + (plan.file.members - last) * len(open_cells)
    progress(total, total)


def _left(plan: Plan, cells: Sequence[Cell], first: int, last: int, done: Mapping[Key, Path]) -> list[Task]:
    """Tasks that are not done, cells of one machine together."""
    make = _slow_tasks if plan.file.engine == "equilibrium" else _dynamic_tasks
    return [task for group in by_group(cells) for task in make(plan, group, first, last, done)]


def _slow_tasks(
    plan: Plan, cells: Sequence[Cell], first: int, last: int, done: Mapping[Key, Path]
) -> Iterable[Task]:
    order = order_of(plan)
    for start in range(first, last, SLOW_PRINTERS):
        end = min(start + SLOW_PRINTERS, last)
        left = [c for c in cells if (c.index, start, end) not in done]
        others = len(left[0].others) * order.other_members if left else 0
        at_once = max(1, SLOW_PRINTERS // (end - start + others))
        pieces = -(-len(left) // at_once)
        for some in np.array_split(np.arange(len(left)), pieces) if left else []:
            yield Task(order=order, cells=tuple(left[i] for i in some), first=start, last=end)


def _dynamic_tasks(
    plan: Plan, cells: Sequence[Cell], first: int, last: int, done: Mapping[Key, Path]
) -> Iterable[Task]:
    """Batches that do not depend on what is done: where the solver stops depends on all of a batch."""
    for task in dynamic_batches(plan, cells, first, last):
        if any((c.index, task.first, task.last) not in done for c in task.cells):
            yield task


def dynamic_batches(plan: Plan, cells: Sequence[Cell], first: int, last: int) -> Iterator[Task]:
    """Batches of an engine with friction for cells of one group."""
    members = DYNAMIC_MEMBERS[plan.file.engine]
    for k in range(0, len(cells), DYNAMIC_CELLS):
        for start in range(first, last, members):
            end = min(start + members, last)
            yield Task(order=order_of(plan), cells=tuple(cells[k : k + DYNAMIC_CELLS]), first=start, last=end)


def _sure(plan: Plan, store: PartStore, done: Mapping[Key, Path], cell: Cell, members: int) -> bool:
    """Whether Wilson's interval of a cell is narrow enough."""
    assert plan.file.stop is not None
    met = _met(plan, _parts_of(store, done, cell))
    low, high = answers.wilson(met.sum(), members, plan.file.target.confidence)
    return bool(high - low <= plan.file.stop.interval_below)


def _parts_of(store: PartStore, done: Mapping[Key, Path], cell: Cell) -> list[CellPart]:
    return [store.read(done[key]) for key in sorted(done) if key[0] == cell.index]


def _met(plan: Plan, parts: Sequence[CellPart]) -> NDArray[np.bool_]:
    names = metric_names(plan.file.engine)
    figures = np.concatenate([p.figures for p in parts])
    stopped = np.concatenate([p.stopped for p in parts])
    lateral, height = (figures[:, names.index(n)] for n in ("lateral_pv", "height_pv"))
    return meets(lateral, height, stopped, order_of(plan))


# ---- the whole ----------------------------------------------------------------------------------------


def assemble(plan: Plan, store: PartStore) -> SweepResult:
    """Put the finished parts together, one cell at a time."""
    done = store.finished()
    doubted = store.finished_doubt()
    cells = tuple(
        _cell_result(
            plan, cell, _parts_of(store, done, cell), doubt_work.machines(plan, cell, store, doubted)
        )
        for cell in plan.cells
    )
    result = SweepResult(
        title=plan.file.title,
        plan_source=plan.source,
        scenario_source=plan.scenario_source,
        scenario_resolved=plan.scenario_resolved,
        fingerprint=plan.fingerprint,
        engine=plan.file.engine,
        seed=plan.file.seed,
        program_version=bedsim.__version__,
        program=str(identity()),
        created=datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        notes=(*plan.notes, *_measured(cells), *doubt_work.notes(plan, order_of(plan), cells)),
        metrics=metric_names(plan.file.engine),
        levels=np.array(answers.LEVELS),
        axis_names=tuple(a.name for a in plan.axes),
        axis_labels=tuple(a.labels for a in plan.axes),
        lateral_target=NAN if plan.lateral_target is None else plan.lateral_target,
        height_target=NAN if plan.height_target is None else plan.height_target,
        wanted_probability=plan.file.target.probability,
        confidence=plan.file.target.confidence,
        currency=plan.file.prices.currency if plan.file.prices is not None else "",
        cells=tuple(with_travel(plan, order_of(plan), cells)),
    )
    return doubt_work.with_doubt(plan, order_of(plan), with_sensitivity(result), store)


def _measured(cells: Sequence[CellResult]) -> tuple[str, ...]:
    """What the engine measured its error as, if it did."""
    height, lateral = (np.array([c.engine_error[k] for c in cells]) / UM for k in (0, 1))
    if np.isnan(height).all():
        return ()
    return (
        "Error of the engine: printers that were stepped in full besides differ by at most "
        f"{np.nanmax(height):.3f} µm in height and {np.nanmax(lateral):.3f} µm sideways.",
    )


def _worst_error(parts: Sequence[CellPart]) -> tuple[float, float]:
    """Largest error measured in any part, NaN where none was."""
    height, lateral = (np.fmax.reduce([p.engine_error[k] for p in parts]) for k in (0, 1))
    return float(height), float(lateral)


def _cell_result(plan: Plan, cell: Cell, parts: Sequence[CellPart], machines: Array) -> CellResult:
    figures = np.concatenate([p.figures for p in parts])
    asked = plan.lateral_target is not None or plan.height_target is not None
    met = _met(plan, parts)
    confidence = plan.file.target.confidence
    probability = float(met.mean()) if asked else NAN
    low, high = answers.wilson(met.sum(), met.size, confidence) if asked else (NAN, NAN)
    lot = answers.lot_interval(probability, parts[0].own_meets, parts[0].other_meets, confidence)
    by_machine, by_both = (
        (doubt.machine_interval(probability, np.append(machines[:1, 0], machines[1:, k]), confidence))
        for k in (0, 1)
    )
    scenario = cell.loaded.scenario
    return CellResult(
        index=cell.index,
        label=cell.label,
        place=cell.place,
        settings=json.dumps(dict(cell.settings)),
        group=cell.group,
        figures=figures,
        stopped=np.concatenate([p.stopped for p in parts]),
        meets=met,
        quantiles=answers.quantiles(figures),
        probability=probability,
        wilson=(float(low), float(high)),
        lot_interval=lot,
        machine_interval=by_machine,
        whole_interval=doubt.whole_interval(
            probability, (float(low), float(high)), by_both if machines.size else lot
        ),
        machines=machines,
        price=prices.cell_price(plan.file.prices, cell),
        reject_price=prices.reject_price(plan.file.prices, cell),
        envelope=_envelope([p.envelope for p in parts]),
        engine_error=_worst_error(parts),
        print_height=stations_of(scenario).z,
    )


def _envelope(parts: Sequence[NDArray[np.float32]]) -> Array:
    """Quantiles (layers, q, 2) over the first printers."""
    values = np.concatenate(parts)[:ENVELOPE_MEMBERS].astype(np.float64)
    return np.moveaxis(np.quantile(values, answers.LEVELS, axis=0), 0, 1)


def target_use(result: SweepResult, cell: CellResult) -> tuple[str, Array]:
    """The figure that sums up a printer: how much of the target it uses; without one, its lateral error."""
    wanted = {"lateral_pv": result.lateral_target, "height_pv": result.height_target}
    asked = {name: limit for name, limit in wanted.items() if np.isfinite(limit)}
    if not asked:
        return "lateral error, peak to valley", cell.figures[:, result.metrics.index("lateral_pv")]
    used = [cell.figures[:, result.metrics.index(name)] / limit for name, limit in asked.items()]
    return "largest error over its target", np.max(used, axis=0)


def with_sensitivity(result: SweepResult) -> SweepResult:
    """Add what matters most, for a full grid with an axis."""
    if not result.axis_names:
        return result
    uses = [target_use(result, cell) for cell in result.cells]
    table = sensitivity.grid_table([c.place for c in result.cells], [value for _, value in uses])
    if table is None:
        return result
    rng = np.random.default_rng(np.random.SeedSequence(result.seed, spawn_key=(SENSITIVITY,)))
    first, total = sensitivity.table_indices(table, rng)
    return replace(
        result,
        sensitivity_of=uses[0][0],
        sensitivity_names=(*result.axis_names, sensitivity.LUCK),
        first_order=first,
        total_order=total,
    )


def cell_of(plan: Plan, index: int) -> Cell:
    """A cell by number. Raises InputError naming the numbers there are."""
    if not 0 <= index < len(plan.cells):
        raise InputError(f"--member: there is no cell {index}. Allowed: 0 to {len(plan.cells) - 1}.")
    return plan.cells[index]
