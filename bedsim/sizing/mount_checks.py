"""A mount's seat: is it pressed together under every acceleration?"""

from __future__ import annotations

from bedsim.units import GRAVITY


def seat_force(
    *, weight_share: float, downward_acceleration: float, relieved: float, magnet_pull: float
) -> float:
    """Return the force [N] on a seat: N_i (1 - a/g) - relieved + pull; not positive means it lifts.

    `weight_share` [N] is the support's load at rest, `relieved` [N] what a sideways acceleration takes off
    it.
    Source: statics of the stiff plate.
    """
    return weight_share * (1.0 - downward_acceleration / GRAVITY) - relieved + magnet_pull


def overturning_moment(mass: float, sideways_acceleration: float, height: float) -> float:
    """Return the moment [N m] of a mass [kg] whose centre lies `height` [m] off the mounts: m a |h|."""
    return mass * sideways_acceleration * abs(height)
