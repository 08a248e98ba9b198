"""The stepper under its load: pull-out torque, load angle, microsteps, resonance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np


def pull_out_torque(turns_per_second: float, speeds: Sequence[float], torques: Sequence[float]) -> float:
    """Return the torque [N m] at which the motor loses step at a speed [turns/s], from a maker's curve.

    `speeds` [turns/s] increasing and `torques` [N m], at least two points; straight between them, constant
    below the first.  Beyond the last point nothing is promised: 0.
    """
    if turns_per_second > speeds[-1]:
        return 0.0
    return float(np.interp(turns_per_second, speeds, torques))


def load_angle(torque: float, peak_torque: float) -> float:
    """Return the electrical angle [rad] by which the rotor lags under a torque: asin(T/T_peak).

    The mechanical angle is that divided by the rotor teeth (50 for 1.8 degree motors); 90 degrees electrical
    is one full step.  Infinite when the torque exceeds the peak: the motor slips.
    Source: [Jones] (torque against position is nearly sinusoidal for hybrid motors).
    """
    ratio = abs(torque) / peak_torque
    return math.asin(ratio) if ratio <= 1.0 else math.inf


def incremental_torque(holding_torque: float, microsteps: int) -> float:
    """Return the torque [N m] that one microstep can exert on a rotor at rest: T_h sin(90 deg/n).

    Source: derived from the sinusoidal torque curve of [Jones].
    """
    return holding_torque * math.sin(math.pi / 2.0 / microsteps)


def microsteps_before_motion(friction_torque: float, holding_torque: float, microsteps: int) -> float:
    """Return after how many microsteps a rotor at rest overcomes friction: asin(T_f/T_h)/(90 deg/n).

    Infinite if friction exceeds the holding torque.  Source: as `incremental_torque`.
    """
    return load_angle(friction_torque, holding_torque) / (math.pi / 2.0 / microsteps)


def electrical_teeth(steps_per_turn: int) -> float:
    """Return the electrical periods per turn: four full steps each, so 50 for 200 steps.  Source: [Jones]."""
    return steps_per_turn / 4.0


def magnetic_stiffness(holding_torque: float, steps_per_turn: int) -> float:
    """Return the torsional stiffness [N m/rad] of the energised rotor near its target: N_r T_h.

    Source: [Jones]; slope of T = T_h sin(N_r theta).  Detent torque changes it by 4 T_d/T_h relatively.
    """
    return electrical_teeth(steps_per_turn) * holding_torque


def resonance(stiffness: float, inertia: float) -> float:
    """Return the frequency [Hz] at which rotor and load [kg m2] swing on the magnetic spring: sqrt(k/J)/(2
    pi).

    `inertia` includes whatever turns or is carried with the rotor.
    Source: [Jones]; for small swings (at 60 degrees electrical it is 7 % lower).
    """
    return math.sqrt(stiffness / inertia) / (2.0 * math.pi)
