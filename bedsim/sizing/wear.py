"""A plain nut's threads: pressure, sliding speed, their product, and how long they take to wear loose.

Wear coefficients scatter by a factor of ten and more between material pairs, finishes and greases, so they
are given as ranges and the answer is a range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainPair:
    """Usual figures of a nut material on steel: friction range, wear range [m2/N], pv limit [Pa m/s]."""

    friction_low: float
    friction_high: float
    wear_low: float
    wear_high: float
    pressure_velocity: float
    status: str


#: Orders of magnitude from general handbook practice, quoted from memory; no page was re-read. 1e-15 m2/N is
#: 1e-6 mm3/(N m).
PAIRS = {
    "bronze": PlainPair(
        friction_low=0.08,
        friction_high=0.25,
        wear_low=1e-16,
        wear_high=1e-14,
        pressure_velocity=1.75e6,
        status="bronze or brass on steel, greased (dry at the upper friction); common practice, no source",
    ),
    "pom": PlainPair(
        friction_low=0.08,
        friction_high=0.25,
        wear_low=1e-15,
        wear_high=2e-14,
        pressure_velocity=0.1e6,
        status="acetal (POM) on steel, dry at the upper friction; common practice, no source",
    ),
}


def thread_pressure(load: float, *, pitch_diameter: float, nut_length: float) -> float:
    """Return the mean pressure [Pa] on a trapezoidal nut's flanks: p = F P/(pi d2 H1 m), H1 = P/2.

    m is the nut's length [m]; the area is that seen along the screw.  For several starts P is the pitch, not
    the lead.  Source: [RoyMech] power screws (nut bearing pressure), thread depth from [ISO2904].
    Limits: even sharing among the turns; a new nut carries more on its first turns.
    """
    return load / (math.pi * pitch_diameter * 0.5 * nut_length)


def sliding_distance_per_turn(pitch_diameter: float, lead: float) -> float:
    """Return how far flank slides on flank in one turn [m]: sqrt((pi d2)^2 + lead^2)."""
    return math.hypot(math.pi * pitch_diameter, lead)


def wear_depth(wear_coefficient: float, pressure: float, sliding_distance: float) -> float:
    """Return the depth [m] worn off: h = k p s, with k in m2/N.

    Source: [Archard1953] (volume = k load x distance), divided by the area.
    Limits: mild, steady wear after running-in.
    """
    return wear_coefficient * pressure * sliding_distance


def travel_to_clearance(
    clearance: float,
    *,
    wear_coefficient: float,
    pressure: float,
    pitch_diameter: float,
    lead: float,
    flank_angle: float = 0.0,
) -> float:
    """Return the nut's travel [m] until it has `clearance` [m] more play along the screw.

    travel = clearance cos(flank) lead/(k p s_turn): the depth is worn off square to the flank, and the
    pressure on the flank equals that on the area seen along the screw.  Source: [Archard1953]; derived.
    """
    per_turn = wear_depth(wear_coefficient, pressure, sliding_distance_per_turn(pitch_diameter, lead))
    return clearance * math.cos(flank_angle) * lead / per_turn
