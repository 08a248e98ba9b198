"""What holds the bed on a carriage: a ball in a groove, a bolted connection, or a flexure."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, planar_frame, point_motion, rotation_motion
from bedsim.components.row import Friction, Link

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """SI.

    `point` (3,) m in the machine; `direction` (2,) unit vector along the groove; `rotation` 0: no moment.
    `bolted`: the carriage goes with the bed; `grooved`: a seat that slides along that direction, rubs there
    and can be lifted out.
    """

    bolted: bool = False
    grooved: bool = False
    point: Array
    direction: Array
    radial: float
    tangential: float
    vertical: float
    rotation: float
    friction: float
    breakaway: float
    magnet_force: float


def bed_point(coordinates: Coordinates, point: Array, shapes: list[tuple[float, float, float]]) -> Array:
    """Jacobian (3, size) of a bed point; `shapes`: (value, d/dx, d/dy) of each plate shape there, vertical
    only."""
    rows = point_motion(coordinates.size, 0, point)
    for k, (value, _, _) in enumerate(shapes):
        rows[2, 6 + k] = value
    return rows


def bed_rotation(coordinates: Coordinates, shapes: list[tuple[float, float, float]]) -> Array:
    """Jacobian (3, size) of the bed's rotation at a point, the slopes of the plate shapes included."""
    rows = rotation_motion(coordinates.size, 0)
    for k, (_, by_x, by_y) in enumerate(shapes):
        rows[0, 6 + k] = by_y
        rows[1, 6 + k] = -by_x
    return rows


def rows(
    coordinates: Coordinates, corner: int, mount: Mount, axis: Array, shapes: list[tuple[float, float, float]]
) -> tuple[Array, Array]:
    """Jacobians (3, size) of displacement (along, across, vertical) and of rotation, bed minus carriage."""
    size, first = coordinates.size, coordinates.carriage(corner)
    local = mount.point - np.array([axis[0], axis[1], 0.0])
    moved = bed_point(coordinates, mount.point, shapes) - point_motion(size, first, local)
    turned = bed_rotation(coordinates, shapes) - rotation_motion(size, first)
    frame = np.vstack([planar_frame(mount.direction), [0.0, 0.0, 1.0]])
    return frame @ moved, turned


def link(displacement: Array, rotation: Array, corner: int, mount: Mount, name: str) -> Link:
    """A groove's three rows, and a flexure's three rotation rows."""
    stiffness = [mount.radial, mount.tangential, mount.vertical]
    jacobian = displacement
    if mount.rotation > 0:
        stiffness += [mount.rotation] * 3
        jacobian = np.vstack([displacement, rotation])
    return Link(part="mount", name=name, corner=corner, jacobian=jacobian, stiffness=np.diag(stiffness))


def friction(displacement: Array, corner: int, mount: Mount, carried: float, name: str) -> list[Friction]:
    """Friction along the groove under the bed's load alone.

    `carried` N: weight of carriage and nut, which hangs on the screw but not on the mount.
    """
    if mount.friction == 0.0 or not mount.grooved:
        return []
    return [
        Friction(
            name=f"{name} groove",
            part="mount",
            corner=corner,
            jacobian=displacement[:1],
            command=np.zeros(1),
            breakaway=mount.breakaway,
            coefficient=mount.friction,
            load_share=1.0,
            preload=mount.magnet_force - carried,
        )
    ]


def bolted_map(
    coordinates: Coordinates, corner: int, axis: Array, shapes: list[tuple[float, float, float]]
) -> dict[int, Array]:
    """Constraint of a bolted mount: the carriage's six motions as rows (size,) of the bed's."""
    first = coordinates.carriage(corner)
    moved = bed_point(coordinates, np.array([axis[0], axis[1], 0.0]), shapes)
    turned = bed_rotation(coordinates, shapes)
    return {first + k: row for k, row in enumerate(np.vstack([moved, turned]))}


@dataclass(frozen=True, slots=True, kw_only=True)
class MountRows:
    """What a mount adds to the machine; `constraint`: coordinates that follow others, as rows (size,)."""

    links: list[Link] = field(default_factory=list)
    frictions: list[Friction] = field(default_factory=list)
    constraint: dict[int, Array] = field(default_factory=dict)


def mount_rows(
    coordinates: Coordinates,
    corner: int,
    mount: Mount,
    axis: Array,
    shapes: list[tuple[float, float, float]],
    carried: float,
    name: str,
) -> MountRows:
    """Rows of a mount called `name`; `carried` N: what hangs on the screw, but not on the mount."""
    if mount.bolted:
        return MountRows(constraint=bolted_map(coordinates, corner, axis, shapes))
    displacement, rotation = rows(coordinates, corner, mount, axis, shapes)
    return MountRows(
        links=[link(displacement, rotation, corner, mount, name)],
        frictions=friction(displacement, corner, mount, carried, name),
    )


def growth(mount: Mount, expansion: float) -> Array:
    """Imposed extension (3,) m per kelvin along (along, across, vertical): the bed point moves outwards by
    alpha r.

    extension = (bed point + growth) - carriage, so what is imposed is minus the growth.  The bed grows about
    its XY origin.
    """
    outward = planar_frame(mount.direction)[:, :2] @ mount.point[:2]
    return -expansion * np.append(outward, 0.0)
