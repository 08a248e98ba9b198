"""Contacts solved over a window of time: forces and motions at all corners of a polygon, iterated to a
tolerance.

Within a window the forces of all rows are polygons in time, and their motions follow exactly.  Each sweep
takes the motions of the last one, integrates every bristle along its path, and feeds the forces back.  Forces
act on motions through inertia, so each sweep settles the corners from the front: where the sweeps do not
converge over the whole window, the corners that have settled are kept and the next window begins there.

The bristle's law over one space, in breakaway travels, with the path X by Simpson's rule on the speeds at
both corners and in the middle of the cubic through them:

    phi1 = phi0 exp(-X) + D (1 - exp(-X))/X
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.exponential import Corners
from bedsim.engines.modes import LayerModes, Rows

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

SWEEPS = 12
SLOWEST = 0.2  # slow contacts hide behind quick ones: no faster convergence is counted on
LONGEST_PATH = 600.0  # breakaways in one window: beyond it a sweep has gone astray
LEAST_PATH = 1e-9  # breakaways: keeps (1 - exp(-X))/X defined where nothing moves


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Rows at the corners from the modes: `place` (s, 2n, w) from (Re u, Im u), `local` (s, w, w) and `push`
    (s, w, n).

    w rows: bristles alone, or all of them.
    """

    push: Array
    place: Array
    local: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Tables of one layer for one spacing; `speed` (s, 2n, b): speeds of the bristle rows times spacing/6."""

    layer: LayerModes
    corners: Corners
    speed: Array
    bristles: Tables
    all: Tables

    @property
    def longest(self) -> int:
        """Most spaces in one window."""
        return self.corners.weight.shape[1]


def grid(layer: LayerModes, spacing: float, longest: int) -> Grid:
    """Tables for windows of at most `longest` spaces."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    table = exponential.corners(layer.frequency, layer.damping, spacing, longest)
    s, n, z = rows.place.shape
    to_speed = np.stack([-layer.damping, -exponential.damped(layer.frequency, layer.damping)], axis=2)
    place = np.zeros((s, n, 2, z))
    place[:, :, 0] = rows.place
    place[..., b : b + d] = to_speed[..., None] * rows.place[:, :, None, b : b + d]
    to_rows = place.reshape(s, 2 * n, z)
    speed = to_speed[..., None] * (rows.place[:, :, None, :b] * (spacing / 6))
    local = (rows.push * table.last[:, None]).view(float) @ to_rows
    few = slice(None, b)
    return Grid(
        layer=layer,
        corners=table,
        speed=speed.reshape(s, 2 * n, b),
        bristles=Tables(
            push=np.ascontiguousarray(rows.push[:, few]),
            place=np.ascontiguousarray(to_rows[..., few]),
            local=np.ascontiguousarray(local[:, few, few]),
        ),
        all=Tables(push=rows.push, place=to_rows, local=local),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Known forcing on a grid of corners (t+1): amplitudes it alone causes, its rows, and commanded slip in
    breakaways.

    At rest there is one corner that stands for all.
    """

    amplitude: Complex  # (m, t+1, n)
    place: Array  # (m, t+1, z), commanded slip included
    speed: Array  # (m, t+1, b), likewise
    slip: Array  # (t+1, b)
    offset: Array  # (m, t+1, e)

    @property
    def at_rest(self) -> bool:
        """Whether one corner stands for all."""
        return self.amplitude.shape[1] == 1

    def corners(self, first: int, spaces: int) -> Known:
        """The part that a window needs."""
        if self.at_rest:
            return self
        here = slice(first, first + spaces + 1)
        return Known(
            amplitude=self.amplitude[:, here],
            place=self.place[:, here],
            speed=self.speed[:, here],
            slip=self.slip[here],
            offset=self.offset[:, here],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """The state between windows: modal amplitudes u (m, n), bristle deflections phi (m, b), row forces g (m,
    z)."""

    u: Complex
    phi: Array
    g: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Settled corners (m, k, n) of a window, the state at the last of them, and how it went.

    `impulse` (m, z): row forces over the window integrated, s; `path_error` breakaways, estimated.
    """

    amplitude: Complex
    end: Carried
    impulse: Array
    sweeps: int
    settled: int
    path_error: float

    @property
    def stiff(self) -> bool:
        """Whether contacts are too stiff for the spacing: hardly a corner settles."""
        return self.sweeps == SWEEPS and self.settled <= 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """Room for the sweeps of one window: fresh memory costs more here than the arithmetic in it."""

    place: Array  # (m, j+1, z)
    speeds: Array  # (m, 2j+1, b): at the corners, then in the middles
    squares: Array  # (m, 2j+1, b)
    increment: Array  # (m, j, b)
    grown: Array  # (m, j+1, b)
    phi: Array  # (m, j, b)
    path: Array  # (m, j, b)
    modal: Array  # (m, j, n)
    total: Complex  # (m, j, n)


@lru_cache(maxsize=64)
def desk(members: int, spaces: int, size: tuple[int, int, int], thread: int) -> Desk:
    """Room for a window of so many members and spaces, (bristles, rows, modes); one for each `thread`."""
    m, j, (b, rows, modes) = members, spaces, size
    return Desk(
        place=np.empty((m, j + 1, rows)),
        speeds=np.empty((m, 2 * j + 1, b)),
        squares=np.empty((m, 2 * j + 1, b)),
        increment=np.empty((m, j, b)),
        grown=np.empty((m, j + 1, b)),
        phi=np.empty((m, j, b)),
        path=np.empty((m, j, b)),
        modal=np.empty((m, j, modes)),
        total=np.empty((m, j, modes), dtype=complex),
    )


def solve(
    grid: Grid, known: Known, room: Desk, now: Carried, tolerance: float, alone: bool = True
) -> Outcome:
    """A window as long as its `room`; `alone`: bristles alone act if the motion with the old forces meets no
    stop.

    Unknown is what the forces g have changed by since the window began; with the old forces kept the motion
    is known.
    """
    rows, b, spaces = grid.layer.rows, grid.layer.rows.bristles, room.phi.shape[1]
    held = grid.layer.resting((now.g[:, None] @ rows.push)[:, 0])
    free = grid.corners.power[:, : spaces + 1] * (now.u - known.amplitude[:, 0] + held)[:, None]
    free -= held[:, None]
    place, speed = free.view(float) @ grid.all.place, free.view(float) @ grid.speed
    place += known.place
    speed += known.speed
    alone = alone and _alone(rows, place, known, now)
    use = grid.bristles if alone else grid.all
    change, found = np.zeros((2, now.u.shape[0], spaces, use.push.shape[1]))
    offset = known.offset if known.at_rest else known.offset[:, 1:]
    before, sweep, settled = 0.0, 0, 0
    while sweep < SWEEPS:
        sweep += 1
        seen = _seen(grid, use, place, speed, change if sweep > 1 else None, room)
        _bristles(rows, seen[..., :b], now.phi, room)
        np.subtract(room.phi, seen[:, 1:, :b], out=found[..., :b])
        if not known.at_rest:
            found[..., :b] += known.slip[1:]
        if not alone:
            found[..., b:] = rows.others(seen[:, 1:, b:], offset)
        found -= now.g[:, None, : found.shape[2]]
        np.abs(np.subtract(change, found, out=change), out=change)
        change, found = found, change
        size = float(found.max(initial=0.0))
        rate = size / before if before > 0 else 1.0
        before = size
        if size <= tolerance or (rate < 0.5 and size * max(rate, SLOWEST) <= tolerance):
            settled = spaces
            break
    else:
        settled = int(np.argmax(np.append(found.max(axis=(0, 2), initial=0.0) > tolerance, True)))
    done = _ended(grid, use, known, free, change, room, now, (sweep, settled))
    if alone and rows.size > b and settled:
        others = done.amplitude.view(float) @ grid.all.place[..., b:]
        if not rows.idle(others, offset if known.at_rest else offset[:, :settled]):
            return solve(grid, known, room, now, tolerance, alone=False)
    return done


def _alone(rows: Rows, place: Array, known: Known, now: Carried) -> bool:
    """Whether only bristles act: no dampers, and no elastic element is touched by motions with the old forces
    kept."""
    b = rows.bristles
    if rows.size == b:
        return True
    return rows.dampers == 0 and not now.g[:, b:].any() and rows.idle(place[..., b:], known.offset)


def _seen(grid: Grid, use: Tables, place: Array, speed: Array, change: Array | None, room: Desk) -> Array:
    """Places (m, j+1, w) under the changed forces; speeds go to the first half of `room.speeds`.

    What the changes add to speeds is taken from differences: it is smooth, and counts only where a bristle
    reverses.
    """
    b, w = speed.shape[2], use.push.shape[1]
    j = speed.shape[1] - 1
    if change is None:
        room.speeds[:, : j + 1] = speed
        return place[..., :w]
    seen = room.place[..., :w]
    change = _rounded(change)
    np.matmul(change, use.push, out=room.modal)
    _sums(grid.corners, room.modal, room.total)
    moved = room.total.view(float) @ use.place
    moved += change @ use.local
    seen[:, 0] = place[:, 0, :w]
    np.subtract(place[:, 1:, :w], moved, out=seen[:, 1:])
    by_change = moved[..., :b]
    by_change *= 1 / 12
    speeds = room.speeds[:, : j + 1]
    speeds[:] = speed
    if j == 1:
        speeds[:, 1] -= 4 * by_change[:, 0]
        return seen
    speeds[:, 1:j] -= by_change[:, 1:]
    speeds[:, 2:j] += by_change[:, : j - 2]
    speeds[:, j] -= 3 * by_change[:, j - 1] - 4 * by_change[:, j - 2]
    if j > 2:
        speeds[:, j] -= by_change[:, j - 3]
    return seen


def _ended(
    grid: Grid,
    use: Tables,
    known: Known,
    free: Complex,
    change: Array,
    room: Desk,
    now: Carried,
    course: tuple[int, int],
) -> Outcome:
    """The motions that belong to the settled changes of force."""
    sweeps, k = course
    if k == 0:
        none = np.zeros((now.u.shape[0], 0, now.u.shape[1]), dtype=complex)
        return Outcome(
            amplitude=none, end=now, impulse=0 * now.g, sweeps=sweeps, settled=0, path_error=np.inf
        )
    change = change[:, :k]
    p = _rounded(change) @ use.push
    total = room.total[:, :k]
    _sums(grid.corners, p, total)
    u = free[:, 1 : k + 1]
    u -= total
    u -= grid.corners.last[:, None] * p
    u += known.amplitude if known.at_rest else known.amplitude[:, 1 : k + 1]
    g, impulse = now.g.copy(), k * now.g
    w = change.shape[2]
    g[:, :w] += change[:, -1]
    impulse[:, :w] += change.sum(axis=1) - change[:, -1] / 2
    return Outcome(
        amplitude=u,
        end=Carried(u=u[:, -1].copy(), phi=room.phi[:, k - 1].copy(), g=g),
        impulse=grid.corners.spacing * impulse,
        sweeps=sweeps,
        settled=k,
        path_error=_path_error(grid.layer.rows, room, k),
    )


def _sums(table: Corners, p: Array, total: Complex) -> None:
    """Amplitudes caused by modal forces p (m, j, n) before each corner, into `total`."""
    j = p.shape[1]
    total[:, 0] = 0.0
    np.multiply(p[:, :-1], table.weight[:, : j - 1], out=total[:, 1:])
    np.cumsum(total, axis=1, out=total)
    total *= table.power[:, 1 : j + 1]


def _rounded(change: Array) -> Array:
    """Corner values whose polygon has the same integral as the smooth curve through `change` (m, j, w).

    A polygon through a curve exceeds its mean by spacing^2/12 times its curvature: a twelfth of the second
    difference.
    """
    if change.shape[1] < 3:
        return change
    found = np.empty_like(change)
    inner = found[:, 1:-1]
    np.add(change[:, 2:], change[:, :-2], out=inner)
    inner *= -1 / 12
    inner += (7 / 6) * change[:, 1:-1]
    found[:, 0], found[:, -1] = change[:, 0], change[:, -1]
    return found


def _bristles(rows: Rows, place: Array, phi: Array, room: Desk) -> None:
    """Deflections at the corners and the path of each space, into `room`, from its speeds and places (m, j+1,
    b)."""
    j = room.phi.shape[1]
    speeds, squares, increment, path, grown = room.speeds, room.squares, room.increment, room.path, room.grown
    np.subtract(place[:, 1:], place[:, :-1], out=increment)
    middle = speeds[:, j + 1 :]
    np.subtract(increment, speeds[:, :j], out=middle)
    middle -= speeds[:, 1 : j + 1]
    size = rows.length(speeds, squares)
    np.add(size[:, :j], size[:, 1 : j + 1], out=path)
    path += size[:, j + 1 :]
    np.maximum(path, LEAST_PATH, out=path)
    grown[:, 0] = 0.0
    np.cumsum(path, axis=1, out=grown[:, 1:])
    if grown[:, -1].max(initial=0.0) > LONGEST_PATH:
        np.minimum(grown, LONGEST_PATH, out=grown)
    np.exp(grown, out=grown)
    found = room.phi
    np.subtract(grown[:, 1:], grown[:, :-1], out=found)
    found /= path
    found *= increment
    np.cumsum(found, axis=1, out=found)
    found += phi[:, None]
    found /= grown[:, 1:]


def _path_error(rows: Rows, room: Desk, settled: int) -> float:
    """How much the path over the settled spaces changes if every other corner is left out: breakaways."""
    k = settled // 2 * 2
    if k == 0 or rows.bristles == 0:
        return 0.0
    speed = 2 * room.speeds[:, : k + 1 : 2]
    increment = room.increment[:, 0:k:2] + room.increment[:, 1:k:2]
    size = rows.length(speed, np.empty_like(speed))
    middle = increment - speed[:, 1:] - speed[:, :-1]
    coarse = rows.length(middle, np.empty_like(middle))
    total = coarse.sum(axis=1) + size[:, 1:].sum(axis=1) + size[:, :-1].sum(axis=1)
    return float(np.abs(total - room.path[:, :k].sum(axis=1)).max())
