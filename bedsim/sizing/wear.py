"""A plain nut's threads: pressure, sliding speed, their product, and how long they take to wear loose.

Wear coefficients scatter by a factor of ten and more between material pairs, finishes and greases, so they
are given as ranges and the answer is a range.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

HOUR = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainPair:
    """Usual figures of a nut material on steel: wear range [m2/N] as it `runs`, pv limit [Pa m/s]."""

    wear_low: float
    wear_high: float
    pressure_velocity: float
    status: str
    runs: str


def specific_wear(rate: float, pressure_velocity: float) -> float:
    """Return the specific wear rate [m2/N] of a depth that grows by `rate` [m/h] at pv [Pa m/s]: k = h'/(p
    v).  Source: [Archard1953]."""
    return rate / HOUR / pressure_velocity


#: Upper of the two levels of pressure x velocity of [ASTM-D3702], 2500 psi ft/min, from memory.
TEST_PV = 0.09e6
_RATES = "rates of ASTM D3702 clause 4.2 over its upper pv (the pv from memory)"


def _tested(low: float, high: float, pressure_velocity: float, words: str) -> PlainPair:
    """A plastic from its wear rates [m/h] in dry thrust washers on steel."""
    return PlainPair(
        wear_low=specific_wear(low, TEST_PV),
        wear_high=specific_wear(high, TEST_PV),
        pressure_velocity=pressure_velocity,
        status=f"{words} on steel, dry: {_RATES}",
        runs="dry",
    )


#: Rates read in [ASTM-D3702].  pv limits: bronze [Mott] (porous bronze with oil; SAE 660 2.63), polyamide
#: [Mott] (nylon 0.105), acetal inside the 0.035 to 0.11 of filled thermoplastics [TribologyHandbook].
#: Bronze: no specific rate was found in readable text, the decades are general practice.
#: 1e-15 m2/N is 1e-6 mm3/(N m).
PAIRS: Mapping[str, PlainPair] = {
    "bronze": PlainPair(
        wear_low=1e-16,
        wear_high=1e-14,
        pressure_velocity=1.75e6,
        status="bronze or brass on steel, greased; assumed: common practice, no source",
        runs="greased",
    ),
    "pom": _tested(2.5e-7, 7.5e-7, 0.1e6, "acetal (POM)"),
    "pom_ptfe": _tested(7.5e-8, 1.5e-7, 0.1e6, "acetal with 22 % PTFE"),
    "pa66": _tested(2.5e-7, 1.3e-6, 0.105e6, "polyamide 66"),
}

#: How much faster than as tabulated a nut wears, low and high.  Dirt: assumed, common practice, no source.
#: Metal without grease: assumed around the tenfold life that a bearing maker gives lubricated screws
#: ([ThomsonScrews], of ball screws).  A plastic's rates are dry ones; what grease takes off them was not
#: found.
DIRT: Mapping[str, tuple[float, float]] = {"clean": (1.0, 1.0), "open": (1.0, 3.0), "dusty": (3.0, 10.0)}
WITHOUT_GREASE = (3.0, 30.0)


def as_it_runs(pair: PlainPair, runs: str | None = None, dirt: str = "clean") -> PlainPair:
    """Return the pair with the factors of how it runs ("greased", "oiled", "dry"; None: as tabulated) and of
    its dirt ("clean", "open", "dusty")."""
    dry = WITHOUT_GREASE if runs == "dry" and pair.runs != "dry" else (1.0, 1.0)
    low, high = (a * b for a, b in zip(dry, DIRT[dirt], strict=True))
    told = [f"{words} x {f[0]:g} to {f[1]:g} (assumed)" for words, f in (("dry", dry), (dirt, DIRT[dirt]))]
    factors = [words for words, f in zip(told, (dry, DIRT[dirt]), strict=True) if f != (1.0, 1.0)]
    return replace(
        pair,
        wear_low=low * pair.wear_low,
        wear_high=high * pair.wear_high,
        status="; ".join([pair.status, *factors]),
        runs=runs or pair.runs,
    )


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


def radial_from_axial(axial: float, flank_angle: float) -> float:
    """Return how much more radial clearance [m], centre to stop, goes with play along the screw [m]: a/(2 tan
    beta); nothing on a square thread.

    Derived: a nut displaced by x climbs x tan(beta) on the flank that carries, and the other flank comes
    nearer by as much again, so axial play and clearance of one thread are a = 2 c tan(beta).
    """
    return axial / (2.0 * math.tan(flank_angle)) if flank_angle > 0 else 0.0
