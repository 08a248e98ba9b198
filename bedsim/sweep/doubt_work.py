"""Drawn machines and uncertain keys as part of a sweep: what is left to do, and what its results become."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.results.sweep import CellResult, SweepResult
from bedsim.results.sweep_parts import PartStore
from bedsim.simulation import make_job
from bedsim.sweep import answers, doubt
from bedsim.sweep.machine_tasks import KeyTask, MachineTask, why_none
from bedsim.sweep.plan import DOUBT, Cell, Plan, by_group
from bedsim.sweep.tasks import Order, Piece

Array = NDArray[np.float64]
Done = Mapping[tuple[str, int, int], Path]

CELLS_AT_ONCE, KEYS_AT_ONCE = 8, 8
TOLD = 3  # machines of a group that cannot be built: why


def left(plan: Plan, order: Order, done: Done) -> list[Piece]:
    """Tasks on drawn machines and uncertain keys that are not done, cells of one group together.

    Keys one by one say nothing of a machine whose readings are known: what is learnt lies in them together.
    """
    wanted = plan.file.machine_doubt
    each = min(wanted.printers, plan.file.members)
    rubbing = min(wanted.rubbing, each)
    found: list[Piece] = []
    for cells in _of_doubt(plan):
        for machine in range(wanted.machines + 1):
            if any(("machine", c.index, machine) not in done for c in cells):
                found.append(
                    MachineTask(order=order, cells=cells, machine=machine, each=each, rubbing=rubbing)
                )
        keys = len(cells[0].loaded.ranges) if cells[0].loaded.knowledge is None else 0
        for first in range(0, keys, KEYS_AT_ONCE):
            if any(("keys", c.index, first) not in done for c in cells):
                last = min(first + KEYS_AT_ONCE, keys)
                found.append(KeyTask(order=order, cells=cells, first=first, last=last))
    return found


def _of_doubt(plan: Plan) -> Iterator[tuple[Cell, ...]]:
    """Cells of one machine together whose uncertain keys are to be drawn; not where nuts have play, which no
    linear machine passes on."""
    if plan.file.machine_doubt.machines > 1:
        for group in by_group(plan.cells):
            if group[0].loaded.ranges and not make_job(group[0].loaded).machine.flanks:
                for k in range(0, len(group), CELLS_AT_ONCE):
                    yield tuple(group[k : k + CELLS_AT_ONCE])


def machines(plan: Plan, cell: Cell, store: PartStore, done: Done) -> Array:
    """What the likely and the drawn machines gave of a cell, see `CellResult.machines`."""
    paths = [done.get(("machine", cell.index, m)) for m in range(plan.file.machine_doubt.machines + 1)]
    parts = [store.read_machine(path) for path in paths if path is not None]
    rows = [(p.share, p.lot_share, p.lateral, p.height) for p in parts]
    return np.array(rows, dtype=float).reshape(-1, 4)


def with_doubt(plan: Plan, order: Order, result: SweepResult, store: PartStore) -> SweepResult:
    """Add what the keys do to the cell that the choice turns on."""
    done = store.finished_doubt()
    cell = answers.turning(result)
    paths = [done[key] for key in sorted(done) if key[:2] == ("keys", cell.index)]
    if not paths:
        return result
    keys = plan.cells[cell.index].loaded.ranges
    effects = doubt.KeyEffects.joined(keys, [store.read_keys(path) for path in paths])
    rng = np.random.default_rng(np.random.SeedSequence(plan.file.seed, spawn_key=(DOUBT,)))
    found = doubt.doubt_of(cell, effects, order, plan.file.target.probability, rng)
    return replace(result, doubt=found)


def notes(plan: Plan, order: Order, cells: Sequence[CellResult]) -> tuple[str, ...]:
    """What the drawn machines are."""
    wanted = plan.file.machine_doubt
    if not any(c.machines.size for c in cells):
        return ()
    each = min(wanted.printers, plan.file.members)
    friction = (
        ""
        if plan.file.engine == "equilibrium"
        else (
            f", and what friction adds by {min(wanted.rubbing, each)} of them at rest over the first layers; "
            "vibration is the likely machine's"
        )
    )
    known = plan.cells[0].loaded.knowledge
    drawn = (
        f"that agree with the readings in {known.name}; keys one by one are left out"
        if known
        else "drawn from the ranges of all uncertain keys (triangular, in the logarithm where all is above "
        "zero; independent)"
    )
    text = f"Machine: {wanted.machines} machines {drawn}, {each} printers of every cell in each{friction}."
    return text, *_lost(plan, order, cells)


def _lost(plan: Plan, order: Order, cells: Sequence[CellResult]) -> Iterator[str]:
    """Which drawn machines are none, and why."""
    groups: dict[int, list[CellResult]] = {}
    for c in (c for c in cells if c.machines.size):
        groups.setdefault(c.group, []).append(c)
    for same in groups.values():
        numbers = np.flatnonzero(np.isnan(same[0].machines[:, 2]))
        if numbers.size:
            yield f"{same[0].label}: {numbers.size} of the machines drawn cannot be built and are left out."
        for number in numbers[:TOLD]:
            why, keys = why_none(plan.cells[same[0].index], int(number), order)
            cause = f" Any one of these at its likely value lets it be: {', '.join(keys)}." if keys else ""
            yield f"{same[0].label}, machine {number}: {why.rstrip('.')}.{cause}"
