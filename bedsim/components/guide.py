"""The guide of a carriage and the frame behind it, one behind the other in every direction.

Both are given per direction (radial: towards the middle of the machine) plus rotations; the springs add in
series: 1/k = 1/k_guide + 1/k_frame.  Along the guide nothing holds but friction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, planar_frame, point_motion, rotation_motion
from bedsim.components.row import CauseName, Friction, Link, Path, Source

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """SI.

    Stiffness as series of guide and frame; `point` (3,) m from the screw axis; `direction` (2,) radial.
    """

    point: Array
    direction: Array
    radial: float
    tangential: float
    tilt: float
    yaw: float
    friction: float
    breakaway: float


def series(*stiffness: float) -> float:
    """Stiffness of springs one behind the other."""
    return 1.0 / sum(1.0 / k for k in stiffness)


def link(coordinates: Coordinates, corner: int, guide: Guide, name: str) -> Link:
    """Five rows: radial and tangential at the guide, then rotation about X, Y and Z."""
    size, first = coordinates.size, coordinates.carriage(corner)
    lateral = planar_frame(guide.direction) @ point_motion(size, first, guide.point)
    jacobian = np.vstack([lateral, rotation_motion(size, first)])
    stiffness = np.diag([guide.radial, guide.tangential, guide.tilt, guide.tilt, guide.yaw])
    return Link(part="guide", name=name, corner=corner, jacobian=jacobian, stiffness=stiffness)


def friction(coordinates: Coordinates, corner: int, guide: Guide, name: str) -> list[Friction]:
    """Friction along the guide; the pair slides by the commanded travel as well."""
    if guide.friction == 0.0:
        return []
    along = point_motion(coordinates.size, coordinates.carriage(corner), guide.point)[2:3]
    return [
        Friction(
            name=f"{name} along",
            part="guide",
            corner=corner,
            jacobian=along,
            command=np.ones(1),
            breakaway=guide.breakaway,
            constant=guide.friction,
        )
    ]


def straightness_source(
    corner: int, link_name: str, direction: Array, offset: Callable[[Path], Array], amount: float
) -> Source:
    """A guide that is not straight: `offset(path)` (t, 2) m in machine X, Y per unit amount."""
    frame = planar_frame(direction)[:, :2]

    def values(path: Path) -> Array:
        rows = np.zeros((path.time.size, 5))
        rows[:, :2] = offset(path) @ frame.T
        return rows

    return Source(
        cause=CauseName.STRAIGHTNESS,
        corner=corner,
        link=link_name,
        amount=amount,
        values=values,
        name="offset",
    )
