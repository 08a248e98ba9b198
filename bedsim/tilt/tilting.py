"""A bed tilted by its screws: where it goes with finite rotations, and what its mounts must give way.

The bed turns by a rotation vector w = (w_x, w_y, psi); w_x and w_y are asked for, and the point c is held at
its height:

    x_i = c + s + R(w) (p_i - c),  s = (s_x, s_y, 0),  R(w) = R_z(psi) R(w_x, w_y, 0)

s and psi are not driven by anything: they follow from the mounts, min sum_i k_along (e_i d_i)^2 + k_across
(n_i d_i)^2 with d_i the mount's shift x_i - p_i in the plan, e_i along the groove, n_i across.  Three free
grooves fix them exactly: n_i d_i = 0.  Screw i must lift by h_i = (x_i - p_i)_z, and its groove takes up e_i
d_i.
Source: rotation of a rigid body (Rodrigues); for three equal grooves at 120 degrees it is the motion of a
platform on three vertical planes with ball joints: no rotation about the vertical, centre shifted by (R/2)(1
- cos w) ([Carretero2000], [Bonev2002]).
Limits: carriages stay upright on their guides; bolted mounts are judged by the machine's stiffness instead.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from bedsim.errors import ModelError, SolverError
from bedsim.model.assembly import Machine

Array = NDArray[np.float64]

STEPS = 50
CLOSE = 1e-13  # m, rad
STEEPEST = np.pi / 4  # rad: no limit is looked for beyond


@dataclass(frozen=True, slots=True, kw_only=True)
class Supports:
    """Mounts `points` (n, 3) m, `direction` (n, 2) unit vectors along their grooves, stiffness (n,) N/m."""

    points: Array
    direction: Array
    along: Array
    across: Array

    @property
    def frame(self) -> Array:
        """Rows along and across (n, 2, 2)."""
        x, y = self.direction.T
        return np.stack([self.direction, np.stack([-y, x], axis=1)], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilted:
    """A tilted bed: `rotation` (3,) rad as a rotation vector, `pivot` (3,) m, `shift` (3,) m of the pivot.

    `lift` (n,) m of each mount, `give` (n, 2) m along and across each mount.
    """

    rotation: Array
    turn: Array  # (3, 3)
    pivot: Array
    shift: Array
    lift: Array
    give: Array

    @property
    def angle(self) -> float:
        """Tilt of the plane rad."""
        return float(np.arccos(np.clip(self.turn[2, 2], -1.0, 1.0)))

    def place(self, point: Array) -> Array:
        """Where points (..., 3) m of the level bed go."""
        moved = (np.asarray(point) - self.pivot) @ self.turn.T
        return self.pivot + self.shift + moved


def tilt(supports: Supports, about: Array, pivot: Array) -> Tilted:
    """Turn the bed by the rotation vector `about` (2,) rad in the plan, the `pivot` (3,) m held at its
    height.

    Raises ModelError when the mounts leave the bed free to slide.
    """
    asked = Rotation.from_rotvec([about[0], about[1], 0.0]).as_matrix()
    arms = (supports.points - pivot) @ asked.T
    weight = np.sqrt(np.stack([supports.along, supports.across], axis=1))
    weight = weight / weight.max()
    frame = supports.frame
    unknown = np.zeros(3)  # s_x, s_y, psi
    for _ in range(STEPS):
        c, s = np.cos(unknown[2]), np.sin(unknown[2])
        about_z = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        turned = arms @ about_z.T
        plan = turned[:, :2] + unknown[:2] + (pivot - supports.points)[:, :2]
        give = np.einsum("nij,nj->ni", frame, plan)
        by_turn = np.einsum("nij,nj->ni", frame, np.stack([-turned[:, 1], turned[:, 0]], axis=1))
        slope = np.concatenate([frame, by_turn[:, :, None]], axis=2)
        normal = (weight[:, :, None] * slope).reshape(-1, 3)
        step, _, rank, _ = np.linalg.lstsq(normal, -(weight * give).ravel(), rcond=1e-9)
        if rank < 3:
            raise ModelError("tilting: the mounts leave the bed free to slide or to turn on them")
        unknown = unknown + step
        if np.max(np.abs(step)) < CLOSE:
            return _tilted(supports, about_z @ asked, pivot, unknown)
    raise SolverError("tilting: no position of the bed found in which its mounts fit")


def _tilted(supports: Supports, turn: Array, pivot: Array, unknown: Array) -> Tilted:
    shift = np.array([unknown[0], unknown[1], 0.0])
    moved = pivot + shift + (supports.points - pivot) @ turn.T - supports.points
    return Tilted(
        rotation=Rotation.from_matrix(turn).as_rotvec(),
        turn=turn,
        pivot=np.asarray(pivot, dtype=float),
        shift=shift,
        lift=moved[:, 2],
        give=np.einsum("nij,nj->ni", supports.frame, moved[:, :2]),
    )


def tilt_of_heights(supports: Supports, height: Array) -> Tilted:
    """The tilt that follows from lifting the mounts by `height` (n,) m; for more than three the nearest
    plane.

    Newton's method on tilt and mean height.  Raises SolverError if none is found.
    """
    middle = supports.points.mean(axis=0)
    arms = supports.points[:, :2] - middle[:2]
    plane = np.linalg.pinv(np.stack([np.ones(len(arms)), arms[:, 1], -arms[:, 0]], axis=1))
    mean, about = 0.0, np.zeros(2)
    for _ in range(STEPS):
        found = tilt(supports, about, middle)
        left = plane @ (height - found.lift - mean)
        mean, about = mean + left[0], about + left[1:] * np.cos(found.angle)
        if np.max(np.abs(left)) < 1e-11:
            up = np.array([0.0, 0.0, mean])
            return Tilted(
                rotation=found.rotation,
                turn=found.turn,
                pivot=middle,
                shift=found.shift + up,
                lift=found.lift + mean,
                give=found.give,
            )
    raise SolverError("tilting: no plane found through the supports; one of them is too far from the others")


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltLimit:
    """Something that ends a tilt: `used` gives how much of `allowed` (SI) a tilted bed takes;
    `of_screw`: an end of a screw's length."""

    kind: str
    corner: str
    used: Callable[[Tilted], float]
    allowed: float
    of_screw: bool = False


GRID = np.concatenate([[0.0], np.geomspace(3e-3, STEEPEST, 12)])  # rad, between which limits are looked for


def passed_at(supports: Supports, limits: Sequence[TiltLimit], direction: Array, pivot: Array) -> Array:
    """Tilts (limits,) rad about the horizontal unit vector `direction` (2,) at which each limit is passed.

    Infinite for one that is not passed up to 45 degrees.
    """
    found = np.full(len(limits), np.inf)
    low = 0.0
    for high in GRID:
        bed = tilt(supports, high * direction, pivot)
        for k, limit in enumerate(limits):
            if np.isinf(found[k]) and limit.used(bed) > limit.allowed:
                found[k] = _between(supports, limit, direction, pivot, low, float(high))
        low = float(high)
    return found


def first_passed(
    supports: Supports, limits: Sequence[TiltLimit], direction: Array, pivot: Array
) -> tuple[int | None, float]:
    """Which limit is passed first, and the tilt rad; (None, infinite) if none is up to 45 degrees."""
    low = 0.0
    for high in GRID:
        bed = tilt(supports, high * direction, pivot)
        over = [k for k, limit in enumerate(limits) if limit.used(bed) > limit.allowed]
        if over:
            where = [_between(supports, limits[k], direction, pivot, low, float(high)) for k in over]
            first = int(np.argmin(where))
            return over[first], where[first]
        low = float(high)
    return None, float("inf")


def _between(
    supports: Supports, limit: TiltLimit, direction: Array, pivot: Array, low: float, high: float
) -> float:
    """Tilt rad between two at which a limit is passed."""

    def over(angle: float) -> float:
        return limit.used(tilt(supports, angle * direction, pivot)) - limit.allowed

    return 0.0 if low == high or over(low) > 0 else float(brentq(over, low, high, xtol=1e-7))


def commanded_pose(machine: Machine, bed: Tilted, height: Array) -> Array:
    """Displacement (size,) of all coordinates that a tilt commands, against the level machine; `height` (c,)
    m.

    Carriages go up and rotors turn with the height of their corner; carriages bolted to the bed follow it.
    """
    at = machine.coordinates
    u = machine.command @ height
    origin = bed.place(np.zeros(3))
    u[:3], u[3:6] = origin, bed.rotation
    u[6 : at.bed_size] = 0.0
    for i, axis in enumerate(machine.corner_position):
        first = at.carriage(i)
        if first in machine.kept:
            continue
        foot = np.array([axis[0], axis[1], 0.0])
        u[first : first + 3], u[first + 3 : first + 6] = bed.place(foot) - foot, bed.rotation
        if first + 6 not in machine.kept:
            u[first + 6 : first + 9] = machine.transform[first + 6 : first + 9] @ u[list(machine.kept)]
    return u


def strain(machine: Machine, bed: Tilted, height: Array) -> Array:
    """Extension (r,) of all rows in the commanded tilted pose, exact at the mounts, linear elsewhere.

    Motors follow their command; it strains nothing at the screws, which turn as much as their nut climbs.
    """
    u = commanded_pose(machine, bed, height)
    found = machine.full_rows @ u
    for link in machine.links:
        where = machine.slices[link.name]
        if link.part in ("motor", "axial", "belt"):
            found[where] = 0.0
    for i in range(len(machine.corner_names)):
        if ("mount", i) in machine.at_corner:
            row = machine.rows_at("mount", i).start
            found[row : row + 2] = bed.give[i]
            found[row + 2] = bed.lift[i] - height[i]
    return found


def screw_heights(machine: Machine, bed: Tilted) -> Array:
    """How far (c,) m each screw must lift for a tilt: its mount, or its own carriage where that is bolted."""
    height = bed.lift.copy()
    for i, axis in enumerate(machine.corner_position):
        if machine.coordinates.carriage(i) not in machine.kept:
            height[i] = bed.place(np.array([axis[0], axis[1], 0.0]))[2]
    return height


def turned_weight(machine: Machine, bed: Tilted, weights: Array, centres: Array) -> Array:
    """Generalised force (n,) N m by which weights (w,) N at `centres` (w, 3) m of the bed pull elsewhere when
    tilted.

    (R c - c) x F on the bed's rotations.  Source: statics of a body turned about its reference point.
    """
    wander = centres @ bed.turn.T - centres
    force = np.zeros(machine.coordinates.size)
    force[3], force[4] = -weights @ wander[:, 1], weights @ wander[:, 0]
    return force @ machine.transform
