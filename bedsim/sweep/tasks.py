"""The work of a sweep in pieces that any process can do: a task in, finished parts of cells out.

A task does not depend on the others, on the process or on the order; the same task gives the same numbers.
Frictionless printers are worked out in blocks whose size is fixed, so that the numbers of one do not depend
on its neighbours.
"""

from __future__ import annotations

import pickle
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import nan
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.base import Chunk, Job
from bedsim.engines.named import ENGINES
from bedsim.errors import InputError
from bedsim.identity import Identity, identity
from bedsim.quantities import REPORTED
from bedsim.results.sweep import CellPart, Part
from bedsim.screws.lots import Lot
from bedsim.simulation import make_job, relative_errors
from bedsim.sweep.drawing import BLOCK, block_amounts
from bedsim.sweep.figures import ENVELOPE_MEMBERS, Bands, Tally, metric_names
from bedsim.sweep.plan import Cell
from bedsim.sweep.response import Values, gains, run_out_gram
from bedsim.sweep.sources import Prepared, prepare
from bedsim.units import MM

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is the same for all tasks of a plan. Targets in m, None: none."""

    engine: str
    seed: int
    lateral_target: float | None
    height_target: float | None
    other_members: int


Told = Callable[[float], None]


def unheard(share: float) -> None:
    """Nobody asks how far it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Members `first` to `last` - 1 of cells that share one machine; `first` starts a block."""

    order: Order
    cells: tuple[Cell, ...]
    first: int
    last: int

    @property
    def printers(self) -> int:
        """Printers in the table that this task adds."""
        return len(self.cells) * (self.last - self.first)

    def run(self, told: Told = unheard) -> tuple[CellPart, ...]:
        """Work it out. Raises what building the machine or the engine raises."""
        return (_slow_task if self.order.engine == "equilibrium" else _dynamic_task)(self, told)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """One block: drawn amounts (BLOCK, c k), of which the first `used` count.

    `other`: number of the alternative lot, -1: the cell's own, -2: its own for the comparison only.
    """

    cell: int
    other: int
    first: int
    used: int
    amounts: Array
    tally: Tally


class Piece(Protocol):
    """A piece of a sweep's work that needs no other."""

    @property
    def printers(self) -> int:
        """Printers that it works out."""

    def run(self, told: Told = ...) -> tuple[Part, ...]:
        """Work it out, telling what share of it is done."""


def run_task(task: Piece, told: Told = unheard) -> tuple[Part, ...]:
    """Work a task out. Raises what building the machine or the engine raises."""
    return task.run(told)


def run_task_of(program: Identity, sealed: bytes) -> tuple[Part, ...]:
    """Work a pickled task out for `program`, somewhere else.  Raises InputError where another program would
    do it, or one without its kinds of parts, which could not even open the task."""
    differences = program.differences(identity())
    if differences:
        raise InputError(
            f"--scheduler: the worker on {socket.gethostname()} is another program: {'; '.join(differences)}."
            " Its numbers would not be those of this one: install the same there."
        )
    piece: Piece = pickle.loads(sealed)
    return run_task(piece)


def ready(cell: Cell, *, friction: bool) -> Prepared:
    """The machine of a cell, with sources that serve all its lots."""
    waves = [lot.waves.shortest for lots in (cell.lots, *cell.others) for lot in lots]
    return prepare(make_job(cell.loaded), min(waves), friction=friction)


def leads_of(cell: Cell) -> tuple[float, ...]:
    """Lead of every corner's screw, m."""
    return tuple(c.screw.lead_mm * MM for c in cell.loaded.scenario.corner)


def _gram(task_cells: Sequence[Cell], prepared: Prepared) -> Array | None:
    return run_out_gram(prepared) if any(c.clocking == "best" for c in task_cells) else None


def _slow_task(task: Task, told: Told) -> tuple[CellPart, ...]:
    prepared = ready(task.cells[0], friction=False)
    bands = Bands(prepared.job, leads_of(task.cells[0]))
    gram = _gram(task.cells, prepared)
    blocks = [b for k in range(len(task.cells)) for b in _blocks(task, k, prepared, bands, gram)]
    _follow(prepared, blocks, told)
    return tuple(_part(task, k, [b for b in blocks if b.cell == k]) for k in range(len(task.cells)))


def _follow(prepared: Prepared, blocks: Sequence[_Block], told: Told = unheard) -> None:
    for chunk in gains(prepared):
        for block in blocks:
            block.tally.add(chunk.values(block.amounts))
        told(float(chunk.layers[-1]) / prepared.job.program.layers)


def _blocks(task: Task, k: int, prepared: Prepared, bands: Bands, gram: Array | None) -> list[_Block]:
    """The cell's own printers and, beside member 0, those of every alternative lot."""
    cell, order = task.cells[k], task.order
    found = [
        _block(
            prepared, bands, cell, k, -1, cell.lots, gram, order.seed, first, min(task.last - first, BLOCK)
        )
        for first in range(task.first, task.last, BLOCK)
    ]
    if task.first > 0 or not cell.others or not has_target(order):
        return found
    for first in range(0, order.other_members, BLOCK):
        used = min(order.other_members - first, BLOCK)
        if first >= task.last:
            found.append(_block(prepared, bands, cell, k, -2, cell.lots, gram, order.seed, first, used))
        for n, lots in enumerate(cell.others):
            found.append(_block(prepared, bands, cell, k, n, lots, gram, order.seed, first, used))
    return found


def _block(
    prepared: Prepared,
    bands: Bands,
    cell: Cell,
    k: int,
    other: int,
    lots: tuple[Lot, ...],
    gram: Array | None,
    seed: int,
    first: int,
    used: int,
) -> _Block:
    amounts = block_amounts(prepared, lots, cell.buy, gram if cell.clocking == "best" else None, seed, first)
    keep = int(np.clip(ENVELOPE_MEMBERS - first, 0, used)) if other == -1 else 0
    return _Block(
        cell=k,
        other=other,
        first=first,
        used=used,
        amounts=amounts.reshape(BLOCK, -1),
        tally=Tally(prepared.job, bands, BLOCK, keep),
    )


def has_target(order: Order) -> bool:
    """Whether anything is asked of the print."""
    return order.lateral_target is not None or order.height_target is not None


def meets(lateral_pv: Array, height_pv: Array, stopped: NDArray[np.bool_], order: Order) -> NDArray[np.bool_]:
    """Whether printers meet the target; one whose joint uses up its travel or whose motor loses steps does
    not."""
    kept = ~stopped
    if order.lateral_target is not None:
        kept = kept & (lateral_pv <= order.lateral_target)
    if order.height_target is not None:
        kept = kept & (height_pv <= order.height_target)
    return np.asarray(kept)


def _met(blocks: Sequence[_Block], order: Order) -> NDArray[np.bool_]:
    parts = [meets(b.tally.lateral_pv, b.tally.height_pv, b.tally.stopped, order)[: b.used] for b in blocks]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=bool)


def _part(task: Task, k: int, blocks: Sequence[_Block]) -> CellPart:
    cell, order = task.cells[k], task.order
    own = [b for b in blocks if b.other == -1]
    names = metric_names(order.engine)
    numbers = range(len(cell.others))
    others = [_met([b for b in blocks if b.other == n], order) for n in numbers]
    own_meets = _met([b for b in blocks if b.other < 0], order)[: order.other_members]
    has_others = bool(others) and others[0].size > 0
    return CellPart(
        cell=cell.index,
        first=task.first,
        figures=np.concatenate([b.tally.figures(names)[: b.used] for b in own]),
        stopped=np.concatenate([b.tally.stopped[: b.used] for b in own]),
        own_meets=own_meets if has_others else np.zeros(0, dtype=bool),
        other_meets=np.stack(others) if has_others else np.zeros((0, 0), dtype=bool),
        envelope=np.concatenate([b.tally.envelope for b in own]),
    )


# ---- with friction and vibration ----------------------------------------------------------------------


def _dynamic_task(task: Task, told: Told) -> tuple[CellPart, ...]:
    """All cells and members of the task as one batch of the engine.

    Alternative lots are compared without friction, see `_slow_task`: what differs between lots is forcing,
    and the difference is all that is used of them.
    """
    prepared = ready(task.cells[0], friction=True)
    slow = ready(task.cells[0], friction=False) if not prepared.job.machine.flanks else None
    bands = Bands(prepared.job, leads_of(task.cells[0]))
    gram = _gram(task.cells, slow) if slow is not None else None
    count = task.last - task.first
    amounts = np.concatenate([_dynamic_amounts(prepared, cell, gram, task) for cell in task.cells])
    keep = int(np.clip(ENVELOPE_MEMBERS - task.first, 0, count))
    tally = Tally(prepared.job, bands, len(amounts), len(amounts) if keep else 0)
    pose1: Array | None = None
    measured: dict[str, float] = {}
    layers = prepared.job.program.layers
    job = replace(prepared.job, amounts=amounts, progress=lambda done: told(done / layers))
    for chunk in ENGINES[task.order.engine].run(job):
        pose1 = chunk.pose[:, :1] if pose1 is None else pose1
        tally.add(dynamic_values(prepared.job, chunk, pose1))
        measured = chunk.statistics
    figures = tally.figures(metric_names(task.order.engine))
    parts = []
    for k, cell in enumerate(task.cells):
        rows = slice(k * count, (k + 1) * count)
        own, other = _compared(task, k, slow, bands, gram) if slow is not None else (None, None)
        parts.append(
            CellPart(
                cell=cell.index,
                first=task.first,
                figures=figures[rows],
                stopped=tally.stopped[rows],
                own_meets=np.zeros(0, dtype=bool) if own is None else own,
                other_meets=np.zeros((0, 0), dtype=bool) if other is None else other,
                envelope=tally.envelope[rows][:keep],
                engine_error=(measured.get("error_height", nan), measured.get("error_lateral", nan)),
            )
        )
    return tuple(parts)


def _compared(
    task: Task, k: int, slow: Prepared, bands: Bands, gram: Array | None
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    order = task.order
    shorter = replace(task, last=task.first + min(task.last - task.first, order.other_members))
    if task.first > 0 or not task.cells[k].others or not has_target(order):
        return np.zeros(0, dtype=bool), np.zeros((0, 0), dtype=bool)
    blocks = _blocks(shorter, k, slow, bands, gram)
    _follow(slow, blocks)
    part = _part(shorter, k, blocks)
    return part.own_meets, part.other_meets


def _dynamic_amounts(prepared: Prepared, cell: Cell, gram: Array | None, task: Task) -> Array:
    count = task.last - task.first
    chosen = gram if cell.clocking == "best" else None
    drawn = [
        block_amounts(prepared, cell.lots, cell.buy, chosen, task.order.seed, first)
        for first in range(task.first, task.last, BLOCK)
    ]
    amounts = np.repeat(prepared.fixed[None], count, axis=0)
    amounts[:, prepared.columns.ravel()] = np.concatenate(drawn)[:count].reshape(count, -1)
    return amounts


def dynamic_values(job: Job, chunk: Chunk, pose1: Array) -> Values:
    """Errors of a chunk's layers against layer 1, member axis last."""
    layers = np.concatenate([[1], chunk.layers])
    errors = relative_errors(job, layers, np.concatenate([pose1, chunk.pose], axis=1))
    return Values(
        layers=chunk.layers,
        height=np.moveaxis(errors["height_error"][:, 1:], 0, -1),
        lateral=np.moveaxis(errors["lateral_error"][:, 1:], 0, -1),
        reported={q.name: np.moveaxis(getattr(chunk, q.field), 0, -1) for q in REPORTED},
    )
