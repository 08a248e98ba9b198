"""What grows on the bed: its mass and weight, station by station.

A point of it at x, y on the plate and z above it moves by

    u = t + w x (x, y, z) + shapes(x, y) e_z + z (turn of the plate's shapes at x, y) x e_z

for it stands upright on the plate where it stands.  Every part of that is a monomial x^a y^b z^c times a
Jacobian, so the mass matrix, the integral of u^T u dm, is a sum over moments of mass

    m_abc = integral of x^a y^b z^c dm

times matrices that stay (any text on dynamics; on three screws they are the ten of a rigid body).  Moments
add up over whatever is laid, wherever it is.  Exact for thin upright columns that do not bend; how wide a
piece is in the plan is left out (a square of 60 mm: a radius of gyration of 17 mm, beside its lever arm).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates
from bedsim.components.mount import bed_point
from bedsim.components.plate import EXPONENTS, PlateShapes

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Powers = tuple[int, int, int]  # of x, y, z


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Pieces of material (p,): each laid at a `station`, counted from 1, of `mass` kg, upright at `x`, `y` m
    on the bed between `bottom` and `top` m above it.  Any number at a station, in any order."""

    station: Layers
    mass: Array
    x: Array
    y: Array
    bottom: Array
    top: Array

    def upto(self, station: int) -> Pieces:
        """What has been laid when a station is done."""
        there = self.station <= station
        kept: dict[str, Any] = {f.name: getattr(self, f.name)[there] for f in fields(self)}
        return Pieces(**kept)

    @property
    def weighed(self) -> tuple[float, Array]:
        """Mass kg of all pieces together, and its centre (3,) m above the bed; at the origin without mass."""
        total = float(self.mass.sum())
        places = np.stack([self.x, self.y, (self.bottom + self.top) / 2])
        return total, places @ self.mass / total if total > 0 else np.zeros(3)

    def place(self, station: int) -> Array:
        """Middle (2,) m in the plan of what a station lays."""
        there = self.station == station
        return np.array([self.x[there].mean(), self.y[there].mean()])

    def moment(self, powers: Powers) -> Array:
        """Integral (p,) of x^a y^b z^c over the mass of every piece."""
        a, b, c = powers
        even = sum(self.bottom**k * self.top ** (c - k) for k in range(c + 1)) / (c + 1)
        return np.asarray(self.mass * self.x**a * self.y**b * even)


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowingPart:
    """What stands on the bed: its moments of mass (n, k) at every station, and what one of each adds to the
    mass matrix (k, size, size) and to how much rises with the coordinates (k, size).  The first moment is the
    mass."""

    moments: Array
    inertia: Array
    rise: Array

    @property
    def mass(self) -> Array:
        """Mass (n,) kg."""
        return self.moments[:, 0]

    def at_first(self, layers: int) -> GrowingPart:
        """The part as layer 1 leaves it, for so many layers."""
        return replace(self, moments=np.repeat(self.moments[:1], layers, axis=0))

    def matrices(self, layers: Layers, gravity: float) -> tuple[Array, Array]:
        """Mass matrix (l, size, size) and weight (l, size) in some layers."""
        m, size = self.moments[layers - 1], self.rise.shape[1]
        mass = (m @ self.inertia.reshape(m.shape[1], -1)).reshape(-1, size, size)
        return mass, -gravity * (m @ self.rise)


@lru_cache(maxsize=8)  # one print is asked about for many machines
def growing_part(pieces: Pieces, count: int, coordinates: Coordinates, shapes: PlateShapes) -> GrowingPart:
    """What stands on the bed at each of `count` stations, of pieces."""
    motion = _motion(coordinates, shapes)
    inertia: dict[Powers, Array] = defaultdict(lambda: np.zeros((coordinates.size, coordinates.size)))
    for one, left in motion.items():
        for other, right in motion.items():
            a, b, c = (i + j for i, j in zip(one, other, strict=True))
            inertia[a, b, c] += left.T @ right
    moments = np.zeros((count, len(inertia)))
    for k, powers in enumerate(inertia):
        np.add.at(moments[:, k], pieces.station - 1, pieces.moment(powers))
    nothing = np.zeros((3, coordinates.size))
    return GrowingPart(
        moments=np.cumsum(moments, axis=0),
        inertia=np.array(list(inertia.values())),
        rise=np.array([motion.get(powers, nothing)[2] for powers in inertia]),
    )


def _motion(coordinates: Coordinates, shapes: PlateShapes) -> dict[Powers, Array]:
    """Jacobian (3, size) of the monomials of x, y, z m in how a point of the part moves, the constant
    first."""
    found: dict[Powers, Array] = defaultdict(lambda: np.zeros((3, coordinates.size)))
    level = bed_point(coordinates, np.zeros(3), [])
    found[0, 0, 0] += level
    for axis, powers in enumerate(((1, 0, 0), (0, 1, 0), (0, 0, 1))):
        found[powers] += bed_point(coordinates, np.eye(3)[axis], []) - level
    for k, (i, j) in enumerate(EXPONENTS[: shapes.count]):
        unit = shapes.x**-i * shapes.y**-j
        found[i, j, 0][2, 6 + k] += unit
        if i:  # a slope leans what stands on it
            found[i - 1, j, 1][0, 6 + k] -= i * unit
        if j:
            found[i, j - 1, 1][1, 6 + k] -= j * unit
    return found
