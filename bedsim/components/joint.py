"""What stands between nut and carriage: bolted, or free to move in the plane against a recentring force.

Planar stiffness from elements at (x_e, y_e) with stiffness k_e:

    K = sum_e B_e^T k_e B_e,   B_e = [1 0 -y_e; 0 1 x_e]        for (x, y, rotation) of nut against carriage

Torsional stiffness grows with the radius squared while lateral stiffness does not; elements on one side only
couple sideways motion to rotation, a mirrored pair cancels it.  Derivation: rigid-body motion of the
element's point.

The same B_e tells what is left of an element's travel: a nut that the load twists by psi moves an element at
the radius r by r psi before the screw pushes it anywhere.  Crossed slideways and a round pad on air move as a
whole: their turning is the give of their guide, or leaves the pad where it is, and uses up no travel.

The nut hangs on the screw below its joint: what stands on the joint is the corner's load less the nut.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, point_motion, rotation_motion
from bedsim.components.row import Friction, Link, Source, Stop
from bedsim.errors import ModelError

Array = NDArray[np.float64]

ROUNDING = 1e-9  # of the stiffest motion: what a motion that nothing holds may come out as


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A joint that is not rigid, SI.

    `elements` (e, 2) m with `element_stiffness` (e, 2, 2) N/m hold it; at `contacts` (k, 2) m it rubs, each
    with its `load_share` (k,); at `ends` (s, 2) m its travel ends.  `nut_weight` N hangs below it.
    """

    height: float
    elements: Array
    element_stiffness: Array
    contacts: Array
    load_share: Array
    ends: Array
    rotation: float
    friction: float
    magnet_force: float
    nut_weight: float
    breakaway: float
    damping: float
    travel: float
    stop: float
    axial: float

    @property
    def pressed(self) -> float:
        """What presses its plates together beside the corner's load, N: pull of magnets less the nut."""
        return self.magnet_force - self.nut_weight

    @property
    def planar(self) -> Array:
        """Stiffness (3, 3) for (x, y, rotation) of nut against carriage."""
        return planar_stiffness(self.elements, self.element_stiffness, self.rotation)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointPlace:
    """Where a joint stands in the machine: its corner by number and name, its `height` m above the bed
    surface, and the nut of `nut_mass` kg that hangs below it."""

    coordinates: Coordinates
    corner: int
    name: str
    height: float
    nut_mass: float

    @property
    def planar(self) -> Array:
        """Jacobian (3, size): nut minus carriage in x, y and rotation."""
        return planar_rows(self.coordinates, self.corner, self.height, np.zeros(2))

    @property
    def link_name(self) -> str:
        """Name of the joint's planar link: bores are imposed on it, and its excursion is told."""
        return f"{self.name}.joint"


@dataclass(frozen=True, slots=True, kw_only=True)
class JointRows:
    """What a joint adds to the machine.

    `links`: its springs, first the planar one of three rows (x, y, rotation of nut against carriage);
    `load`: what the corner's load does to a displaced joint, None where it does nothing; `constraint`:
    coordinates that follow others, as rows (size,).
    """

    links: list[Link] = field(default_factory=list)
    load: Link | None = None
    frictions: list[Friction] = field(default_factory=list)
    stops: list[Stop] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    constraint: dict[int, Array] = field(default_factory=dict)


def plate_rows(place: JointPlace, joint: Joint) -> JointRows:
    """Two plates that move on each other against springs, with a stop at every element."""
    rows, name = place.planar, place.link_name
    return JointRows(
        links=[link(rows, place.corner, joint, name)],
        load=load_link(place.coordinates, place.corner, rows, f"{place.name}.load", place.nut_mass),
        frictions=frictions(rows, place.corner, joint, name),
        stops=stops(rows, place.corner, joint, name),
    )


def bolted_rows(place: JointPlace) -> JointRows:
    """A nut that goes with its carriage."""
    coordinates, corner = place.coordinates, place.corner
    return JointRows(
        load=load_link(coordinates, corner, place.planar, f"{place.name}.load", place.nut_mass),
        constraint=rigid_map(coordinates, corner, place.height, np.zeros(2)),
    )


def element_matrix(point: Array) -> Array:
    """B_e (2, 3) of an element at `point` (2,) m."""
    x, y = point
    return np.array([[1.0, 0.0, -y], [0.0, 1.0, x]])


def planar_stiffness(elements: Array, stiffness: Array, rotation: float = 0.0) -> Array:
    """Stiffness (3, 3) for (x, y, rotation) from elements (e, 2) m of `stiffness` (e,) N/m, alike in all
    directions, or (e, 2, 2), plus `rotation` N m/rad."""
    total = np.zeros((3, 3))
    for point, k in zip(elements, stiffness, strict=True):
        b = element_matrix(point)
        total += b.T @ (k if np.ndim(k) == 2 else k * np.eye(2)) @ b
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
    stiffness = joint.planar
    if stiffness[2, 2] <= 0:
        raise ModelError(
            f"{name}: nothing holds the nut against turning. Give the joint's elements a stiffness at a "
            "radius, or an anti-rotation part (rotation_nm_per_rad)."
        )
    least, _, most = np.linalg.eigvalsh(stiffness)
    if least < -ROUNDING * most:
        raise ModelError(f"{name}: its loaded leaves buckle sideways. Make them thicker or shorter.")
    damping = joint.damping * np.diag([1.0, 1.0, 0.0]) if joint.damping else None
    return Link(part="joint", name=name, corner=corner, jacobian=rows, stiffness=stiffness, damping=damping)


def frictions(rows: Array, corner: int, joint: Joint, name: str) -> list[Friction]:
    """One planar friction contact per place, each with its share of what stands on the joint."""
    if joint.friction == 0.0:
        return []
    return [
        Friction(
            name=f"{name} element {e + 1}",
            part="joint",
            corner=corner,
            jacobian=element_matrix(point) @ rows,
            command=np.zeros(2),
            breakaway=joint.breakaway,
            coefficient=joint.friction,
            load_share=float(share),
            preload=joint.pressed * float(share),
        )
        for e, (point, share) in enumerate(zip(joint.contacts, joint.load_share, strict=True))
    ]


def stops(rows: Array, corner: int, joint: Joint, name: str) -> list[Stop]:
    """The ends of the joint's travel: a circle about the middle of every element's way.

    They share the stop's stiffness: a joint that is pushed aside without turning meets all of it.
    """
    return [
        Stop(
            name=f"{name} stop {e + 1}",
            corner=corner,
            jacobian=element_matrix(point) @ rows,
            gap=joint.travel,
            stiffness=joint.stop / len(joint.ends),
            imposed_link=name,
            imposed_map=element_matrix(point),
        )
        for e, point in enumerate(joint.ends)
    ]


def rigid_map(coordinates: Coordinates, corner: int, height: float, axis_offset: Array) -> dict[int, Array]:
    """Constraint of a bolted joint: nut x, y, rotation as rows (size,) of the carriage's motions."""
    size, first = coordinates.size, coordinates.carriage(corner)
    carriage = point_motion(size, first, np.array([axis_offset[0], axis_offset[1], height]))
    turn = rotation_motion(size, first)[2]
    return {first + 6: carriage[0], first + 7: carriage[1], first + 8: turn}


def load_link(coordinates: Coordinates, corner: int, rows: Array, name: str, nut_mass: float = 0.0) -> Link:
    """Geometric stiffness of the load on a displaced joint, as a link of four rows: tilt x, tilt y, joint x,
    joint y. `nut_mass` kg hangs on the screw alone.

    The nut stands in the carriage's joint plane, so a carriage that is tilted by a while the joint is
    displaced by j sits lower by a_x j_y - a_y j_x; the load's potential is -F0 (a_x j_y - a_y j_x), its
    second derivative K_geo = -F0 (a_x j_y^T + j_y a_x^T - a_y j_x^T - j_x a_y^T).  F0 is what stands on the
    joint: the nut stays where the screw has it.  Without it a height error by the bed's corner can have the
    wrong sign.  First order in the load; tilts small.
    """
    tilt = rotation_motion(coordinates.size, coordinates.carriage(corner))
    pattern = np.zeros((4, 4))
    pattern[0, 3] = pattern[3, 0] = -1.0
    pattern[1, 2] = pattern[2, 1] = 1.0

    def stiffness(nut_position: Array, load: Array) -> Array:
        return load[:, None, None] * pattern

    return Link(
        part="load",
        name=name,
        corner=corner,
        jacobian=np.vstack([tilt[:2], rows[:2]]),
        stiffness=stiffness,
        beside=nut_mass,
    )
