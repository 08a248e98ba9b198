"""Where a part's walls stand: closed runs of laid lines.

A run of lines that closes (its ends nearer than 1.5 line widths) and encloses more than 0.6 of what its own
width covers is a loop: a zigzag that fills comes back on itself and encloses little.  Of the loops of a
station those count that stand in no larger one: every island, no hole, no inner wall.  A wall that is
broken by a stretch without material, and a thin wall that does not close, are not found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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
    whether each `lays`, at which `station` (from 0)."""

    start: Array
    end: Array
    centre: Array
    sweep: Array
    lays: Mask
    station: Index


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed line: its `station` from 0, the `area` it encloses in mm2, counter-clockwise positive, its
    points (p, 2) mm."""

    station: int
    area: float
    points: Array


def loops(lines: Lines, width: float) -> list[Loop]:
    """The loops among lines of `width` mm."""
    laid = np.flatnonzero(lines.lays)
    if laid.size == 0:
        return []
    run = np.cumsum(~lines.lays)[laid]
    new = np.append(True, (np.diff(run) > 0) | (np.diff(lines.station[laid]) > 0))
    first = np.flatnonzero(new)
    last = np.append(first[1:], laid.size) - 1
    start, end, sweep = lines.start[laid], lines.end[laid], lines.sweep[laid]
    origin = np.repeat(start[first], last - first + 1, axis=0)
    a, b = start - origin, end - origin
    radius = np.hypot(*(start - lines.centre[laid]).T)
    bulge = np.where(sweep != 0, radius**2 * (sweep - np.sin(sweep)) / 2, 0.0)
    area = np.add.reduceat((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2 + bulge, first)
    length = np.add.reduceat(np.where(sweep != 0, radius * np.abs(sweep), np.hypot(*(end - start).T)), first)
    gap = np.hypot(*(end[last] - start[first]).T)
    kept = np.flatnonzero((gap < GAP * width) & (np.abs(area) > FILL * width * length))
    return [
        Loop(
            station=int(lines.station[laid[first[k]]]),
            area=float(area[k]),
            points=_points(lines, laid[first[k] : last[k] + 1]),
        )
        for k in kept
    ]


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
