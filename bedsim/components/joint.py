"""What stands between nut and carriage: bolted, or free to move in the plane against a recentring force.

Planar stiffness from elements at (x_e, y_e) with stiffness k_e:

    K = sum_e B_e^T k_e B_e,   B_e = [1 0 -y_e; 0 1 x_e]        for (x, y, rotation) of nut against carriage

Torsional stiffness grows with the radius squared while lateral stiffness does not; elements on one side only
couple sideways motion to rotation, a mirrored pair cancels it.  Derivation: rigid-body motion of the
element's point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, point_motion, rotation_motion
from bedsim.components.row import Friction, Link, Stop
from bedsim.errors import ModelError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A joint that is not rigid, SI. `elements` (e, 2) m, `element_stiffness` (e,) N/m, `load_share` (e,)."""

    height: float
    elements: Array
    element_stiffness: Array
    load_share: Array
    rotation: float
    friction: float
    magnet_force: float
    breakaway: float
    damping: float
    travel: float
    stop: float
    axial: float


def element_matrix(point: Array) -> Array:
    """B_e (2, 3) of an element at `point` (2,) m."""
    x, y = point
    return np.array([[1.0, 0.0, -y], [0.0, 1.0, x]])


def planar_stiffness(elements: Array, stiffness: Array, rotation: float = 0.0) -> Array:
    """Stiffness (3, 3) for (x, y, rotation) from elements (e, 2) m of `stiffness` (e,) N/m, plus `rotation`
    N m/rad."""
    total = np.zeros((3, 3))
    for point, k in zip(elements, stiffness, strict=True):
        b = element_matrix(point)
        total += k * b.T @ b
    total[2, 2] += rotation
    return total


def ring(count: int, radius: float) -> Array:
    """Positions (count, 2) m of equal elements on a circle, the first towards +X."""
    angle = 2 * np.pi * np.arange(count) / count
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def planar_rows(coordinates: Coordinates, corner: int, height: float, axis_offset: Array) -> Array:
    """Jacobian (3, size): nut minus carriage at the joint's height in x, y and rotation."""
    size, first = coordinates.size, coordinates.carriage(corner)
    at = np.array([axis_offset[0], axis_offset[1], height])
    carriage = point_motion(size, first, at)
    rows = np.zeros((3, size))
    rows[:2] = -carriage[:2]
    rows[2] = -rotation_motion(size, first)[2]
    rows[0, first + 6] += 1.0
    rows[1, first + 7] += 1.0
    rows[2, first + 8] += 1.0
    return rows


def link(rows: Array, corner: int, joint: Joint, name: str) -> Link:
    """The planar link. Raises ModelError when nothing holds the nut against turning."""
    stiffness = planar_stiffness(joint.elements, joint.element_stiffness, joint.rotation)
    if np.linalg.eigvalsh(stiffness)[0] < 0 or stiffness[2, 2] <= 0:
        raise ModelError(
            f"{name}: nothing holds the nut against turning. Give the joint's elements a stiffness at a "
            "radius, or an anti-rotation part (rotation_nm_per_rad)."
        )
    damping = joint.damping * np.diag([1.0, 1.0, 0.0]) if joint.damping else None
    return Link(name=name, corner=corner, jacobian=rows, stiffness=stiffness, damping=damping)


def frictions(rows: Array, corner: int, joint: Joint, name: str) -> list[Friction]:
    """One planar friction contact per element, each with its share of the load and of the magnets' pull."""
    if joint.friction == 0.0:
        return []
    return [
        Friction(
            name=f"{name} element {e + 1}",
            corner=corner,
            jacobian=element_matrix(point) @ rows,
            command=np.zeros(2),
            breakaway=joint.breakaway,
            coefficient=joint.friction,
            load_share=float(share),
            preload=joint.magnet_force * float(share),
        )
        for e, (point, share) in enumerate(zip(joint.elements, joint.load_share, strict=True))
    ]


def stop(rows: Array, corner: int, joint: Joint, name: str) -> Stop:
    """The end of the joint's travel: a circle about its centre."""
    return Stop(
        name=f"{name} stop",
        corner=corner,
        jacobian=rows[:2],
        gap=joint.travel,
        stiffness=joint.stop,
        imposed_link=name,
    )


def rigid_map(coordinates: Coordinates, corner: int, height: float, axis_offset: Array) -> dict[int, Array]:
    """Constraint of a bolted joint: nut x, y, rotation as rows (size,) of the carriage's motions."""
    size, first = coordinates.size, coordinates.carriage(corner)
    carriage = point_motion(size, first, np.array([axis_offset[0], axis_offset[1], height]))
    turn = rotation_motion(size, first)[2]
    return {first + 6: carriage[0], first + 7: carriage[1], first + 8: turn}


def load_link(coordinates: Coordinates, corner: int, rows: Array, name: str) -> Link:
    """Geometric stiffness of the load on a displaced joint, as a link of four rows: tilt x, tilt y, joint x,
    joint y.

    The nut stands in the carriage's joint plane, so a carriage that is tilted by a while the joint is
    displaced by j sits lower by a_x j_y - a_y j_x; the load's potential is -F0 (a_x j_y - a_y j_x), its
    second derivative K_geo = -F0 (a_x j_y^T + j_y a_x^T - a_y j_x^T - j_x a_y^T).  Without it a height error
    by the bed's corner can have the wrong sign.  First order in the load; tilts small.
    """
    tilt = rotation_motion(coordinates.size, coordinates.carriage(corner))
    pattern = np.zeros((4, 4))
    pattern[0, 3] = pattern[3, 0] = -1.0
    pattern[1, 2] = pattern[2, 1] = 1.0

    def stiffness(nut_position: Array, load: Array) -> Array:
        return load[:, None, None] * pattern

    return Link(name=name, corner=corner, jacobian=np.vstack([tilt[:2], rows[:2]]), stiffness=stiffness)
