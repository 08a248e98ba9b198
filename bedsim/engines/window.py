"""Contacts solved over a window of time: forces and motions at all corners of a polygon, iterated to a
tolerance.

Within a window the forces of all rows are polygons in time, and their motions follow exactly.  Each sweep
takes the
motions of the last one, integrates every bristle along its path, and feeds the forces back.  Forces act on
motions through
inertia, so each sweep settles the corners from the front: where the sweeps do not converge over the whole
window, the
corners that have settled are kept and the next window begins there.

The bristle's law over one space, in breakaway travels, with the path X by Simpson's rule on the speeds at
both corners and
in the middle of the cubic through them:

    phi1 = phi0 exp(-X) + D (1 - exp(-X))/X
"""

from __future__ import annotations

from dataclasses import dataclass

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
class Grid:
    """Tables of one layer for one spacing: `back` (s, 2n, b + b + o) rows from (Re u, Im u), `local` (s, z,
    b + b + o)."""

    layer: LayerModes
    corners: Corners
    back: Array
    local: Array

    @property
    def longest(self) -> int:
        """Most spaces in one window."""
        return self.corners.weight.shape[1]


def grid(layer: LayerModes, spacing: float, longest: int) -> Grid:
    """Tables for windows of at most `longest` spaces."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    table = exponential.corners(layer.frequency, layer.damping, spacing, longest)
    s, n, z = rows.place.shape
    by_speed = np.concatenate([rows.place[..., :b] * (spacing / 6), rows.place[..., b : b + d]], axis=2)
    back = np.zeros((s, n, 2, z + b))
    back[:, :, 0, :b] = rows.place[..., :b]
    back[:, :, 0, b : 2 * b + d] = -layer.damping[..., None] * by_speed
    back[:, :, 1, b : 2 * b + d] = -exponential.damped(layer.frequency, layer.damping)[..., None] * by_speed
    back[:, :, 0, 2 * b + d :] = rows.place[..., b + d :]
    back = back.reshape(s, 2 * n, z + b)
    at_once = (rows.push * table.last[:, None]).view(float)
    return Grid(layer=layer, corners=table, back=back, local=at_once @ back)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Known forcing on a grid of corners (t+1): amplitudes it alone causes, its rows, and commanded slip in
    breakaways.

    At rest there is one corner that stands for all.
    """

    amplitude: Complex  # (m, t+1, n)
    rows: Array  # (m, t+1, 2b + o), commanded slip included
    slip: Array  # (t+1, b)
    offset: Array  # (m, t+1, e)


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """The state between windows: modal amplitudes u (m, n), bristle deflections phi (m, b), row forces g (m,
    z)."""

    u: Complex
    phi: Array
    g: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Settled corners (m, k, n) of a window, the state at the last of them, sweeps taken, and the estimated
    path error."""

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


def solve(grid: Grid, known: Known, first: int, spaces: int, now: Carried, tolerance: float) -> Outcome:
    """A window of `spaces` from corner `first` of the known forcing.

    Unknown is what the forces g have changed by since the window began; with the old forces kept the motion
    is known.
    """
    rows, table = grid.layer.rows, grid.corners
    b, m = rows.bristles, now.u.shape[0]
    at_rest = known.amplitude.shape[1] == 1
    here = slice(0, 1) if at_rest else slice(first, first + spaces + 1)
    there = here if at_rest else slice(first + 1, first + spaces + 1)
    held = grid.layer.resting((now.g[:, None] @ rows.push)[:, 0])
    free = table.power[:, : spaces + 1] * (now.u - known.amplitude[:, here.start] + held)[:, None]
    free -= held[:, None]
    kept = free.view(float) @ grid.back
    kept += known.rows[:, here]
    slip, offset = known.slip[there], known.offset[:, here]
    idle = rows.size == b or rows.idle(kept[..., 2 * b :], offset)
    change = np.zeros((m, spaces, rows.size))
    total = np.empty((m, spaces, free.shape[2]), dtype=complex)
    seen, before = kept, 0.0
    for sweep in range(1, SWEEPS + 1):
        if sweep > 1:
            seen = np.empty_like(kept)
            seen[:, 0] = kept[:, 0]
            np.subtract(kept[:, 1:], _response(grid, change, total), out=seen[:, 1:])
        phi, path = _bristles(rows, seen[..., :b], seen[..., b : 2 * b], now.phi)
        found = np.empty_like(change)
        np.subtract(phi, seen[:, 1:, :b], out=found[..., :b])
        if not at_rest:
            found[..., :b] += slip
        if rows.size > b:
            found[..., b:] = rows.others(seen[:, 1:, 2 * b :], known.offset[:, there], idle)
        found -= now.g[:, None]
        change -= found
        np.abs(change, out=change)
        size = float(change.max(initial=0.0))
        miss, change = change, found
        rate = size / before if before > 0 else 1.0
        before = size
        if size <= tolerance or (rate < 0.5 and size * max(rate, SLOWEST) <= tolerance):
            if idle and rows.size > b and not rows.idle(seen[..., 2 * b :], offset):
                idle = False
                continue
            settled = spaces
            break
    else:
        settled = int(np.argmax(np.append(miss.max(axis=(0, 2), initial=0.0) > tolerance, True)))
    if settled == 0:
        return Outcome(
            amplitude=total[:, :0],
            end=now,
            impulse=np.zeros_like(now.g),
            sweeps=sweep,
            settled=0,
            path_error=np.inf,
        )
    k = settled
    u = free[:, 1 : k + 1]
    p = _rounded(change[:, :k]) @ rows.push
    _sums(table, p, total[:, :k])
    u -= total[:, :k]
    u -= table.last[:, None] * p
    u += known.amplitude if at_rest else known.amplitude[:, first + 1 : first + 1 + k]
    return Outcome(
        amplitude=u,
        end=Carried(u=u[:, -1].copy(), phi=phi[:, k - 1].copy(), g=now.g + change[:, k - 1]),
        impulse=table.spacing * (k * now.g + change[:, :k].sum(axis=1) - change[:, k - 1] / 2),
        sweeps=sweep,
        settled=k,
        path_error=_path_error(rows, seen[:, : k + 1], path[:, :k]),
    )


def _sums(table: Corners, p: Array, total: Complex) -> None:
    """Amplitudes caused by modal forces p (m, j, n) before each corner, into `total`."""
    j = p.shape[1]
    total[:, 0] = 0.0
    np.multiply(p[:, :-1], table.weight[:, : j - 1], out=total[:, 1:])
    np.cumsum(total, axis=1, out=total)
    total *= table.power[:, 1 : j + 1]


def _response(grid: Grid, change: Array, total: Complex) -> Array:
    """Rows (m, j, 2b + o) that the changes of force (m, j, z) move by."""
    change = _rounded(change)
    _sums(grid.corners, change @ grid.layer.rows.push, total)
    found = total.view(float) @ grid.back
    found += change @ grid.local
    return found


def _rounded(change: Array) -> Array:
    """Corner values whose polygon has the same integral as the smooth curve through `change` (m, j, z).

    A polygon through a curve exceeds its mean by spacing^2/12 times its curvature: a twelfth of the second
    difference.
    """
    found = change.copy()
    if change.shape[1] > 2:
        bend = change[:, 1:] - change[:, :-1]
        found[:, 1:-1] -= (bend[:, 1:] - bend[:, :-1]) / 12
    return found


def _bristles(rows: Rows, place: Array, speed: Array, phi: Array) -> tuple[Array, Array]:
    """Deflections (m, j, b) at the corners and the path of each space, from places and speeds x spacing/6
    (m, j+1, b)."""
    increment = place[:, 1:] - place[:, :-1]
    ends = speed[:, 1:] + speed[:, :-1]
    size = rows.length(speed)
    path = rows.length(increment - ends)
    path += size[:, 1:]
    path += size[:, :-1]
    np.maximum(path, LEAST_PATH, out=path)
    grown = np.zeros_like(place)
    np.cumsum(path, axis=1, out=grown[:, 1:])
    np.minimum(grown, LONGEST_PATH, out=grown)
    np.exp(grown, out=grown)
    found = grown[:, 1:] - grown[:, :-1]
    found /= path
    found *= increment
    np.cumsum(found, axis=1, out=found)
    found += phi[:, None]
    found /= grown[:, 1:]
    return found, path


def _path_error(rows: Rows, seen: Array, path: Array) -> float:
    """How much the path over the window changes if every other corner is left out: breakaways."""
    b = rows.bristles
    k = path.shape[1] // 2 * 2
    if k == 0 or b == 0:
        return 0.0
    place, speed = seen[:, : k + 1 : 2, :b], 2 * seen[:, : k + 1 : 2, b : 2 * b]
    size = rows.length(speed)
    coarse = rows.length(place[:, 1:] - place[:, :-1] - speed[:, 1:] - speed[:, :-1])
    total = coarse.sum(axis=1) + size[:, 1:].sum(axis=1) + size[:, :-1].sum(axis=1)
    return float(np.abs(total - path[:, :k].sum(axis=1)).max())
