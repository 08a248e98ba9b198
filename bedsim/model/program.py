"""The motion program: what the bed is commanded to do, as pieces of cubic polynomials in time.

A move is a list of pieces (duration, acceleration, jerk); trapezoids of speed and jerk-limited S-curves are
both of this kind, and a new kind of segment is one more function that returns a `Profile`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.model.stations import Stations

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Largest vertical speed m/s, acceleration m/s2 and jerk m/s3 (0: no limit of jerk)."""

    speed: float
    acceleration: float
    jerk: float = 0.0

    def at_most(self, speed: float) -> Limits:
        """The same at no more than a speed m/s."""
        return self if speed >= self.speed else replace(self, speed=speed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """Commanded heights of the corners over time.

    `time` (k+1,) s breakpoints from 0; `coefficients` (k, 4, corners): height m = c0 + c1 t + c2 t^2 + c3 t^3
    with t from the piece's start; `move_start`, `move_end` (k, corners) m: the resting heights between which
    the piece runs.
    """

    time: Array
    coefficients: Array
    move_start: Array
    move_end: Array

    @property
    def duration(self) -> float:
        """Length of the profile, s."""
        return float(self.time[-1])

    @property
    def end(self) -> Array:
        """Height of the corners (corners,) m at the end."""
        return self.move_end[-1]

    def piece(self, time: Array) -> NDArray[np.int64]:
        """Index of the piece that holds each instant."""
        return np.clip(np.searchsorted(self.time, time, side="right") - 1, 0, self.time.size - 2)

    def height(self, time: Array) -> Array:
        """Height (t, corners) m."""
        return self._value(time, 0)

    def height_on(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Height (t, corners) m on the named pieces, whose ends belong to them."""
        return self._value(time, 0, piece)

    def speed(self, time: Array) -> Array:
        """Speed (t, corners) m/s."""
        return self._value(time, 1)

    def acceleration(self, time: Array, piece: NDArray[np.int64] | None = None) -> Array:
        """Acceleration (t, corners) m/s2; at a jump that of the piece named, by default the one that
        begins."""
        return self._value(time, 2, piece)

    def _value(self, time: Array, order: int, piece: NDArray[np.int64] | None = None) -> Array:
        k = self.piece(time) if piece is None else piece
        t = (np.clip(time, 0.0, self.duration) - self.time[k])[:, None]  # before and after it stands still
        return cubic(self.coefficients[k], t, order)

    def path(self, time: Array, start: float) -> Path:
        """The commanded path at `time` (t,) s of a profile that starts `start` s after the print began."""
        k = self.piece(time)
        return Path(
            time=start + time,
            height=self.height(time),
            move_start=self.move_start[k],
            move_end=self.move_end[k],
        )

    def cut(self, pieces: int) -> Profile:
        """The same motion in so many pieces, the longest cut in halves until they are as many."""
        found = self
        while found.time.size <= pieces:
            k = int(np.argmax(np.diff(found.time)))
            half = (found.time[k + 1] - found.time[k]) / 2
            rows = found.coefficients
            later = [cubic(rows[k], half, order) / math.factorial(order) for order in range(3)]
            twice = np.repeat(np.arange(rows.shape[0]), np.where(np.arange(rows.shape[0]) == k, 2, 1))
            rows = rows[twice]
            rows[k + 1, :3] = later
            found = Profile(
                time=np.insert(found.time, k + 1, found.time[k] + half),
                coefficients=rows,
                move_start=found.move_start[twice],
                move_end=found.move_end[twice],
            )
        return found


def cubic(coefficients: Array, t: Array | float, order: int) -> Array:
    """Cubics (..., 4, c) from the lowest power on, or their first or second derivative, at t."""
    c0, c1, c2, c3 = np.moveaxis(coefficients, -2, 0)
    if order == 0:
        return np.asarray(c0 + t * (c1 + t * (c2 + t * c3)))
    if order == 1:
        return np.asarray(c1 + t * (2 * c2 + 3 * c3 * t))
    return np.asarray(2 * c2 + 6 * c3 * t)


def move_pieces(distance: float, limits: Limits) -> list[tuple[float, float, float]]:
    """Pieces (duration s, acceleration at start m/s2, jerk m/s3) of a move over `distance` > 0 m from rest
    to rest.

    Trapezoid: v = min(v_max, sqrt(a d)).  S-curve: speeding up to v takes v/a + a/j, or 2 sqrt(v/j) where the
    acceleration is not reached; the whole covers v times that if there is no cruise.  Derivation:
    integration.
    """
    v, a, j = limits.speed, limits.acceleration, limits.jerk
    if j <= 0:
        v = min(v, math.sqrt(a * distance))
        ramp, cruise = v / a, distance / v - v / a
        pieces = [(ramp, a, 0.0), (cruise, 0.0, 0.0), (ramp, -a, 0.0)]
    else:
        v = min(v, _reachable_speed(distance, a, j))
        a = min(a, math.sqrt(v * j))
        rise, hold = a / j, v / a - a / j
        cruise = distance / v - (v / a + a / j)
        up = [(rise, 0.0, j), (hold, a, 0.0), (rise, a, -j)]
        down = [(t, -x, -y) for t, x, y in up]
        pieces = [*up, (cruise, 0.0, 0.0), *down]
    return [piece for piece in pieces if piece[0] > 1e-12]


def _reachable_speed(distance: float, a: float, j: float) -> float:
    """Speed at which an S-curve without cruise covers the distance."""
    low = (distance * math.sqrt(j) / 2) ** (2 / 3)
    if low <= a * a / j:
        return low
    b = a * a / j
    return (-b + math.sqrt(b * b + 4 * a * distance)) / 2


def move(start: Array, end: Array, limits: Limits) -> Profile:
    """All corners from `start` to `end` (corners,) m together, on a straight line; the longest way sets the
    pace."""
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    way = end - start
    distance = float(np.max(np.abs(way)))
    if distance == 0.0:
        return rest(start, 0.0)
    times, rows = [0.0], []
    s = v = 0.0
    for duration, a, j in move_pieces(distance, limits):
        rows.append((s, v, a / 2, j / 6))
        s += v * duration + a * duration**2 / 2 + j * duration**3 / 6
        v += a * duration + j * duration**2 / 2
        times.append(times[-1] + duration)
    coefficients = np.array(rows)[:, :, None] * (way / distance)
    coefficients[:, 0] += start
    k = len(rows)
    return Profile(
        time=np.array(times),
        coefficients=coefficients,
        move_start=np.broadcast_to(start, (k, start.size)),
        move_end=np.broadcast_to(end, (k, end.size)),
    )


def rest(height: Array, duration: float) -> Profile:
    """All corners at rest at `height` (corners,) m."""
    height = np.asarray(height, dtype=float)
    coefficients = np.zeros((1, 4, height.size))
    coefficients[0, 0] = height
    return Profile(
        time=np.array([0.0, duration]),
        coefficients=coefficients,
        move_start=height[None],
        move_end=height[None],
    )


def sequence(*profiles: Profile) -> Profile:
    """Profiles one after the other."""
    kept = [p for p in profiles if p.duration > 0] or [profiles[0]]
    offsets = np.cumsum([0.0] + [p.duration for p in kept])
    return Profile(
        time=np.concatenate([[0.0]] + [p.time[1:] + t for p, t in zip(kept, offsets[:-1], strict=True)]),
        coefficients=np.concatenate([p.coefficients for p in kept]),
        move_start=np.concatenate([p.move_start for p in kept]),
        move_end=np.concatenate([p.move_end for p in kept]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """The commanded motion of a print: its stations, counted from 1, and how the bed moves from one to the
    next."""

    stations: Stations
    limits: Limits
    corners: int
    run_in: float  # m, two leads
    approach: float  # m above the place from where layer 1 is approached

    @property
    def layers(self) -> int:
        """Number of stations."""
        return self.stations.count

    def height(self, layer: NDArray[np.int64] | int) -> Array:
        """Commanded height m of a layer against layer 1; of layer 0, from which that is reached, above it."""
        return -np.asarray(self.stations.depth[layer])

    @overload
    def start_time(self, layer: int) -> float: ...

    @overload
    def start_time(self, layer: NDArray[np.int64]) -> Array: ...

    def start_time(self, layer: NDArray[np.int64] | int) -> Any:
        """When a layer begins, s after layer 1."""
        return self.stations.begin[np.asarray(layer) - 1]

    def period(self, layer: int) -> float:
        """Time s from one layer change to the next."""
        return float(self.stations.period[layer - 1])

    def settle(self, layer: int) -> float:
        """Pause s between the end of the motion and printing."""
        return float(self.stations.settle[layer - 1])

    def at(self, limits: Limits) -> Program:
        """The same print with limits in the place of all speeds of its own."""
        none = np.full(self.layers, np.inf)
        return replace(self, limits=limits, stations=replace(self.stations, speed=none, back=none))

    def cut(self, layers: int) -> Program:
        """The same print stopped after so many layers."""
        return replace(self, stations=self.stations.cut(layers))

    def layer_change(self, layer: int) -> Profile:
        """From the layer before to `layer`: the step down, then a hop down and back if there is one.

        Layer 1 is reached like any other, from one layer above, so that it is a fair zero for the rest.
        """
        before, here = (np.full(self.corners, float(self.height(k))) for k in (layer - 1, layer))
        there, back = (
            self.limits.at_most(float(v[layer - 1])) for v in (self.stations.speed, self.stations.back)
        )
        step, hop = move(before, here, there), float(self.stations.hop[layer - 1])
        if hop == 0.0:
            return step
        low, dwell = here - hop, float(self.stations.hop_dwell[layer - 1])
        return sequence(step, move(here, low, there), rest(low, dwell), move(low, here, back))

    def start_up(self) -> Profile:
        """Run-in of two leads down and up, then the approach from above to where layer 1 starts."""
        top = np.full(self.corners, float(self.height(0)))
        low, high = top - self.run_in, top + self.approach
        return sequence(
            move(top, low, self.limits), move(low, high, self.limits), move(high, top, self.limits)
        )

    def turning_points(self, profile: Profile) -> Array:
        """Resting heights (m, corners) of a profile in order, start first: the path where speed does not
        matter."""
        ends = profile.move_end
        keep = np.append(np.any(np.diff(ends, axis=0) != 0, axis=1), True)
        return np.concatenate([profile.move_start[:1], ends[keep]])
