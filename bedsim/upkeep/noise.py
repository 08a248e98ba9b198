"""Noise as frequencies and differences; no level in decibels is promised, since none could be derived.

A stepper pushes with every full step, with its halves and quarters (an electrical turn is four full steps)
and with harmonics of the step; balls come out of the nut's return one by one.  Where such a rate meets a
mode of the machine, the machine sings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from bedsim.analysis.move_speeds import mode_words, per_metre, shaken_most
from bedsim.engines.moves import Bench
from bedsim.sizing.numbers import CornerNumbers, MotorNumbers, ScrewNumbers

#: Orders of an electrical turn whose meetings are told, in words; 4: the step itself.
ORDERS = {
    1: "a quarter of the step rate",
    2: "half the step rate",
    4: "the step rate",
    8: "twice the step rate",
}
MODES = 3
#: Most stepper noise between these rates, full steps/s ([TradeTang], read).
LOUDEST = (150.0, 300.0)
#: Level of a recirculating linear guide per doubling of speed, dB; balls of silicon nitride against steel
#: ([Ohta], abstract read).  Of a ball screw nothing readable was found: taken as alike.
PER_DOUBLING, CERAMIC = 9.8, -4.5
#: Of the default diameter of a ball: shares of lead and of the screw (assumed, catalogues lie near).
BALL_OF_LEAD, BALL_OF_SCREW = 0.6, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """A mode of `frequency` Hz that `cause` meets at `speed` m/s of the bed."""

    frequency: float
    mode: str
    cause: str
    speed: float


def step_rate(speed: float, lead: float, motor: MotorNumbers) -> float:
    """Return the full steps per second of a motor while its nut goes at a speed [m/s]: v i N/l."""
    return speed / lead * motor.gear_ratio * motor.steps_per_turn


def speed_at_rate(rate: float, lead: float, motor: MotorNumbers) -> float:
    """Return the speed [m/s] at which a motor makes so many full steps per second."""
    return rate * lead / (motor.gear_ratio * motor.steps_per_turn)


def ball_diameter(lead: float, diameter: float) -> float:
    """Return a usual diameter [m] of the balls of a screw of that lead and diameter [m]; assumed."""
    return min(BALL_OF_LEAD * lead, BALL_OF_SCREW * diameter)


def ball_passage(
    turns: float, *, ball_circle: float, ball: float, lead: float, contact_angle: float
) -> float:
    """Return how many balls a second enter the return of a nut [1/s] at a screw speed [turns/s].

    f = (n/2) (1 - D cos(alpha)/d) Z, Z = pi d/(D cos(lambda)), tan(lambda) = lead/(pi d).
    Derived: a ball that rolls without slip between a groove at rest (the nut) and one that moves (the screw,
    at the radius (d - D cos(alpha))/2) goes at half the latter's speed; over the length of a turn of the
    thread, pi d/cos(lambda), stand Z balls that touch.  As the outer ring's frequency of a rolling bearing.
    Limits: no spacer balls (they halve Z), no slip, equal contact angles at both grooves, small lead angle.
    """
    slope = math.atan(lead / (math.pi * ball_circle))
    in_a_turn = math.pi * ball_circle / (ball * math.cos(slope))
    return turns / 2.0 * (1.0 - ball * math.cos(contact_angle) / ball_circle) * in_a_turn


def level_difference(speed: float, other: float) -> float:
    """Return by how many decibels rolling balls get louder from one speed to `other`: 9.8 log2(v/v0).

    Source: [Ohta], a recirculating guide.  Limits: same part, same mounting; of screws it is taken alike.
    """
    return PER_DOUBLING * math.log2(other / speed)


def rolling_speed(screw: ScrewNumbers, speed: float) -> float:
    """Return the speed [m/s] of the ball circle of a screw whose nut goes at `speed` [m/s]: pi d v/l."""
    return math.pi * screw.contact_diameter * speed / screw.shaft.lead


def singing(bench: Bench, fastest: float) -> list[Meeting]:
    """Return where the motors' rates meet the modes they shake most, up to the speed `fastest` [m/s].

    v = w/(k N_r i 2 pi/l): as `bedsim size --speeds`, with the step's second harmonic.
    """
    found = []
    for mode in sorted(shaken_most(bench, MODES), key=lambda k: float(bench.frequency[k])):
        rate = float(bench.frequency[mode])
        for order, words in ORDERS.items():
            speed = rate / (order * per_metre(bench))
            if speed <= fastest:
                found.append(_meeting(bench, mode, words, speed))
    return found


def rolling_meetings(bench: Bench, corner: CornerNumbers, ball: float, angle: float) -> list[Meeting]:
    """Return the speeds at which the balls of a corner's nut meet the same modes."""
    screw = corner.screw
    per_turn = ball_passage(
        1.0, ball_circle=screw.contact_diameter, ball=ball, lead=screw.shaft.lead, contact_angle=angle
    )
    return [
        _meeting(
            bench, mode, "balls", float(bench.frequency[mode]) / (2 * math.pi) / per_turn * screw.shaft.lead
        )
        for mode in sorted(shaken_most(bench, MODES), key=lambda k: float(bench.frequency[k]))
    ]


def _meeting(bench: Bench, mode: int, cause: str, speed: float) -> Meeting:
    return Meeting(
        frequency=float(bench.frequency[mode]) / (2 * math.pi),
        mode=mode_words(bench, mode),
        cause=cause,
        speed=speed,
    )
