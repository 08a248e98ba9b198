"""A joint in use: travel needed, turning about the screw at rest and at reversals, lift-off."""

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


def static_twist(load_torque: float, drag_torque: float, rotation_stiffness: float) -> tuple[float, float]:
    """Return how far [rad] load and drag turn the nut against its carriage, after lowering and after raising:
    (T_load - T_drag)/k, (T_load + T_drag)/k.

    The load torque F lead/(2 pi) always turns it one way; the drag turns it with the screw.  Derived: a nut
    that does not turn is held by the joint against all that the thread puts on it.
    """
    if rotation_stiffness <= 0:
        return math.inf, math.inf
    return (load_torque - drag_torque) / rotation_stiffness, (load_torque + drag_torque) / rotation_stiffness


def stiffness_for_travel(torque: float, reach: float, way: float) -> float:
    """Return the stiffness [N m/rad] at which a torque [N m] moves elements `reach` [m] out by `way` [m]:
    T r/s."""
    return torque * reach / way


def stiffness_for_reversal(drag_torque: float, lead: float, loss: float, yaw: float) -> float:
    """Return the joint's stiffness [N m/rad] at which a reversal costs the height `loss` [m], `yaw` of the
    carriage in series: 1/k = loss 2 pi/(2 T_drag lead) - 1/k_yaw; infinite where the carriage alone loses
    more."""
    whole = height_lost_at_reversal(wind_up(drag_torque, 1.0), lead) / loss
    return 1.0 / (1.0 / whole - 1.0 / yaw) if 0.0 < whole < yaw else (0.0 if whole == 0.0 else math.inf)


def radius_for_stiffness(stiffness: float, lateral: float, anti_rotation: float) -> float:
    """Return the radius [m] from which springs of `lateral` [N/m] in all and the anti-rotation part hold the
    nut with the stiffness [N m/rad]: k_r r^2 + k_a = k."""
    lacking = max(stiffness - anti_rotation, 0.0)
    return math.sqrt(lacking / lateral) if lateral > 0 else (0.0 if lacking == 0.0 else math.inf)


def radius_for_travel(torque: float, way: float, lateral: float, anti_rotation: float) -> float:
    """Return the radius [m] from which elements on it move by no more than `way` [m] under a torque [N m].

    T r/(k_r r^2 + k_a) = s, the larger root; zero where no radius needs more.
    """
    root = torque**2 - 4.0 * lateral * anti_rotation * way**2
    if root < 0 or torque == 0.0:
        return 0.0
    return (torque + math.sqrt(root)) / (2.0 * lateral * way) if lateral > 0 else math.inf


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
