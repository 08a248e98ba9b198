"""Rows about the screw: column, speed, axial train, torque."""

from __future__ import annotations

import math

from bedsim.sizing import axial_train, buckling, critical_speed, loads, torque
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers
from bedsim.sizing.table import Check, below, shown
from bedsim.units import DEG, GRAVITY, MINUTE, MM, MM_S2, N_MM, N_PER_UM, UM

SUBJECT = "Screw"
MOTOR_PUSHED = "push on the motor's bearings"
TRAIN = "Axial train"
TORQUE = "Torque at the screw"


def column_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of buckling, compression, critical speed and speed x diameter."""
    screw, thrust = corner.screw, loads.largest_thrust(corner, duty)
    critical, height = buckling.critical_load(screw, corner.nut_low, corner.nut_high)
    free = corner.nut_high if screw.ends == "fixed-free" else screw.length
    printed = buckling.permissible_column_load(
        youngs_modulus=screw.youngs_modulus,
        root_diameter=screw.root_diameter,
        free_length=free,
        ends=screw.ends,
    )
    compression = buckling.permissible_compression(root_diameter=screw.root_diameter)
    speed = duty.speed / screw.lead
    rows = [
        shown(
            SUBJECT,
            "buckling load",
            critical,
            "N",
            formula="P_cr of the span from thrust bearing to nut, on its bearings",
            source="exact beam-column (Timoshenko)",
            corner=corner.name,
            note=f"least over the travel, at a nut height of {height / MM:.0f} mm; nut and guide do not "
            f"count; {_beyond_buckling(screw)}",
            low_is_worse=True,
            key="buckling_load",
        ),
        below(
            SUBJECT,
            "push against half the buckling load",
            thrust,
            buckling.CATALOGUE_FACTOR * critical,
            "N",
            formula="0.5 P_cr of the span from thrust bearing to nut, on its bearings",
            source="exact beam-column (Timoshenko); 0.5: MISUMI p. 1676; THK A15-30",
            corner=corner.name,
            note=f"makers' 0.5 N pi^2 E I/L^2 of {free / MM:.0f} mm, {screw.ends}, rigid bearings: "
            f"{printed:.0f} N",
        ),
        below(
            SUBJECT,
            "push against compression of the root",
            thrust,
            compression,
            "N",
            formula="147 MPa pi d^2/4",
            source="THK A15-30",
            corner=corner.name,
        ),
    ]
    return [
        *rows,
        *_turning(corner, speed),
        *_speed_diameter(corner, speed),
        _slenderness(corner),
        _unloading(corner, duty),
        *_jump(corner),
        *_on_motor(corner, duty),
    ]


def _turning(corner: CornerNumbers, speed: float) -> list[Check]:
    """Rows of the bare screw's bending, on rigid bearings or on its motor, and speed [turns/s] against it."""
    screw = corner.screw
    if screw.motor_end is None:
        critical = critical_speed.first_bending_frequency(
            youngs_modulus=screw.youngs_modulus,
            density=screw.density,
            root_diameter=screw.root_diameter,
            free_length=screw.length,
            ends=screw.ends,
        )
        formula, source = "(beta L)^2/(2 pi L^2) sqrt(E I/(rho A))", "MISUMI p. 1677"
        note = "bare screw on rigid bearings"
    else:
        critical = critical_speed.first_frequency_on_bearings(screw.part)
        formula, source = "f_1 of the beam on its springs", "finite elements; 0.8: MISUMI p. 1677"
        note = "bare screw on coupling and motor as they yield; its nut holds it too"
    return [
        shown(
            SUBJECT,
            "critical speed",
            critical * MINUTE,
            "rpm",
            formula=formula,
            source=source,
            corner=corner.name,
            note=note,
            low_is_worse=True,
            key="critical_speed",
        ),
        below(
            SUBJECT,
            "turning speed against 0.8 of critical",
            speed * MINUTE,
            critical_speed.CATALOGUE_FACTOR * critical * MINUTE,
            "rpm",
            formula=f"0.8 {formula}",
            source=source,
            corner=corner.name,
            note=note,
        ),
    ]


def _beyond_buckling(screw: ScrewNumbers) -> str:
    if screw.part.leans:
        return "beyond it the screw leans on its nut, which guide and joint must hold upright"
    return "bedsim run refuses from this load on"


def _on_motor(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """What a motor's own bearings carry where they alone hold the screw."""
    limit = corner.motor.axial_limit
    if corner.screw.motor_end is None or limit is None:
        return []
    push = loads.largest_thrust(corner, duty) + corner.screw.part.mass * GRAVITY
    return [
        below(
            SUBJECT,
            MOTOR_PUSHED,
            push,
            limit,
            "N",
            formula="F + weight of the screw",
            source="motor.axial_force_limit_n",
            corner=corner.name,
            note="the motor's own bearings carry bed and screw",
            missing="a thrust bearing under the screw" if push > limit else "",
        )
    ]


def _unloading(corner: CornerNumbers, duty: Duty) -> Check:
    left = min(corner.hanging) - corner.guide_friction
    return below(
        SUBJECT,
        "deceleration against unloading of the nut",
        duty.acceleration / MM_S2,
        left / corner.moved_mass / MM_S2,
        "mm/s²",
        formula="(F - guide friction)/m",
        source="Newton's second law",
        corner=corner.name,
        note="beyond it play in nut and thrust bearing opens",
        missing="weight on the nut" if left <= 0 else "",
    )


def _jump(corner: CornerNumbers) -> list[Check]:
    """How far a screw's corner goes when its load changes sign; no row where there is no play.

    A plain nut with radial clearance c about its screw has c tan(beta) along the screw to either flank
    (derived: flanks at the angle beta from the plane across the axis).
    """
    screw = corner.screw
    play = screw.axial_play + 2.0 * screw.clearance * math.tan(screw.flank_angle)
    if play == 0.0:
        return []
    return [
        shown(
            SUBJECT,
            "jump in height if a screw is unloaded",
            play / UM,
            "µm",
            formula="axial play + 2 c tan(beta)",
            source="geometry of the thread; derived",
            corner=corner.name,
            note="the weight keeps play shut below the deceleration above; no run follows it open",
        )
    ]


def _speed_diameter(corner: CornerNumbers, speed: float) -> list[Check]:
    screw = corner.screw
    if not screw.is_ball:
        return []
    limit = screw.speed_diameter_limit
    given = limit is not None
    limit = limit if limit is not None else critical_speed.SPEED_DIAMETER_LIMIT
    value = critical_speed.speed_diameter(turns_per_second=speed, ball_circle_diameter=screw.contact_diameter)
    return [
        below(
            SUBJECT,
            "speed x diameter",
            value / MM * MINUTE,
            limit / MM * MINUTE,
            "mm rpm",
            formula="D n",
            source="limit given" if given else "Engineers Edge, low end of all",
            corner=corner.name,
            note=""
            if given
            else "76 200 with external return, 140 000 with internal: give the maker's as "
            "sizing.speed_diameter_mm_rpm",
        )
    ]


def _slenderness(corner: CornerNumbers) -> Check:
    value = corner.screw.length / corner.screw.diameter
    asked = value > critical_speed.SLENDERNESS_ASKED
    return below(
        SUBJECT,
        "free length over diameter",
        value,
        critical_speed.SLENDERNESS_LIMIT,
        "",
        formula="L/d",
        source="a ball screw maker's rule",
        corner=corner.name,
        note=f"sag of a lying screw; its maker asks from {critical_speed.SLENDERNESS_ASKED:g} on"
        + (": how straight does it arrive and stay?" if asked else ""),
    )


def axial_parts(corner: CornerNumbers, nut_height: float) -> dict[str, float]:
    """Return the stiffness [N/m] of every part between ground and carriage, along the screw."""
    screw, motor = corner.screw, corner.motor
    steel = {"youngs_modulus": screw.youngs_modulus, "root_diameter": screw.root_diameter}
    lower = axial_train.shaft_axial_stiffness(loaded_length=nut_height, **steel)
    if screw.ends == "fixed-fixed":
        upper = axial_train.shaft_axial_stiffness(loaded_length=screw.length - nut_height, **steel)
        both = axial_train.series([screw.bearing_axial, lower])
        both += axial_train.series([screw.bearing_axial, upper])
        parts = {"shaft and its two bearings": both}
    else:
        thrust = "thrust bearing" if screw.motor_end is None else "coupling and motor's bearings"
        parts = {thrust: screw.bearing_axial, "shaft, stretch": lower}
    twist = axial_train.shaft_torsional_stiffness(
        shear_modulus=screw.shear_modulus, root_diameter=screw.root_diameter, loaded_length=nut_height
    )
    magnetic = motor.steps_per_turn / 4.0 * motor.holding_torque * motor.gear_ratio**2
    torsional = {"shaft, twist": twist, "coupling": screw.coupling, "motor's magnetic spring": magnetic}
    if motor.belt_torsion is not None:
        torsional["belt"] = motor.belt_torsion
    parts |= {name: axial_train.torsion_seen_axially(k, screw.lead) for name, k in torsional.items()}
    return parts | {"nut": screw.nut_axial, "frame": corner.frame_vertical, "joint": corner.joint.axial}


def softest_nut_height(corner: CornerNumbers) -> float:
    """Return the nut height [m] within the print at which the shaft is softest along its axis."""
    if corner.screw.ends != "fixed-fixed":
        return corner.nut_high
    return min(max(corner.screw.length / 2.0, corner.nut_low), corner.nut_high)


def axial_rows(corner: CornerNumbers) -> list[Check]:
    """Rows of the axial train: stiffness, sinking under the part, frequency; the shares stand in the note."""
    parts = axial_parts(corner, softest_nut_height(corner))
    total = axial_train.series(list(parts.values()))
    shares = axial_train.compliance_shares(parts)
    listed = sorted(shares.items(), key=lambda item: -item[1])
    note = "of the compliance: " + ", ".join(f"{name} {100 * s:.0f} %" for name, s in listed)
    start, end = corner.bed_load
    frequency = axial_train.axial_frequency(total, corner.moved_mass)
    common = {"formula": "1/k = sum of 1/k_i", "source": "THK, rigidity of the feed screw system"}
    return [
        shown(
            TRAIN,
            "axial stiffness, softest",
            total / N_PER_UM,
            "N/µm",
            corner=corner.name,
            note=note,
            low_is_worse=True,
            key="axial_stiffness",
            **common,
        ),
        shown(
            TRAIN,
            "sinking under the part's weight",
            (end - start) / total / UM,
            "µm",
            formula="dF/k",
            source="Hooke's law",
            corner=corner.name,
            note="spread over the print as the part grows",
            key="sinking",
        ),
        shown(
            TRAIN,
            "frequency of the corner on its train",
            frequency,
            "Hz",
            formula="sqrt(k/m)/(2 pi)",
            source="oscillator of one mass",
            corner=corner.name,
            note="one corner alone, rotor held by its field; `bedsim run` has the machine's own modes",
            key="corner_frequency",
        ),
        shown(
            TRAIN,
            "weight that hangs on the screw",
            max(corner.hanging),
            "N",
            formula="bed share + carriage + nut - counterweight",
            source="statics",
            corner=corner.name,
            note="at its heaviest",
            key="hanging_weight",
        ),
    ]


def torque_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of the torques at the screw: raising, lowering, driven back, efficiencies."""
    screw = corner.screw
    low, likely, high = screw.friction
    eta, back = loads.efficiency_raising(screw, likely), loads.efficiency_back(screw, low)
    starting, stopping = (
        loads.torque_down(corner, sign * duty.acceleration, likely) / N_MM for sign in (1.0, -1.0)
    )
    angles = (
        f"lead angle {loads.lead_angle(screw) / DEG:.1f}°, "
        f"friction angle {loads.friction_angle(screw, likely) / DEG:.1f}°"
    )
    up = {f: loads.torque_up(corner, duty, f) / N_MM for f in (low, likely, high)}
    name = corner.name
    return [
        shown(
            TORQUE,
            "to raise",
            up[likely],
            "N mm",
            formula="F l/(2 pi eta1) + drag",
            source="THK torque; Shigley eq. 8-1",
            corner=name,
            note=f"{up[low]:.3g} to {up[high]:.3g} for friction {low:g} to {high:g}; {angles}",
        ),
        shown(
            TORQUE,
            "to lower",
            starting,
            "N mm",
            formula="F d2/2 tan(rho - lambda) + drag, F = weight - m a - guide friction",
            source="Shigley eq. 8-2",
            corner=name,
            note=f"setting off; {stopping:.3g} while stopping; negative: the load drives, the motor brakes",
        ),
        shown(
            TORQUE,
            "the load drives back with",
            max(0.0, torque.torque_driven_back(max(corner.hanging), screw.lead, back)) / N_MM,
            "N mm",
            formula="F l eta2/(2 pi)",
            source="THK torque; Shigley section 8-2",
            corner=name,
            note=f"at the lowest friction {low:g}; 0: self-locking at that friction, without shaking",
        ),
        shown(
            TORQUE,
            "efficiency raising",
            100 * eta,
            "%",
            formula="tan(lambda)/tan(lambda + rho)",
            source="Shigley section 8-2",
            corner=name,
        ),
        shown(
            TORQUE,
            "efficiency driven back",
            100 * loads.efficiency_back(screw, likely),
            "%",
            formula="tan(lambda - rho)/tan(lambda)",
            source="Shigley section 8-2",
            corner=name,
            note="negative: self-locking at the likely friction",
        ),
        shown(
            TORQUE,
            "friction from which it holds by itself",
            torque.friction_for_self_locking(
                loads.lead_angle(screw), 0.0 if screw.is_ball else screw.flank_angle
            ),
            "",
            formula="tan(lambda) cos(flank)",
            source="Shigley eq. 8-3",
            corner=name,
            note=f"assumed here: {low:g} to {high:g}",
        ),
    ]
