"""Readings of one machine, each with what it says and how well: values, and the weights that make them alike.

`weights` (w, m) turn what is left over, reading minus model (m,), into numbers of unit variance (w,).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.diagnosis.readings import Reading
from bedsim.results.layers import Array
from bedsim.scenario.schema import Scenario
from bedsim.units import MM

AMPLITUDE_SHARE = 0.1
"""Part of a band's amplitude to which an eye or a photo reads it."""
CREST = 0.3 * MM
"""Standard uncertainty of the height at which a crest is seen.  Both are our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelDoubt:
    """What the model may be wrong by in a series of readings, m: `white` in each of them alone, `turning` in
    their part once per turn (cosine and sine alike)."""

    white: float = 0.0
    turning: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A dial gauge on the bed while a lead is jogged down: readings `value` (k,) m at `turn` (k,) rad of the
    screws, from an unknown zero; `lines` of the file; `clocked`: corner (index) that stood turned by `by`
    rad in its coupling, or None."""

    file: str
    lines: tuple[int, ...]
    probe: str
    axis: str
    turn: Array
    value: Array
    sigma: Array
    clocked: int | None = None
    by: float = 0.0
    error: ModelDoubt = field(default_factory=ModelDoubt)

    @property
    def name(self) -> str:
        """What the workshop calls it."""
        return f"gauge {self.axis} at {self.probe}"

    @property
    def names(self) -> tuple[str, ...]:
        """Of every reading."""
        return tuple(f"{self.file}: line {line}" for line in self.lines)

    def part(self, kept: NDArray[np.bool_]) -> Series:
        """Some of the readings (k,), with a zero of their own."""
        lines = tuple(line for line, is_kept in zip(self.lines, kept, strict=True) if is_kept)
        return replace(
            self, lines=lines, turn=self.turn[kept], value=self.value[kept], sigma=self.sigma[kept]
        )

    def weights(self) -> Array:
        """(k - 1, k): differences of the readings that their zero does not enter, orthonormal, then whitened.

        Source: derived; residuals of a mean are as good as all differences.
        """
        free = scipy.linalg.null_space(np.ones((1, self.value.size))).T
        wave = np.stack([np.cos(self.turn), np.sin(self.turn)])
        spread = np.diag(self.sigma**2 + self.error.white**2) + self.error.turning**2 * wave.T @ wave
        return np.asarray(np.linalg.solve(np.linalg.cholesky(free @ spread @ free.T), free))


@dataclass(frozen=True, slots=True, kw_only=True)
class BandReading:
    """Bands of the lead on a wall: real and imaginary part (2,) m of relief = Re(value e^{j psi})."""

    reading: Reading
    clocked: int | None = None
    by: float = 0.0
    error: ModelDoubt = field(default_factory=ModelDoubt)

    @property
    def name(self) -> str:
        """What the workshop calls it."""
        return f"bands on wall {self.reading.place} at {self.reading.probe}"

    @property
    def names(self) -> tuple[str, ...]:
        """Of both parts."""
        return (self.reading.where, self.reading.where)

    @property
    def value(self) -> Array:
        """Real and imaginary part."""
        return np.array([self.reading.value.real, self.reading.value.imag])

    def weights(self) -> Array:
        """(2, 2): size to `AMPLITUDE_SHARE` and place to `CREST`, neither better than the stated sigma."""
        size = abs(self.reading.value)
        length = self.reading.wavelength or np.inf
        least = np.hypot(self.reading.sigma, self.error.turning)
        along = np.hypot(least, AMPLITUDE_SHARE * size)
        across = np.hypot(least, 2 * np.pi * CREST / length * size)
        unit = self.reading.value / size if size > 0 else 1.0
        return np.array([[unit.real, unit.imag], [-unit.imag, unit.real]]) / np.array([[along], [across]])


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyReading:
    """A number of the machine that was measured by itself: `of` gives what a scenario says, in the same
    unit; `key`: the uncertain key behind it."""

    where: str
    name: str
    key: str
    of: Callable[[Scenario], float]
    number: float
    sigma: float

    @property
    def names(self) -> tuple[str, ...]:
        """Of the one reading."""
        return (self.where,)

    @property
    def value(self) -> Array:
        """The number."""
        return np.array([self.number])

    def weights(self) -> Array:
        """(1, 1)."""
        return np.array([[1.0 / self.sigma]])


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewReading:
    """A gauged screw at a corner (index): offsets x, y (2 n,) m with their covariance.

    `mounted`: of its centreline in the machine at `position` (n,) m; else of the free screw's `parts`.
    """

    where: str
    corner: int
    corner_name: str
    mounted: bool
    position: Array
    parts: tuple[str, ...]
    offset: Array
    covariance: Array

    @property
    def name(self) -> str:
        """What the workshop calls it."""
        return f"screw gauged at {self.corner_name}"

    @property
    def names(self) -> tuple[str, ...]:
        """Of every offset."""
        return (self.where,) * self.offset.size

    @property
    def value(self) -> Array:
        """The offsets."""
        return self.offset

    def weights(self) -> Array:
        """(2 n, 2 n)."""
        return np.asarray(np.linalg.inv(np.linalg.cholesky(self.covariance)))


Observation = Series | BandReading | KeyReading | ScrewReading


def number_at(scenario: Scenario, key: str) -> float:
    """What a scenario has under a key, in its unit; of a key of all corners the mean of theirs."""
    steps = key.split(".")
    if steps[0] == "corner":
        holders = [c for c in scenario.corner if c.name == steps[1]]
        steps = steps[2:]
    else:
        holders = list(scenario.corner) if hasattr(scenario.corner[0], steps[0]) else [scenario]  # type: ignore[list-item]
    found = []
    for holder in holders:
        value: object = holder
        for step in steps:
            value = getattr(value, step)
        found.append(float(value))  # type: ignore[arg-type]
    return float(np.mean(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """What files of readings hold; `controls`: series of a gauge against a fixed point of the frame;
    `unused`: sentences on what in them tells nothing here."""

    observations: tuple[Observation, ...]
    unused: tuple[str, ...]
    controls: tuple[Series, ...] = ()

    @property
    def measured(self) -> frozenset[str]:
        """Keys that were measured by themselves."""
        return frozenset(one.key for one in self.observations if isinstance(one, KeyReading))
