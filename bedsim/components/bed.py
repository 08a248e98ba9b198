"""The bed: a rigid body with its plate and everything fixed to it; the plate's own shapes stand in
`plate.py`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import point_motion

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """SI. `inertia` (3,) about the centre of mass; `centre` (3,) m; `size` (2,) m of the plate."""

    mass: float
    inertia: Array
    centre: Array
    size: Array
    thickness: float
    shear_modulus: float
    expansion: float
    temperature_rise: float


def plate_inertia(mass: float, size: Array, thickness: float) -> Array:
    """Moments of inertia (3,) kg m2 of a uniform cuboid about its centre.

    Source: any dynamics text, cuboid.
    """
    x, y, z = size[0] ** 2, size[1] ** 2, thickness**2
    return mass / 12 * np.array([y + z, x + z, x + y])


def body_mass(size: int, first: int, mass: float, inertia: Array, centre: Array) -> Array:
    """Mass matrix (size, size) of a rigid body whose six motions start at `first`, centre (3,) m from its
    reference point."""
    at = point_motion(size, first, centre)
    turn = np.zeros((3, size))
    turn[:, first + 3 : first + 6] = np.eye(3)
    return mass * at.T @ at + turn.T @ (inertia[:, None] * turn)


def weight(size: int, first: int, mass: float, centre: Array, gravity: float) -> Array:
    """Generalised force (size,) of a weight at `centre`."""
    return -mass * gravity * point_motion(size, first, centre)[2]
