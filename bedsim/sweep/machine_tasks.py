"""What is not known of the machine, as work of a sweep: cells in drawn machines, and keys one by one.

A drawn machine has its own matrices.  Its printers, the first of the cell with the same luck, are worked out
without friction over the whole print; the first few of them also with friction, at rest in slow steps, over a
turn of the screws at least.  What friction adds to peak-to-valley there goes with the
frictionless one of the same layers by a straight line, which is carried over to all printers:

    extent = extent without friction, whole print + a + b extent without friction, first layers.

Only differences between a drawn machine and the likely one, found alike, are used: vibration is the likely
machine's, and so are steps that motors lose by it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.linear_machine import shortened
from bedsim.engines.contact_space import slow_layers
from bedsim.errors import BedsimError, SolverError
from bedsim.ranges.alone import NOTHING_WITHOUT_FRICTION
from bedsim.ranges.draws import draws
from bedsim.ranges.swings import CONTACT_KEYS, FRICTION_LAYERS, contact_ends
from bedsim.results.sweep import KeyPart, MachinePart
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.screws.lots import Lot
from bedsim.simulation import relative_errors
from bedsim.sweep.drawing import BLOCK, block_amounts
from bedsim.sweep.figures import Tally, largest_extent
from bedsim.sweep.plan import Cell
from bedsim.sweep.response import gains, run_out_gram
from bedsim.sweep.sources import Prepared
from bedsim.sweep.tasks import Order, Told, leads_of, meets, ready, unheard

Array = NDArray[np.float64]

KEY_PRINTERS, KEY_RUBBING = BLOCK, 8
KEY_LAYERS = 64  # of the whole print, at even distances: what keys change over the print is smooth
SMALLEST = 1e-12  # m
WORTH_FRICTION = 0.05  # logarithm of a factor, from which on every key of friction is tried alone; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Extents:
    """Peak-to-valley (2, printers), lateral and height in m, and who hit a stop or lost steps."""

    extent: Array
    stopped: NDArray[np.bool_]

    def first(self, count: int) -> Extents:
        """Of the first printers alone."""
        return Extents(extent=self.extent[:, :count], stopped=self.stopped[:count])


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineTask:
    """Cells of one group in the `machine`-th drawn machine, 0: the likely one; `printers` of each cell
    without friction, the first `rubbing` of them with."""

    order: Order
    cells: tuple[Cell, ...]
    machine: int
    each: int
    rubbing: int

    @property
    def printers(self) -> int:
        """Printers that this task works out."""
        return len(self.cells) * self.each

    def run(self, told: Told = unheard) -> tuple[MachinePart, ...]:
        """Work it out; a draw that makes no machine gives parts that are not numbers."""
        try:
            return tuple(_machine_parts(self))
        except BedsimError:
            if self.machine == 0:
                raise
            no = dict.fromkeys(("share", "lot_share", "lateral", "height"), math.nan)
            return tuple(
                MachinePart(cell=cell.index, machine=self.machine, members=self.each, **no)
                for cell in self.cells
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyTask:
    """Uncertain keys `first` to `last` - 1 of the cells of one group, each alone at its low and high."""

    order: Order
    cells: tuple[Cell, ...]
    first: int
    last: int

    @property
    def printers(self) -> int:
        """Printers that this task works out."""
        return len(self.cells) * KEY_PRINTERS

    def run(self, told: Told = unheard) -> tuple[KeyPart, ...]:
        """Work it out."""
        keys = self.cells[0].loaded.ranges[self.first : self.last]
        still = _key_extents(self, {}, friction=False)
        if still is None:
            raise SolverError(f"{self.cells[0].label}: the likely machine finds no equilibrium")
        change = np.zeros((len(keys), 2, *still.shape))
        rubs = [k for k in keys if _last(k) in CONTACT_KEYS]
        for k, key in enumerate(keys):
            if _last(key) not in NOTHING_WITHOUT_FRICTION:
                change[k] = _key_change(self, key, still, friction=False)
        if rubs and self.order.engine != "equilibrium":
            middle = _key_extents(self, {}, friction=True)
            if middle is not None and _friction_matters(self, middle):
                for key in rubs:
                    change[keys.index(key)] = _key_change(self, key, middle, friction=True)
        return tuple(
            KeyPart(cell=cell.index, first=self.first, change=change[:, :, c], extent=still[c])
            for c, cell in enumerate(self.cells)
        )


def _last(key: Range) -> str:
    return key.key.rsplit(".", 1)[-1]


def _key_change(task: KeyTask, key: Range, middle: Array, *, friction: bool) -> Array:
    """Logarithm of what the key does to extents, (2, cells, 2, printers), low end first."""
    found = []
    for value in (key.low, key.high):
        there = middle if value == key.likely else _key_extents(task, {key.key: value}, friction=friction)
        found.append(np.full_like(middle, math.nan) if there is None else np.log(there / middle))
    return np.stack(found)


def _friction_matters(task: KeyTask, middle: Array) -> bool:
    """Whether friction and play, all at the end where they hold least or most, move a median by
    `WORTH_FRICTION`."""
    ends = [_key_extents(task, values, friction=True) for values in contact_ends(task.cells[0].loaded)]
    moved = [np.median(np.log(end / middle), axis=-1) for end in ends if end is not None]
    return bool(np.abs(moved).max(initial=0.0) > WORTH_FRICTION)


def drawn(loaded: LoadedScenario, machine: int, seed: int) -> LoadedScenario:
    """The `machine`-th machine, of those that agree with all readings where there are any: a key of one name
    has the same luck in every cell."""
    if machine == 0:
        return loaded
    draw = draws(machine, seed, loaded.knowledge)[-1]
    return loaded.with_values(draw.values(loaded.ranges))


def why_none(cell: Cell, machine: int, order: Order) -> tuple[str, tuple[str, ...]]:
    """Why the `machine`-th drawn machine is none, and every key that alone at its likely value would let it
    be one."""
    loaded = drawn(cell.loaded, machine, order.seed)
    why = _fault(cell, loaded)
    if not why:
        task = MachineTask(order=order, cells=(cell,), machine=machine, each=1, rubbing=1)
        try:
            list(_machine_parts(task))
        except BedsimError as fault:
            why = str(fault)
        return why, ()
    keys = cell.loaded.ranges
    return why, tuple(k.key for k in keys if not _fault(cell, loaded.with_values({k.key: k.likely})))


def _fault(cell: Cell, loaded: LoadedScenario) -> str:
    """What keeps a machine from resting in the first and the last layer, without friction."""
    try:
        slow = ready(replace(cell, loaded=loaded), friction=False)
        for _ in gains(slow, np.array([1, slow.job.program.layers])):
            pass
    except BedsimError as fault:
        return str(fault)
    return ""


def _machine_parts(task: MachineTask) -> Iterator[MachinePart]:
    loaded = drawn(task.cells[0].loaded, task.machine, task.order.seed)
    cells = [replace(cell, loaded=loaded) for cell in task.cells]
    slow = ready(cells[0], friction=False)
    clock = run_out_gram(slow) if any(c.clocking == "best" for c in cells) else None
    own = [_amounts(slow, c, c.lots, clock, task.order.seed, task.each) for c in cells]
    few = min(task.each, task.order.other_members)
    other = [_amounts(slow, c, _own_lot(c, task.machine), clock, task.order.seed, few) for c in cells]
    found = _still(slow, [*own, *other])
    if task.order.engine != "equilibrium":
        found = _rubbed(cells[0], slow, [*own, *other], len(cells), task.rubbing, found)
    for k, cell in enumerate(cells):
        one, second = found[k], found[len(cells) + k]
        share = _share(one, task.order)
        yield MachinePart(
            cell=cell.index,
            machine=task.machine,
            members=task.each,
            share=share,
            lot_share=share + _share(second, task.order) - _share(one.first(few), task.order),
            lateral=float(np.median(one.extent[0])),
            height=float(np.median(one.extent[1])),
        )


def _own_lot(cell: Cell, machine: int) -> tuple[Lot, ...]:
    """The lot of the likely machine, and another one for every drawn machine in turn."""
    return cell.others[(machine - 1) % len(cell.others)] if machine and cell.others else cell.lots


def _share(found: Extents, order: Order) -> float:
    """Share that meets the target; not a number without one."""
    if order.lateral_target is None and order.height_target is None:
        return math.nan
    return float(meets(found.extent[0], found.extent[1], found.stopped, order).mean())


def _amounts(
    prepared: Prepared, cell: Cell, lots: tuple[Lot, ...], clock: Array | None, seed: int, count: int
) -> Array:
    """Amounts (count, s) of the drawn columns of the first printers of a cell."""
    gram = clock if cell.clocking == "best" else None
    firsts = range(0, count, BLOCK)
    blocks = [block_amounts(prepared, lots, cell.buy, gram, seed, first) for first in firsts]
    return np.concatenate(blocks)[:count].reshape(count, -1)


def _still(
    prepared: Prepared, amounts: Sequence[Array], layers: NDArray[np.int64] | None = None
) -> list[Extents]:
    """Extents of every set of amounts, without friction."""
    tallies = [Tally(prepared.job, None, len(some), 0) for some in amounts]
    for chunk in gains(prepared, layers):
        for some, tally in zip(amounts, tallies, strict=True):
            tally.add(chunk.values(some))
    return [_extents(tally) for tally in tallies]


def _extents(tally: Tally) -> Extents:
    return Extents(extent=np.stack([tally.lateral_pv, tally.height_pv]), stopped=tally.stopped)


def _rubbed(
    cell: Cell, slow: Prepared, sets: Sequence[Array], cells: int, rubbing: int, found: Sequence[Extents]
) -> list[Extents]:
    """What was found without friction, with what friction adds; `sets` of amounts: the cells' own, then those
    of other lots, which take the line of their cell."""
    turn = math.ceil(max(leads_of(cell)) / slow.job.machine.stations.thickness.min())
    short = replace(slow, job=shortened(slow.job, max(FRICTION_LAYERS, turn)))
    first = _still(short, sets)
    rubbed = _with_friction(ready(cell, friction=True), short, [a[:rubbing] for a in sets[:cells]])
    lines = [added_by_friction(f.extent[:, :rubbing], r) for f, r in zip(first, rubbed, strict=False)]
    return [
        replace(one, extent=np.maximum(one.extent + line[0] + line[1] * few.extent, SMALLEST))
        for one, few, line in zip(found, first, itertools.cycle(lines), strict=False)
    ]


def _with_friction(whole: Prepared, short: Prepared, sets: Sequence[Array]) -> list[Array]:
    """Extents (2, n) of every set over the first layers, with friction."""
    layers = short.job.program.layers
    amounts = np.repeat(whole.fixed[None], sum(map(len, sets)), axis=0)
    amounts[:, whole.columns.ravel()] = np.concatenate(sets)
    job = shortened(replace(whole.job, amounts=amounts), layers)
    errors = relative_errors(job, np.arange(1, layers + 1), slow_layers(job, layers))
    lateral = largest_extent(np.moveaxis(errors["lateral_error"], 0, -1))
    height = np.ptp(errors["height_error"], axis=1).max(axis=-1)
    return np.split(np.stack([lateral, height]), np.cumsum([len(x) for x in sets])[:-1], axis=1)


def added_by_friction(still: Array, rubbed: Array) -> tuple[Array, Array]:
    """Straight line a + b still, a and b (2, 1), of what friction adds to extents (2, n), by least squares;
    b is 0 where all extents are alike."""
    away = still - still.mean(axis=1, keepdims=True)
    spread = (away**2).sum(axis=1, keepdims=True)
    more = rubbed - still
    slope = (away * more).sum(axis=1, keepdims=True) / np.where(spread > 0, spread, 1.0)
    return more.mean(axis=1, keepdims=True) - slope * still.mean(axis=1, keepdims=True), slope


def _key_extents(task: KeyTask, values: Mapping[str, float], *, friction: bool) -> Array | None:
    """Extents (cells, 2, printers) at a few layers; None where the values make no machine."""
    try:
        loaded = task.cells[0].loaded
        loaded = loaded.with_values(values) if values else loaded
        cells = [replace(c, loaded=loaded) for c in task.cells]
        slow = ready(cells[0], friction=False)
        clock = run_out_gram(slow) if any(c.clocking == "best" for c in cells) else None
        last = slow.job.program.layers
        layers = np.unique(np.linspace(1, last, min(last, KEY_LAYERS)).round().astype(np.int64))
        amounts = [_amounts(slow, c, c.lots, clock, task.order.seed, KEY_PRINTERS) for c in cells]
        found = _still(slow, amounts, layers)
        if friction:
            found = _rubbed(cells[0], slow, amounts, len(cells), KEY_RUBBING, found)
    except BedsimError:
        return None
    return np.maximum([x.extent for x in found], SMALLEST)
