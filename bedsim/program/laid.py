"""What a program lays: its stations and where their walls stand, as plain tables of numbers."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from hashlib import sha256
from typing import Any

import numpy as np

from bedsim.program.lexer import Array
from bedsim.program.outlines import Loop, outer, without_skirt

LEVEL = 1e-3  # mm: heights of stations that differ by less are one
DIGITS = 6  # of a height in mm that is no rounding of sums
FIRST_APPROACH = 5.0  # mm above the first station from where it is reached at most
PRIMING = (
    0.5  # share of the first layer's material below which a line laid ahead and higher primes the nozzle
)

STATION_COLUMNS: tuple[tuple[str, str], ...] = (
    ("height_mm", "mm"),
    ("thickness_mm", "mm"),
    ("first", "1"),
    ("hop_mm", "mm"),
    ("hop_dwell_s", "s"),
    ("settle_s", "s"),
    ("printing_s", "s"),
    ("after_s", "s"),
    ("extruded_mm", "mm"),
    ("centre_x_mm", "mm"),
    ("centre_y_mm", "mm"),
    ("hops_inside", "1"),
    ("line", "1"),
    ("speed_mm_s", "mm/s"),
    ("back_mm_s", "mm/s"),
)
FIRST_COLUMNS = 13  # of these; what was written first had no speeds
OUTLINE_COLUMNS: tuple[tuple[str, str], ...] = (
    ("station", "1"),
    ("loop", "1"),
    ("x_mm", "mm"),
    ("y_mm", "mm"),
)
"""Points of outer walls; the first two rows are none: 0, line width mm, acceleration mm/s2, corner mm/s, and
0, least and most Z mm, 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a program does not say of its times and lines: acceleration mm/s2 and jump of speed at corners
    mm/s of X and Y, line width mm; `least` and `most` mm that Z may have."""

    acceleration: float
    corner: float
    width: float
    least: float = -np.inf
    most: float = np.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """Stations of a program (n,), in its own mm and seconds.

    `height` of what is laid and its `thickness`; `first`: number, from 1, of the first station of its
    object; `hop` above it from which it was reached and the wait there; `settle` from the end of the last
    motion of Z to the first line, `printing` from there to the end of the last, `after` from there to the
    next motion of Z; `extruded` length of E laid and its centre `x`, `y`; `hops_inside`: how often Z rises
    between its lines; `line` of the file where it begins; `speed` at which Z moves there, up to the end of a
    hop, and `back` from it, as its words F say, 0 where none does.  `outlines` (p, 4): station from 1, loop,
    x, y.
    `passed`: words passed on, with how often; `primed`: stretches ahead of the part that are left out;
    `settings`: how it was read.
    """

    height: Array
    thickness: Array
    first: Array
    hop: Array
    hop_dwell: Array
    settle: Array
    printing: Array
    after: Array
    extruded: Array
    x: Array
    y: Array
    hops_inside: Array
    line: Array
    speed: Array
    back: Array
    outlines: Array
    passed: Mapping[str, int]
    primed: int
    settings: Settings

    def __eq__(self, other: object) -> bool:
        """Whether the same is laid, read in the same way."""
        return isinstance(other, Laid) and self._digest == other._digest

    def __hash__(self) -> int:
        """Of all that is laid."""
        return hash(self._digest)

    @cached_property
    def _digest(self) -> bytes:
        return sha256(b"".join(table.tobytes() for table in self.tables("").values())).digest()

    @property
    def count(self) -> int:
        """Number of stations."""
        return self.height.size

    def tables(self, name: str) -> dict[str, Array]:
        """As two tables to be kept beside a run."""
        columns = [getattr(self, f.name) for f in fields(self)[: len(STATION_COLUMNS)]]
        kept = self.settings
        head = np.array(
            [[0.0, kept.width, kept.acceleration, kept.corner], [0.0, kept.least, kept.most, 0.0]]
        )
        return {name: np.stack(columns, axis=1), outline_name(name): np.concatenate([head, self.outlines])}

    def loops(self, station: int) -> list[Array]:
        """Points (p, 2) mm of the outer walls of a station, counted from 1."""
        rows = self.outlines[self.outlines[:, 0] == station]
        return [rows[rows[:, 1] == k, 2:] for k in np.unique(rows[:, 1])]

    def grown(self, count: int, thickness: float) -> Laid:
        """So many stations: those beyond its own are like the last, of a `thickness` mm, and lay nothing:
        what is printed weighs what it weighs."""
        more = count - self.count
        if more <= 0:
            return self
        names = [f.name for f in fields(self)[: len(STATION_COLUMNS)]]
        columns: dict[str, Any] = {
            name: np.append(getattr(self, name), np.repeat(getattr(self, name)[-1:], more)) for name in names
        }
        columns["height"][self.count :] += thickness * np.arange(1, more + 1)
        columns["thickness"][self.count :] = thickness
        columns["extruded"][self.count :] = 0.0
        return replace(self, **columns)

    def first_ones(self, count: int) -> Laid:
        """The first stations alone."""
        columns = {f.name: getattr(self, f.name)[:count] for f in fields(self)[: len(STATION_COLUMNS)]}
        return replace(self, **columns, outlines=self.outlines[self.outlines[:, 0] <= count])


def outline_name(name: str) -> str:
    """What the table of outlines is called beside that of stations."""
    return f"{name} outlines"


def from_tables(stations: Array, outlines: Array) -> Laid:
    """A program as it was kept; the first files had neither speeds nor limits of Z."""
    names = [f.name for f in fields(Laid)][: len(STATION_COLUMNS)]
    speeds = np.zeros((len(stations), len(names) - stations.shape[1]))
    columns = dict(zip(names, np.concatenate([stations, speeds], axis=1).T, strict=True))
    width, acceleration, corner = (float(value) for value in outlines[0, 1:])
    heads = np.flatnonzero(outlines[:, 0] == 0)
    least, most = (float(value) for value in outlines[1, 1:3]) if heads.size > 1 else (0.0, np.inf)
    settings = Settings(acceleration=acceleration, corner=corner, width=width, least=least, most=most)
    return Laid(**columns, outlines=outlines[heads.size :], passed={}, primed=0, settings=settings)


def laid_of(
    parts: Array,
    lifts: Array,
    found: Mapping[int, Sequence[Loop]],
    *,
    passed: Mapping[str, int],
    settings: Settings,
) -> Laid:
    """Stations from `parts` by block (rows as `reading._parts` makes them), motions of Z (row, begin s, end
    s, height, rise mm, speed mm/s) and loops by station from 0."""
    every = _joined(parts)
    primed = _primed(every)
    every = every[primed:]
    height = np.round(every[:, 1], DIGITS)
    first, thickness = _objects(height)
    reached = _reached(every, lifts)
    return Laid(
        height=height,
        thickness=thickness,
        first=first,
        hop=reached[:, 0],
        hop_dwell=reached[:, 1],
        settle=reached[:, 2],
        printing=every[:, 8] - every[:, 7],
        after=reached[:, 3],
        extruded=every[:, 2],
        x=every[:, 3] / every[:, 2],
        y=every[:, 4] / every[:, 2],
        hops_inside=reached[:, 4],
        line=every[:, 9],
        speed=reached[:, 5],
        back=reached[:, 6],
        outlines=_outlines(every[:, 0].astype(int), first, found),
        passed=passed,
        primed=primed,
        settings=settings,
    )


def _joined(parts: Array) -> Array:
    """One row per station: sums of what was laid, the first and the last of the rest."""
    first = np.flatnonzero(np.diff(parts[:, 0], prepend=-1) > 0)
    last = np.append(first[1:], parts.shape[0]) - 1
    every = parts[first].copy()
    every[:, 2:5] = np.add.reduceat(parts[:, 2:5], first, axis=0)
    every[:, (6, 8)] = parts[last][:, (6, 8)]
    return every


def _primed(every: Array) -> int:
    """How many stations ahead of the part prime the nozzle: little, and laid higher than what follows."""
    falls = np.flatnonzero(np.diff(every[:4, 1]) < -LEVEL)
    for k in falls[::-1] + 1:
        if every[:k, 2].sum() < PRIMING * every[k, 2]:
            return int(k)
    return 0


def _objects(height: Array) -> tuple[Array, Array]:
    """The first station of each one's object, from 1, and thicknesses.  An object begins where the height
    falls to that of the first station of the one before or below it; what lies under a station is the
    highest below it."""
    first, thickness = np.empty(height.size), np.empty(height.size)
    begin, below = 0, [0.0]
    for k, z in enumerate(height):
        if k and z < height[k - 1] and z <= height[begin] + LEVEL:
            begin, below = k, [0.0]
        under = bisect_left(below, z - LEVEL)
        thickness[k] = z - below[under - 1]
        first[k] = begin + 1
        if under == len(below) or below[under] > z + LEVEL:
            below.insert(under, float(z))
    return first, np.round(thickness, DIGITS)


def _reached(every: Array, lifts: Array) -> Array:
    """Of each station: hop, wait there, time to settle, time after it, hops inside, speed there and back."""
    found = np.zeros((every.shape[0], 7))
    row, begin, end, to = lifts[:, :4].T
    for k, (_, height, *_, first, last, starts, _, _) in enumerate(every):
        before = every[k - 1] if k else None
        low = np.searchsorted(row, before[6]) if before is not None else 0
        high, inner = np.searchsorted(row, first), np.searchsorted(row, last)
        if high > low:
            top = low + int(np.argmax(to[low:high]))
            found[k, 5:] = _pace(lifts[low:high])
            hop = max(float(to[top]) - height, 0.0)
            falls = before is not None and before[1] > height + LEVEL
            if hop > LEVEL and top + 1 < high and not falls:
                limit = FIRST_APPROACH if before is None else np.inf
                found[k, :2] = min(hop, limit), max(begin[top + 1] - end[top], 0.0)
                found[k, 5:] = _pace(lifts[low : top + 1]), _pace(lifts[top + 1 : high])
            found[k, 2] = max(starts - end[high - 1], 0.0)
            if before is not None:
                found[k - 1, 3] = max(begin[low] - before[8], 0.0)
        found[k, 4] = np.count_nonzero(to[high:inner] > height + LEVEL)
    return found


def _pace(lifts: Array) -> float:
    """Mean speed mm/s of motions of Z; 0 where a word F is missing."""
    rise, speed = np.abs(lifts[:, 4]), lifts[:, 5]
    return float(np.round(rise.sum() / (rise / speed).sum(), DIGITS)) if np.all(speed > 0) else 0.0


def _outlines(numbers: Array, first: Array, found: Mapping[int, Sequence[Loop]]) -> Array:
    """Points of the outer walls, station by station."""
    rows = [np.zeros((0, 4))]
    for k, number in enumerate(numbers):
        here = list(found.get(int(number), ()))
        if first[k] == k + 1 and k + 1 < len(numbers):
            here = without_skirt(here, outer(found.get(int(numbers[k + 1]), ())))
        for n, loop in enumerate(outer(here), start=1):
            size = loop.points.shape[0]
            rows.append(np.column_stack([np.full(size, k + 1.0), np.full(size, float(n)), loop.points]))
    return np.concatenate(rows)
