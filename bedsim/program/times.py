"""How long the moves of a program take: feed, one acceleration, corners taken at a speed of their own.

A corner between unit directions u and v is passed at no more than `corner` / |u - v|: the speed then jumps
by `corner` (common practice of controllers that look ahead, no source).  With c_j the square of what corner
j, its two feeds and a stop there allow, and a ramp v^2 = v0^2 + 2 a s either way, the fastest that keeps to
all is

    v_i^2 = min over j of (c_j + 2 a |s_i - s_j|)

two running minima along the way s, exact (derivation: the least of all ramps through each c_j).  A block of
lines begins and ends at rest: one stop in some ten thousand moves.  The machine's own controller may differ
in all of this; what a station takes in time hardly moves the answers, what matters is the time from the end
of the bed's motion to the first line, which holds no corner.
"""

from __future__ import annotations

import numpy as np

from bedsim.program.lexer import Array
from bedsim.program.modes import ProgramRows

UNKNOWN_FEED = 50.0  # mm/s of moves that lay nothing before the first F word
LEAST_TURN = 1e-6


def durations(rows: ProgramRows, acceleration: float, corner: float) -> Array:
    """Seconds (r,) of every row, waits and moves of E alone too; `acceleration` mm/s2, `corner` mm/s."""
    feed = np.where(rows.feed > 0, rows.feed, UNKNOWN_FEED)
    alone = rows.moves & (rows.way == 0)
    seconds = rows.wait + np.where(alone, np.abs(rows.extruded) / feed, 0.0)
    path = np.flatnonzero(rows.moves & (rows.way > 0))
    if path.size == 0:
        return seconds
    way, v = rows.way[path], feed[path]
    begin, end = _directions(rows, path)
    turn = np.sqrt(((begin[1:] - end[:-1]) ** 2).sum(axis=1))
    stops = np.cumsum(alone | (rows.wait > 0))[path]
    most = np.minimum(np.minimum(v[1:], v[:-1]), corner / np.maximum(turn, LEAST_TURN))
    lifted = np.abs(rows.end[path, 2] - rows.start[path, 2]) > 0  # the bed moves from rest to rest
    most = np.where((np.diff(stops) > 0) | lifted[1:] | lifted[:-1], 0.0, most)
    square = np.concatenate([[0.0], most**2, [0.0]])
    ramp = 2 * acceleration * np.append(0.0, np.cumsum(way))
    square = np.minimum.accumulate(square - ramp) + ramp
    square = np.minimum.accumulate((square + ramp)[::-1])[::-1] - ramp
    square = np.maximum(square, 0.0)
    seconds[path] += _ramped(way, v, square[:-1], square[1:], acceleration)
    return seconds


def _ramped(way: Array, feed: Array, before: Array, after: Array, acceleration: float) -> Array:
    """Seconds of moves between two squared speeds, at most at their feed (integration)."""
    top = np.sqrt(np.minimum(feed**2, (before + after) / 2 + acceleration * way))
    ramps = (2 * top - np.sqrt(before) - np.sqrt(after)) / acceleration
    cruise = (way - (2 * top**2 - before - after) / (2 * acceleration)) / top
    return np.asarray(np.maximum(ramps, 0.0) + np.maximum(cruise, 0.0))


def _directions(rows: ProgramRows, path: np.ndarray) -> tuple[Array, Array]:
    """Unit directions (m, 3) in which moves begin and end."""
    step = rows.end[path] - rows.start[path]
    begin = step / rows.way[path, None]
    end = begin.copy()
    arcs = np.flatnonzero(rows.sweep[path] != 0)
    if arcs.size:
        k = path[arcs]
        turn = np.sign(rows.sweep[k])[:, None]
        rise = step[arcs, 2] / rows.way[k]
        for found, place in ((begin, rows.start[k, :2]), (end, rows.end[k, :2])):
            out = place - rows.centre[k]
            tangent = np.stack([-out[:, 1], out[:, 0]], axis=1) * turn
            found[arcs, :2] = tangent / np.hypot(*out.T)[:, None] * np.sqrt(1 - rise**2)[:, None]
            found[arcs, 2] = rise
    return begin, end
