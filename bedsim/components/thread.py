"""The threaded shaft as a body: what turns and what weighs, between crest and root."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HALF_ANGLE = math.radians(15.0)  # of a trapezoidal thread's flanks; [ISO2904]
SLICES = 20_000  # of half a pitch; leaves less than 1e-6 of a mean


def trapezoidal_profile(z: Array, diameter: float, root_diameter: float, pitch: float) -> Array:
    """Diameter (n,) m of the profile at z (n,) m along the axis from the middle of a groove.

    Thread and groove are half a pitch wide at d2 = d - P/2, flanks at 15 degrees, flats at crest and root.
    Source: [ISO2904].  The root is the one given; its rounding is left out.
    """
    flank = diameter - pitch / 2 + (2 * np.abs(z) - pitch / 2) / math.tan(HALF_ANGLE)
    return np.clip(flank, root_diameter, diameter)


def ball_profile(z: Array, diameter: float, root_diameter: float) -> Array:
    """As `trapezoidal_profile` for a ball screw: a groove as round as its ball, a cylinder between grooves.

    Assumed: the ball's centre runs on the nominal diameter, so that the groove is a half circle of radius (d
    - root)/2, and the lands reach the nominal diameter.  Real grooves are wider and lands often lower: their
    inertia is about a tenth less (from memory).  Makers print the full cylinder of the nominal diameter (from
    memory), about a quarter more.
    """
    radius = (diameter - root_diameter) / 2
    return diameter - 2 * np.sqrt(np.maximum(radius**2 - np.asarray(z) ** 2, 0.0))


@lru_cache  # the same few screws, asked for every machine of a batch
def mean_power(power: int, balls: bool, diameter: float, root_diameter: float, pitch: float) -> float:
    """Mean over a pitch of a power of the profile's diameter, in m^power; of a ball screw or a plain one.

    All cross-sections of a thread are one figure, turned with the place along the axis, whose radius runs
    through the profile once per start.  Its area is so pi/4 mean d^2 (what weighs) and its polar moment pi/32
    mean d^4 (what turns), for any number of starts; derived, exact.
    """
    z = (np.arange(SLICES) + 0.5) * pitch / 2 / SLICES
    if balls:
        profile = ball_profile(z, diameter, root_diameter)
    else:
        profile = trapezoidal_profile(z, diameter, root_diameter, pitch)
    return float(np.mean(profile**power))
