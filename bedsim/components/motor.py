"""The stepper: a magnetic spring to a command that comes in microsteps, and a place error of its own.

    T = -T_hold sin(N_r (theta - command - error))
    error = sum_k A_k cos(k N_r command + phase_k), k = 1 to 4

N_r rotor teeth: 50 for 1.8 degree steps; the small-angle spring is N_r T_hold.  Source: [Acarnley] static
torque-position characteristic.  The error repeats with the electrical angle, once in four full steps: unequal
phases (1), harmonics of the current's law (2, 3), detent with the fourth (4).  Source: [StepperMeasured].  It
enters as an imposed angle at the commanded place: good while the rotor's swing stays well below a quarter of
the error's period.  With a gear every angle here is the screw's: stiffness grows with the ratio squared,
torque with the ratio.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import unit
from bedsim.components.row import CauseName, Link, Path, Source

Array = NDArray[np.float64]

PLACE_ERROR = "place error"
"""What the sources of a place error are called; their order follows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """SI.

    `holding_torque` at the set current; `place_errors` by order k: A_k rad of the motor and phase_k; `teeth`
    N_r; `microstep` rad of the motor; `gear` motor over screw turns.
    """

    holding_torque: float
    place_errors: tuple[tuple[float, float], ...]
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


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceError:
    """One order of a place error at unit strength, an angle of the screw: `rate` rad of its phase per metre
    of commanded height."""

    corner: int
    rate: float
    phase: float
    gear: float

    def __call__(self, path: Path) -> Array:
        """Give it along a path, (t, 1)."""
        return np.asarray(np.cos(self.rate * path.height[:, self.corner] + self.phase) / self.gear)[:, None]


def torque(motor: Motor, lag: Array) -> Array:
    """Torque N m at the screw that pulls back a rotor displaced by `lag` rad (screw angle) from its
    command."""
    return motor.gear * motor.holding_torque * np.sin(motor.electrical * lag)


def link(size: int, corner: int, index: int, motor: Motor, name: str) -> Link:
    """The linear magnetic spring on coordinate `index`."""
    return Link(
        part="motor",
        name=name,
        corner=corner,
        jacobian=unit(size, (index, 1.0))[None],
        stiffness=np.array([[motor.stiffness]]),
    )


def sources(motor: Motor, corner: int, link_name: str, turn: float) -> list[Source]:
    """Microstep rounding and place errors as imposed angles; `turn` rad of the screw per metre of commanded
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

    found = [
        Source(
            cause=CauseName.MOTOR,
            corner=corner,
            link=link_name,
            amount=1.0,
            values=rounding,
            name="microstep rounding",
        )
    ]
    for order, (amplitude, phase) in enumerate(motor.place_errors, start=1):
        found.append(
            Source(
                cause=CauseName.MOTOR,
                corner=corner,
                link=link_name,
                amount=amplitude,
                values=PlaceError(
                    corner=corner, rate=order * motor.electrical * turn, phase=phase, gear=motor.gear
                ),
                name=f"{PLACE_ERROR} {order}",
                order=order,
            )
        )
    return found


def steps_per_turn_to_teeth(steps_per_turn: int) -> float:
    """Rotor teeth of a two-phase hybrid: a tooth pitch is four full steps. Source: [Acarnley]."""
    return steps_per_turn / 4.0


def microstep_angle(steps_per_turn: int, microsteps: int) -> float:
    """Angle of one microstep, rad."""
    return 2 * math.pi / (steps_per_turn * microsteps)
