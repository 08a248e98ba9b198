"""Forces and torques of one corner that several rows share."""

from __future__ import annotations

import math

from bedsim.sizing import holding, torque
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers


def largest_thrust(corner: CornerNumbers, duty: Duty) -> float:
    """Return the largest push [N] on the screw: heaviest load, accelerated upward, plus guide friction."""
    return max(corner.hanging) + corner.moved_mass * duty.acceleration + corner.guide_friction


def lowering_thrust(corner: CornerNumbers, acceleration: float) -> float:
    """Return the push [N] on the screw while the heaviest load sinks, accelerated downward [m/s2].

    The guide's friction carries a part of it, as it acts against the motion; negative: nut and screw pull the
    carriage down.  A negative acceleration: sinking and braked.  Source: Newton's second law.
    """
    return max(corner.hanging) - corner.moved_mass * acceleration - corner.guide_friction


def lead_angle(screw: ScrewNumbers) -> float:
    """Return the lead angle [rad] where the thread touches."""
    return torque.lead_angle(screw.shaft.lead, screw.contact_diameter)


def friction_angle(screw: ScrewNumbers, friction: float) -> float:
    """Return the friction angle [rad]; the flank counts for a plain nut only."""
    return torque.friction_angle(friction, 0.0 if screw.is_ball else screw.nut.flank_angle)


def efficiency_raising(screw: ScrewNumbers, friction: float) -> float:
    """Return the efficiency when raising, at a friction coefficient."""
    return torque.efficiency_raising(lead_angle(screw), friction_angle(screw, friction))


def efficiency_back(screw: ScrewNumbers, friction: float) -> float:
    """Return the efficiency when driven back by the load; not positive for a self-locking screw."""
    return torque.efficiency_driven_back(lead_angle(screw), friction_angle(screw, friction))


def locking_friction(screw: ScrewNumbers) -> float:
    """Return the friction coefficient from which a screw holds by itself."""
    flank = 0.0 if screw.is_ball else screw.nut.flank_angle
    return torque.friction_for_self_locking(lead_angle(screw), flank)


def torque_to_hold(corner: CornerNumbers, screw: ScrewNumbers, friction: float) -> float:
    """Return the torque [N m] at a screw that keeps what hangs on a corner, at its heaviest, from sinking,
    wherever in its turn the screw rests."""
    back = efficiency_back(screw, friction)
    return holding.torque_to_hold(max(corner.hanging), screw.shaft.lead, back, corner.side_torque)


def torque_up(corner: CornerNumbers, duty: Duty, friction: float) -> float:
    """Return the torque [N m] at the screw to raise the largest thrust, nut drag included."""
    screw = corner.screw
    thrust = largest_thrust(corner, duty)
    return (
        torque.torque_raising(thrust, screw.shaft.lead, efficiency_raising(screw, friction))
        + screw.nut.drag_torque
    )


def nut_torques(corner: CornerNumbers) -> tuple[float, float]:
    """Return what turns the nut [N m] with the screw at rest: load torque F l/(2 pi) at the heaviest load,
    and drag, which points against the last motion.

    Drag: that of the nut and, on a plain screw, f F d2/(2 cos(flank)), as `run` has it.
    Source: [Shigley] power screws, lead angle neglected in the friction.
    """
    screw, load = corner.screw, max(corner.hanging)
    drag = screw.nut.drag_torque
    if not screw.is_ball:
        drag += screw.friction[1] * load * screw.contact_diameter / 2.0 / math.cos(screw.nut.flank_angle)
    return load * screw.shaft.lead / (2.0 * math.pi), drag


def torque_down(corner: CornerNumbers, acceleration: float, friction: float) -> float:
    """Return the torque [N m] at the screw that lowers the heaviest load, nut drag included.

    Negative: the load drives and the motor holds back.  A carriage that must be pulled down is raised against
    its thrust, on the other flanks.
    """
    screw, thrust = corner.screw, lowering_thrust(corner, acceleration)
    if thrust < 0.0:
        pulled = torque.torque_raising(-thrust, screw.shaft.lead, efficiency_raising(screw, friction))
        return pulled + screw.nut.drag_torque
    angle, rho = lead_angle(screw), friction_angle(screw, friction)
    return torque.torque_lowering(thrust, screw.contact_diameter, angle, rho) + screw.nut.drag_torque


def inertia_at_screw(corner: CornerNumbers) -> float:
    """Return the inertia [kg m2] at the screw of what turns: screw and rotor."""
    return corner.screw.shaft.inertia + corner.motor.rotor_inertia * corner.motor.gear_ratio**2


def inertia_at_motor(corner: CornerNumbers, *, with_load: bool) -> float:
    """Return the inertia [kg m2] at the motor: rotor, screw and, for swinging, the carried mass."""
    turning = inertia_at_screw(corner)
    if with_load:
        turning += torque.load_inertia(corner.moved_mass, corner.screw.shaft.lead)
    return turning / corner.motor.gear_ratio**2


def motor_torque(corner: CornerNumbers, duty: Duty, friction: float) -> float:
    """Return the torque [N m] at the motor to raise and accelerate: T_screw/(i eta_g) + J alpha.

    T_screw with what a standing side force adds where in its turn the bent screw is hardest to move.
    """
    motor, screw = corner.motor, corner.screw
    alpha = 2.0 * math.pi * duty.acceleration / screw.shaft.lead * motor.gear_ratio
    at_screw = torque_up(corner, duty, friction) + corner.side_torque
    steady = torque.at_motor(at_screw, motor.gear_ratio, motor.gear_efficiency)
    return steady + inertia_at_motor(corner, with_load=False) * alpha
