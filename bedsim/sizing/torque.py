"""Screw torques: to raise, to lower, to be driven back; friction angle, efficiency, gear, preload, inertia.

Ball and trapezoidal screws obey the same wedge; they differ in the friction coefficient (rolling against
sliding), the diameter at which the thread touches and the flank angle (0 for a ball screw here).
"""

from __future__ import annotations

import math


def lead_angle(lead: float, pitch_diameter: float) -> float:
    """Return the lead angle [rad]: tan(lambda) = lead/(pi d2).  Source: [Shigley] section 8-2."""
    return math.atan(lead / (math.pi * pitch_diameter))


def friction_angle(friction_coefficient: float, flank_angle: float = 0.0) -> float:
    """Return the friction angle [rad] of a thread: tan(rho) = f/cos(flank).

    `flank_angle` [rad] is half the thread angle: 15 degrees for ISO 2904, 0 for square threads and ball
    screws.
    Source: [Shigley] section 8-2 (the flank raises the normal force); the small tilt of the normal plane by
    the lead angle is neglected, as there.
    """
    return math.atan(friction_coefficient / math.cos(flank_angle))


def efficiency_raising(lead_angle: float, friction_angle: float) -> float:
    """Return work raised over work put in: eta1 = tan(lambda)/tan(lambda + rho).

    For a ball screw this is (1 - mu tan b)/(1 + mu/tan b).  Source: [Shigley] section 8-2; [THK-A]
    efficiency.
    """
    return math.tan(lead_angle) / math.tan(lead_angle + friction_angle)


def efficiency_driven_back(lead_angle: float, friction_angle: float) -> float:
    """Return work got at the screw over work of the falling load: eta2 = tan(lambda - rho)/tan(lambda).

    Zero or negative: self-locking, the load alone cannot turn the screw.  For a ball screw this is
    (1 - mu/tan b)/(1 + mu tan b).  Source: [Shigley] section 8-2 (self-locking); [THK-A] efficiency.
    """
    return math.tan(lead_angle - friction_angle) / math.tan(lead_angle)


def torque_raising(load: float, lead: float, efficiency: float) -> float:
    """Return the torque [N m] at the screw that raises the load [N]: T = F l/(2 pi eta1).

    Source: [THK-A] torque; equal to F d2/2 tan(lambda + rho) of [Shigley] eq. 8-1.
    """
    return load * lead / (2.0 * math.pi * efficiency)


def torque_lowering(load: float, pitch_diameter: float, lead_angle: float, friction_angle: float) -> float:
    """Return the torque [N m] that must be added to lower the load: T = F d2/2 tan(rho - lambda).

    Negative: the load drives the screw and the motor must hold back by that amount.
    Source: [Shigley] eq. 8-2.
    """
    return load * pitch_diameter / 2.0 * math.tan(friction_angle - lead_angle)


def torque_driven_back(load: float, lead: float, efficiency_back: float) -> float:
    """Return the torque [N m] with which a load [N] turns the screw: T = F l eta2/(2 pi).

    It falls with friction and is zero or negative for a self-locking screw.  (A form with eta2 in the
    denominator circulates; it grows as the screw gets worse and is wrong for a screw driven by its load.)
    Source: [THK-A] torque; equal to F d2/2 tan(lambda - rho).
    """
    return load * lead * efficiency_back / (2.0 * math.pi)


def at_motor(screw_torque: float, gear_ratio: float, gear_efficiency: float = 1.0) -> float:
    """Return the torque [N m] at the motor for a driving torque at the screw: T/(i eta_g).

    `gear_ratio` i is motor turns per screw turn.  Source: energy balance.
    """
    return screw_torque / (gear_ratio * gear_efficiency)


def friction_for_self_locking(lead_angle: float, flank_angle: float = 0.0) -> float:
    """Return the least friction coefficient at which the screw holds by itself: f = tan(lambda) cos(flank).

    Source: [Shigley] eq. 8-3.
    """
    return math.tan(lead_angle) * math.cos(flank_angle)


def load_inertia(mass: float, lead: float) -> float:
    """Return the inertia [kg m2] at the screw of a mass [kg] moved by the lead [m]: m (l/(2 pi))^2.

    Source: [THK-A] inertial moment; energy balance.
    """
    return mass * (lead / (2.0 * math.pi)) ** 2
