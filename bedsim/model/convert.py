"""Workshop units to SI, part by part: a section of the scenario in, a component out."""

from __future__ import annotations

import cmath
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bedsim import registry, units
from bedsim.components import bed as bed_part
from bedsim.components import belt, guide, lead, motor, mount, nut, run_out, screw
from bedsim.components.motor_end import MotorEnd
from bedsim.components.run_out import Complex
from bedsim.errors import ModelError
from bedsim.model.from_program import pieces_of_program, stations_of_program
from bedsim.model.growing_part import Pieces
from bedsim.model.mount_kind import mount_kind
from bedsim.model.program import Limits
from bedsim.model.stations import LayerRun, Stations, stations
from bedsim.scenario import schema
from bedsim.scenario.part_program import kg_per_mm, origin_mm
from bedsim.scenario.sections import complete_sections, objects_of

Array = NDArray[np.float64]
Tables = Mapping[str, Array]


def polar(tir_um: float, direction_deg: float) -> complex:
    """Offset vector m of a total indicator reading: TIR = 2 |offset|."""
    return cmath.rect(tir_um / 2 * units.UM, direction_deg * units.DEG)


def planar(table: Array) -> Complex:
    """Offsets x + jy (n,) m of a table whose second and third column are offset_x_um, offset_y_um."""
    return (table[:, 1].astype(complex) + 1j * table[:, 2]) * units.UM


def first_nut(scenario: schema.Scenario, part: schema.ScrewKeys) -> float:
    """Nut above the lower end of the free length at layer 1, m."""
    given = scenario.print.first_layer_nut_mm
    return (part.length_mm - 60.0 if given is None else given) * units.MM


BEAM_ENDS: Mapping[str, screw.Ends] = {
    "fixed-free": "fixed-free",
    "supported-supported": "supported-supported",
    "fixed-supported": "fixed-supported",
    "fixed-fixed": "fixed-fixed",
    "motor-free": "fixed-free",
    "motor-supported": "fixed-supported",
}
"""What a screw's ends are to the beam: a motor holds the lower one against tilting too, however softly."""


def make_motor_end(corner: schema.Corner) -> MotorEnd | None:
    """What holds the lower end of a screw that its motor alone holds; else None."""
    if not corner.screw.on_motor:
        return None
    return MotorEnd(
        bearing_radial=corner.motor.bearing_radial_n_per_um * units.N_PER_UM,
        span=corner.motor.bearing_span_mm * units.MM,
        overhang=corner.motor.shaft_overhang_mm * units.MM,
        shaft_diameter=corner.motor.shaft_diameter_mm * units.MM,
        coupling_radial=corner.coupling.radial_n_per_um * units.N_PER_UM,
        coupling_tilt=corner.coupling.tilt_nm_per_rad,
    )


def bearing_axial(corner: schema.Corner) -> float:
    """Axial stiffness N/m of what takes the thrust: a thrust bearing, or coupling and motor in series."""
    if not corner.screw.on_motor:
        return corner.screw.bearing_axial_n_per_um * units.N_PER_UM
    parts = corner.motor.bearing_axial_n_per_um, corner.coupling.axial_n_per_um
    return guide.series(*parts) * units.N_PER_UM


def make_screw(corner: schema.Corner) -> screw.Screw:
    """The screw component, in what holds it."""
    part = corner.screw
    return screw.Screw(
        balls=registry.screw_kind(part.kind).rolls,
        diameter=part.diameter_mm * units.MM,
        root_diameter=part.root_diameter_mm * units.MM,
        pitch=part.lead_mm / part.starts * units.MM,
        lead=part.lead_mm * units.MM,
        hand=1 if part.hand == "right" else -1,
        length=part.length_mm * units.MM,
        ends=BEAM_ENDS[part.ends],
        youngs_modulus=part.youngs_modulus_gpa * units.GPA,
        shear_modulus=part.shear_modulus_gpa * units.GPA,
        density=part.density_kg_m3,
        bearing_radial=part.bearing_radial_n_per_um * units.N_PER_UM,
        upper_bearing_radial=part.upper_bearing_radial_n_per_um * units.N_PER_UM,
        bearing_tilt=part.bearing_tilt_nm_per_rad,
        bearing_axial=bearing_axial(corner),
        coupling=part.coupling_nm_per_rad,
        motor_end=make_motor_end(corner),
    )


def make_nut(part: schema.NutKeys, on: schema.ScrewKeys) -> nut.Nut:
    """The nut component; pitch radius (d - P/2)/2 of an ISO 2904 thread."""
    pitch = on.lead_mm / on.starts
    return nut.Nut(
        radial=part.radial_n_per_um * units.N_PER_UM,
        axial=part.axial_n_per_um * units.N_PER_UM,
        tilt=part.tilt_nm_per_rad,
        drag_torque=part.drag_torque_n_mm * units.N_MM,
        drag_breakaway=part.drag_breakaway_deg * units.DEG,
        mass=part.mass_kg,
        inertia=part.inertia_kg_cm2 * units.KG_CM2,
        bore_offset=complex(part.bore_offset_x_um, part.bore_offset_y_um) * units.UM,
        plain=not registry.screw_kind(on.kind).rolls,
        clearance=part.clearance_um * units.UM,
        friction=part.friction_coefficient,
        flank_angle=part.flank_angle_deg * units.DEG,
        pitch_radius=(on.diameter_mm - pitch / 2) / 2 * units.MM,
        lead=on.lead_mm * units.MM,
    )


def mount_points(scenario: schema.Scenario) -> Array:
    """Places (c, 3) m of the mounts. Raises ModelError if they stand on one line."""
    points = np.array(
        [
            [c.x_mm + c.mount.offset_x_mm, c.y_mm + c.mount.offset_y_mm, c.mount.height_mm]
            for c in scenario.corner
        ]
    )
    spread = np.linalg.svd(points[:, :2] - points[:, :2].mean(axis=0), compute_uv=False)
    if spread[1] < 1e-3 * spread[0]:
        raise ModelError("the mounts stand on one line: nothing holds the bed against tilting over it")
    return points * units.MM


def make_mount(part: schema.MountKeys, point: Array, outward: Array) -> mount.Mount:
    """The mount that a part's kind makes of its keys at a `point` (3,) m, `outward` (2,) of the others."""
    kind = mount_kind(part.kind)
    return replace(kind.make(part, point, outward), bolted=kind.bolted, grooved=kind.grooved)


def make_guide(part: schema.GuideKeys, frame: schema.Frame, outward: Array) -> guide.Guide:
    """Guide and frame in series."""
    return guide.Guide(
        point=np.array([part.offset_x_mm, part.offset_y_mm, part.height_mm]) * units.MM,
        direction=outward,
        radial=guide.series(part.radial_n_per_um, frame.radial_n_per_um) * units.N_PER_UM,
        tangential=guide.series(part.tangential_n_per_um, frame.tangential_n_per_um) * units.N_PER_UM,
        tilt=guide.series(part.tilt_nm_per_rad, frame.rotation_nm_per_rad),
        yaw=guide.series(part.yaw_nm_per_rad, frame.rotation_nm_per_rad),
        friction=part.friction_n,
        breakaway=part.breakaway_um * units.UM,
    )


def make_motor(part: schema.MotorKeys) -> motor.Motor:
    """The motor at the set current."""
    return motor.Motor(
        holding_torque=part.holding_torque_n_m * part.current_percent / 100,
        place_errors=(
            (part.place_error_1_deg * units.DEG, part.place_error_1_phase_deg * units.DEG),
            (part.place_error_2_deg * units.DEG, part.place_error_2_phase_deg * units.DEG),
            (part.place_error_3_deg * units.DEG, part.place_error_3_phase_deg * units.DEG),
            (part.place_error_4_deg * units.DEG, part.place_error_4_phase_deg * units.DEG),
        ),
        teeth=motor.steps_per_turn_to_teeth(part.steps_per_turn),
        microstep=motor.microstep_angle(part.steps_per_turn, part.microsteps),
        inertia=part.rotor_inertia_g_cm2 * units.G_CM2,
        gear=part.gear_ratio,
    )


def make_bed(part: schema.BedKeys) -> bed_part.Bed:
    """The bed; moments of inertia that are not given are those of a uniform plate."""
    size = np.array([part.size_x_mm, part.size_y_mm]) * units.MM
    given = np.array([part.inertia_x_kg_m2, part.inertia_y_kg_m2, part.inertia_z_kg_m2], dtype=float)
    plate = bed_part.plate_inertia(part.mass_kg, size, part.thickness_mm * units.MM)
    return bed_part.Bed(
        mass=part.mass_kg,
        inertia=np.where(np.isnan(given), plate, given),
        centre=np.array([part.centre_x_mm, part.centre_y_mm, part.centre_height_mm]) * units.MM,
        size=size,
        thickness=part.thickness_mm * units.MM,
        shear_modulus=part.shear_modulus_gpa * units.GPA,
        expansion=part.expansion_um_per_m_k * 1e-6,
        temperature_rise=part.temperature_rise_k,
    )


def make_run_out(corner: schema.Corner, tables: Tables) -> run_out.RunOut:
    """The bent centreline; a table's columns are position_mm, offset_x_um, offset_y_um."""
    part, coupling, table = corner.screw.run_out, corner.coupling, None
    if part.table is not None:
        data = tables[part.table]
        table = (data[:, 0] * units.MM, planar(data))
    return run_out.RunOut(
        eccentricity=polar(part.eccentricity_tir_um, part.eccentricity_deg),
        tilt=polar(part.tilt_tir_um_per_100mm, part.tilt_deg) / (100 * units.MM),
        bow=polar(part.bow_tir_um, part.bow_deg),
        table=table,
        bow_mounted=part.bow_measured == "mounted",
        table_mounted=part.table_measured == "mounted",
        coupling_offset=polar(coupling.eccentricity_tir_um, coupling.eccentricity_deg),
        coupling_angle=polar(coupling.angle_tir_um_per_100mm, coupling.angle_deg) / (100 * units.MM),
    )


def make_travel(part: schema.TravelKeys, expansion_um_per_m_k: float, tables: Tables) -> lead.TravelDeviation:
    """The imperfect lead; a table's columns are position_mm, deviation_um."""
    table = None
    if part.table is not None:
        data = tables[part.table]
        table = (data[:, 0] * units.MM, data[:, 1] * units.UM)
    return lead.TravelDeviation(
        slope=part.slope_um_per_300mm * units.UM / (300 * units.MM),
        variation=polar(part.variation_pv_um, part.variation_deg),
        variation_wavelength=part.variation_wavelength_mm * units.MM,
        once_per_turn=polar(part.once_per_turn_pv_um, part.once_per_turn_deg),
        table=table,
        warm_up=part.warm_up_k,
        warm_up_time=part.warm_up_time_constant_min * units.MINUTE,
        expansion=expansion_um_per_m_k * 1e-6,
    )


def make_belt(part: schema.Drive) -> belt.Belt:
    """The belt of a shared motor, with a pulley."""
    return belt.Belt(
        stiffness=part.belt_n_per_um * units.N_PER_UM,
        radius=part.pulley_pitch_diameter_mm / 2 * units.MM,
        offset=part.pulley_eccentricity_tir_um / 2 * units.UM,
        pulley_inertia=part.pulley_inertia_g_cm2 * units.G_CM2,
    )


def motion_limits(part: schema.MotionKeys) -> Limits:
    """What a move may not exceed."""
    return Limits(
        speed=part.speed_mm_s * units.MM_S,
        acceleration=part.acceleration_mm_s2 * units.MM_S2,
        jerk=part.jerk_mm_s3 * units.MM_S3,
    )


def stations_of(scenario: schema.Scenario) -> Stations:
    """The layers of a print."""
    if scenario.print.laid is not None:
        return stations_of_program(scenario.print.laid, motion_limits(scenario.motion))
    return _stations(scenario.print, scenario.motion)


@lru_cache(maxsize=8)
def _stations(job: schema.Print, motion: schema.MotionKeys) -> Stations:
    return stations(
        [
            LayerRun(
                count=section.layers,
                thickness=section.layer_mm * units.MM,
                period=section.seconds_per_layer,
                settle=section.settle_s,
                hop=section.z_hop_mm * units.MM,
                hop_dwell=section.hop_dwell_s,
                hop_every=section.hop_every,
                new_object=section.new_object,
            )
            for section in complete_sections(job, motion)
        ]
    )


def pieces_of(scenario: schema.Scenario) -> Pieces:
    """What the layers of a print lay: one piece each, of its object's section or of its program."""
    if scenario.print.laid is not None:
        job = scenario.print.model_dump()
        x, y = origin_mm(job, scenario.bed.model_dump())
        return pieces_of_program(scenario.print.laid, (x * units.MM, y * units.MM), kg_per_mm(job))
    return _pieces(scenario.print, scenario.motion)


@lru_cache(maxsize=8)
def _pieces(job: schema.Print, motion: schema.MotionKeys) -> Pieces:
    laid, found = _stations(job, motion), objects_of(job, motion)
    which = np.repeat(np.arange(len(found)), [one.layers for one in found])
    height = np.bincount(which, laid.thickness)
    mass, x, y = np.array([[one.mass_kg, one.x_mm * units.MM, one.y_mm * units.MM] for one in found]).T
    return Pieces(
        station=np.arange(1, laid.count + 1),
        mass=mass[which] * (laid.thickness / height[which]),
        x=x[which],
        y=y[which],
        bottom=laid.z - laid.thickness,
        top=laid.z,
    )
