"""Rows about the joint: travel, recentring, dead zone, push left on the bed, turning, lift-off, contact."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from bedsim.sizing import hertz, joint_checks, joint_parts, loads
from bedsim.sizing.axial_train import series
from bedsim.sizing.numbers import CornerNumbers, Duty, JointNumbers, MachineNumbers
from bedsim.sizing.rows_run_out import joint_friction, joint_load, screw_side_stiffness
from bedsim.sizing.table import Check, below, shown
from bedsim.units import DEG, GRAVITY, MM, MM_S2, MPA, N_MM, N_PER_MM, N_PER_UM, UM

JOINT = "Joint"
HELD = "a stiffer hold against turning"


def travel_parts(corner: CornerNumbers, machine: MachineNumbers) -> dict[str, float]:
    """Return what uses up the joint's travel [m], part by part."""
    index = [c.name for c in machine.corners].index(corner.name)
    # The bed follows a bolted nut most; taking that ratio for the other corners is on the far side.
    k = screw_side_stiffness(corner.screw, corner)
    followed = k / (k + corner.guide_lateral)
    others = joint_checks.pushed_by_others([c.screw.run_out for c in machine.corners], index, followed)
    return {
        "run-out": corner.screw.run_out,
        "clocking (the others push the bed)": others,
        "heat growth": corner.joint.growth,
        "misalignment": corner.joint.misalignment,
        "nut bore": corner.joint.bore,
        "turning under load": twist_travel(corner),
    }


def twist_travel(corner: CornerNumbers) -> float:
    """Return what of the joint's travel [m] the nut's turning under load and drag uses up, at most."""
    reach = corner.joint.reach
    return reach * max(map(abs, _twist(corner))) if reach > 0 else 0.0


def _twist(corner: CornerNumbers) -> tuple[float, float]:
    """How far [rad] the nut is turned against its carriage after lowering and after raising."""
    return joint_checks.static_twist(*loads.nut_torques(corner), corner.joint.rotation)


def joint_rows(corner: CornerNumbers, machine: MachineNumbers) -> list[Check]:
    """All rows about the joint of one corner; none when it is rigid."""
    if corner.joint.kind == "rigid":
        return []
    return [
        *_travel_rows(corner, machine),
        *_recentring_rows(corner),
        *_turning_rows(corner),
        *_reversal_rows(corner),
        *_holding_rows(corner, machine.duty),
        *_lift_off_rows(corner, machine.duty),
        *_ball_rows(corner, machine.duty),
    ]


def _travel_rows(corner: CornerNumbers, machine: MachineNumbers) -> list[Check]:
    parts = travel_parts(corner, machine)
    needed = joint_checks.travel_needed(parts)
    listed = ", ".join(f"{name} {abs(v) / UM:.3g}" for name, v in parts.items())
    lacking = needed - corner.joint.travel
    stiffer = f" or {HELD}" if lacking > 0 and corner.joint.reach > 0 else ""
    return [
        below(
            JOINT,
            "travel needed against travel",
            needed / UM,
            corner.joint.travel / UM,
            "µm",
            formula="sum of all parts in one direction",
            source="geometry; upper bound",
            corner=corner.name,
            note=f"{listed} µm",
            missing=f"{lacking / MM:.2g} mm of joint travel{stiffer}" if lacking > 0 else "",
        )
    ]


def _recentring_rows(corner: CornerNumbers) -> list[Check]:
    joint, friction = corner.joint, joint_friction(corner)
    recentring, push = joint.lateral, 0.0
    if joint.parts:
        total = joint_parts.assemble(joint.parts_warm)
        push = total.push
        friction = total.friction if joint.balls else friction
    zone = friction / recentring if recentring > 0 else math.inf
    side = friction + recentring * corner.screw.run_out + push
    source = "sum of B^T k B over the parts" if joint.parts else "Coulomb friction"
    return [
        shown(
            JOINT,
            "recentring stiffness",
            recentring / N_PER_MM,
            "N/mm",
            formula="softest direction of the joint",
            low_is_worse=True,
            source=source,
            corner=corner.name,
        ),
        shown(
            JOINT,
            "dead zone: does not come back from within",
            zone / UM,
            "µm",
            formula="friction/recentring stiffness",
            source=source,
            corner=corner.name,
            note="infinite: nothing recentres it" if math.isinf(zone) else f"friction {friction:.3g} N",
        ),
        shown(
            JOINT,
            "sideways push left on the bed",
            side,
            "N",
            formula="friction + k_r e + wedge push",
            source=source,
            corner=corner.name,
        ),
    ]


def _reversal_rows(corner: CornerNumbers) -> list[Check]:
    joint, screw = corner.joint, corner.screw
    stiffness = series([joint.rotation, corner.guide_yaw]) if joint.rotation > 0 else 0.0
    drag = loads.nut_torques(corner)[1]
    turn = joint_checks.wind_up(drag, stiffness) if drag > 0 else 0.0
    return [
        shown(
            JOINT,
            "stiffness against turning with the screw",
            joint.rotation,
            "N m/rad",
            formula="sum of k r^2 + anti-rotation part",
            low_is_worse=True,
            source="rigid plate on springs",
            corner=corner.name,
            missing="" if joint.rotation > 0 else "a part that keeps the nut from turning",
        ),
        shown(
            JOINT,
            "height lost at each reversal",
            joint_checks.height_lost_at_reversal(turn, screw.lead) / UM,
            "µm",
            formula="lead/(2 pi) 2 T_drag/k",
            source="derived",
            corner=corner.name,
            note=f"the nut turns {turn / DEG:.2g}° between the senses of rotation, carriage in series; "
            "a hop ends in one sense and a layer change without it in the other",
        ),
    ]


def _turning_rows(corner: CornerNumbers) -> list[Check]:
    """Rows of how far the load turns the nut, and what that takes of the travel."""
    low, high = _twist(corner)
    load, drag = loads.nut_torques(corner)
    common: dict[str, Any] = {"source": "derived", "corner": corner.name}
    return [
        shown(
            JOINT,
            "turned by load and drag, at most",
            high / DEG,
            "°",
            formula="(F l/(2 pi) + T_drag)/k",
            note=f"{low / DEG:.2g}° after lowering; torque of the load {load / N_MM:.3g} N mm, drag "
            f"{drag / N_MM:.3g}",
            **common,
        ),
        shown(
            JOINT,
            "travel which that turning uses up",
            twist_travel(corner) / UM,
            "µm",
            formula="r (F l/(2 pi) + T_drag)/k",
            note=f"at the elements {corner.joint.reach / MM:.3g} mm out"
            if corner.joint.reach > 0
            else "none: it moves as a whole",
            **common,
        ),
    ]


def _holding_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of the stiffness, and the radius of the joint's springs, that hold the nut as is wanted."""
    joint = corner.joint
    load, drag = loads.nut_torques(corner)
    torque, way = load + drag, joint.twist_travel
    reversal = joint_checks.stiffness_for_reversal(
        drag, corner.screw.lead, duty.reversal_loss, corner.guide_yaw
    )
    stiffness = max(joint_checks.stiffness_for_travel(torque, joint.reach, way), reversal)
    springs = {"lateral": joint.lateral, "anti_rotation": joint.anti_rotation}
    radius = joint_checks.radius_for_stiffness(reversal, **springs)
    if joint.reach > 0:
        radius = max(radius, joint_checks.radius_for_travel(torque, way, **springs))
    wanted = f"{way / UM:.3g} µm of travel, {duty.reversal_loss / UM:.3g} µm of height at a reversal"
    if math.isinf(reversal):
        wanted += "; the carriage's own yaw gives more"
    common: dict[str, Any] = {"source": "derived", "corner": corner.name}
    return [
        shown(
            JOINT,
            "stiffness against turning that is enough",
            stiffness,
            "N m/rad",
            formula="max(T r/s, 1/(2 pi h/(2 T_drag l) - 1/k_yaw))",
            note=f"for {wanted} (sizing.joint_twist_um, joint_reversal_um); it has {joint.rotation:.3g}",
            **common,
        ),
        shown(
            JOINT,
            "radius at which the joint's springs are enough",
            radius / MM,
            "mm",
            formula="(T + sqrt(T^2 - 4 k_r k_a s^2))/(2 k_r s), sqrt((k - k_a)/k_r)",
            note=f"{joint.lateral / N_PER_MM:.3g} N/mm in all on one circle, anti-rotation part "
            f"{joint.anti_rotation:.3g} N m/rad; now {joint.reach / MM:.3g} mm",
            **common,
        ),
    ]


def _lift_off_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    mass = joint_load(corner) / GRAVITY
    pull = joint_parts.assemble(corner.joint.parts_warm).pull if corner.joint.parts else corner.joint.pull
    limit = joint_checks.lift_off_acceleration(mass, pull)
    return [
        *_pull_rows(corner, pull),
        below(
            JOINT,
            "deceleration against lift-off of the joint",
            duty.acceleration / MM_S2,
            limit / MM_S2,
            "mm/s²",
            formula="g + pull/m",
            source="Newton's second law",
            corner=corner.name,
            note=f"heaviest load; pull {pull:.3g} N" + (" with warm magnets" if corner.joint.parts else ""),
        ),
    ]


def _pull_rows(corner: CornerNumbers, warm: float) -> list[Check]:
    if not corner.joint.parts:
        return []
    cold = joint_parts.assemble(corner.joint.parts).pull
    return [
        shown(
            JOINT,
            "pull of magnets and springs when warm",
            warm,
            "N",
            formula="disc integral, Br (1 + alpha dT)",
            source="Vokoun et al. 2009; hardware within about 15 %",
            corner=corner.name,
            note=f"{cold:.3g} N at room temperature; the magnets snap together if nothing keeps their gap",
            low_is_worse=True,
        )
    ]


def _ball_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    joint = corner.joint
    rows: list[Check] = []
    if not joint.balls:
        return rows
    pull = joint_parts.assemble(joint.parts).pull
    each = (joint_load(corner) * (1.0 + duty.acceleration / GRAVITY) + pull) / len(joint.balls)
    for ball in joint.balls:
        pressure = hertz.peak_pressure(each, ball.radius, ball.modulus) / MPA
        stiffness = hertz.normal_stiffness(each, ball.radius, ball.modulus) / 2.0
        common: dict[str, Any] = {
            "formula": "3 F/(2 pi a^2), a = (3 F R/(4 E*))^(1/3)",
            "source": "Hertz; Johnson section 4.2",
            "corner": corner.name,
        }
        note = f"{ball.name}, {each:.3g} N on each; {stiffness / N_PER_UM:.2g} N/µm between two plates"
        name = "contact pressure of a ball on its plate"
        if ball.yield_pressure is None:
            rows.append(shown(JOINT, name, pressure, "MPa", note=note, **common))
        else:
            limit = ball.yield_pressure
            allowed = hertz.load_at_pressure(limit, ball.radius, ball.modulus)
            words = (
                f"harder plates, or balls that carry at most {allowed:.2g} N each (larger or more of them)"
            )
            missing = words if pressure > limit / MPA else ""
            rows.append(
                below(JOINT, name, pressure, limit / MPA, "MPa", note=note, missing=missing, **common)
            )
    return rows


def element_table(joint: JointNumbers) -> Sequence[tuple[str, float, float, float, float, float]]:
    """Return per part: name, x and y [m], sideways stiffness [N/m], pull [N], friction [N]."""
    return [(e.name, e.x, e.y, min(e.along, e.across), e.pull, e.friction) for e in joint.parts]
