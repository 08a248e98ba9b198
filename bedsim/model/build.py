"""From a scenario in workshop units to a machine in SI: the only module that knows both."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim import units
from bedsim.components import bed as bed_part
from bedsim.components import belt, guide, joint, lead, motor, mount, nut, run_out, screw
from bedsim.components.frame import Coordinates, point_motion, radial_directions, unit
from bedsim.components.plate import EXPONENTS, PlateShapes
from bedsim.components.row import Flank, Friction, Link, Path, Source, Stop
from bedsim.errors import ModelError
from bedsim.model.assembly import GrowingPart, Machine
from bedsim.model.program import Limits, Program
from bedsim.scenario import schema

Array = NDArray[np.float64]
Tables = Mapping[str, Array]

PLAY_OF_APPROACH = 1e-3  # m the bed rises above layer 1 before the print begins, so that it arrives from above
# Share of a shaft's own mass that moves with the thread, [Rayleigh] for the static deflection curve of each kind of beam
SHAFT_SHARE = {"fixed-free": 33 / 140, "supported-supported": 17 / 35, "fixed-supported": 0.45, "fixed-fixed": 13 / 35}


def polar(tir_um: float, direction_deg: float) -> complex:
    """Offset vector m of a total indicator reading: TIR = 2 |offset|."""
    return cmath.rect(tir_um / 2 * units.UM, direction_deg * units.DEG)


def first_nut(scenario: schema.Scenario, part: schema.Screw) -> float:
    """Nut above the lower end of the free length at layer 1, m."""
    given = scenario.print.first_layer_nut_mm
    return (part.length_mm - 60.0 if given is None else given) * units.MM


def make_screw(part: schema.Screw) -> screw.Screw:
    """The screw component."""
    return screw.Screw(
        root_diameter=part.root_diameter_mm * units.MM,
        lead=part.lead_mm * units.MM,
        hand=1 if part.hand == "right" else -1,
        length=part.length_mm * units.MM,
        ends=part.ends,
        youngs_modulus=part.youngs_modulus_gpa * units.GPA,
        shear_modulus=part.shear_modulus_gpa * units.GPA,
        density=part.density_kg_m3,
        bearing_radial=part.bearing_radial_n_per_um * units.N_PER_UM,
        upper_bearing_radial=part.upper_bearing_radial_n_per_um * units.N_PER_UM,
        bearing_tilt=part.bearing_tilt_nm_per_rad,
        bearing_axial=part.bearing_axial_n_per_um * units.N_PER_UM,
        coupling=part.coupling_nm_per_rad,
    )


def make_nut(part: schema.Nut, on: schema.Screw) -> nut.Nut:
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
        plain=on.kind == "plain",
        clearance=part.clearance_um * units.UM,
        friction=part.friction_coefficient,
        flank_angle=part.flank_angle_deg * units.DEG,
        pitch_radius=(on.diameter_mm - pitch / 2) / 2 * units.MM,
        lead=on.lead_mm * units.MM,
    )


def make_joint(part: schema.Joint) -> joint.Joint:
    """A joint that is not rigid, its elements listed or on a circle."""
    if part.element:
        points = np.array([[e.x_mm, e.y_mm] for e in part.element]) * units.MM
        stiffness = np.array([e.lateral_n_per_mm for e in part.element]) * units.N_PER_MM
        share = np.array([1 / len(part.element) if e.load_share is None else e.load_share for e in part.element])
    else:
        points = joint.ring(part.elements, part.element_radius_mm * units.MM)
        stiffness = np.full(part.elements, part.lateral_n_per_mm * units.N_PER_MM / part.elements)
        share = np.full(part.elements, 1 / part.elements)
    return joint.Joint(
        height=part.height_mm * units.MM,
        elements=points,
        element_stiffness=stiffness,
        load_share=share,
        rotation=part.rotation_nm_per_rad,
        friction=part.friction_coefficient,
        magnet_force=part.magnet_force_n,
        breakaway=part.breakaway_um * units.UM,
        damping=part.damping_n_s_per_m,
        travel=part.travel_mm * units.MM,
        stop=part.stop_n_per_um * units.N_PER_UM,
        axial=part.axial_n_per_um * units.N_PER_UM,
    )


def mount_points(scenario: schema.Scenario) -> Array:
    """Places (c, 3) m of the mounts. Raises ModelError if they stand on one line."""
    points = np.array(
        [[c.x_mm + c.mount.offset_x_mm, c.y_mm + c.mount.offset_y_mm, c.mount.height_mm] for c in scenario.corner]
    )
    spread = np.linalg.svd(points[:, :2] - points[:, :2].mean(axis=0), compute_uv=False)
    if spread[1] < 1e-3 * spread[0]:
        raise ModelError("the mounts stand on one line: nothing holds the bed against tilting over it")
    return points * units.MM


def make_mount(part: schema.Mount, point: Array, outward: Array) -> mount.Mount:
    """The mount component; its groove points to the centroid of the mounts unless a direction is given."""
    if part.direction_deg is not None:
        angle = part.direction_deg * units.DEG
        outward = np.array([math.cos(angle), math.sin(angle)])
    return mount.Mount(
        kind=part.kind,
        point=point,
        direction=outward,
        radial=part.radial_n_per_um * units.N_PER_UM,
        tangential=part.tangential_n_per_um * units.N_PER_UM,
        vertical=part.vertical_n_per_um * units.N_PER_UM,
        rotation=part.rotation_nm_per_rad if part.kind == "flexure" else 0.0,
        friction=part.friction_coefficient,
        breakaway=part.breakaway_um * units.UM,
        magnet_force=part.magnet_force_n,
    )


def make_guide(part: schema.Guide, frame: schema.Frame, outward: Array) -> guide.Guide:
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


def make_motor(part: schema.Motor) -> motor.Motor:
    """The motor at the set current."""
    return motor.Motor(
        holding_torque=part.holding_torque_n_m * part.current_percent / 100,
        detent_torque=part.detent_torque_n_m,
        detent_phase=part.detent_deg * units.DEG,
        teeth=motor.steps_per_turn_to_teeth(part.steps_per_turn),
        microstep=motor.microstep_angle(part.steps_per_turn, part.microsteps),
        inertia=part.rotor_inertia_g_cm2 * units.G_CM2,
        gear=part.gear_ratio,
    )


def make_bed(part: schema.Bed) -> bed_part.Bed:
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


def make_run_out(part: schema.RunOut, tables: Tables) -> run_out.RunOut:
    """The bent centreline; a table's columns are position_mm, offset_x_um, offset_y_um."""
    table = None
    if part.table is not None:
        data = tables[part.table]
        table = (data[:, 0] * units.MM, (data[:, 1] + 1j * data[:, 2]) * units.UM)
    return run_out.RunOut(
        eccentricity=polar(part.eccentricity_tir_um, part.eccentricity_deg),
        tilt=polar(part.tilt_tir_um_per_100mm, part.tilt_deg) / (100 * units.MM),
        bow=polar(part.bow_tir_um, part.bow_deg),
        table=table,
    )


def make_travel(part: schema.Travel, expansion_um_per_m_k: float, tables: Tables) -> lead.TravelDeviation:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Corner:
    """One corner's components with everything needed to make its rows."""

    index: int
    name: str
    axis: Array
    data: schema.Corner
    screw: screw.Screw
    nut: nut.Nut
    joint: joint.Joint | None
    mount: mount.Mount
    guide: guide.Guide
    motor: motor.Motor
    start: float
    shapes: list[tuple[float, float, float]]
    free_shaft: bool

    @property
    def turn(self) -> float:
        """Commanded turn of the screw per metre of commanded height, rad/m: -H 2 pi / lead."""
        return -self.screw.hand * 2 * math.pi / self.screw.lead

    def nut_position(self, path: Path) -> Array:
        """Nut above the lower end along a path (t,) m."""
        return self.start + path.height[:, self.index]

    def angle(self, path: Path) -> Array:
        """Angle of the screw along a path (t,) rad, clocking included."""
        return self.turn * path.height[:, self.index] + self.data.screw.clocking_deg * units.DEG


def build_machine(scenario: schema.Scenario, tables: Tables) -> Machine:
    """Assemble the machine of a scenario. `tables`: measured CSV tables by the name used in the scenario.

    Raises ModelError when the machine cannot be computed.
    """
    bed = make_bed(scenario.bed)
    corners = _corners(scenario, bed)
    shared = scenario.drive.topology == "belt"
    coordinates = Coordinates(
        corners=len(corners),
        shapes=max(len(corners) - 3, 0),
        free_shafts=tuple(c.index for c in corners if c.free_shaft),
        shared_motor=shared,
    )
    shapes = PlateShapes(count=coordinates.shapes, x=float(bed.size[0] / 2), y=float(bed.size[1] / 2))
    links: list[Link] = _plate_links(coordinates, bed, shapes)
    frictions: list[Friction] = []
    stops: list[Stop] = []
    flanks: list[Flank] = []
    sources: list[Source] = []
    constraint: dict[int, Array] = {}
    for corner in corners:
        made = _corner_parts(coordinates, scenario, corner, tables)
        links += made.links
        frictions += made.frictions
        stops += made.stops
        flanks += made.flanks
        sources += made.sources
        constraint |= made.constraint
    motors, motor_links, motor_sources = _drive(coordinates, scenario, corners)
    sources += motor_sources + _heat(coordinates, bed, corners)
    transform, kept = _transform(coordinates, constraint)
    mass, weight = _mass(coordinates, scenario, bed, shapes, corners)
    return Machine(
        coordinates=coordinates,
        corner_names=tuple(c.name for c in corners),
        corner_position=np.array([c.axis for c in corners]),
        links=tuple(links + motor_links),
        frictions=tuple(frictions),
        stops=tuple(stops),
        flanks=tuple(flanks),
        sources=tuple(sources),
        transform=transform,
        kept=kept,
        mass=mass,
        weight=weight,
        part=_part(scenario),
        gravity=units.GRAVITY,
        damping_ratio=scenario.damping.ratio,
        command=_command(coordinates, corners),
        first_nut=np.array([c.start for c in corners]),
        layer_height=scenario.print.layer_mm * units.MM,
        motor_torque=np.array([m.gear * m.holding_torque for m, _, _ in motors]),
        motor_electrical=np.array([m.electrical for m, _, _ in motors]),
        motor_index=tuple(index for _, index, _ in motors),
        motor_corner=tuple(corner for _, _, corner in motors),
        axial_play=np.array([c.data.screw.axial_play_um * units.UM for c in corners]),
        mount_preload=np.array([c.mount.magnet_force for c in corners]),
        plate=shapes,
    )


def build_program(scenario: schema.Scenario) -> Program:
    """The motion program of a scenario. Raises ModelError if a layer's time is shorter than its motion."""
    job, drive = scenario.print, scenario.motion
    longest = max(c.screw.lead_mm for c in scenario.corner) * units.MM
    room = min((c.screw.length_mm * units.MM - first_nut(scenario, c.screw)) for c in scenario.corner)
    depth = min(first_nut(scenario, c.screw) for c in scenario.corner)
    program = Program(
        layers=job.layers,
        layer=job.layer_mm * units.MM,
        period=job.seconds_per_layer,
        settle=job.settle_s,
        limits=Limits(
            speed=drive.speed_mm_s * units.MM_S,
            acceleration=drive.acceleration_mm_s2 * units.MM_S2,
            jerk=drive.jerk_mm_s3 * units.MM_S3,
        ),
        hop=drive.z_hop_mm * units.MM,
        hop_dwell=drive.hop_dwell_s,
        corners=len(scenario.corner),
        run_in=min(2 * longest, 0.9 * depth),
        approach=min(PLAY_OF_APPROACH, 0.5 * room),
    )
    if job.layers > 1:
        moving = program.layer_change(2).duration
        if moving + job.settle_s >= job.seconds_per_layer:
            raise ModelError(
                f"print.seconds_per_layer = {job.seconds_per_layer:g}: a layer change takes {moving:.2f} s and settles for "
                f"{job.settle_s:g} s, so nothing is left to print in. Allowed: more than {moving + job.settle_s:.2f}."
            )
    return program


def _corners(scenario: schema.Scenario, bed: bed_part.Bed) -> list[_Corner]:
    points = mount_points(scenario)
    outward = radial_directions(points[:, :2])
    axes = np.array([[c.x_mm, c.y_mm] for c in scenario.corner]) * units.MM
    from_middle = radial_directions(axes)
    count = len(scenario.corner) - 3
    if count > len(EXPONENTS):
        raise ModelError(f"{len(scenario.corner)} screws: plate shapes are given for at most {len(EXPONENTS) + 3}")
    shapes = PlateShapes(count=max(count, 0), x=float(bed.size[0] / 2), y=float(bed.size[1] / 2))
    corners = []
    for i, data in enumerate(scenario.corner):
        fitted = make_nut(data.nut, data.screw)
        bolted = data.mount.kind == "bolted"
        at = axes[i] if bolted else points[i]
        corners.append(
            _Corner(
                index=i,
                name=data.name,
                axis=axes[i],
                data=data,
                screw=make_screw(data.screw),
                nut=fitted,
                joint=None if data.joint.kind == "rigid" else make_joint(data.joint),
                mount=make_mount(data.mount, points[i], outward[i]),
                guide=make_guide(data.guide, data.frame, from_middle[i]),
                motor=make_motor(data.motor),
                start=first_nut(scenario, data.screw),
                shapes=shapes.at(float(at[0]), float(at[1])),
                free_shaft=fitted.plain and fitted.clearance > 0,
            )
        )
    return corners


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    links: list[Link]
    frictions: list[Friction]
    stops: list[Stop]
    flanks: list[Flank]
    sources: list[Source]
    constraint: dict[int, Array]


def _corner_parts(coordinates: Coordinates, scenario: schema.Scenario, c: _Corner, tables: Tables) -> _Parts:
    """All rows of one corner."""
    data, name, size = c.data, c.name, coordinates.size
    no_offset = np.zeros(2)
    joint_height = data.joint.height_mm * units.MM
    thread_height = data.nut.thread_height_mm * units.MM
    planar = joint.planar_rows(coordinates, c.index, joint_height, no_offset)
    others = 1 / c.nut.axial + 1 / (data.frame.vertical_n_per_um * units.N_PER_UM)
    others += 1 / c.joint.axial if c.joint else 0.0
    axial = screw.axial_row(coordinates, c.index, c.screw, np.zeros(3))
    links = [screw.axial_link(c.index, c.screw, axial, others, f"{name}.axial")]
    links.append(joint.load_link(coordinates, c.index, planar, f"{name}.load"))
    links.append(guide.link(coordinates, c.index, c.guide, f"{name}.guide"))
    frictions = [*guide.friction(coordinates, c.index, c.guide, f"{name}.guide")]
    if c.nut.drag_torque > 0 or (c.nut.plain and c.nut.friction > 0):
        frictions.append(nut.drag(coordinates, c.index, c.nut, c.screw.hand, f"{name}.nut drag"))
    stops: list[Stop] = []
    flanks: list[Flank] = []
    constraint: dict[int, Array] = {}

    lateral = f"{name}.screw"
    if c.free_shaft:
        rows = screw.shaft_rows(coordinates, c.index)
        tilt_only = np.diag([1e15, c.nut.tilt])  # the thread's radial part is the play, not a spring in series
        links.append(screw.lateral_link(c.index, c.screw, rows, tilt_only, lateral))
        flank, stop, friction = nut.play(
            coordinates, c.index, c.nut, thread_height - joint_height, axial, f"{name}.axial", f"{name}.nut"
        )
        flanks.append(flank)
        stops.append(stop)
        frictions.append(friction)
    else:
        rows = screw.lateral_rows(coordinates, c.index, thread_height, joint_height)
        links.append(screw.lateral_link(c.index, c.screw, rows, c.nut.series, lateral))

    if c.joint is None:
        constraint |= joint.rigid_map(coordinates, c.index, joint_height, no_offset)
    else:
        links.append(joint.link(planar, c.index, c.joint, f"{name}.joint"))
        frictions += _joint_frictions(planar, c, f"{name}.joint")
        stops.append(joint.stop(planar, c.index, c.joint, f"{name}.joint"))

    if c.mount.kind == "bolted":
        constraint |= mount.bolted_map(coordinates, c.index, c.axis, c.shapes)
    else:
        displacement, rotation = mount.rows(coordinates, c.index, c.mount, c.axis, c.shapes)
        links.append(mount.link(displacement, rotation, c.index, c.mount, f"{name}.mount"))
        frictions += mount.friction(displacement, c.index, c.mount, f"{name}.mount")
    return _Parts(
        links=links,
        frictions=frictions,
        stops=stops,
        flanks=flanks,
        sources=_corner_sources(scenario, c, tables, size),
        constraint=constraint,
    )


def _joint_frictions(planar: Array, c: _Corner, name: str) -> list[Friction]:
    """Planar contacts per element; two crossed slideways rub each in its own direction instead."""
    assert c.joint is not None
    if c.data.joint.kind != "sliding":
        return joint.frictions(planar, c.index, c.joint, name)
    if c.joint.friction == 0.0:
        return []
    return [
        Friction(
            name=f"{name} slide {axis}",
            corner=c.index,
            jacobian=planar[k : k + 1],
            command=np.zeros(1),
            breakaway=c.joint.breakaway,
            coefficient=c.joint.friction,
            load_share=1.0,
            preload=c.joint.magnet_force,
        )
        for k, axis in enumerate("xy")
    ]


def _corner_sources(scenario: schema.Scenario, c: _Corner, tables: Tables, size: int) -> list[Source]:
    part = c.data.screw
    found = run_out.sources(
        make_run_out(part.run_out, tables),
        corner=c.index,
        link=f"{c.name}.screw",
        length=c.screw.length,
        free_end=part.ends == "fixed-free",
        nut_position=c.nut_position,
        angle=c.angle,
    )
    found += lead.sources(
        make_travel(part.travel, part.expansion_um_per_m_k, tables),
        corner=c.index,
        link=f"{c.name}.axial",
        nut_position=c.nut_position,
        angle=c.angle,
    )
    found += _alignment_sources(c)
    found += _straightness_sources(c, tables)
    found += _bore_sources(c, size)
    return found


def _alignment_sources(c: _Corner) -> list[Source]:
    """Axis against guide: standing offset m0 and slope m1, so deflection m0 + m1 s and slope m1."""
    part = c.data.screw.alignment
    per_100mm = units.UM / (100 * units.MM)

    def values(path: Path, row: int, slope: bool) -> Array:
        rows = np.zeros((path.time.size, 4))
        rows[:, row] = c.nut_position(path) if slope else 1.0
        rows[:, row + 1] = 1.0 if slope else 0.0
        return rows

    given = (
        ("offset x", 0, False, part.offset_x_um * units.UM),
        ("offset y", 2, False, part.offset_y_um * units.UM),
        ("slope x", 0, True, part.slope_x_um_per_100mm * per_100mm),
        ("slope y", 2, True, part.slope_y_um_per_100mm * per_100mm),
    )
    return [
        Source(
            cause="alignment",
            corner=c.index,
            link=f"{c.name}.screw",
            amount=amount,
            name=name,
            values=lambda path, row=row, slope=slope: values(path, row, slope),
        )
        for name, row, slope, amount in given
    ]


def _straightness_sources(c: _Corner, tables: Tables) -> list[Source]:
    """A bowed guide (half sine over the free length) and a measured one."""
    part, length = c.data.guide, c.screw.length
    direction = cmath.rect(1.0, part.straightness_deg * units.DEG)
    along = np.array([direction.real, direction.imag])

    def bow(path: Path) -> Array:
        return np.sin(np.pi * c.nut_position(path) / length)[:, None] * along

    link = f"{c.name}.guide"
    found = [
        guide.straightness_source(c.index, link, c.guide.direction, bow, part.straightness_mm_per_m * 1e-3 * length)
    ]
    if part.table is not None:
        data = tables[part.table]
        shape = run_out.table_shape(data[:, 0] * units.MM, (data[:, 1] + 1j * data[:, 2]) * units.UM)

        def measured(path: Path) -> Array:
            offset, _ = shape(c.nut_position(path))
            return np.stack([offset.real, offset.imag], axis=1)

        found.append(guide.straightness_source(c.index, link, c.guide.direction, measured, 1.0))
    return found


def _bore_sources(c: _Corner, size: int) -> list[Source]:
    """Nut bore off its place: an extension of the joint, or an offset of a bolted nut."""
    first = 6

    def values(path: Path, axis: int) -> Array:
        if c.joint is not None:
            rows = np.zeros((path.time.size, 3))
            rows[:, axis] = 1.0
            return rows
        return np.broadcast_to(_bore_offset(c, size, first + axis), (path.time.size, size))

    link = f"{c.name}.joint" if c.joint is not None else "offset"
    amounts = (c.nut.bore_offset.real, c.nut.bore_offset.imag)
    return [
        Source(
            cause="nut bore",
            corner=c.index,
            link=link,
            amount=amount,
            name=f"bore {'xy'[axis]}",
            values=lambda path, axis=axis: values(path, axis),
        )
        for axis, amount in enumerate(amounts)
    ]


def _bore_offset(c: _Corner, size: int, local: int) -> Array:
    shapes = len(c.shapes)
    return unit(size, (6 + shapes + 10 * c.index + local, 1.0))


def _drive(
    coordinates: Coordinates, scenario: schema.Scenario, corners: list[_Corner]
) -> tuple[list[tuple[motor.Motor, int, int]], list[Link], list[Source]]:
    """Motors with their coordinate and corner, their links and sources, and the belts."""
    links: list[Link] = []
    sources: list[Source] = []
    if scenario.drive.topology == "motor_per_screw":
        motors = [(c.motor, coordinates.rotor(c.index), c.index) for c in corners]
        for m, index, i in motors:
            name = f"{corners[i].name}.motor"
            links.append(motor.link(coordinates.size, i, index, m, name))
            sources += motor.sources(m, i, name, corners[i].turn)
        return motors, links, sources
    lead_corner = corners[0]
    motors = [(lead_corner.motor, coordinates.motor, 0)]
    links.append(motor.link(coordinates.size, 0, coordinates.motor, lead_corner.motor, "shared.motor"))
    sources += motor.sources(lead_corner.motor, 0, "shared.motor", lead_corner.turn)
    radius = scenario.drive.pulley_pitch_diameter_mm / 2 * units.MM
    stiffness = scenario.drive.belt_n_per_um * units.N_PER_UM
    offset = scenario.drive.pulley_eccentricity_tir_um / 2 * units.UM
    for c in corners:
        name = f"{c.name}.belt"
        links.append(belt.link(coordinates, c.index, stiffness, radius, name, c.turn / lead_corner.turn))
        sources.append(belt.eccentricity_source(c.index, name, offset, radius, c.angle))
    return motors, links, sources


def _heat(coordinates: Coordinates, bed: bed_part.Bed, corners: list[_Corner]) -> list[Source]:
    """Heat growth of the bed at every mount; at bolted mounts it moves the carriage along."""
    found = []
    for c in corners:
        if c.mount.kind == "bolted":
            first = coordinates.carriage(c.index)
            offset = unit(
                coordinates.size,
                (first, bed.expansion * float(c.axis[0])),
                (first + 1, bed.expansion * float(c.axis[1])),
            )
            if c.joint is None:  # a bolted nut goes with it
                offset[first + 6 : first + 8] = offset[first : first + 2]
            link = "offset"
        else:
            link = f"{c.name}.mount"
            offset = mount.growth(c.mount, bed.expansion)
            if c.mount.rotation > 0:
                offset = np.append(offset, np.zeros(3))
        found.append(
            Source(
                cause="heat growth",
                corner=c.index,
                link=link,
                amount=bed.temperature_rise,
                name="bed",
                values=lambda path, offset=offset: np.broadcast_to(offset, (path.time.size, offset.size)),
            )
        )
    return found


def _plate_links(coordinates: Coordinates, bed: bed_part.Bed, shapes: PlateShapes) -> list[Link]:
    if coordinates.shapes == 0:
        return []
    jacobian = np.zeros((coordinates.shapes, coordinates.size))
    jacobian[:, 6 : 6 + coordinates.shapes] = np.eye(coordinates.shapes)
    return [Link(name="plate", corner=0, jacobian=jacobian, stiffness=shapes.stiffness(bed))]


def _transform(coordinates: Coordinates, constraint: dict[int, Array]) -> tuple[Array, tuple[int, ...]]:
    """T with q_full = T q: constrained coordinates follow the others; a chain (nut on carriage on bed) is resolved."""
    size = coordinates.size
    full = np.eye(size)
    for index, row in constraint.items():
        full[index] = row
    full = full @ full  # nut -> carriage -> bed
    kept = tuple(k for k in range(size) if k not in constraint)
    return full[:, list(kept)], kept


def _mass(
    coordinates: Coordinates, scenario: schema.Scenario, bed: bed_part.Bed, shapes: PlateShapes, corners: list[_Corner]
) -> tuple[Array, Array]:
    """Mass matrix and weight of everything but the part."""
    size, g = coordinates.size, units.GRAVITY
    mass = bed_part.body_mass(size, 0, bed.mass, bed.inertia, bed.centre)
    weight = bed_part.weight(size, 0, bed.mass, bed.centre, g)
    if coordinates.shapes:
        own, coupling = shapes.mass(bed)
        twist = slice(6, 6 + coordinates.shapes)
        mass[twist, twist] += own
        mass[twist, 2:5] += coupling
        mass[2:5, twist] += coupling.T
    belt_drive = scenario.drive.topology == "belt"
    pulley = scenario.drive.pulley_inertia_g_cm2 * units.G_CM2
    for c in corners:
        first, part = coordinates.carriage(c.index), c.data.carriage
        centre = np.array([0.0, 0.0, part.height_mm * units.MM])
        inertia = np.full(3, part.inertia_kg_cm2 * units.KG_CM2)
        mass += bed_part.body_mass(size, first, part.mass_kg, inertia, centre)
        weight += bed_part.weight(size, first, part.mass_kg, centre, g)
        lift = point_motion(size, first, np.zeros(3))[2]
        mass += c.nut.mass * np.outer(lift, lift)
        weight += bed_part.weight(size, first, c.nut.mass, np.zeros(3), g)
        mass[first + 6, first + 6] += c.nut.mass
        mass[first + 7, first + 7] += c.nut.mass
        mass[first + 8, first + 8] += c.nut.inertia
        turning = c.screw.inertia + (pulley if belt_drive else c.motor.reflected_inertia)
        mass[coordinates.rotor(c.index), coordinates.rotor(c.index)] += turning
        if c.free_shaft:
            own_share = SHAFT_SHARE[c.screw.ends] * c.screw.density * c.screw.area * c.screw.length
            for k in range(2):
                mass[coordinates.shaft(c.index) + k, coordinates.shaft(c.index) + k] += own_share
    if belt_drive:
        mass[coordinates.motor, coordinates.motor] += corners[0].motor.reflected_inertia + pulley
    return mass, weight


def _command(coordinates: Coordinates, corners: list[_Corner]) -> Array:
    """Motion (size, c) of all coordinates per metre of commanded height of each corner."""
    command = np.zeros((coordinates.size, len(corners)))
    points = np.array([c.mount.point for c in corners])
    plane = np.stack([np.ones(len(corners)), points[:, 1], -points[:, 0]], axis=1)
    command[2:5] = np.linalg.pinv(plane)
    for c in corners:
        command[coordinates.carriage(c.index) + 2, c.index] = 1.0
        command[coordinates.rotor(c.index), c.index] = c.turn
    if coordinates.shared_motor:
        command[coordinates.motor] = corners[0].turn / len(corners)
    return command


def _part(scenario: schema.Scenario) -> GrowingPart:
    layer = np.arange(1, scenario.print.layers + 1)
    return GrowingPart(
        mass=scenario.print.part_mass_kg * layer / scenario.print.layers,
        centre_height=layer * scenario.print.layer_mm * units.MM / 2,
        x=scenario.print.part_x_mm * units.MM,
        y=scenario.print.part_y_mm * units.MM,
    )
