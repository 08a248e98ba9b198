"""A joint in use: travel needed, wind-up about the screw, lift-off."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from bedsim.units import GRAVITY


def pushed_by_others(run_outs: Sequence[float], corner: int, followed: float) -> float:
    """Return how far [m] the other corners' run-out moves the bed at their least favourable clocking.

    followed x sum of the others' run-outs/n; `followed` (0 to 1) is the part of a run-out that the bed
    follows. Derived: a plate on n equal springs takes the mean of their displacements.
    """
    others = sum(e for i, e in enumerate(run_outs) if i != corner)
    return followed * others / len(run_outs)


def heat_growth(expansion: float, temperature_rise: float, radius: float) -> float:
    """Return how far [m] a corner at `radius` [m] from the fixed centre grows outward: alpha dT R."""
    return expansion * temperature_rise * radius


def travel_needed(contributions: Mapping[str, float]) -> float:
    """Return the sum [m] of all contributions in the same direction: an upper bound, as a stop must never be
    hit.
    """
    return sum(abs(v) for v in contributions.values())


def wind_up(drag_torque: float, rotation_stiffness: float) -> float:
    """Return the turn [rad] of the nut between the two senses of rotation: 2 T/k."""
    return 2.0 * drag_torque / rotation_stiffness if rotation_stiffness > 0 else math.inf


def height_lost_at_reversal(wind_up: float, lead: float) -> float:
    """Return the height [m] that the wound-up nut gives away after a reversal: lead/(2 pi) x wind-up."""
    return lead / (2.0 * math.pi) * wind_up


def lift_off_acceleration(carried_mass: float, pull: float) -> float:
    """Return the downward acceleration [m/s2] at which the joint's plates part: g + pull/mass.

    Downward acceleration also means stopping an upward motion.  Source: Newton's second law for the carried
    mass.
    """
    return GRAVITY + pull / carried_mass
