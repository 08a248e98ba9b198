"""The part that grows on the bed: its mass and weight, layer by layer."""

from __future__ import annotations

from dataclasses import dataclass

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

    def matrices(self, layers: NDArray[np.int64], gravity: float) -> tuple[Array, Array]:
        """Mass matrix (l, size, size) and weight (l, size) in some layers: a slender column on the bed, [any
        dynamics text]."""
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
