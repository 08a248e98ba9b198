"""A joint in use: travel needed, wind-up about the screw, lift-off."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from bedsim.units import GRAVITY


def largest_run_out(
    *, eccentricity: float, tilt: float, bow: float, free_length: float, top: float, upper_end_free: bool
) -> float:
    """Return the largest distance [m] of the thread's centre from its axis, lower end to nut height `top`
    [m].

    Parts taken as pointing the same way: eccentricity + tilt s + bow shape(s), all as offsets (half the
    indicator reading); `tilt` [m/m].  Shape: 1 - cos(pi s/2L) with a free upper end, else sin(pi s/L).
    Derived; an upper bound, exact when the directions agree.
    """
    if upper_end_free:
        shape = 1.0 - math.cos(math.pi * top / (2.0 * free_length))
        return eccentricity + tilt * top + bow * shape
    # The crest of the bow lies at mid-length, the largest tilt at the top: both are taken.
    shape = math.sin(math.pi * min(top / free_length, 0.5))
    return eccentricity + tilt * top + bow * shape


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
