"""From the machine's parts to the plain SI numbers of `bedsim.sizing.numbers`.

What `bedsim run` has too is read off the parts that `bedsim.model` makes; converted here is only what sizing
alone is told: its own keys, what a range says beside the likely value, the layers of the print."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bedsim import registry
from bedsim.analysis.sizing_joint import joint_numbers
from bedsim.components import run_out
from bedsim.components.bed import Bed
from bedsim.components.screw import Screw
from bedsim.errors import BedsimError, InputError
from bedsim.model import convert
from bedsim.model.build import build_machine
from bedsim.model.corner import CornerParts, make_corners
from bedsim.model.joint_parts import bed_loads, joint_loads
from bedsim.model.side_torque import largest_torque
from bedsim.number_text import number
from bedsim.scenario import schema
from bedsim.scenario.event_keys import PowerLoss
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import way_down_mm
from bedsim.scenario.sizing_keys import OtherScrew, Prices, Sizing
from bedsim.scenario.upkeep_keys import Upkeep
from bedsim.sizing import joint_checks, wear
from bedsim.sizing.decision import PriceNumbers
from bedsim.sizing.numbers import CornerNumbers, Duty, MachineNumbers, MotorNumbers, ScrewNumbers
from bedsim.units import DEG, MINUTE, MM, MM_S2, MPA, N_MM, N_PER_UM, UM

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
    """Collect every number that sizing needs: from the machine's own parts, and from the keys of sizing.

    Raises ModelError when the mounts stand on one line or the plate has too many supports, InputError for a
    counterweight heavier than what it carries or a lower stop above the nut.
    """
    scenario, sizing = loaded.scenario, sizing_of(loaded.scenario)
    bed = convert.make_bed(scenario.bed)
    parts = make_corners(scenario, bed)
    loads = _Loads(*bed_loads(scenario), joint_loads(scenario))
    places = np.array([c.mount.point[:2] for c in parts])
    radii = np.linalg.norm(places - places.mean(axis=0), axis=1)
    heat = [joint_checks.heat_growth(bed.expansion, bed.temperature_rise, r) for r in radii]
    turned, unassembled = _side_torques(loaded)
    made = zip(parts, heat, turned, strict=True)
    corners = tuple(_corner(loaded, c, loads, growth, torque) for c, growth, torque in made)
    for corner in corners:
        _check_corner(loaded, corner)
    duty = duty_numbers(scenario, sizing, bed, parts)
    return MachineNumbers(corners=corners, duty=duty, unassembled=unassembled)


class _Loads(NamedTuple):
    """Weight (c,) N on every mount at the first and the last layer, and on every joint at its heaviest."""

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    joint: NDArray[np.float64]


def _corner(
    loaded: LoadedScenario, c: CornerParts, loads: _Loads, growth: float, torque: float
) -> CornerNumbers:
    scenario, sizing = loaded.scenario, sizing_of(loaded.scenario)
    low, high = nut_range(scenario, c)
    return CornerNumbers(
        name=c.name,
        screw=screw_numbers(loaded, c),
        motor=motor_numbers(loaded, c, sizing),
        joint=joint_numbers(c, sizing, high, growth, float(loads.joint[c.index])),
        mount_kind=c.data.mount.kind,
        grooved=c.mount.grooved,
        mount_x=float(c.mount.point[0]),
        mount_y=float(c.mount.point[1]),
        mount_pull=c.mount.magnet_force,
        mount_travel=None if sizing.mount_travel_mm is None else sizing.mount_travel_mm * MM,
        mount_growth=growth,
        carriage_mass=c.data.carriage.mass_kg,
        nut_mass=c.nut.mass,
        guide_lateral=min(c.guide.radial, c.guide.tangential),
        guide_friction=c.guide.friction,
        guide_tilt=c.guide.tilt,
        guide_yaw=c.guide.yaw,
        frame_vertical=c.data.frame.vertical_n_per_um * N_PER_UM,
        nut_low=low,
        nut_high=high,
        room_below=high - lower_stop(scenario, c.data),
        bed_load=(float(loads.start[c.index]), float(loads.end[c.index])),
        counterweight=sizing.counterweight_n,
        side_torque=torque,
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
            f"{number(hanging)} N that hang on corner {corner.name}: the bed would rise without current."
        )
    if corner.room_below <= 0:
        stop = (corner.nut_high - corner.room_below) / MM  # as given: a usual one is below the nut
        raise InputError(
            f"{loaded.name}: power_loss.lower_stop_mm = {stop:g}: must be below the nut of corner "
            f"{corner.name} at the first layer, {corner.nut_high / MM:g} above the lower end of its screw."
        )


def nut_range(scenario: schema.Scenario, c: CornerParts) -> tuple[float, float]:
    """Return the lowest and the highest nut position [m] of the print above the screw's lower end."""
    travel = way_down_mm(scenario.print, scenario.motion) * MM
    return max(c.start - travel, c.screw.root_diameter), c.start


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


def screw_numbers(loaded: LoadedScenario, c: CornerParts) -> ScrewNumbers:
    """Return a corner's screw and nut with what sizing asks of them."""
    sizing = sizing_of(loaded.scenario)
    bent = convert.make_run_out(c.data, loaded.tables)
    moments, forces = run_out.bearing_reactions(bent, c.screw)
    dn, length = sizing.speed_diameter_mm_rpm, sizing.plain_nut_length_mm
    return ScrewNumbers(
        shaft=c.screw,
        nut=c.nut,
        contact_diameter=_contact_diameter(c.screw, sizing),
        friction=bounds_of(loaded, c.name, "nut.friction_coefficient", c.nut.friction),
        run_out=run_out.largest_offset(bent, c.screw, c.start),
        mounting_moment=float(np.abs(moments).max()),
        mounting_force=float(np.abs(forces).max()),
        dynamic_rating=sizing.dynamic_load_rating_n,
        static_rating=sizing.static_load_rating_n,
        load_factor=sizing.load_factor,
        speed_diameter_limit=None if dn is None else dn * MM / MINUTE,
        nut_length=None if length is None else length * MM,
        axial_play=c.data.screw.axial_play_um * UM,
    )


def _contact_diameter(shaft: Screw, sizing: Sizing) -> float:
    if not shaft.balls:
        return shaft.diameter - shaft.pitch / 2.0  # pitch diameter of ISO 2904
    circle = sizing.ball_circle_diameter_mm
    return circle * MM if circle else shaft.diameter


def motor_numbers(loaded: LoadedScenario, c: CornerParts, sizing: Sizing) -> MotorNumbers:
    """Return the motor as one screw has it: with a belt, an equal share of the one motor."""
    scenario = loaded.scenario
    shared = scenario.drive.topology == "belt"
    owner = scenario.corner[0] if shared else c.data
    motor = convert.make_motor(owner.motor) if shared else c.motor
    part, share = owner.motor, 1.0 / len(scenario.corner) if shared else 1.0
    detent = bounds_of(loaded, owner.name, "motor.detent_torque_n_m", part.detent_torque_n_m)
    belt = convert.make_belt(scenario.drive)
    return MotorNumbers(
        holding_torque=share * motor.holding_torque,
        detent_torque=share * detent[1],
        detent_low=share * detent[0],
        place_errors=place_errors(loaded, owner),
        rotor_inertia=share * motor.inertia + (belt.pulley_inertia / motor.gear**2 if shared else 0.0),
        steps_per_turn=part.steps_per_turn,
        microsteps=part.microsteps,
        gear_ratio=motor.gear,
        gear_efficiency=sizing.gear_efficiency,
        pull_out=tuple((p.speed_rpm / MINUTE, share * p.torque_n_m) for p in sizing.pull_out),
        brake_torque=sizing.brake_torque_n_m,
        axial_limit=part.axial_force_limit_n,
        belt_torsion=belt.torsion if shared else None,
    )


def place_errors(loaded: LoadedScenario, corner: schema.Corner) -> dict[int, tuple[float, float, float]]:
    """Return the amplitudes of a motor's place error by order: low, likely, high, rad of the motor."""
    found = {}
    for order in (1, 2, 3, 4):
        key = f"place_error_{order}_deg"
        low, likely, high = bounds_of(loaded, corner.name, f"motor.{key}", getattr(corner.motor, key))
        found[order] = (low * DEG, likely * DEG, high * DEG)
    return found


def duty_numbers(scenario: schema.Scenario, sizing: Sizing, bed: Bed, parts: list[CornerParts]) -> Duty:
    """Return what the print asks for, in SI."""
    limits = convert.motion_limits(scenario.motion)
    upkeep = scenario.upkeep or Upkeep()
    pair = wear.PAIRS[sizing.plain_nut_material]
    given = {
        "pressure_velocity": (sizing.pressure_velocity_mpa_m_s, MPA),
        "wear_low": (sizing.wear_low_mm3_per_n_m, MM3_PER_N_M),
        "wear_high": (sizing.wear_high_mm3_per_n_m, MM3_PER_N_M),
    }
    changes: dict[str, Any] = {
        name: value * unit for name, (value, unit) in given.items() if value is not None
    }
    if changes:
        pair = replace(pair, **changes, status="given: " + ", ".join(changes) + f"; else {pair.status}")
    pair = wear.as_it_runs(pair, upkeep.nut_runs, upkeep.dirt)
    printed, (part, place) = convert.stations_of(scenario), convert.pieces_of(scenario).weighed
    mass = bed.mass + part
    centre = (bed.mass * float(bed.centre[2]) + part * float(place[2])) / mass
    return Duty(
        speed=limits.speed,
        acceleration=limits.acceleration,
        layer=float(printed.thickness.min()),
        way=float(np.mean(printed.thickness + printed.hop)) + upkeep.hops_per_layer * upkeep.hop_mm * MM,
        seconds_per_layer=float(printed.period.mean()),
        sideways_acceleration=sizing.frame_acceleration_mm_s2 * MM_S2,
        moving_mass=mass,
        centre_above_mounts=centre - float(np.mean([c.mount.point[2] for c in parts])),
        life_hours=sizing.life_h,
        vibration_friction=sizing.vibration_friction,
        wear=pair,
        wear_clearance=sizing.wear_clearance_um * UM,
        reversal_loss=sizing.joint_reversal_um * UM,
    )


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
    shaft = here.shaft
    shaft = replace(shaft, balls=True, pitch=shaft.lead, root_diameter=12.5 / 15.0 * shaft.diameter)
    return (
        replace(here, shaft=shaft, contact_diameter=shaft.diameter, friction=(0.003, 0.005, 0.01)),
        "the ball screw is assumed: same diameter and lead, root 0.83 of the diameter (MISUMI p. 1676), "
        "friction 0.003 to 0.01, nut as stiff and with as much drag",
    )


def _plain_twin(here: ScrewNumbers) -> ScrewNumbers:
    starts = max(1, math.ceil(here.shaft.lead / (2.0 * MM) - 1e-9))
    pitch = here.shaft.lead / starts
    root = here.shaft.diameter - pitch - 2.0 * (0.15 if pitch < 2.0 * MM else 0.25) * MM
    return replace(
        here,
        shaft=replace(here.shaft, balls=False, pitch=pitch, root_diameter=root),
        nut=replace(here.nut, flank_angle=15.0 * DEG, drag_torque=0.0),
        contact_diameter=here.shaft.diameter - pitch / 2.0,
        friction=(0.08, 0.15, 0.25),
    )


def _given_screw(here: ScrewNumbers, given: OtherScrew, sizing: Sizing) -> ScrewNumbers:
    tir, f = given.eccentricity_tir_um, given.friction_coefficient
    shaft = replace(
        here.shaft,
        balls=registry.screw_kind(given.kind).rolls,
        diameter=given.diameter_mm * MM,
        root_diameter=given.root_diameter_mm * MM,
        lead=given.lead_mm * MM,
        pitch=given.lead_mm / given.starts * MM,
    )
    nut = replace(
        here.nut,
        axial=given.nut_axial_n_per_um * N_PER_UM,
        drag_torque=given.drag_torque_n_mm * N_MM,
        flank_angle=given.flank_angle_deg * DEG,
    )
    return replace(
        here,
        shaft=shaft,
        nut=nut,
        contact_diameter=_contact_diameter(shaft, sizing),
        friction=(f, f, f),
        dynamic_rating=given.dynamic_load_rating_n,
        run_out=here.run_out if tir is None else tir / 2.0 * UM,
    )
