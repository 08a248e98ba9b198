"""What in the readings contradicts the rest: a slip, a spike, a wrong sign, a series that does not fit.

With V = 1 - A P A^T the covariance of what is left over, r, a fault that adds a pattern h to the whitened
readings shows z = h^T r/sqrt(h^T V h) standard deviations.  Source: score test of a normal model, derived;
a pattern that unknowns can take up has a small h^T V h, and is told as not noticeable.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from bedsim.learn.fit import Fit, fit
from bedsim.learn.observations import BandReading, Observation, Series
from bedsim.results.layers import Array
from bedsim.units import UM

CHANCE = 0.01
"""A fault is told if all its kinds together show it this rarely by chance."""
SEEN = 4.0
"""Standard deviations by which a fault must show itself to be noticed nine times in ten at `CHANCE`."""
WAVE = 3 * UM
"""A foreign motion once per turn of which it is asked whether it would be noticed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A fault that the readings hold: what and where, how large (m, 0 for a sign) and how odd by chance."""

    kind: str
    where: str
    size: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pattern:
    kind: str
    where: str
    observation: int
    shape: Array  # (w, k) whitened, k = 2 for cosine and sine


def faults_of(found: Fit) -> list[Fault]:
    """The likeliest fault, if the readings show any: the others may only follow from it.

    A wrong sign is tried by turning the oddest series round and fitting again.
    """
    tested = [(pattern, *_score(found, pattern.shape)) for pattern in _patterns(found)]
    told: dict[int, Fault] = {}
    for pattern, chance, size in sorted(tested, key=lambda row: row[1]):
        if chance * len(tested) < CHANCE and pattern.observation not in told:
            told[pattern.observation] = Fault(
                kind=pattern.kind, where=pattern.where, size=size, chance=chance * len(tested)
            )
    if not told:
        return []
    number = min(told, key=lambda k: told[k].chance)
    flipped = _flipped(found, number) if isinstance(found.model.observations[number], Series) else None
    return [told[number] if flipped is None else flipped]


def _flipped(found: Fit, number: int) -> Fault | None:
    """Whether a series fits with its sign turned round, where it does not without."""
    one = found.model.observations[number]
    assert isinstance(one, Series)
    others: list[Observation] = list(found.model.observations)
    others[number] = replace(one, value=-one.value)
    again = fit(replace(found.model, observations=tuple(others)), found.taken, found.u)
    if found.sum - again.sum < 2 * math.log(1 / CHANCE) * 2 or again.chance < CHANCE:
        return None
    return Fault(
        kind="wrong sign",
        where=f"{one.name} ({one.names[0]})",
        size=0.0,
        chance=float(stats.chi2.sf(found.sum - again.sum, 1)),
    )


def _patterns(found: Fit) -> Iterator[_Pattern]:
    start = 0
    for number, one in enumerate(found.model.observations):
        width = one.value.size
        columns = found.weights[:, start : start + width]
        start += width
        if isinstance(one, Series):
            for k in range(width):
                yield _Pattern(
                    kind="reading", where=one.names[k], observation=number, shape=columns[:, k : k + 1]
                )
            for k in range(2, width - 1):
                slip = columns[:, k:].sum(axis=1, keepdims=True)
                where = f"between {one.names[k - 1]} and line {one.lines[k]}"
                yield _Pattern(kind="slip", where=where, observation=number, shape=slip)
            wave = np.stack([np.cos(one.turn), np.sin(one.turn)], axis=1)
            yield _Pattern(
                kind="series", where=f"{one.name} ({one.names[0]})", observation=number, shape=columns @ wave
            )
        elif isinstance(one, BandReading):
            yield _Pattern(
                kind="bands", where=f"{one.name} ({one.names[0]})", observation=number, shape=columns
            )
        else:
            rest = columns[:, np.abs(columns).max(axis=0) > 0]
            yield _Pattern(
                kind="measurement", where=f"{one.name} ({one.names[0]})", observation=number, shape=rest
            )


def _score(found: Fit, shape: Array) -> tuple[float, float]:
    """Chance of so odd a pattern (w, k), and its size."""
    spread = shape.T @ shape - shape.T @ found.slope @ found.P @ found.slope.T @ shape
    pull = shape.T @ found.left
    solved = np.linalg.lstsq(spread, pull, rcond=1e-6)[0]
    return float(stats.chi2.sf(float(pull @ solved), shape.shape[1])), float(np.linalg.norm(solved))


def stand_is_seen(found: Fit) -> bool:
    """Whether a stand or gantry that moves `WAVE` once per turn, alike under all series of an axis, would be
    noticed."""
    for axis in ("x", "y"):
        patterns, start = [], 0
        for one in found.model.observations:
            columns = found.weights[:, start : start + one.value.size]
            start += one.value.size
            if isinstance(one, Series) and one.axis == axis:
                patterns.append(columns @ np.cos(one.turn)[:, None])
        if patterns:
            shape = WAVE * np.sum(patterns, axis=0)
            spread = shape.T @ shape - shape.T @ found.slope @ found.P @ found.slope.T @ shape
            if float(spread[0, 0]) < SEEN**2:
                return False
    return True
