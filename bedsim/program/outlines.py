"""Where a part's walls stand: closed runs of laid lines.

A run of lines that closes (its ends nearer than 1.5 line widths) and encloses more than 0.6 of what its own
width covers is a loop: a zigzag that fills comes back on itself and encloses little.  Of the loops of a
station those count that stand in no larger one: every island, no hole, no inner wall.  A wall is one also
where it is broken by a stretch without material; a thin wall that does not close is not found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from bedsim.program.lexer import Array, Index, Mask

GAP, FILL = 1.5, 0.6  # line widths between the ends of a loop; share of width x length that it must enclose
ARC_STEP = np.radians(6.0)
MOST_POINTS = 240  # of a loop: about a millimetre apart at the walls of a part of 60 mm
MOST_LOOPS = 200  # of a station
ALIKE = 0.1  # share of its area by which a loop may differ from the one above


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """Moves in the plane (m,), in order: `start`, `end`, `centre` (m, 2) mm, `sweep` rad (0: straight),
    whether each `lays`, at which `station` (from 0), and its `feed` mm/s (0: a G0, or one that moves Z)."""

    start: Array
    end: Array
    centre: Array
    sweep: Array
    lays: Mask
    station: Index
    feed: Array

    def part(self, which: slice) -> Lines:
        """Some of them."""
        return Lines(**{f.name: getattr(self, f.name)[which] for f in fields(self)})


def joined_lines(parts: Sequence[Lines]) -> Lines:
    """One after the other."""
    return Lines(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Lines)})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed line: its `station` from 0, the `area` it encloses in mm2, counter-clockwise positive, its
    points (p, 2) mm."""

    station: int
    area: float
    points: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Runs:
    """Runs of lines without a break: `rows` of all, where in them each has its `first` and `last`."""

    rows: Index
    first: Index
    last: Index

    def begin(self) -> Index:
        """The first line of each."""
        return self.rows[self.first]

    def end(self) -> Index:
        """The last line of each."""
        return self.rows[self.last]


def loops(lines: Lines, width: float, *, ended: bool = True) -> tuple[list[Loop], int]:
    """The loops among lines of `width` mm, and the first line of a wall that may go on behind them; nothing
    goes on where the lines have `ended`."""
    runs = _laid_runs(lines)
    if runs.rows.size == 0:
        return [], lines.lays.size
    closed, area = _closed(lines, runs, width)
    joined, last_open = _joined(lines, runs, closed, width)
    goes_on = not ended and (not closed[-1] or bool(lines.lays[-1]))
    keep = int(last_open if not closed[-1] else runs.begin()[-1]) if goes_on else lines.lays.size
    found = _taken(lines, runs, closed, area, keep)
    if joined.rows.size:
        found += _taken(lines, joined, *_closed(lines, joined, width), keep)
    return found, keep


def _laid_runs(lines: Lines) -> _Runs:
    laid = np.flatnonzero(lines.lays)
    run = np.cumsum(~lines.lays)[laid]
    new = np.append(True, (np.diff(run) > 0) | (np.diff(lines.station[laid]) > 0))
    first = np.flatnonzero(new[: laid.size])
    return _Runs(rows=laid, first=first, last=np.append(first[1:], laid.size) - 1)


def _closed(lines: Lines, runs: _Runs, width: float) -> tuple[Mask, Array]:
    """Whether each run is a loop, and the area it encloses."""
    start, end, sweep = lines.start[runs.rows], lines.end[runs.rows], lines.sweep[runs.rows]
    origin = np.repeat(start[runs.first], runs.last - runs.first + 1, axis=0)
    a, b = start - origin, end - origin
    radius = np.hypot(*(start - lines.centre[runs.rows]).T)
    bulge = np.where(sweep != 0, radius**2 * (sweep - np.sin(sweep)) / 2, 0.0)
    area = np.add.reduceat((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2 + bulge, runs.first)
    way = np.where(sweep != 0, radius * np.abs(sweep), np.hypot(*(end - start).T))
    length = np.add.reduceat(way, runs.first)
    gap = np.hypot(*(end[runs.last] - start[runs.first]).T)
    return (gap < GAP * width) & (np.abs(area) > FILL * width * length), area


def _taken(lines: Lines, runs: _Runs, closed: Mask, area: Array, keep: int) -> list[Loop]:
    """The loops among runs ahead of line `keep`."""
    return [
        Loop(
            station=int(lines.station[runs.begin()[k]]),
            area=float(area[k]),
            points=_points(lines, runs.rows[runs.first[k] : runs.last[k] + 1]),
        )
        for k in np.flatnonzero(closed & (runs.begin() < keep))
    ]


def _joined(lines: Lines, runs: _Runs, closed: Mask, width: float) -> tuple[_Runs, int]:
    """Open runs that go on behind a stretch without material, with what lies between them, and the line with
    which the last of them begins.

    One goes on where it ended (material was drawn back there; a way aside does not count), or where moves at
    its own feed lead: a travel has another, or is a G0.
    """
    begin, end = runs.begin(), runs.end()
    laid_before = np.maximum.accumulate(np.where(lines.lays, np.arange(lines.lays.size), -1))
    unlike = ~lines.lays & (lines.feed != lines.feed[np.maximum(laid_before, 0)])
    stops = np.append(np.flatnonzero(lines.lays | unlike), lines.lays.size)
    follows = stops[np.searchsorted(stops, end + 1)] - 1  # the last line at the run's own feed
    near = np.hypot(*(lines.start[begin[1:]] - lines.end[end[:-1]]).T) < GAP * width
    goes_on = ~closed[:-1] & ~closed[1:] & (near | (follows[:-1] + 1 == begin[1:]))
    goes_on &= np.diff(lines.station[begin]) == 0
    heads = np.flatnonzero(~closed & ~np.append(False, goes_on))
    tails = np.flatnonzero(~closed & ~np.append(goes_on, False))
    last_open = int(begin[heads[-1]]) if heads.size else 0
    more = (tails > heads) | (follows[tails] > end[tails])
    heads, tails = heads[more], tails[more]
    inside = np.zeros(lines.lays.size + 1, dtype=np.int64)
    np.add.at(inside, begin[heads], 1)
    np.add.at(inside, follows[tails] + 1, -1)
    rows = np.flatnonzero((np.cumsum(inside)[:-1] > 0) & ~unlike)
    first = np.searchsorted(rows, begin[heads])
    return _Runs(rows=rows, first=first, last=np.append(first[1:], rows.size) - 1), last_open


def _points(lines: Lines, which: Index) -> Array:
    """Points along some lines, arcs in steps; thinned where they are many."""
    sweep = lines.sweep[which]
    count = np.maximum(np.ceil(np.abs(sweep) / ARC_STEP).astype(int), 1)
    line = np.repeat(np.arange(which.size), count)
    share = (np.arange(line.size) - np.repeat(np.cumsum(count) - count, count)) / count[line]
    start, end, centre = (of[which][line] for of in (lines.start, lines.end, lines.centre))
    straight = start + share[:, None] * (end - start)
    angle, out = sweep[line] * share, start - centre
    turned = np.stack(
        [
            out[:, 0] * np.cos(angle) - out[:, 1] * np.sin(angle),
            out[:, 0] * np.sin(angle) + out[:, 1] * np.cos(angle),
        ],
        axis=1,
    )
    found = np.where(sweep[line, None] != 0, centre + turned, straight)
    if found.shape[0] > MOST_POINTS:
        found = found[np.linspace(0, found.shape[0], MOST_POINTS, endpoint=False).astype(int)]
    return np.asarray(found)


def outer(found: Sequence[Loop]) -> list[Loop]:
    """Those of one station's loops that stand in no larger one, the largest first."""
    kept: list[Loop] = []
    for loop in sorted(found, key=lambda one: -abs(one.area)):
        if len(kept) < MOST_LOOPS and not any(_inside(loop.points[0], one.points) for one in kept):
            kept.append(loop)
    return kept


def without_skirt(found: Sequence[Loop], above: Sequence[Loop]) -> list[Loop]:
    """A first station's loops that have a counterpart in the next, like in area and place; all of them
    where none has."""
    kept = [one for one in found if any(_alike(one, other) for other in above)]
    return kept or list(found)


def _alike(one: Loop, other: Loop) -> bool:
    low = np.maximum(one.points.min(axis=0), other.points.min(axis=0))
    high = np.minimum(one.points.max(axis=0), other.points.max(axis=0))
    both = float(np.prod(np.maximum(high - low, 0.0)))
    box = max(float(np.prod(np.ptp(p.points, axis=0))) for p in (one, other))
    return both > 0.8 * box and abs(abs(one.area) - abs(other.area)) < ALIKE * abs(other.area)


def _inside(point: Array, polygon: Array) -> bool:
    """Whether a point stands in a polygon: an odd number of its sides to the right (geometry)."""
    a, b = polygon, np.roll(polygon, -1, axis=0)
    across = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    a, b = a[across], b[across]
    x = a[:, 0] + (point[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool(np.count_nonzero(x > point[0]) % 2)
