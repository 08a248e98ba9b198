"""Axes, signs and the names of the generalised coordinates: defined once, here.

X right, Y back, Z up; angles about +z, counter-clockwise seen from above.  The reference point is the bed
SURFACE at the XY origin; heights of parts are measured from that surface (negative: below).  A body moves by
a small displacement t and a small rotation w from its commanded pose, a point p of it by d = t + w x p.

Coordinates, in this order:

    bed      tx ty tz wx wy wz, then one amplitude per given plate shape (a rigid plate on four screws
             cannot twist)
    corner i carriage ux uy uz wx wy wz (at the screw axis, height of the bed surface), nut x y (at the
             height of the joint) and its rotation about the screw, rotor angle
    extras   two per plain nut (the shaft at the thread, x and y), one for the shared motor of a belt drive

Every angle of a screw is taken against the clocking zero: the attitude of the screw with the bed at layer 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BED_SIZE = 6
CORNER_SIZE = 10
NUT_X, NUT_Y, NUT_TURN, ROTOR = 6, 7, 8, 9
AXIS_NAMES = ("x", "y", "z", "rotation x", "rotation y", "rotation z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coordinates:
    """Where each motion stands in the vector of generalised coordinates."""

    corners: int
    shapes: int = 0
    free_shafts: tuple[int, ...] = ()  # corners whose shaft moves on its own (plain nuts)
    shared_motor: bool = False

    @property
    def size(self) -> int:
        """Number of coordinates before constraints: 36 for three screws."""
        return self._extras + 2 * len(self.free_shafts) + int(self.shared_motor)

    @property
    def bed_size(self) -> int:
        """Rigid motions and plate shapes of the bed."""
        return BED_SIZE + self.shapes

    @property
    def _extras(self) -> int:
        return self.bed_size + CORNER_SIZE * self.corners

    def carriage(self, corner: int) -> int:
        """First index of a corner's carriage."""
        return self.bed_size + CORNER_SIZE * corner

    def rotor(self, corner: int) -> int:
        """Index of a corner's rotor (or screw) angle."""
        return self.carriage(corner) + ROTOR

    def shaft(self, corner: int) -> int:
        """First index of a plain screw's own lateral motion at the thread."""
        return self._extras + 2 * self.free_shafts.index(corner)

    @property
    def motor(self) -> int:
        """Index of the shared motor of a belt drive."""
        return self._extras + 2 * len(self.free_shafts)

    def names(self, corner_names: tuple[str, ...]) -> list[str]:
        """A plain name for every coordinate, for messages."""
        names = [f"bed {axis}" for axis in AXIS_NAMES] + [f"bed twist {k + 1}" for k in range(self.shapes)]
        for corner in corner_names:
            names += [f"{corner}: carriage {axis}" for axis in AXIS_NAMES]
            names += [f"{corner}: nut x", f"{corner}: nut y", f"{corner}: nut rotation", f"{corner}: rotor"]
        for i in self.free_shafts:
            names += [f"{corner_names[i]}: shaft x", f"{corner_names[i]}: shaft y"]
        return names + (["shared motor"] if self.shared_motor else [])


def point_motion(size: int, first: int, point: Array) -> Array:
    """Jacobian (3, size) of the displacement of `point` (3,) m of the body whose six motions start at
    `first`."""
    x, y, z = point
    jacobian = np.zeros((3, size))
    jacobian[:, first : first + 3] = np.eye(3)
    jacobian[:, first + 3 : first + 6] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]
    return jacobian


def rotation_motion(size: int, first: int) -> Array:
    """Jacobian (3, size) of the rotation of the body whose six motions start at `first`."""
    jacobian = np.zeros((3, size))
    jacobian[:, first + 3 : first + 6] = np.eye(3)
    return jacobian


def unit(size: int, *entries: tuple[int, float]) -> Array:
    """One row of length `size` with the given (index, value) entries."""
    row = np.zeros(size)
    for index, value in entries:
        row[index] += value
    return row


def radial_directions(points: Array) -> Array:
    """Unit vectors (n, 2) from the centroid of `points` (n, 2) outwards."""
    arm = points - points.mean(axis=0)
    return arm / np.linalg.norm(arm, axis=1, keepdims=True)


def planar_frame(direction: Array) -> Array:
    """Rows (2, 3): the given horizontal direction and the one 90 degrees counter-clockwise of it."""
    x, y = direction
    return np.array([[x, y, 0.0], [-y, x, 0.0]])
