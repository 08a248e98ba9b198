"""Grease: when, where it starves, what not to use, and what friction of a plain thread costs.

Intervals are makers' rules as read, never formulas: of two the one that comes first counts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from bedsim.sizing import axial_train, holding, loads, motor_margin
from bedsim.sizing.numbers import CornerNumbers, Duty
from bedsim.sizing.rows_holding import resting_torque
from bedsim.units import MM
from bedsim.upkeep.use import Use

KM = 1000.0

#: [IAI-ISDB] 12.1: to 750 mm/s 1,250 km, to 1,500 2,500 km, to 1,800 5,000 km, or 12 months; read.
DISTANCES = ((0.75, 1250 * KM), (1.5, 2500 * KM), (math.inf, 5000 * KM))
REGREASE_MONTHS = 12.0
#: Grease ages also without use: [Rexroth-BASA] p. 157; read.
LATEST_MONTHS = 24.0
#: [IAI-ISDB] 12.1: look at the grease after so many months.
LOOKS = (1, 3, 6)
#: [IAI-ISDB] 12.1: strokes of this or less starve the contacts; so many of them, then five of 50 mm or more.
SHORT_STROKE, SHORT_STROKES, LONG_STROKE, RUNS = 30 * MM, (5000, 10000), 50 * MM, 5
#: Plain lead screws: relubricate after so many hours of running ([AutoLinear], read).
PLAIN_HOURS = (100.0, 500.0)
#: Guides: start with a day, double it while what is found is clean; at most three months ([Servotronix]).
GUIDE_MONTHS = 3.0
#: Grease rather than oil up to so fast ([XLONG], read), m/s.
GREASE_TO = (3.0 / 60.0, 5.0 / 60.0)


def regrease_months(use: Use, speed: float) -> tuple[float, float]:
    """Return the months until a ball screw wants grease by distance at a speed [m/s], and the months that
    count: distance or a year, whichever comes first."""
    distance = next(way for fastest, way in DISTANCES if speed <= fastest)
    by_distance = use.months_of_travel(distance)
    return by_distance, min(by_distance, REGREASE_MONTHS)


def prints_to_full_run(use: Use) -> tuple[float, float] | None:
    """Return after how many prints (at the earliest, at the latest) the bed is to be run over its height;
    None where its strokes are long enough to carry grease along."""
    if use.longest_stroke > SHORT_STROKE:
        return None
    return SHORT_STROKES[0] / use.strokes, SHORT_STROKES[1] / use.strokes


def plain_months(use: Use) -> tuple[float, float]:
    """Return the months (earliest, latest) until a plain screw wants grease; its hours are taken as hours of
    printing, the greater care, and a year is the most."""
    low, high = (min(use.months_of_hours(hours), REGREASE_MONTHS) for hours in PLAIN_HOURS)
    return low, high


#: Friction of plain threads on steel, low and high, from memory; oiled: assumed between the other two.
FRICTION: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "bronze": {"greased": (0.08, 0.15), "oiled": (0.10, 0.20), "dry": (0.15, 0.25)},
    "plastic": {"greased": (0.08, 0.20), "oiled": (0.08, 0.20), "dry": (0.15, 0.25)},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadState:
    """What one way of running does, low and high friction; torques N m at the screw, `lost` m of height."""

    name: str
    friction: tuple[float, float]
    raising: tuple[float, float]
    to_hold: tuple[float, float]  # at the high, at the low friction
    margin: tuple[float, float]  # friction over that below which the load turns the screw
    lost: tuple[float, float]


def thread_states(corner: CornerNumbers, duty: Duty, material: str) -> list[ThreadState]:
    """Return dry, oiled and greased threads of a corner's plain nut."""
    table = FRICTION["bronze" if material == "bronze" else "plastic"]
    return [_state(corner, duty, name, friction) for name, friction in table.items()]


def _state(corner: CornerNumbers, duty: Duty, name: str, friction: tuple[float, float]) -> ThreadState:
    screw = corner.screw
    low, high = friction
    limit = loads.locking_friction(screw)
    return ThreadState(
        name=name,
        friction=friction,
        raising=(loads.torque_up(corner, duty, low), loads.torque_up(corner, duty, high)),
        to_hold=(loads.torque_to_hold(corner, screw, high), loads.torque_to_hold(corner, screw, low)),
        margin=(low / limit, high / limit),
        lost=(lost_at_reversal(corner, low), lost_at_reversal(corner, high)),
    )


def lost_at_reversal(corner: CornerNumbers, friction: float) -> float:
    """Return the height [m] that thread friction costs where the screw turns back.

    The torque in the train changes by F d2/2 (tan(lambda + rho) - tan(lambda - rho)) between raising and
    lowering, and twists rotor, coupling and shaft by that over their stiffness in series; the lead makes
    height of it.  Derived; torques: [Shigley] section 8-2, magnetic spring: [Jones].
    Limits: one corner at rest, its nut held against turning, motor far from slipping; a ring-down rubs part
    of it off.  `bedsim run` counts of the friction's torque what it turns the rotor by, not the twist of
    coupling and shaft.
    """
    screw, load = corner.screw, max(corner.hanging)
    angle, rho = loads.lead_angle(screw), loads.friction_angle(screw, friction)
    change = load * screw.contact_diameter / 2.0 * (math.tan(angle + rho) - math.tan(angle - rho))
    return change / train_stiffness(corner) * screw.shaft.lead / (2.0 * math.pi)


def train_stiffness(corner: CornerNumbers) -> float:
    """Return the torsional stiffness [N m/rad] at the screw of rotor, belt, coupling and shaft in series."""
    screw, motor = corner.screw, corner.motor
    rotor = motor_margin.magnetic_stiffness(motor.holding_torque, motor.steps_per_turn) * motor.gear_ratio**2
    shaft = axial_train.shaft_torsional_stiffness(
        shear_modulus=screw.shaft.shear_modulus,
        root_diameter=screw.shaft.root_diameter,
        loaded_length=corner.nut_high,
    )
    belt = [motor.belt_torsion] if motor.belt_torsion is not None else []
    return axial_train.series([rotor, screw.shaft.coupling, shaft, *belt])


def holds(corner: CornerNumbers, state: ThreadState) -> bool:
    """Whether the corner holds at rest without current at the state's lowest friction, detent and brake
    counted as `bedsim size` does."""
    return holding.torque_missing(state.to_hold[1], resting_torque(corner)) <= 0.0
