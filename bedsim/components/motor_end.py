"""The lower end of a screw that its motor alone holds: the coupling on the motor's shaft in the motor's two
bearings, one behind the other.

For a force F and a moment M at the middle of the coupling, in one bending plane, with bearings of stiffness k
the span s apart, the shaft standing out by h beyond the upper one, x = h/s:

    bearings    deflection  ((1 + x)^2 + x^2)/k F + (1 + 2x)/(s k) M,   slope  (1 + 2x)/(s k) F + 2/(s^2 k) M
    shaft       deflection  h^3/(3EI) F + h^2/(2EI) M,                  slope  h^2/(2EI) F + h/(EI) M
    coupling    deflection  F/k_radial,                                 slope  M/k_tilt

Derived: levers and the cantilever [Roark].  Limits: the rotor is stiff between its bearings; bearings and
coupling are alike in all directions and linear, their play is closed; the coupling's length, and what the
load does along it, are left out: about load x length over its tilt stiffness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SHAFT_MODULUS = 206e9
"""Young's modulus of a motor's shaft, Pa: steel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorEnd:
    """Coupling and motor as they hold a screw, SI.

    `bearing_radial` of one bearing of the motor; `span` between the two; `overhang` from the upper one to the
    middle of the coupling; `coupling_radial` and `coupling_tilt`: its one side against the other.
    """

    bearing_radial: float
    span: float
    overhang: float
    shaft_diameter: float
    coupling_radial: float
    coupling_tilt: float

    @property
    def compliance(self) -> Array:
        """(2, 2): deflection m and slope rad at the screw's lower end per N and N m."""
        k, s, h = self.bearing_radial, self.span, self.overhang
        bending, x = SHAFT_MODULUS * math.pi / 64 * self.shaft_diameter**4, self.overhang / self.span
        mixed = (1 + 2 * x) / (s * k) + h**2 / (2 * bending)
        aside = ((1 + x) ** 2 + x**2) / k + h**3 / (3 * bending) + 1 / self.coupling_radial
        turned = 2 / (s**2 * k) + h / bending + 1 / self.coupling_tilt
        return np.array([[aside, mixed], [mixed, turned]])
