"""The screw as a column: how much it may be pressed before it bends away or yields."""

from __future__ import annotations

import math

import numpy as np

from bedsim.components.screw import Screw, buckling_load
from bedsim.sizing.ends import COLUMN_FACTOR, Ends

#: Part of the Euler load that screw catalogues permit. Source: [THK-A] sheet A15-30, [MISUMI-TH] p. 1676.
CATALOGUE_FACTOR = 0.5

#: Permissible stress of the root section [Pa]. Source: [THK-A] sheet A15-30 (147 N/mm2).
PERMISSIBLE_STRESS = 147e6

#: Heights of the nut at which its travel is looked at, both ends among them.
HEIGHTS = 33


def critical_load(shaft: Screw, nut_low: float, nut_high: float) -> tuple[float, float]:
    """Return the load [N] that buckles the screw on its bearings, and the nut height [m] at which it does.

    The least over the nut's travel from `nut_low` to `nut_high` [m]; the load at which a run refuses.
    Source: exact beam-column, see `bedsim.components.screw.buckling_load`.
    """
    heights = np.linspace(nut_low, nut_high, HEIGHTS)
    load = buckling_load(shaft, heights)
    worst = int(np.argmin(load))
    return float(load[worst]), float(heights[worst])


def euler_load(*, youngs_modulus: float, root_diameter: float, free_length: float, ends: Ends) -> float:
    """Return the load [N] at which a slender screw buckles.

    F = N pi^2 E I / L^2, I = pi d^4/64 of the root circle.  All lengths in m, modulus in Pa.
    Source: [Shigley] section 4-12 to 4-13 (Euler column); factors N as in [THK-A] sheet A15-30.
    Limits: elastic, straight and central; for short screws the compressive limit governs instead.
    """
    area_moment = math.pi / 64.0 * root_diameter**4
    return COLUMN_FACTOR[ends] * math.pi**2 * youngs_modulus * area_moment / free_length**2


def permissible_column_load(
    *, youngs_modulus: float, root_diameter: float, free_length: float, ends: Ends
) -> float:
    """Return half of the Euler load [N], the value printed in screw catalogues.

    F = 0.5 N pi^2 E I / L^2.  Source: [MISUMI-TH] p. 1676, [THK-A] sheet A15-30.
    """
    return CATALOGUE_FACTOR * euler_load(
        youngs_modulus=youngs_modulus, root_diameter=root_diameter, free_length=free_length, ends=ends
    )


def permissible_compression(*, root_diameter: float, stress: float = PERMISSIBLE_STRESS) -> float:
    """Return the load [N] that the root section carries in tension or compression.

    F = sigma pi d^2/4.  Source: [THK-A] sheet A15-30 (116 d^2 N with d in mm).
    """
    return stress * math.pi / 4.0 * root_diameter**2
