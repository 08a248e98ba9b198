"""With the motors off: does the screw hold, what is missing, unequal corners.

These are closed static formulas.  They tell what follows from the friction given; friction of greased or
vibrating threads may be lower than anyone gave, so no result here says that a machine is safe to reach under.
"""

from __future__ import annotations

import math


def torque_to_hold(load: float, lead: float, efficiency_back: float, aside: float = 0.0) -> float:
    """Return the torque [N m] at the screw that keeps a load [N] from sinking: max(0, F l eta2/(2 pi) + T).

    `aside` T [N m]: what a side force turns the screw by where it rests worst; friction of a self-locking
    screw (eta2 below 0) holds against it.  Source: as `torque.torque_driven_back`.
    """
    return max(0.0, load * lead * efficiency_back / (2.0 * math.pi) + aside)


def torque_missing(needed: float, available: float) -> float:
    """Return the brake torque [N m] that is lacking at the screw: max(0, needed - available)."""
    return max(0.0, needed - available)


def load_held(torque: float, lead: float, efficiency_back: float) -> float:
    """Return the load [N] that a torque [N m] at the screw keeps from sinking: 2 pi T/(l eta2).

    Infinite for a self-locking screw (eta2 not positive).
    """
    if efficiency_back <= 0:
        return math.inf
    return 2.0 * math.pi * torque / (lead * efficiency_back)


def counterweight_missing(load: float, held: float) -> float:
    """Return the lift [N] per corner that a counterweight or gas spring would have to give: max(0, F -
    F_held).
    """
    return max(0.0, load - held)


def fall_acceleration(
    *, load: float, mass: float, lead: float, efficiency_back: float, holding_torque: float, inertia: float
) -> float:
    """Return the acceleration [m/s2] with which an unheld load starts to sink; 0 if it holds.

    a = (F l eta2/(2 pi) - T_hold)/(J 2 pi/l + m l eta2/(2 pi)), F [N] the weight, J [kg m2] all that turns,
    seen at the screw.
    Source: Newton's law for screw and load; with F = m g, eta2 = 1 and T_hold = 0 it is
    g/(1 + J (2 pi/l)^2/m).
    Limits: constant friction, standing start; the course of the fall needs the time domain.
    """
    arm = lead * efficiency_back / (2.0 * math.pi)
    drive = load * arm - holding_torque
    if arm <= 0 or drive <= 0:
        return 0.0
    return drive / (inertia * 2.0 * math.pi / lead + mass * arm)


def thrust_of_motor(torque: float, lead: float, efficiency: float) -> float:
    """Return the push [N] along a blocked screw by a torque [N m] at it: 2 pi T eta1/l."""
    return 2.0 * math.pi * torque * efficiency / lead


def tilt_at_foreshortening(travel: float, radius: float) -> float:
    """Return the tilt [rad] at which a support at `radius` [m] has used up its `travel` s: acos(1 - s/R)."""
    return math.acos(1.0 - min(travel / radius, 1.0))
