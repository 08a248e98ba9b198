"""The screw as a shaft: bending resonance against turning speed, and the speed of the balls."""

from __future__ import annotations

import math

import numpy as np
import scipy

from bedsim.components.column import span_stiffness
from bedsim.components.screw import Screw
from bedsim.sizing.ends import BEAM_ROOT, Ends

#: Part of the critical speed that screw catalogues permit. Source: [MISUMI-TH] p. 1677.
CATALOGUE_FACTOR = 0.8

#: Speed x diameter limit [m * turns/s] where the maker's is not given: 60 000 mm * rpm, the low end of 60 000
#: to 150 000 in general (76 200: external return, 133 300: solid deflectors, 140 000: internal return).
#: Source: [EEDGE-SPEED]; by return, not by rolled or ground.
SPEED_DIAMETER_LIMIT = 60000e-3 / 60.0

#: Free length over nominal diameter from where a lying screw's sag is to be asked about, and where its shaft
#: needs a support between its ends.  Source: [SLENDER].
SLENDERNESS_ASKED, SLENDERNESS_LIMIT = 40.0, 50.0


def first_bending_frequency(
    *, youngs_modulus: float, density: float, root_diameter: float, free_length: float, ends: Ends
) -> float:
    """Return the first bending frequency [Hz] of the bare screw; turning at it is the critical speed.

    f = (beta L)^2/(2 pi L^2) sqrt(E I/(rho A)), with sqrt(I/A) = d/4 for the root circle.
    Lengths in m, modulus in Pa, density in kg/m3.
    Source: [MISUMI-TH] p. 1677; [Blevins] table 8-1.
    Limits: slender uniform shaft, rigid bearings, no axial load; `free_length` is the longest unsupported
    one.
    """
    wave_speed = math.sqrt(youngs_modulus / density)
    return BEAM_ROOT[ends] ** 2 / (2.0 * math.pi * free_length**2) * wave_speed * root_diameter / 4.0


ELEMENTS = 16  # of a screw whose bearings yield: the first frequency to 1e-5


def first_frequency_on_bearings(screw: Screw) -> float:
    """Return the first bending frequency [Hz] of the bare screw on what holds its ends, yielding as it does.

    Finite elements of the root circle with their consistent mass; the upper end on its bearing's radial
    stiffness, or free.  Source: [Przemieniecki] beam element.  Limits: as `first_bending_frequency`; no
    upper end held against tilting; not a number where rounding drowns a screw beside its bearings.
    """
    length = screw.length / ELEMENTS
    stiff = span_stiffness(np.array([length]), screw.bending_stiffness)[0]
    h, heavy = length, screw.density * screw.area * length / 420
    mass = heavy * np.array(
        [
            [156, 22 * h, 54, -13 * h],
            [22 * h, 4 * h * h, 13 * h, -3 * h * h],
            [54, 13 * h, 156, -22 * h],
            [-13 * h, -3 * h * h, -22 * h, 4 * h * h],
        ]
    )
    K, M = np.zeros((2, 2 * ELEMENTS + 2, 2 * ELEMENTS + 2))
    for k in range(0, 2 * ELEMENTS, 2):
        K[k : k + 4, k : k + 4] += stiff
        M[k : k + 4, k : k + 4] += mass
    K[:2, :2] += screw.foot
    K[-2, -2] += 0.0 if screw.ends == "fixed-free" else screw.upper_bearing_radial
    square = scipy.linalg.eigh(K, M, eigvals_only=True, subset_by_index=(0, 0))[0]
    # below zero where the bearings are so stiff beside the screw that rounding drowns it
    return math.sqrt(square) / (2.0 * math.pi) if square > 0 else math.nan


def permissible_speed(critical: float) -> float:
    """Return the permissible turning speed [turns/s] of a screw that whirls at `critical` [turns/s]: 0.8 of
    it.

    Source: [MISUMI-TH] p. 1677; with the coefficients of a beam it is what [EEDGE-SPEED] prints.
    """
    return CATALOGUE_FACTOR * critical


def speed_diameter(*, turns_per_second: float, ball_circle_diameter: float) -> float:
    """Return speed x diameter [m * turns/s], which limits how fast the balls may be returned.

    DN = D n.  Source: [THK-A] (permissible rotational speed by DN value); no closed derivation.
    Limits: ball screws only; a plain nut is limited by pressure x velocity.
    """
    return ball_circle_diameter * turns_per_second
