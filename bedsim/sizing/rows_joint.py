"""Rows about the joint: travel, recentring, dead zone, push left on the bed, turning, lift-off, contact."""

from __future__ import annotations

import math
from collections.abc import Sequence

from bedsim.number_text import number
from bedsim.sizing import hertz, joint_checks, joint_parts, loads, unit
from bedsim.sizing.axial_train import series
from bedsim.sizing.numbers import BallNumbers, CornerNumbers, Duty, JointNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.sizing.rows_run_out import joint_friction, joint_load, jointed, screw_side_stiffness
from bedsim.units import DEG, GRAVITY, MM, MPA, N_MM, N_PER_MM, N_PER_UM, UM

HELD = "a stiffer hold against turning"


def travel_parts(at: AtCorner) -> dict[str, float]:
    """Return what uses up the joint's travel [m], part by part."""
    corner = at.corner
    # The bed follows a bolted nut most; taking that ratio for the other corners is on the far side.
    k = screw_side_stiffness(corner.screw, corner)
    followed = k / (k + corner.guide_lateral)
    run_outs = [c.screw.run_out for c in at.machine.corners]
    return {
        "run-out": corner.screw.run_out,
        "clocking (the others push the bed)": joint_checks.pushed_by_others(run_outs, at.index, followed),
        "heat growth": corner.joint.growth,
        "misalignment": corner.joint.misalignment,
        "nut bore": corner.joint.bore,
        "turning under load": twist_travel(corner),
    }


def twist_travel(corner: CornerNumbers) -> float:
    """Return what of the joint's travel [m] the nut's turning under load and drag uses up, at most."""
    reach = corner.joint.reach
    return reach * max(map(abs, _twist(corner))) if reach > 0 else 0.0


def element_table(joint: JointNumbers) -> Sequence[tuple[str, float, float, float, float, float]]:
    """Return per part: name, x and y [m], sideways stiffness [N/m], pull [N], friction [N]."""
    return [(e.name, e.x, e.y, min(e.along, e.across), e.pull, e.friction) for e in joint.parts]


def _twist(corner: CornerNumbers) -> tuple[float, float]:
    """How far [rad] the nut is turned against its carriage after lowering and after raising."""
    return joint_checks.static_twist(*loads.nut_torques(corner), corner.joint.rotation)


def _friction(corner: CornerNumbers) -> float:
    """Force [N] that holds the joint against sideways motion: that of listed balls, else as stated."""
    if corner.joint.parts and corner.joint.balls:
        return joint_parts.assemble(corner.joint.parts_warm).friction
    return joint_friction(corner)


def _warm(joint: JointNumbers) -> joint_parts.JointSum | None:
    """The listed parts together, magnets as warm as they get; None where none are listed."""
    return joint_parts.assemble(joint.parts_warm) if joint.parts else None


def _listed(at: AtCorner) -> bool:
    """Whether the joint's parts are listed."""
    return jointed(at) and bool(at.corner.joint.parts)


def _on_balls(at: AtCorner) -> bool:
    """Whether the joint's balls are listed."""
    return jointed(at) and bool(at.corner.joint.balls)


def _authority(corner: CornerNumbers) -> dict[str, str]:
    return {"authority": "sum of B^T k B over the parts" if corner.joint.parts else "Coulomb friction"}


def _travel(at: AtCorner) -> RowValue:
    joint, parts = at.corner.joint, travel_parts(at)
    needed = joint_checks.travel_needed(parts)
    listed = ", ".join(f"{name} {number(abs(v) / UM)}" for name, v in parts.items())
    lacking = needed - joint.travel
    stiffer = f" or {HELD}" if joint.reach > 0 else ""
    return RowValue(
        needed,
        joint.travel,
        note=f"{listed} µm",
        missing=f"{number(lacking / MM, 2)} mm of joint travel{stiffer}" if lacking > 0 else "",
    )


def _recentring(at: AtCorner) -> RowValue:
    return RowValue(at.corner.joint.lateral, words=_authority(at.corner))


def _dead_zone(at: AtCorner) -> RowValue:
    friction, recentring = _friction(at.corner), at.corner.joint.lateral
    note = f"friction {number(friction)} N" if recentring > 0 else "infinite: nothing recentres it"
    zone = friction / recentring if recentring > 0 else math.inf
    return RowValue(zone, note=note, words=_authority(at.corner))


def _push(at: AtCorner) -> RowValue:
    corner, warm = at.corner, _warm(at.corner.joint)
    side = _friction(corner) + corner.joint.lateral * corner.screw.run_out
    return RowValue(side + (warm.push if warm else 0.0), words=_authority(corner))


def _turned(at: AtCorner) -> RowValue:
    low, high = _twist(at.corner)
    load, drag = loads.nut_torques(at.corner)
    return RowValue(
        high,
        note=f"{number(low / DEG, 2)}° after lowering; torque of the load {number(load / N_MM)} N mm, drag "
        f"{number(drag / N_MM)}",
    )


def _turned_travel(at: AtCorner) -> RowValue:
    reach = at.corner.joint.reach
    note = f"at the elements {number(reach / MM)} mm out" if reach > 0 else "none: it moves as a whole"
    return RowValue(twist_travel(at.corner), note=note)


def _rotation(at: AtCorner) -> RowValue:
    stiffness = at.corner.joint.rotation
    return RowValue(stiffness, missing="" if stiffness > 0 else "a part that keeps the nut from turning")


def _reversal(at: AtCorner) -> RowValue:
    joint, drag = at.corner.joint, loads.nut_torques(at.corner)[1]
    stiffness = series([joint.rotation, at.corner.guide_yaw]) if joint.rotation > 0 else 0.0
    turn = joint_checks.wind_up(drag, stiffness) if drag > 0 else 0.0
    return RowValue(
        joint_checks.height_lost_at_reversal(turn, at.corner.screw.shaft.lead),
        note=f"the nut turns {number(turn / DEG, 2)}° between the senses of rotation, carriage in series; "
        "a hop ends in one sense and a layer change without it in the other",
    )


def _reversal_stiffness(at: AtCorner) -> float:
    """Stiffness [N m/rad] against turning at which a reversal costs no more height than is allowed."""
    corner, drag = at.corner, loads.nut_torques(at.corner)[1]
    loss = at.duty.reversal_loss
    return joint_checks.stiffness_for_reversal(drag, corner.screw.shaft.lead, loss, corner.guide_yaw)


def _stiffness_wanted(at: AtCorner) -> RowValue:
    joint, reversal = at.corner.joint, _reversal_stiffness(at)
    torque, way = sum(loads.nut_torques(at.corner)), joint.twist_travel
    lost = f"{number(at.duty.reversal_loss / UM)} µm of height at a reversal"
    wanted = f"{number(way / UM)} µm of travel, {lost}"
    if math.isinf(reversal):
        wanted += "; the carriage's own yaw gives more"
    return RowValue(
        max(joint_checks.stiffness_for_travel(torque, joint.reach, way), reversal),
        note=f"for {wanted} (sizing.joint_twist_um, joint_reversal_um); it has {number(joint.rotation)}",
    )


def _radius_wanted(at: AtCorner) -> RowValue:
    joint = at.corner.joint
    springs = {"lateral": joint.lateral, "anti_rotation": joint.anti_rotation}
    radius = joint_checks.radius_for_stiffness(_reversal_stiffness(at), **springs)
    if joint.reach > 0:
        torque = sum(loads.nut_torques(at.corner))
        radius = max(radius, joint_checks.radius_for_travel(torque, joint.twist_travel, **springs))
    return RowValue(
        radius,
        note=f"{number(joint.lateral / N_PER_MM)} N/mm in all on one circle, anti-rotation part "
        f"{number(joint.anti_rotation)} N m/rad; now {number(joint.reach / MM)} mm",
    )


def _pull(at: AtCorner) -> RowValue:
    joint = at.corner.joint
    cold, warm = (joint_parts.assemble(parts).pull for parts in (joint.parts, joint.parts_warm))
    note = f"{number(cold)} N at room temperature; the magnets snap together if nothing keeps their gap"
    return RowValue(warm, note=note)


def _lift_off(at: AtCorner) -> RowValue:
    joint, warm = at.corner.joint, _warm(at.corner.joint)
    pull = warm.pull if warm else joint.pull
    return RowValue(
        at.duty.acceleration,
        joint_checks.lift_off_acceleration(joint_load(at.corner) / GRAVITY, pull),
        note=f"heaviest load; pull {number(pull)} N" + (" with warm magnets" if warm else ""),
    )


def _ball_pressures(at: AtCorner) -> list[RowValue]:
    each = ball_force(at.corner, at.duty)
    return [_ball_pressure(ball, each) for ball in at.corner.joint.balls]


def ball_force(corner: CornerNumbers, duty: Duty) -> float:
    """Return the force [N] on each ball of a joint: weight, a layer change's acceleration, cold magnets."""
    pressed = joint_load(corner) * (1.0 + duty.acceleration / GRAVITY)
    return (pressed + joint_parts.assemble(corner.joint.parts).pull) / len(corner.joint.balls)


def _ball_pressure(ball: BallNumbers, load: float) -> RowValue:
    pressure, limit = hertz.peak_pressure(load, ball.radius, ball.modulus), ball.yield_pressure
    stiffness = hertz.normal_stiffness(load, ball.radius, ball.modulus) / 2.0
    note = f"{ball.name}, {number(load)} N on each; {number(stiffness / N_PER_UM, 2)} N/µm between two plates"
    if limit is None or pressure / MPA <= limit / MPA:
        return RowValue(pressure, limit, note=note)
    allowed = hertz.load_at_pressure(limit, ball.radius, ball.modulus)
    words = f"harder plates, or balls that carry at most {number(allowed, 2)} N each (larger or more of them)"
    return RowValue(pressure, limit, note=note, missing=words)


JOINT = Subject(
    title="Joint",
    rows=(
        Row(
            key="joint_travel",
            name="travel needed against travel",
            unit=unit.UM,
            tell=_travel,
            where=jointed,
            stays="below",
            formula="sum of all parts in one direction",
            source="geometry; upper bound",
        ),
        Row(
            key="recentring",
            name="recentring stiffness",
            unit=unit.N_PER_MM,
            tell=_recentring,
            where=jointed,
            formula="softest direction of the joint",
            source="{authority}",
            low_is_worse=True,
        ),
        Row(
            key="dead_zone",
            name="dead zone: does not come back from within",
            unit=unit.UM,
            tell=_dead_zone,
            where=jointed,
            formula="friction/recentring stiffness",
            source="{authority}",
        ),
        Row(
            key="joint_push",
            name="sideways push left on the bed",
            unit=unit.NEWTON,
            tell=_push,
            where=jointed,
            formula="friction + k_r e + wedge push",
            source="{authority}",
        ),
        Row(
            key="joint_twist",
            name="turned by load and drag, at most",
            unit=unit.DEG,
            tell=_turned,
            where=jointed,
            formula="(F l/(2 pi) + T_drag)/k",
            source="derived",
        ),
        Row(
            key="twist_travel",
            name="travel which that turning uses up",
            unit=unit.UM,
            tell=_turned_travel,
            where=jointed,
            formula="r (F l/(2 pi) + T_drag)/k",
            source="derived",
        ),
        Row(
            key="joint_rotation",
            name="stiffness against turning with the screw",
            unit=unit.NM_PER_RAD,
            tell=_rotation,
            where=jointed,
            formula="sum of k r^2 + anti-rotation part",
            source="rigid plate on springs",
            low_is_worse=True,
        ),
        Row(
            key="reversal_loss",
            name="height lost at each reversal",
            unit=unit.UM,
            tell=_reversal,
            where=jointed,
            formula="lead/(2 pi) 2 T_drag/k",
            source="derived",
        ),
        Row(
            key="rotation_wanted",
            name="stiffness against turning that is enough",
            unit=unit.NM_PER_RAD,
            tell=_stiffness_wanted,
            where=jointed,
            formula="max(T r/s, 1/(2 pi h/(2 T_drag l) - 1/k_yaw))",
            source="derived",
        ),
        Row(
            key="radius_wanted",
            name="radius at which the joint's springs are enough",
            unit=unit.MM,
            tell=_radius_wanted,
            where=jointed,
            formula="(T + sqrt(T^2 - 4 k_r k_a s^2))/(2 k_r s), sqrt((k - k_a)/k_r)",
            source="derived",
        ),
        Row(
            key="joint_pull",
            name="pull of magnets and springs when warm",
            unit=unit.NEWTON,
            tell=_pull,
            where=_listed,
            formula="disc integral, Br (1 + alpha dT)",
            source="Vokoun et al. 2009; hardware within about 15 %",
            low_is_worse=True,
        ),
        Row(
            key="joint_lift_off",
            name="deceleration against lift-off of the joint",
            unit=unit.MM_S2,
            tell=_lift_off,
            where=jointed,
            stays="below",
            formula="g + pull/m",
            source="Newton's second law",
        ),
        Row(
            key="ball_pressure",
            name="contact pressure of a ball on its plate",
            unit=unit.MPA,
            tell=_ball_pressures,
            where=_on_balls,
            stays="below",
            formula="3 F/(2 pi a^2), a = (3 F R/(4 E*))^(1/3)",
            source="Hertz; Johnson section 4.2",
        ),
    ),
)
