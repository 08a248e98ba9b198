"""One corner of the machine: its components, and all the rows, contacts and imperfections they make."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from bedsim import units
from bedsim.components import bed as bed_part
from bedsim.components import guide, joint, lead, motor, mount, nut, run_out, screw
from bedsim.components.frame import Coordinates, radial_directions, unit
from bedsim.components.plate import EXPONENTS, PlateShapes
from bedsim.components.row import CauseName, Flank, Friction, Link, Path, Source, Stop, standing
from bedsim.errors import ModelError
from bedsim.model import convert
from bedsim.model.convert import Tables
from bedsim.model.joint_kind import joint_kind
from bedsim.model.joint_parts import make_joints
from bedsim.scenario import schema

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerParts:
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

    def shaft_angle(self, path: Path) -> Array:
        """Angle of motor or pulley shaft along a path (t,) rad."""
        return self.turn * path.height[:, self.index]

    def angle(self, path: Path) -> Array:
        """Angle of the screw along a path (t,) rad, clocking included."""
        return self.shaft_angle(path) + self.data.screw.clocking_deg * units.DEG


def make_corners(scenario: schema.Scenario, bed: bed_part.Bed) -> list[CornerParts]:
    """Make the components of every corner. Raises ModelError for collinear mounts or too many screws."""
    points = convert.mount_points(scenario)
    outward = radial_directions(points[:, :2])
    axes = np.array([[c.x_mm, c.y_mm] for c in scenario.corner]) * units.MM
    from_middle = radial_directions(axes)
    count = len(scenario.corner) - 3
    if count > len(EXPONENTS):
        raise ModelError(
            f"{len(scenario.corner)} screws: plate shapes are given for at most {len(EXPONENTS) + 3}"
        )
    shapes = PlateShapes(count=max(count, 0), x=float(bed.size[0] / 2), y=float(bed.size[1] / 2))
    joints = make_joints(scenario)
    corners = []
    for i, data in enumerate(scenario.corner):
        fitted = convert.make_nut(data.nut, data.screw)
        held = convert.make_mount(data.mount, points[i], outward[i])
        at = axes[i] if held.bolted else points[i]
        corners.append(
            CornerParts(
                index=i,
                name=data.name,
                axis=axes[i],
                data=data,
                screw=convert.make_screw(data),
                nut=fitted,
                joint=joints[i],
                mount=held,
                guide=convert.make_guide(data.guide, data.frame, from_middle[i]),
                motor=convert.make_motor(data.motor),
                start=convert.first_nut(scenario, data.screw),
                shapes=shapes.at(float(at[0]), float(at[1])),
                free_shaft=fitted.has_play,
            )
        )
    return corners


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRows:
    """What one corner adds to the machine; `constraint`: coordinates that follow others, as rows (size,)."""

    links: list[Link]
    frictions: list[Friction]
    stops: list[Stop]
    flanks: list[Flank]
    sources: list[Source]
    constraint: dict[int, Array]


def corner_rows(coordinates: Coordinates, c: CornerParts, tables: Tables) -> CornerRows:
    """All rows of one corner."""
    data, name = c.data, c.name
    joint_height = data.joint.height_mm * units.MM
    arm = data.nut.thread_height_mm * units.MM - joint_height
    jointed = _joint_rows(coordinates, c, joint_height)
    others = 1 / c.nut.axial + 1 / (data.frame.vertical_n_per_um * units.N_PER_UM)
    others += 1 / (data.joint.axial_n_per_um * units.N_PER_UM)
    along = screw.axial_row(coordinates, c.index, c.screw, np.zeros(3))
    axial = screw.axial_link(c.index, c.screw, along, others, f"{name}.axial")
    threaded = nut.nut_rows(coordinates, c.index, c.screw, c.nut, arm, axial, name)
    guided = guide.link(coordinates, c.index, c.guide, f"{name}.guide")
    mounted = _mount_rows(coordinates, c)
    hung = [] if jointed.load is None else [jointed.load]
    return CornerRows(
        links=[axial, *hung, guided, threaded.lateral, *jointed.links, *mounted.links],
        frictions=[
            *guide.friction(coordinates, c.index, c.guide, f"{name}.guide"),
            *threaded.frictions,
            *jointed.frictions,
            *mounted.frictions,
        ],
        stops=[*threaded.stops, *jointed.stops],
        flanks=threaded.flanks,
        sources=[*_corner_sources(c, tables, coordinates), *jointed.sources],
        constraint=jointed.constraint | mounted.constraint,
    )


def _mount_rows(coordinates: Coordinates, c: CornerParts) -> mount.MountRows:
    carried = (c.data.carriage.mass_kg + c.nut.mass) * units.GRAVITY
    name = f"{c.name}.mount"
    return mount.mount_rows(coordinates, c.index, c.mount, c.axis, c.shapes, carried, name)


def _joint_rows(coordinates: Coordinates, c: CornerParts, height: float) -> joint.JointRows:
    place = joint.JointPlace(
        coordinates=coordinates, corner=c.index, name=c.name, height=height, nut_mass=c.nut.mass
    )
    if c.joint is None:
        return joint.bolted_rows(place)
    return joint_kind(c.data.joint.kind).rows(place, c.joint)


def _corner_sources(c: CornerParts, tables: Tables, coordinates: Coordinates) -> list[Source]:
    part = c.data.screw
    found = run_out.sources(
        convert.make_run_out(c.data, tables),
        corner=c.index,
        link=f"{c.name}.screw",
        screw=c.screw,
        nut_position=c.nut_position,
        angle=c.angle,
        motor_angle=c.shaft_angle,
    )
    found += lead.sources(
        convert.make_travel(part.travel, part.expansion_um_per_m_k, tables),
        corner=c.index,
        link=f"{c.name}.axial",
        nut_position=c.nut_position,
        angle=c.angle,
    )
    found += _alignment_sources(c)
    found += _straightness_sources(c, tables)
    found += _bore_sources(c, coordinates)
    return found


def _alignment_sources(c: CornerParts) -> list[Source]:
    """Axis against guide: standing offset m0 and slope m1, so deflection m0 + m1 s and slope m1."""
    part = c.data.screw.alignment
    per_100mm = units.UM / (100 * units.MM)
    given = (
        ("offset x", 0, part.offset_x_um * units.UM),
        ("offset y", 2, part.offset_y_um * units.UM),
        ("slope x", 0, part.slope_x_um_per_100mm * per_100mm),
        ("slope y", 2, part.slope_y_um_per_100mm * per_100mm),
    )
    return [
        Source(
            cause=CauseName.ALIGNMENT,
            corner=c.index,
            link=f"{c.name}.screw",
            amount=amount,
            name=name,
            values=partial(_misaligned, c=c, row=row, sloped=name.startswith("slope")),
        )
        for name, row, amount in given
    ]


def _misaligned(path: Path, c: CornerParts, row: int, sloped: bool) -> Array:
    rows = np.zeros((path.time.size, 4))
    rows[:, row] = c.nut_position(path) if sloped else 1.0
    rows[:, row + 1] = 1.0 if sloped else 0.0
    return rows


def _straightness_sources(c: CornerParts, tables: Tables) -> list[Source]:
    """A bowed guide (half sine over the free length) and a measured one."""
    part, length = c.data.guide, c.screw.length
    direction = cmath.rect(1.0, part.straightness_deg * units.DEG)
    along = np.array([direction.real, direction.imag])

    def bow(path: Path) -> Array:
        return np.sin(np.pi * c.nut_position(path) / length)[:, None] * along

    link = f"{c.name}.guide"
    crest = part.straightness_mm_per_m * 1e-3 * length
    found = [guide.straightness_source(c.index, link, c.guide.direction, bow, crest)]
    if part.table is not None:
        data = tables[part.table]
        shape = run_out.table_shape(data[:, 0] * units.MM, convert.planar(data))

        def measured(path: Path) -> Array:
            offset, _ = shape(c.nut_position(path))
            return np.stack([offset.real, offset.imag], axis=1)

        found.append(guide.straightness_source(c.index, link, c.guide.direction, measured, 1.0))
    return found


def _bore_sources(c: CornerParts, coordinates: Coordinates) -> list[Source]:
    """Nut bore off its place: an extension of the joint, or an offset of a bolted nut."""
    bolted = c.joint is None
    first = coordinates.carriage(c.index) + 6
    amounts = (c.nut.bore_offset.real, c.nut.bore_offset.imag)
    return [
        Source(
            cause=CauseName.BORE,
            corner=c.index,
            link="offset" if bolted else f"{c.name}.joint",
            amount=amount,
            name=f"bore {'xy'[axis]}",
            values=partial(
                standing, rows=unit(coordinates.size, (first + axis, 1.0)) if bolted else unit(3, (axis, 1.0))
            ),
        )
        for axis, amount in enumerate(amounts)
    ]
