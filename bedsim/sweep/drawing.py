"""From lots to the amounts of a block of virtual printers: draw, gauge, sort, clock.

Printers are drawn in blocks of `BLOCK` with fixed borders.  The screw in place i of printer j has its own
seed, spawned by (i, j) from the plan's, and no other draw uses it: printer j has the same luck in every cell
(common random numbers), the first screws of six bought are those of three bought, and any printer can be
drawn again.
"""

from __future__ import annotations

import functools
import itertools

import numpy as np
from numpy.typing import NDArray

from bedsim.screws.drawing import draw
from bedsim.screws.drawn import DrawnScrews
from bedsim.screws.lots import Lot
from bedsim.sweep.plan import SCREWS
from bedsim.sweep.sources import RUN_OUT, Prepared, columns_of, run_out_seen

Array = NDArray[np.float64]

BLOCK = 64
_GAUGED_PLACES = 33
_COARSE, _FINE = 12, 360  # directions tried for each screw: all together, then one screw after the other
_ROUNDS = 4


@functools.lru_cache(maxsize=512)  # the same printers in every machine that is drawn
def screws_of(lot: Lot, seed: int, place: int, first: int) -> DrawnScrews:
    """The screws (BLOCK,) in one place of printers `first` to `first` + BLOCK - 1."""
    sequence = np.random.SeedSequence(seed, spawn_key=(SCREWS, place), n_children_spawned=first)
    return draw(lot, BLOCK, np.random.default_rng(sequence))


def block_amounts(
    prepared: Prepared, lots: tuple[Lot, ...], buy: int, gram: Array | None, seed: int, first: int
) -> Array:
    """Drawn amounts (BLOCK, c, k) of a block; `gram` (6 c, 6 c): see `clocked`, None: clocking by chance."""
    places = [screws_of(lots[min(i, len(lots) - 1)], seed, i, first) for i in range(buy)]
    travel = prepared.travel
    columns = np.stack([columns_of(s, travel[min(i, len(lots) - 1)]) for i, s in enumerate(places)], axis=1)
    if buy > len(lots):
        kept = straightest(columns, prepared, len(lots))
        columns = np.take_along_axis(columns, kept[:, :, None], axis=1)
    return columns if gram is None else clocked(columns, gram)


def straightest(columns: Array, prepared: Prepared, keep: int) -> NDArray[np.int64]:
    """Which screws (n, keep) of those bought, `columns` (n, bought, k), a gauge in the machine picks.

    Least run-out in the first corner's bearings over the travel used, in the order bought.
    """
    travel = prepared.travel[0]
    unit = run_out_seen(prepared, np.linspace(travel.low, travel.high, _GAUGED_PLACES))
    run_out = np.abs(columns[..., :RUN_OUT] @ unit).max(axis=-1)
    order = np.argsort(run_out, axis=1, kind="stable")[:, :keep]
    return np.sort(order, axis=1)


def turned(columns: Array, angle: Array) -> Array:
    """Amounts (n, c, k) of screws turned in their couplings by `angle` (n, c) rad.

    Offsets x + jy turn by e^{j angle}; so does the once-per-turn amplitude, stored as (cos, -sin).
    """
    result = columns.copy()
    turn = np.exp(1j * angle)
    for first in range(0, RUN_OUT, 2):
        offset = (columns[..., first] + 1j * columns[..., first + 1]) * turn
        result[..., first], result[..., first + 1] = offset.real, offset.imag
    once = (columns[..., RUN_OUT + 1] - 1j * columns[..., RUN_OUT + 2]) * turn
    result[..., RUN_OUT + 1], result[..., RUN_OUT + 2] = once.real, -once.imag
    return result


def clocked(columns: Array, gram: Array) -> Array:
    """Screws turned to the least mean square lateral error that their run-out makes.

    The error is linear in the run-out columns v (6 c) and its mean square over layers and probes is v^T gram
    v.  With each screw's run-out at 0 and 90 degrees as a base, that is a quadratic form in (cos, sin) of
    every screw's angle.  All screws but the first are tried together every 30 degrees (not with five or
    more), then every degree screw by screw and all screws alike, four times over.
    """
    count = columns.shape[1]
    quarter = turned(columns, np.full(columns.shape[:2], np.pi / 2))
    base = np.zeros((columns.shape[0], 2 * count, RUN_OUT * count))
    for c in range(count):
        part = slice(RUN_OUT * c, RUN_OUT * (c + 1))
        base[:, 2 * c, part] = columns[:, c, :RUN_OUT]
        base[:, 2 * c + 1, part] = quarter[:, c, :RUN_OUT]
    form = np.einsum("nai,ij,nbj->nab", base, gram, base, optimize=["einsum_path", (0, 1), (0, 1)])
    angle = _together(form, count) if count <= 4 else np.zeros((columns.shape[0], count))
    for _ in range(_ROUNDS):
        for c in range(count):
            angle = _stepped(form, angle, np.arange(count) == c)
        angle = _stepped(form, angle, np.ones(count, dtype=bool))
    return turned(columns, angle)


def _pointer(angle: Array) -> Array:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1).reshape(*angle.shape[:-1], -1)


def _together(form: Array, count: int) -> Array:
    steps = np.arange(_COARSE) * 2 * np.pi / _COARSE
    tried = np.array([(0.0, *rest) for rest in itertools.product(steps, repeat=count - 1)])
    z = _pointer(tried)
    value = np.einsum("ta,nab,tb->nt", z, form, z, optimize=["einsum_path", (0, 1), (0, 1)])
    return tried[np.argmin(value, axis=1)]


def _stepped(form: Array, angle: Array, moving: NDArray[np.bool_]) -> Array:
    """The best of all steps by which the screws that are `moving` (c,) turn together."""
    steps = np.arange(_FINE) * 2 * np.pi / _FINE
    tried = angle[:, None, :] + steps[None, :, None] * moving
    z = _pointer(tried)
    best = np.argmin(np.einsum("nta,nab,ntb->nt", z, form, z), axis=1)
    return np.asarray(np.take_along_axis(tried, best[:, None, None], axis=1)[:, 0])
