"""One printer of a sweep again, alone: the same numbers bit for bit, and its screws as scenario keys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.screws.drawn import DrawnScrew, DrawnScrews, scenario_keys
from bedsim.sweep.drawing import BLOCK, block_amounts, screws_of, straightest
from bedsim.sweep.figures import Bands, Tally, metric_names
from bedsim.sweep.plan import Cell, Plan
from bedsim.sweep.response import gains, run_out_gram
from bedsim.sweep.run import cell_of, dynamic_batches
from bedsim.sweep.sources import RUN_OUT, Prepared, columns_of
from bedsim.sweep.tasks import leads_of, ready

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A drawn screw at its corner; `clocking_deg` where the sweep turned it, else None."""

    corner: str
    screw: DrawnScrew
    clocking_deg: float | None

    def keys(self, travel_table: str) -> dict[str, Any]:
        """Dotted scenario keys that put it into the scenario, its slow travel in a CSV of that name."""
        before = f"corner.{self.corner}.screw"
        parts = scenario_keys(self.screw, travel_table).items()
        found = {f"{before}.{part}.{name}": v for part, keys in parts for name, v in keys.items()}
        turned = {} if self.clocking_deg is None else {f"{before}.clocking_deg": self.clocking_deg}
        return found | turned


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One printer: `figures` (metrics,) SI by `metrics`; `screws`: the one at every corner."""

    cell: Cell
    member: int
    metrics: tuple[str, ...]
    figures: Array
    screws: tuple[Placed, ...]


def member_again(plan: Plan, index: int, member: int, counts: Sequence[int] | None = None) -> Member:
    """Work out printer `member` of cell `index` again.

    Without friction it is computed alone; with the propagator its batch is done again, as the solver's last
    digit depends on the batch: `counts`, the printers of every cell, is then needed for a sweep that stopped
    early. Raises InputError for a cell or a printer that does not exist.
    """
    cell = cell_of(plan, index)
    most = plan.file.members if counts is None else counts[index]
    if not 0 <= member < most:
        raise InputError(f"--member: there is no printer {member} in cell {index}. Allowed: 0 to {most - 1}.")
    names = metric_names(plan.file.engine)
    figures = (
        _alone(plan, cell, member)
        if plan.file.engine == "equilibrium"
        else _in_batch(plan, cell, member, counts)
    )
    return Member(
        cell=cell, member=member, metrics=names, figures=figures, screws=_placed(plan, cell, member)
    )


def _alone(plan: Plan, cell: Cell, member: int) -> Array:
    prepared = ready(cell, friction=False)
    amounts = _amounts(plan, cell, prepared, member).reshape(BLOCK, -1)
    others = np.arange(BLOCK) != member % BLOCK
    amounts[others] = 0.0
    tally = Tally(prepared.job, Bands(prepared.job, leads_of(cell)), BLOCK, 0)
    for chunk in gains(prepared):
        tally.add(chunk.values(amounts))
    return np.asarray(tally.figures(metric_names("equilibrium"))[member % BLOCK])


def _amounts(plan: Plan, cell: Cell, prepared: Prepared, member: int) -> Array:
    gram = run_out_gram(prepared) if cell.clocking == "best" else None
    first = member - member % BLOCK
    return block_amounts(prepared, cell.lots, cell.buy, gram, plan.file.seed, first)


def _in_batch(plan: Plan, cell: Cell, member: int, counts: Sequence[int] | None) -> Array:
    if plan.file.stop is not None and counts is None:
        raise InputError(
            "--member: the sweep may have stopped early; its finished result file is needed beside the plan."
        )
    step = plan.file.members if plan.file.stop is None else plan.file.stop.step
    first = member - member % step
    last = min(first + step, plan.file.members)
    together = [
        c for c in plan.cells if c.group == cell.group and (counts is None or counts[c.index] > first)
    ]
    for task in dynamic_batches(plan, together, first, last):
        if cell in task.cells and task.first <= member < task.last:
            part = next(p for p in task.run() if p.cell == cell.index)
            return np.asarray(part.figures[member - task.first])
    raise AssertionError("every printer has its batch")


def _placed(plan: Plan, cell: Cell, member: int) -> tuple[Placed, ...]:
    """The drawn screws: sorted, and clocked by screw.clocking_deg."""
    first, row = member - member % BLOCK, member % BLOCK
    places = [
        screws_of(cell.lots[min(i, len(cell.lots) - 1)], plan.file.seed, i, first) for i in range(cell.buy)
    ]
    prepared = ready(cell, friction=False)
    kept = list(range(len(cell.lots)))
    if cell.sorted_out:
        columns = np.stack([columns_of(s, prepared.travel[0]) for s in places], axis=1)
        kept = [int(i) for i in straightest(columns, prepared, len(cell.lots))[row]]
    turns = _clocking(plan, cell, prepared, member, [places[i] for i in kept], row)
    return tuple(
        Placed(corner=corner.name, screw=places[place].member(row), clocking_deg=turn)
        for corner, place, turn in zip(cell.loaded.scenario.corner, kept, turns, strict=True)
    )


def _clocking(
    plan: Plan, cell: Cell, prepared: Prepared, member: int, screws: Sequence[DrawnScrews], row: int
) -> Sequence[float | None]:
    """Turn of every screw, degrees, between its run-out as drawn and as clocked; None: not turned."""
    if cell.clocking != "best":
        return [None] * len(screws)
    amounts = _amounts(plan, cell, prepared, member)[row]
    found = []
    for c, s in enumerate(screws):
        drawn = np.array([s.eccentricity[row], s.tilt[row], s.bow[row]])
        placed = amounts[c, 0:RUN_OUT:2] + 1j * amounts[c, 1:RUN_OUT:2]
        largest = int(np.argmax(np.abs(drawn)))
        turn = float(np.angle(placed[largest] / drawn[largest], deg=True)) if drawn[largest] else 0.0
        own = cell.loaded.scenario.corner[c].screw.clocking_deg
        found.append((turn + own + 180) % 360 - 180)
    return found
