"""Shapes of the bed plate that more than three supports can force: a rigid bed on four screws would be far
too stiff.

Shapes are monomials in u = x/x_c, v = y/y_c of degree two and more, the twist u v first; N screws take N - 3
of them. Stiffness by the Kirchhoff energy U = (D/2) int [(w_xx + w_yy)^2 - 2 (1 - nu)(w_xx w_yy - w_xy^2)]
dA, mass of a uniform plate; both by Gauss-Legendre quadrature over the rectangle, exact for these
polynomials.  For the twist alone this is k = G t^3 A / (3 x_c^2 y_c^2).  Source: [Timoshenko-Plates] strain
energy in bending.  Thin plates, small slopes, free edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.bed import Bed

Array = NDArray[np.float64]

POISSON = 0.33  # aluminium; [ASM-Aluminium] lists 0.33 for wrought alloys
EXPONENTS = [(1, 1), (2, 0), (0, 2), (2, 1), (1, 2), (3, 0), (0, 3), (2, 2), (3, 1), (1, 3), (4, 0), (0, 4)]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateShapes:
    """The first `count` shapes, with unit deflection at (x_c, y_c) m."""

    count: int
    x: float
    y: float

    def at(self, x: float, y: float) -> list[tuple[float, float, float]]:
        """Value, d/dx and d/dy of every shape at a point."""
        return [
            (self._value(k, x, y, 0, 0), self._value(k, x, y, 1, 0), self._value(k, x, y, 0, 1))
            for k in range(self.count)
        ]

    def _value(self, shape: int, x: float, y: float, by_x: int, by_y: int) -> float:
        return float(self.derivative(shape, np.array(x), np.array(y), by_x, by_y))

    def derivative(self, shape: int, x: Array, y: Array, by_x: int, by_y: int) -> Array:
        """Derivative of a shape, `by_x` times by x and `by_y` times by y."""
        i, j = EXPONENTS[shape]
        if by_x > i or by_y > j:
            return np.zeros_like(x)
        factor = np.prod(np.arange(i - by_x + 1, i + 1)) * np.prod(np.arange(j - by_y + 1, j + 1))
        u, v = x / self.x, y / self.y
        return factor * u ** (i - by_x) * v ** (j - by_y) / (self.x**by_x * self.y**by_y)

    def _quadrature(self, bed: Bed) -> tuple[Array, Array, Array]:
        node, weight = np.polynomial.legendre.leggauss(6)
        half = bed.size / 2
        x, y = np.meshgrid(node * half[0], node * half[1], indexing="ij")
        return x, y, np.outer(weight, weight) * half[0] * half[1]

    def stiffness(self, bed: Bed) -> Array:
        """Stiffness (count, count) N/m."""
        x, y, area = self._quadrature(bed)
        flexural = bed.shear_modulus * bed.thickness**3 / (6 * (1 - POISSON))
        second = {
            key: np.array([self.derivative(k, x, y, *key) for k in range(self.count)])
            for key in ((2, 0), (0, 2), (1, 1))
        }
        xx, yy, xy = second[2, 0], second[0, 2], second[1, 1]

        def integral(a: Array, b: Array) -> Array:
            return np.einsum("aij,bij,ij->ab", a, b, area)

        mixed = (integral(xx, yy) + integral(yy, xx)) / 2 - integral(xy, xy)
        return flexural * (integral(xx + yy, xx + yy) - 2 * (1 - POISSON) * mixed)

    def mass(self, bed: Bed) -> tuple[Array, Array]:
        """Mass (count, count) kg of the shapes, and their coupling (count, 3) with the bed's tz, wx, wy."""
        x, y, area = self._quadrature(bed)
        density = bed.mass / float(np.prod(bed.size))
        shapes = np.array([self.derivative(k, x, y, 0, 0) for k in range(self.count)])
        rigid = np.array([np.ones_like(x), y, -x])
        own = np.einsum("aij,bij,ij->ab", shapes, shapes, area)
        return density * own, density * np.einsum("aij,bij,ij->ab", shapes, rigid, area)
