"""From a scenario to a machine and its motion program."""

from __future__ import annotations

from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from bedsim import units
from bedsim.components import bed as bed_part
from bedsim.components import belt, motor, mount
from bedsim.components.frame import Coordinates, point_motion, unit
from bedsim.components.plate import PlateShapes
from bedsim.components.row import CauseName, Link, Source, standing
from bedsim.errors import ModelError
from bedsim.model.assembly import Machine
from bedsim.model.convert import (
    Tables,
    first_nut,
    make_bed,
    make_belt,
    motion_limits,
    pieces_of,
    stations_of,
)
from bedsim.model.corner import CornerParts, corner_rows, make_corners
from bedsim.model.damping import PART_OF
from bedsim.model.growing_part import growing_part
from bedsim.model.program import Program
from bedsim.model.side_torque import with_side_torque
from bedsim.scenario import schema

Array = NDArray[np.float64]

# m the bed rises above layer 1 before the print begins, so that it arrives from above; every scenario leaves
# a root diameter there
PLAY_OF_APPROACH = 1e-3
# Share of a shaft's own mass that moves with the thread, [Rayleigh] for the static deflection curve of each
# kind of beam
SHAFT_SHARE = {
    "fixed-free": 33 / 140,
    "supported-supported": 17 / 35,
    "fixed-supported": 0.45,
    "fixed-fixed": 13 / 35,
}


def build_machine(scenario: schema.Scenario, tables: Tables, *, side_torque: bool = True) -> Machine:
    """Assemble the machine of a scenario. `tables`: measured CSV tables by the name used in the scenario;
    without `side_torque` that of standing side forces on the screws' run-out is left out (`side_torque.py`).

    Raises ModelError when the machine cannot be computed.
    """
    bed = make_bed(scenario.bed)
    corners = make_corners(scenario, bed)
    shared = scenario.drive.topology == "belt"
    coordinates = Coordinates(
        corners=len(corners),
        shapes=max(len(corners) - 3, 0),
        free_shafts=tuple(c.index for c in corners if c.free_shaft),
        shared_motor=shared,
    )
    shapes = PlateShapes(count=coordinates.shapes, x=float(bed.size[0] / 2), y=float(bed.size[1] / 2))
    made = [corner_rows(coordinates, corner, tables) for corner in corners]
    motors, motor_links, motor_sources = _drive(coordinates, scenario, corners)
    links = [*_plate_links(coordinates, bed, shapes), *chain(*(m.links for m in made)), *motor_links]
    sources = [*chain(*(m.sources for m in made)), *motor_sources, *_heat(coordinates, bed, corners)]
    transform, kept = _transform(coordinates, {k: row for m in made for k, row in m.constraint.items()})
    mass, weight = _mass(coordinates, scenario, bed, shapes, corners)
    laid = stations_of(scenario)
    machine = Machine(
        coordinates=coordinates,
        corner_names=tuple(c.name for c in corners),
        corner_position=np.array([c.axis for c in corners]),
        links=tuple(links),
        frictions=tuple(chain(*(m.frictions for m in made))),
        stops=tuple(chain(*(m.stops for m in made))),
        flanks=tuple(chain(*(m.flanks for m in made))),
        sources=tuple(sources),
        transform=transform,
        kept=kept,
        mass=mass,
        weight=weight,
        part=growing_part(pieces_of(scenario), laid.count, coordinates, shapes),
        gravity=units.GRAVITY,
        damping_ratio=scenario.damping.ratio,
        part_damping=_part_damping(scenario.damping),
        command=_command(coordinates, corners),
        first_nut=np.array([c.start for c in corners]),
        stations=laid,
        motor_torque=np.array([m.gear * m.holding_torque for m, _, _ in motors]),
        motor_electrical=np.array([m.electrical for m, _, _ in motors]),
        motor_index=tuple(index for _, index, _ in motors),
        motor_corner=tuple(corner for _, _, corner in motors),
        mount_preload=np.array([c.mount.magnet_force for c in corners]),
        plate=shapes,
    )
    return with_side_torque(machine, corners) if side_torque else machine


def build_program(scenario: schema.Scenario) -> Program:
    """The motion program of a scenario. Raises ModelError if a layer's time is shorter than its motion."""
    longest = max(c.screw.lead_mm for c in scenario.corner) * units.MM
    depth = min(first_nut(scenario, c.screw) for c in scenario.corner)
    program = Program(
        stations=stations_of(scenario),
        limits=motion_limits(scenario.motion),
        corners=len(scenario.corner),
        run_in=min(2 * longest, 0.9 * depth),
        approach=PLAY_OF_APPROACH,
    )
    _check_times(scenario, program)
    return program


def _check_times(scenario: schema.Scenario, program: Program) -> None:
    """Refuse layers in which no time is left to print in."""
    for k in np.unique(program.stations.kind[1:], return_index=True)[1]:
        layer = int(k) + 2
        moving, settle, period = (
            program.layer_change(layer).duration,
            program.settle(layer),
            program.period(layer),
        )
        if moving + settle >= period:
            raise ModelError(
                f"print.seconds_per_layer = {period:g}: a layer change takes {moving:.2f} s "
                f"and settles for {settle:g} s, so nothing is left to print in. "
                f"Allowed: more than {moving + settle:.2f}."
            )


def _drive(
    coordinates: Coordinates, scenario: schema.Scenario, corners: list[CornerParts]
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
    made = make_belt(scenario.drive)
    for c in corners:
        name = f"{c.name}.belt"
        links.append(belt.link(coordinates, c.index, made, name, c.turn / lead_corner.turn))
        sources.append(belt.eccentricity_source(c.index, name, made, c.shaft_angle))
    return motors, links, sources


def _heat(coordinates: Coordinates, bed: bed_part.Bed, corners: list[CornerParts]) -> list[Source]:
    """Heat growth of the bed at every mount; at bolted mounts it moves the carriage along."""
    found = []
    for c in corners:
        if c.mount.bolted:
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
                cause=CauseName.HEAT,
                corner=c.index,
                link=link,
                amount=bed.temperature_rise,
                name="bed",
                values=partial(standing, rows=offset),
            )
        )
    return found


def _plate_links(coordinates: Coordinates, bed: bed_part.Bed, shapes: PlateShapes) -> list[Link]:
    if coordinates.shapes == 0:
        return []
    jacobian = np.zeros((coordinates.shapes, coordinates.size))
    jacobian[:, 6 : 6 + coordinates.shapes] = np.eye(coordinates.shapes)
    return [Link(part="plate", name="plate", corner=0, jacobian=jacobian, stiffness=shapes.stiffness(bed))]


def _part_damping(given: schema.Damping) -> dict[str, float]:
    """Ratios of parts that have their own."""
    every = {part: getattr(given, f"{part}_ratio") for part in dict.fromkeys(PART_OF.values())}
    return {part: ratio for part, ratio in every.items() if ratio is not None}


def _transform(coordinates: Coordinates, constraint: dict[int, Array]) -> tuple[Array, tuple[int, ...]]:
    """T with q_full = T q: constrained coordinates follow the others; a chain (nut on carriage on bed) is
    resolved."""
    size = coordinates.size
    full = np.eye(size)
    for index, row in constraint.items():
        full[index] = row
    full = full @ full  # nut -> carriage -> bed
    kept = tuple(k for k in range(size) if k not in constraint)
    return full[:, list(kept)], kept


def _mass(
    coordinates: Coordinates,
    scenario: schema.Scenario,
    bed: bed_part.Bed,
    shapes: PlateShapes,
    corners: list[CornerParts],
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
        weight[twist] -= g * coupling[:, 0]  # a shape that is up on the mean lifts the plate
    belt_drive = scenario.drive.topology == "belt"
    pulley = make_belt(scenario.drive).pulley_inertia
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
            own_share = SHAFT_SHARE[c.screw.ends] * c.screw.mass
            for k in range(2):
                mass[coordinates.shaft(c.index) + k, coordinates.shaft(c.index) + k] += own_share
    if belt_drive:
        mass[coordinates.motor, coordinates.motor] += corners[0].motor.reflected_inertia + pulley
    return mass, weight


def _command(coordinates: Coordinates, corners: list[CornerParts]) -> Array:
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
