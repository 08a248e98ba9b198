"""What is not known of lot and machine, in numbers: intervals, which key matters, what knowing it brings.

Every key alone moves the errors of the first printers by factors (`KeyPart`).  Many machines are made from
these: each uncertain key has its luck in each, factors multiply, and the printers that then meet the target
are counted.  How far that foretells the machines that were worked out whole is told beside it.

Whether a cell is chosen rightly: it is good where the share that meets the target is at least what is
wanted.  In a share P of the machines it is; who takes the likelier side is right in max(P, 1 - P) of them.
Someone who knows a key takes the likelier side for each of its values: right in the mean of max(P_k, 1 - P_k)
over them.  Source: expected value of partial information, worked out by sorting machines into groups of like
values; derived.  A key that brings no more than twice what groups made by chance would bring counts as none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.ranges.draws import Draw, towards_end
from bedsim.results.sweep import CellResult, Doubt, KeyPart
from bedsim.scenario.ranges import Range
from bedsim.sweep.answers import shifted
from bedsim.sweep.tasks import Order, meets

Array = NDArray[np.float64]

MACHINES, GROUPS = 16384, 16


def machine_interval(probability: float, shares: Array, confidence: float) -> tuple[float, float]:
    """Interval of a probability from shares in the likely machine and in drawn ones, (1 + k,).

    As `answers.lot_interval`: differences from the likely machine are added; NaN ones are left out.
    """
    change = shares[1:] - shares[:1]
    return shifted(probability, change[np.isfinite(change)], confidence)


def whole_interval(
    probability: float, luck: tuple[float, float], doubt: tuple[float, float]
) -> tuple[float, float]:
    """Interval that holds the luck of the draw and what is not known besides; `doubt` NaN: the luck's.

    Distances of the ends from the probability join by root-sum-square, each side by itself, [GUM] 5.1.2.
    """
    if not np.isfinite(doubt[0]):
        return luck
    down, up = (math.hypot(probability - a, probability - b) for a, b in zip(luck, doubt, strict=True))
    return max(probability - down, 0.0), min(probability + up, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyEffects:
    """A cell's uncertain keys and what each alone does, see `KeyPart`: `change` (k, 2, 2, printers)."""

    keys: tuple[Range, ...]
    change: Array
    extent: Array

    @classmethod
    def joined(cls, keys: Sequence[Range], parts: Sequence[KeyPart]) -> KeyEffects:
        """From parts in order; a value that makes no machine changes nothing."""
        change = np.nan_to_num(np.concatenate([part.change for part in parts]))
        return cls(keys=tuple(keys), change=change, extent=parts[0].extent)

    def extents(self, luck: Array) -> Array:
        """Extents (2, machines, printers) m of machines whose keys have this luck (machines, k)."""
        total = np.zeros((2, len(luck), self.extent.shape[-1]))
        for k, key in enumerate(self.keys):
            if self.change[k].any():
                side = towards_end(key, luck[:, k])
                low, high = self.change[k][..., None, :]
                total += np.maximum(-side, 0.0)[:, None] * low + np.maximum(side, 0.0)[:, None] * high
        return self.extent[:, None] * np.exp(total)


def doubt_of(
    cell: CellResult, effects: KeyEffects, order: Order, wanted: float, rng: np.random.Generator
) -> Doubt:
    """What is not known of the machine of the cell that the choice turns on."""
    luck = rng.random((MACHINES, len(effects.keys)))
    extents = effects.extents(luck)
    size, asked = _size(extents, order), order.lateral_target is not None or order.height_target is not None
    good = (_shares(extents, order) >= wanted) if asked else np.zeros(MACHINES, dtype=bool)
    chance = _right(good[rng.permutation(MACHINES)])
    groups = [np.argsort(luck[:, k]) for k in range(len(effects.keys))]
    now = max(good.mean(), 1 - good.mean())
    known = np.array([_right(good[g]) for g in groups])
    surer = np.where(known - now > 2 * (chance - now), known, now)
    means = np.array([size[g].reshape(GROUPS, -1).mean(axis=1) for g in groups])
    part = means.var(axis=1) / max(size.var(), 1e-300)
    first = np.lexsort((-part, -surer)) if asked else np.argsort(-part)
    return Doubt(
        cell=cell.index,
        now=now if asked else math.nan,
        keys=tuple(effects.keys[k].key for k in first),
        basis=tuple(effects.keys[k].basis for k in first),
        part=part[first],
        surer=surer[first] if asked else np.full(len(first), math.nan),
        foretold=_foretold(cell, effects, order),
    )


def _shares(extents: Array, order: Order) -> Array:
    return meets(extents[0], extents[1], np.zeros(extents.shape[1:], dtype=bool), order).mean(axis=-1)


def _size(extents: Array, order: Order) -> Array:
    """How much of the target machines use (m,): mean logarithm over printers; without one, of the lateral
    error."""
    limits = [order.lateral_target, order.height_target]
    used = [e / limit for e, limit in zip(extents, limits, strict=True) if limit is not None]
    return np.asarray(np.log(np.max(used, axis=0) if used else extents[0]).mean(axis=-1))


def _right(good: NDArray[np.bool_]) -> float:
    """Share of right choices by someone who knows which group of neighbours a machine is in."""
    share = good.reshape(GROUPS, -1).mean(axis=1)
    return float(np.maximum(share, 1 - share).mean())


def _foretold(cell: CellResult, effects: KeyEffects, order: Order) -> float:
    """Root mean square of foretold less found changes of the share; NaN without drawn machines or target."""
    drawn = [Draw(seed=order.seed, number=n) for n in range(len(cell.machines) - 1)]
    if not drawn or not np.isfinite(cell.probability):
        return math.nan
    luck = np.array([[d.luck(key.key) for key in effects.keys] for d in drawn])
    told = _shares(effects.extents(luck), order) - _shares(effects.extent[:, None], order)
    found = cell.machines[1:, 0] - cell.machines[0, 0]
    return float(np.sqrt(np.nanmean((told - found) ** 2)))
