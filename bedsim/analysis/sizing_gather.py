"""From a loaded scenario in workshop units to the plain SI numbers of `bedsim.sizing.numbers`."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from bedsim.analysis.sizing_joint import joint_numbers
from bedsim.components import run_out
from bedsim.components.screw import Screw
from bedsim.errors import BedsimError, InputError
from bedsim.model import convert
from bedsim.model.build import build_machine
from bedsim.model.joint_parts import bed_loads, joint_loads
from bedsim.model.side_torque import largest_torque
from bedsim.scenario import schema
from bedsim.scenario.event_keys import PowerLoss
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sizing_keys import OtherScrew, Prices, Sizing
from bedsim.sizing import joint_checks, wear
from bedsim.sizing.axial_train import series
from bedsim.sizing.decision import PriceNumbers
from bedsim.sizing.numbers import CornerNumbers, Duty, MachineNumbers, MotorNumbers, ScrewNumbers
from bedsim.units import (
    DEG,
    G_CM2,
    GPA,
    MINUTE,
    MM,
    MM_S,
    MM_S2,
    MPA,
    N_MM,
    N_PER_UM,
    UM,
)

#: Nut of layer 1 below the upper end of the screw if the scenario does not say; as in the scenario's own
#: checks.
FIRST_LAYER_BELOW_TOP = 60.0 * MM

#: 1 mm3/(N m) in m2/N.
MM3_PER_N_M = 1e-9


def sizing_of(scenario: schema.Scenario) -> Sizing:
    """Return the scenario's sizing table, or one with nothing given."""
    return getattr(scenario, "sizing", None) or Sizing()


def prices_of(scenario: schema.Scenario) -> PriceNumbers | None:
    """Return the user's prices, or None."""
    prices: Prices | None = getattr(scenario, "prices", None)
    if prices is None:
        return None
    return PriceNumbers(
        currency=prices.currency,
        ball_screw=prices.ball_screw,
        plain_screw=prices.plain_screw,
        brake=prices.brake,
    )


ROUNDED_UP = 1.1
"""A counterweight that is said to be missing is rounded up to two digits."""


def gather(loaded: LoadedScenario) -> MachineNumbers:
    """Collect every number that sizing needs.

    Raises ModelError when the mounts stand on one line, InputError for a counterweight heavier than what it
    carries or a lower stop above the nut.
    """
    scenario, sizing = loaded.scenario, sizing_of(loaded.scenario)
    places = convert.mount_points(scenario)[:, :2]
    start, end = bed_loads(scenario)
    on_joint = joint_loads(scenario)
    radii = np.linalg.norm(places - places.mean(axis=0), axis=1)
    growth = scenario.bed.expansion_um_per_m_k * 1e-6 * scenario.bed.temperature_rise_k
    turned, unassembled = _side_torques(loaded)
    corners = []
    for i, corner in enumerate(scenario.corner):
        low, high = nut_range(scenario, corner)
        screw = screw_numbers(loaded, corner)
        heat = joint_checks.heat_growth(growth, 1.0, radii[i])
        joint = joint_numbers(corner, sizing, high, heat, float(on_joint[i]))
        corners.append(
            CornerNumbers(
                name=corner.name,
                screw=screw,
                motor=motor_numbers(loaded, corner, sizing),
                joint=joint,
                mount_kind=corner.mount.kind,
                mount_x=float(places[i, 0]),
                mount_y=float(places[i, 1]),
                mount_pull=corner.mount.magnet_force_n,
                mount_travel=None if sizing.mount_travel_mm is None else sizing.mount_travel_mm * MM,
                mount_growth=heat,
                carriage_mass=corner.carriage.mass_kg,
                nut_mass=corner.nut.mass_kg,
                nut_low=low,
                nut_high=high,
                room_below=high - lower_stop(scenario, corner),
                bed_load=(float(start[i]), float(end[i])),
                counterweight=sizing.counterweight_n,
                side_torque=turned[i],
                **_guide_numbers(corner),
            )
        )
    for made in corners:
        _check_corner(loaded, made)
    return MachineNumbers(
        corners=tuple(corners), duty=duty_numbers(scenario, sizing), unassembled=unassembled
    )


def _side_torques(loaded: LoadedScenario) -> tuple[list[float], str]:
    """Largest torque [N m] of the standing side force on each screw, and why it could not be had if so."""
    try:
        machine = build_machine(loaded.scenario, loaded.tables)
        return [float(value) for value in largest_torque(machine)], ""
    except BedsimError as fault:
        return [0.0] * len(loaded.scenario.corner), str(fault)


def _check_corner(loaded: LoadedScenario, corner: CornerNumbers) -> None:
    """Refuse what turns the rows about a hanging, sinking bed upside down."""
    hanging = max(corner.hanging) + corner.counterweight
    if corner.counterweight > ROUNDED_UP * hanging:
        raise InputError(
            f"{loaded.name}: sizing.counterweight_n = {corner.counterweight:g}: must be at most the "
            f"{hanging:.3g} N that hang on corner {corner.name}: the bed would rise without current."
        )
    if corner.room_below <= 0:
        stop = (corner.nut_high - corner.room_below) / MM  # as given: a usual one is below the nut
        raise InputError(
            f"{loaded.name}: power_loss.lower_stop_mm = {stop:g}: must be below the nut of corner "
            f"{corner.name} at the first layer, {corner.nut_high / MM:g} above the lower end of its screw."
        )


def nut_range(scenario: schema.Scenario, corner: schema.Corner) -> tuple[float, float]:
    """Return the lowest and the highest nut position [m] of the print above the screw's lower end."""
    given, job = scenario.print.first_layer_nut_mm, scenario.print
    top = corner.screw.length_mm * MM - FIRST_LAYER_BELOW_TOP if given is None else given * MM
    travel = ((job.layers - 1) * job.layer_mm + scenario.motion.z_hop_mm) * MM
    return max(top - travel, corner.screw.root_diameter_mm * MM), top


def lower_stop(scenario: schema.Scenario, corner: schema.Corner) -> float:
    """Return where a nut is stopped [m] above the screw's lower end: as given, or a root diameter."""
    given = (scenario.power_loss or PowerLoss()).lower_stop_mm
    return (corner.screw.root_diameter_mm if given is None else given) * MM


def bounds_of(loaded: LoadedScenario, corner: str, key: str, likely: float) -> tuple[float, float, float]:
    """Return (low, likely, high) of a key in its own unit: the corner's range, the common one, or none."""
    found = {r.key: r for r in loaded.ranges}
    given = found.get(f"corner.{corner}.{key}") or found.get(key)
    if given is None or given.likely != likely:
        return likely, likely, likely
    return given.low, given.likely, given.high


def screw_numbers(loaded: LoadedScenario, corner: schema.Corner) -> ScrewNumbers:
    """Return a corner's screw and nut in SI."""
    part, nut, sizing = corner.screw, corner.nut, sizing_of(loaded.scenario)
    shaft = convert.make_screw(corner)
    _, high = nut_range(loaded.scenario, corner)
    contact = _contact_diameter(part.kind, part.diameter_mm, part.lead_mm / part.starts, sizing)
    dn = sizing.speed_diameter_mm_rpm
    length = sizing.plain_nut_length_mm
    return ScrewNumbers(
        kind=part.kind,
        ends=shaft.ends,
        diameter=part.diameter_mm * MM,
        root_diameter=part.root_diameter_mm * MM,
        contact_diameter=contact,
        lead=part.lead_mm * MM,
        pitch=part.lead_mm / part.starts * MM,
        length=part.length_mm * MM,
        youngs_modulus=part.youngs_modulus_gpa * GPA,
        shear_modulus=part.shear_modulus_gpa * GPA,
        density=part.density_kg_m3,
        bearing_radial=part.bearing_radial_n_per_um * N_PER_UM,
        upper_bearing_radial=part.upper_bearing_radial_n_per_um * N_PER_UM,
        bearing_tilt=part.bearing_tilt_nm_per_rad,
        bearing_axial=shaft.bearing_axial,
        coupling=part.coupling_nm_per_rad,
        motor_end=shaft.motor_end,
        nut_axial=nut.axial_n_per_um * N_PER_UM,
        drag_torque=nut.drag_torque_n_mm * N_MM,
        friction=bounds_of(loaded, corner.name, "nut.friction_coefficient", nut.friction_coefficient),
        flank_angle=nut.flank_angle_deg * DEG,
        **_run_out(loaded, corner, shaft, high),
        dynamic_rating=sizing.dynamic_load_rating_n,
        static_rating=sizing.static_load_rating_n,
        load_factor=sizing.load_factor,
        speed_diameter_limit=None if dn is None else dn * MM / MINUTE,
        nut_length=None if length is None else length * MM,
        axial_play=part.axial_play_um * UM,
        clearance=nut.clearance_um * UM if part.kind == "plain" else 0.0,
    )


def _contact_diameter(kind: str, diameter: float, pitch: float, sizing: Sizing) -> float:
    if kind == "plain":
        return (diameter - pitch / 2.0) * MM  # pitch diameter of ISO 2904
    return (sizing.ball_circle_diameter_mm or diameter) * MM


def _run_out(loaded: LoadedScenario, corner: schema.Corner, shaft: Screw, top: float) -> dict[str, float]:
    """Largest offset of the thread from its axis up to a nut at `top`, and what the bearings have to hold."""
    bent = convert.make_run_out(corner, loaded.tables)
    moments, forces = run_out.bearing_reactions(bent, shaft)
    return {
        "run_out": run_out.largest_offset(bent, shaft, top),
        "mounting_moment": float(np.abs(moments).max()),
        "mounting_force": float(np.abs(forces).max()),
    }


def motor_numbers(loaded: LoadedScenario, corner: schema.Corner, sizing: Sizing) -> MotorNumbers:
    """Return the motor as one screw has it: with a belt, an equal share of the one motor."""
    scenario = loaded.scenario
    shared = scenario.drive.topology == "belt"
    owner = scenario.corner[0] if shared else corner
    part, share = owner.motor, 1.0 / len(scenario.corner) if shared else 1.0
    detent = bounds_of(loaded, owner.name, "motor.detent_torque_n_m", part.detent_torque_n_m)
    pulley = scenario.drive.pulley_pitch_diameter_mm / 2.0 * MM
    inertia = share * part.rotor_inertia_g_cm2 * G_CM2
    if shared:
        inertia += scenario.drive.pulley_inertia_g_cm2 * G_CM2 / part.gear_ratio**2
    return MotorNumbers(
        holding_torque=share * part.holding_torque_n_m * part.current_percent / 100.0,
        detent_torque=share * detent[1],
        detent_low=share * detent[0],
        place_errors=place_errors(loaded, owner),
        rotor_inertia=inertia,
        steps_per_turn=part.steps_per_turn,
        microsteps=part.microsteps,
        gear_ratio=part.gear_ratio,
        gear_efficiency=sizing.gear_efficiency,
        pull_out=tuple((p.speed_rpm / MINUTE, share * p.torque_n_m) for p in sizing.pull_out),
        brake_torque=sizing.brake_torque_n_m,
        axial_limit=part.axial_force_limit_n,
        belt_torsion=scenario.drive.belt_n_per_um * N_PER_UM * pulley**2 if shared else None,
    )


def place_errors(loaded: LoadedScenario, corner: schema.Corner) -> dict[int, tuple[float, float, float]]:
    """Return the amplitudes of a motor's place error by order: low, likely, high, rad of the motor."""
    found = {}
    for order in (1, 2, 3, 4):
        key = f"place_error_{order}_deg"
        low, likely, high = bounds_of(loaded, corner.name, f"motor.{key}", getattr(corner.motor, key))
        found[order] = (low * DEG, likely * DEG, high * DEG)
    return found


def duty_numbers(scenario: schema.Scenario, sizing: Sizing) -> Duty:
    """Return what the print asks for, in SI."""
    job, motion, bed = scenario.print, scenario.motion, scenario.bed
    mounts = float(np.mean([c.mount.height_mm for c in scenario.corner]))
    pair = wear.PAIRS[sizing.plain_nut_material]
    given = {
        "pressure_velocity": (sizing.pressure_velocity_mpa_m_s, MPA),
        "wear_low": (sizing.wear_low_mm3_per_n_m, MM3_PER_N_M),
        "wear_high": (sizing.wear_high_mm3_per_n_m, MM3_PER_N_M),
    }
    changes = {name: value * unit for name, (value, unit) in given.items() if value is not None}
    if changes:
        pair = replace(pair, **changes, status="given: " + ", ".join(changes) + f"; else {pair.status}")
    part_height = job.layers * job.layer_mm / 2.0
    mass = bed.mass_kg + job.part_mass_kg
    centre = (bed.mass_kg * bed.centre_height_mm + job.part_mass_kg * part_height) / mass
    return Duty(
        speed=motion.speed_mm_s * MM_S,
        acceleration=motion.acceleration_mm_s2 * MM_S2,
        layer=job.layer_mm * MM,
        hop=motion.z_hop_mm * MM,
        seconds_per_layer=job.seconds_per_layer,
        sideways_acceleration=sizing.frame_acceleration_mm_s2 * MM_S2,
        moving_mass=mass,
        centre_above_mounts=(centre - mounts) * MM,
        life_hours=sizing.life_h,
        vibration_friction=sizing.vibration_friction,
        wear=pair,
        wear_clearance=sizing.wear_clearance_um * UM,
        reversal_loss=sizing.joint_reversal_um * UM,
    )


def _guide_numbers(corner: schema.Corner) -> dict[str, float]:
    guide, frame = corner.guide, corner.frame
    sides = [
        series([guide.radial_n_per_um, frame.radial_n_per_um]),
        series([guide.tangential_n_per_um, frame.tangential_n_per_um]),
    ]
    return {
        "guide_lateral": min(sides) * N_PER_UM,
        "guide_friction": guide.friction_n,
        "guide_tilt": series([guide.tilt_nm_per_rad, frame.rotation_nm_per_rad]),
        "guide_yaw": series([guide.yaw_nm_per_rad, frame.rotation_nm_per_rad]),
        "frame_vertical": frame.vertical_n_per_um * N_PER_UM,
    }


def other_screw(here: ScrewNumbers, given: OtherScrew | None, sizing: Sizing) -> tuple[ScrewNumbers, str]:
    """Return the screw of the other type and where its numbers come from.

    If none is given: the same diameter and lead; a plain screw after ISO 2904, or a ball screw with the root
    of [MISUMI-TH] p. 1676 (12.5 mm at 15 mm) and usual friction.
    """
    if given is not None:
        return _given_screw(here, given, sizing), "the other screw is the one given (sizing.other_screw)"
    if here.is_ball:
        return _plain_twin(here), (
            "the plain screw is assumed: same diameter and lead, pitch of at most 2 mm a start, "
            "root and pitch diameter of ISO 2904, friction 0.08 to 0.25, nut as stiff, no drag"
        )
    return (
        replace(
            here,
            kind="rolled_ball",
            pitch=here.lead,
            root_diameter=12.5 / 15.0 * here.diameter,
            contact_diameter=here.diameter,
            friction=(0.003, 0.005, 0.01),
        ),
        "the ball screw is assumed: same diameter and lead, root 0.83 of the diameter (MISUMI p. 1676), "
        "friction 0.003 to 0.01, nut as stiff and with as much drag",
    )


def _plain_twin(here: ScrewNumbers) -> ScrewNumbers:
    starts = max(1, math.ceil(here.lead / (2.0 * MM) - 1e-9))
    pitch = here.lead / starts
    return replace(
        here,
        kind="plain",
        pitch=pitch,
        root_diameter=here.diameter - pitch - 2.0 * (0.15 if pitch < 2.0 * MM else 0.25) * MM,
        contact_diameter=here.diameter - pitch / 2.0,
        friction=(0.08, 0.15, 0.25),
        flank_angle=15.0 * DEG,
        drag_torque=0.0,
    )


def _given_screw(here: ScrewNumbers, given: OtherScrew, sizing: Sizing) -> ScrewNumbers:
    tir = given.eccentricity_tir_um
    f = given.friction_coefficient
    return replace(
        here,
        kind=given.kind,
        diameter=given.diameter_mm * MM,
        root_diameter=given.root_diameter_mm * MM,
        contact_diameter=_contact_diameter(
            given.kind, given.diameter_mm, given.lead_mm / given.starts, sizing
        ),
        lead=given.lead_mm * MM,
        pitch=given.lead_mm / given.starts * MM,
        friction=(f, f, f),
        flank_angle=given.flank_angle_deg * DEG,
        nut_axial=given.nut_axial_n_per_um * N_PER_UM,
        drag_torque=given.drag_torque_n_mm * N_MM,
        dynamic_rating=given.dynamic_load_rating_n,
        run_out=here.run_out if tir is None else tir / 2.0 * UM,
    )
