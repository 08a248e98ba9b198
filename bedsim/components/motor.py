"""The stepper: a magnetic spring to a command that comes in microsteps.

    T = -T_hold sin(N_r (theta - command)) - T_detent sin(4 N_r theta + phase)

N_r rotor teeth: 50 for 1.8 degree steps; the small-angle spring is N_r T_hold.  A detent torque of 5 %
changes that spring by up to 20 % (its own slope is 4 N_r T_detent); here it enters as an imposed angle at the
commanded place. Source: [Acarnley] static torque-position characteristic; [Jones] for the detent's four
cycles per tooth pitch. With a gear every angle here is the screw's: stiffness grows with the ratio squared,
torque with the ratio.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import unit
from bedsim.components.row import Link, Path, Source
from bedsim.units import DEG

Array = NDArray[np.float64]
Bounds = tuple[float, float, float]
"""Low, likely, high."""

PHASE_ERROR: Mapping[int, Bounds] = {
    order: (low * DEG, likely * DEG, high * DEG)
    for order, (low, likely, high) in {
        1: (0.01, 0.03, 0.09),
        2: (0.01, 0.02, 0.05),
        3: (0.004, 0.0115, 0.03),
        4: (0.004, 0.010, 0.03),
    }.items()
}
"""Place error of a motor under current, rad of its own turn, by cycles per four full steps: 50, 100, 150 and
200 a turn of a 1.8 degree motor.  1: offset or unequal gain of the phases, 2: second harmonic of the
current's law, 3 and 4: third, and detent with the fourth.

Source: [StepperMeasured], up and down: 0.056 and 0.053, 0.031 and 0.026, 0.012 and 0.011, 0.013 and 0.008
degrees; a second motor at its full steps 0.012 and 0.011.  Two motors are few: likely values of 1 and 2 lie
between them, high is the usual 5 % of a step, and low and high of 3 and 4 are a third and three times the
likely one (assumed).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """SI.

    `holding_torque` at the set current; `teeth` N_r; `microstep` rad of the motor; `gear` motor over screw
    turns.
    """

    holding_torque: float
    detent_torque: float
    detent_phase: float
    teeth: float
    microstep: float
    inertia: float
    gear: float

    @property
    def stiffness(self) -> float:
        """Magnetic spring seen at the screw, N m/rad: gear^2 N_r T_hold."""
        return self.gear**2 * self.teeth * self.holding_torque

    @property
    def reflected_inertia(self) -> float:
        """Rotor inertia seen at the screw, kg m2."""
        return self.gear**2 * self.inertia

    @property
    def electrical(self) -> float:
        """Electrical radians per radian of the screw."""
        return self.teeth * self.gear


def torque(motor: Motor, lag: Array) -> Array:
    """Torque N m at the screw that pulls back a rotor displaced by `lag` rad (screw angle) from its
    command."""
    return motor.gear * motor.holding_torque * np.sin(motor.electrical * lag)


def link(size: int, corner: int, index: int, motor: Motor, name: str) -> Link:
    """The linear magnetic spring on coordinate `index`."""
    return Link(
        name=name,
        corner=corner,
        jacobian=unit(size, (index, 1.0))[None],
        stiffness=np.array([[motor.stiffness]]),
    )


def sources(motor: Motor, corner: int, link_name: str, turn: float) -> list[Source]:
    """Microstep rounding and detent as imposed angles; `turn` rad of the screw per metre of commanded
    height."""

    def rounding(path: Path) -> Array:
        def error(height: Array) -> Array:
            steps = turn * height * motor.gear / motor.microstep
            return (np.round(steps) - steps) * motor.microstep / motor.gear

        start, end = path.move_start[:, corner], path.move_end[:, corner]
        span = end - start
        share = np.where(span == 0, 1.0, (path.height[:, corner] - start) / np.where(span == 0, 1.0, span))
        # steps on the way come faster than the rotor can follow; what counts is the place it rests at
        return (error(start) * (1 - share) + error(end) * share)[:, None]

    def detent(path: Path) -> Array:
        angle = 4 * motor.teeth * motor.gear * turn * path.height[:, corner] + motor.detent_phase
        return -(motor.gear / motor.stiffness * np.sin(angle))[:, None]

    return [
        Source(
            cause="motor",
            corner=corner,
            link=link_name,
            amount=1.0,
            values=rounding,
            name="microstep rounding",
        ),
        Source(
            cause="motor",
            corner=corner,
            link=link_name,
            amount=motor.detent_torque,
            values=detent,
            name="detent",
        ),
    ]


def steps_per_turn_to_teeth(steps_per_turn: int) -> float:
    """Rotor teeth of a two-phase hybrid: a tooth pitch is four full steps. Source: [Acarnley]."""
    return steps_per_turn / 4.0


def microstep_angle(steps_per_turn: int, microsteps: int) -> float:
    """Angle of one microstep, rad."""
    return 2 * math.pi / (steps_per_turn * microsteps)
