"""What in the readings contradicts the rest: a slip, a spike, a wrong sign, a series that does not fit.

With V = 1 - A P A^T the covariance of what is left over, r, a fault that adds a pattern h to the whitened
readings shows z = h^T r/sqrt(h^T V h) standard deviations.  Source: score test of a normal model, derived;
a pattern that unknowns can take up has a small h^T V h, and is told as not noticeable.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
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
CLEAR = -4 * math.log(CHANCE)
"""Difference of two sums from which on one of two fits is clear: likelihoods 1 to `CHANCE` squared."""
WAVE = 3 * UM
"""A foreign motion once per turn of which it is asked whether it would be noticed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A fault that the readings hold: what and where, how large (m, 0 for a sign) and how odd by chance;
    `observation` and `reading` (index): what it is in, and from which of its readings on."""

    kind: str
    where: str
    size: float
    chance: float
    observation: int
    reading: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pattern:
    kind: str
    where: str
    observation: int
    reading: int = 0
    shape: Array  # (w, k) whitened, k = 2 for cosine and sine


@dataclass(frozen=True, slots=True, kw_only=True)
class Flip:
    """A series (index) turned round and all fitted again: by how much the sum falls, and how odd the rest is
    then."""

    observation: int
    name: str
    where: str
    falls: float
    chance: float


def flips_of(found: Fit) -> list[Flip]:
    """Turn every series round by itself, and fit again."""
    told = []
    for number, one in enumerate(found.model.observations):
        if isinstance(one, Series):
            others: list[Observation] = list(found.model.observations)
            others[number] = replace(one, value=-one.value)
            again = fit(replace(found.model, observations=tuple(others)), found.taken, found.u)
            told.append(
                Flip(
                    observation=number,
                    name=one.name,
                    where=one.names[0],
                    falls=found.sum - again.sum,
                    chance=again.chance,
                )
            )
    return told


def faults_of(found: Fit, flips: Sequence[Flip]) -> list[Fault]:
    """The likeliest fault, if the readings show any: the others may only follow from it.

    A sign is wrong where the series turned round fits, and by so much better than as it is.
    """
    best = max(flips, key=lambda one: one.falls, default=None)
    if best is not None and best.falls > CLEAR and best.chance > CHANCE:
        chance = float(stats.chi2.sf(best.falls, 1))
        return [
            Fault(
                kind="wrong sign",
                where=f"{best.name} ({best.where})",
                size=0.0,
                chance=chance,
                observation=best.observation,
            )
        ]
    tested = [(pattern, *_score(found, pattern.shape)) for pattern in _patterns(found)]
    if not tested:
        return []
    pattern, chance, size = min(tested, key=lambda row: row[1])
    chance *= len(tested)
    if chance > CHANCE:
        return []
    return [
        Fault(
            kind=pattern.kind,
            where=pattern.where,
            size=size,
            chance=chance,
            observation=pattern.observation,
            reading=pattern.reading,
        )
    ]


def mended(observations: Sequence[Observation], fault: Fault) -> tuple[Observation, ...] | None:
    """The readings without a fault: a reading left out, a series in two where the gauge slipped, or turned
    round; None for a fault of which it is not known what is right."""
    one = observations[fault.observation]
    if not isinstance(one, Series) or fault.kind == "series":
        return None
    place = np.arange(one.value.size)
    if fault.kind == "wrong sign":
        parts = [replace(one, value=-one.value)]
    elif fault.kind == "slip":
        parts = [one.part(place < fault.reading), one.part(place >= fault.reading)]
    else:
        parts = [one.part(place != fault.reading)]
    return (*observations[: fault.observation], *parts, *observations[fault.observation + 1 :])


def unseen_signs(flips: Sequence[Flip]) -> list[str]:
    """Series of which a wrong sign would not be noticed: other screws fit it about as well."""
    return [one.name for one in flips if abs(one.falls) < CLEAR]


def _patterns(found: Fit) -> Iterator[_Pattern]:
    start = 0
    for number, one in enumerate(found.model.observations):
        width = one.value.size
        columns = found.weights[:, start : start + width]
        start += width
        if isinstance(one, Series):
            for k in range(width):
                yield _Pattern(
                    kind="reading",
                    where=one.names[k],
                    observation=number,
                    reading=k,
                    shape=columns[:, k : k + 1],
                )
            for k in range(2, width - 1):
                slip = columns[:, k:].sum(axis=1, keepdims=True)
                where = f"between {one.names[k - 1]} and line {one.lines[k]}"
                yield _Pattern(kind="slip", where=where, observation=number, reading=k, shape=slip)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """How far a gauge's stand moves once per turn along `axis`, by a control series from `where` on:
    amplitude and its standard uncertainty, m."""

    axis: str
    where: str
    amplitude: float
    sigma: float

    @property
    def moves(self) -> bool:
        """Whether it does, or only seems to by noise: once in `CHANCE` (Rayleigh's law of an amplitude)."""
        return math.exp(-0.5 * (self.amplitude / self.sigma) ** 2) < CHANCE


def stand_of(control: Series) -> Stand:
    """The wave once per turn of a control series, beside its unknown zero, by least squares."""
    wave = np.stack([np.cos(control.turn), np.sin(control.turn)], axis=1)
    slope, left = control.weights() @ wave, control.weights() @ control.value
    spread = np.linalg.inv(slope.T @ slope)
    return Stand(
        axis=control.axis,
        where=control.names[0],
        amplitude=float(np.linalg.norm(spread @ slope.T @ left)),
        sigma=math.sqrt(float(np.trace(spread)) / 2),
    )


def unseen_axes(found: Fit, stands: Sequence[Stand]) -> list[str]:
    """Axes in the plane along which a stand or gantry that moves `WAVE` once per turn, alike under all
    series, would not be noticed, and no control series was taken."""
    controlled = {one.axis for one in stands}
    return [axis for axis in ("x", "y") if axis not in controlled and _blind_along(found, axis)]


def _blind_along(found: Fit, axis: str) -> bool:
    waves = [WAVE * columns @ np.cos(one.turn) for one, columns in _series_columns(found) if one.axis == axis]
    return bool(waves) and not noticed(found, np.sum(waves, axis=0))


def _series_columns(found: Fit) -> Iterator[tuple[Series, Array]]:
    """Every series with its columns of the weights (w, k)."""
    start = 0
    for one in found.model.observations:
        if isinstance(one, Series):
            yield one, found.weights[:, start : start + one.value.size]
        start += one.value.size


def noticed(found: Fit, shape: Array) -> bool:
    """Whether a fault that adds `shape` (w,) to the whitened readings shows itself."""
    taken_up = shape @ found.slope
    return float(shape @ shape - taken_up @ found.P @ taken_up) >= SEEN**2
