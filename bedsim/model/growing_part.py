"""The part that grows on the bed: its mass and weight, layer by layer."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowingPart:
    """The part on the bed: mass (layers,) kg and height of its centre (layers,) m above the bed.

    Jacobians (3, size) of its foot and of how it turns with the plate there.
    """

    mass: Array
    centre_height: Array
    foot: Array
    lean: Array

    def at_first(self, layers: int) -> GrowingPart:
        """The part as layer 1 leaves it, for so many layers."""
        m, z = np.full(layers, self.mass[0]), np.full(layers, self.centre_height[0])
        return replace(self, mass=m, centre_height=z)

    def matrices(self, layers: NDArray[np.int64], gravity: float) -> tuple[Array, Array]:
        """Mass matrix (l, size, size) and weight (l, size) in some layers: a slender column on the bed
        (any text on dynamics)."""
        m, z = self.mass[layers - 1], self.centre_height[layers - 1]
        at, turn = self.foot, self.lean
        by_height = np.stack([turn[1], -turn[0], np.zeros_like(turn[0])])
        cross = at.T @ by_height
        constant, linear = at.T @ at, cross + cross.T
        square = (
            by_height.T @ by_height * (4.0 / 3.0)
        )  # its own inertia m (2z)^2/12 about the centre included
        mass = m[:, None, None] * (constant + z[:, None, None] * linear + (z**2)[:, None, None] * square)
        return mass, -m[:, None] * gravity * at[2]
