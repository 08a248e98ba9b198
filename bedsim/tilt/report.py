"""`bedsim size --tilt`: how far the bed can be tilted, what fails first, and the errors along a tilt."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.cautions import cautions
from bedsim.analysis.sizing_gather import gather, sizing_of
from bedsim.components.frame import radial_directions
from bedsim.engines.equilibrium import OFF_BY
from bedsim.errors import InputError
from bedsim.model import convert
from bedsim.model.assembly import Machine, System
from bedsim.model.mount_kind import mount_kind
from bedsim.number_text import number
from bedsim.scenario import schema
from bedsim.scenario.event_keys import Tilt
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.sizing import statics
from bedsim.sizing.axial_train import series
from bedsim.sizing.numbers import MachineNumbers
from bedsim.sizing.rows_joint import twist_travel
from bedsim.tilt import tilted, tilting
from bedsim.tilt.tilted import TiltCourse
from bedsim.tilt.tilting import Supports, Tilted, TiltLimit
from bedsim.units import DEG, GRAVITY, MM, N_PER_UM

Array = NDArray[np.float64]

DIRECTIONS = 24  # in which the largest tilt is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A limit with the tilt rad at which it is passed in the direction asked for; infinite: not up to 45°."""

    kind: str
    corner: str
    angle: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltReport:
    """`order`: limits in the order in which they fail; `directions` rad and `largest` tilt rad around."""

    title: str
    asked: float  # rad
    towards: float  # rad, direction of the axis
    order: tuple[Passed, ...]
    directions: Array
    largest: Array
    first: tuple[str, ...]  # what fails first in each direction
    corner_names: tuple[str, ...]
    course: TiltCourse | None
    missing: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def tilt_scenario(loaded: LoadedScenario) -> TiltReport:
    """Compute limits in all directions and, if a tilt is asked for, the machine along it.

    Raises InputError naming the first limit passed and the largest tilt possible when the tilt asked for is
    too steep; ModelError when the machine cannot tilt.
    """
    scenario = loaded.scenario
    keys = scenario.tilt or Tilt()
    _refuse_belt(loaded, scenario)
    if keys.layer > scenario.print.layers:
        rule = f"layer {keys.layer} is not printed. Allowed: 1 to print.layers = {scenario.print.layers}."
        raise InputError(f"{loaded.name}: tilt.layer = {keys.layer}: {rule}")
    job, numbers = make_job(loaded), gather(loaded)
    system = job.machine.system(np.array([keys.layer]))
    supports = supports_of(scenario)
    level = float(job.program.height(keys.layer))
    limits = limits_of(loaded, numbers, job.machine, system, level)
    pivot = np.array([keys.point_x_mm, keys.point_y_mm, keys.point_height_mm]) * MM
    about = np.array([keys.about_x_deg, keys.about_y_deg]) * DEG
    asked = float(np.linalg.norm(about))
    around = np.arange(DIRECTIONS) * 2 * np.pi / DIRECTIONS
    passed = [
        tilting.first_passed(supports, limits, np.array([math.cos(a), math.sin(a)]), pivot) for a in around
    ]
    order: tuple[Passed, ...] = ()
    course = None
    if asked > 0:
        order = _ordered(limits, tilting.passed_at(supports, limits, about / asked, pivot))
        _refuse_too_steep(loaded, keys, asked, order)
        weights, centres = hanging(scenario, keys.layer)
        course = tilted.follow_tilt(job, keys.layer, supports, about, pivot, weights, centres)
    return TiltReport(
        title=scenario.title,
        asked=asked,
        towards=math.atan2(about[1], about[0]),
        order=order,
        directions=around,
        largest=np.array([angle for _, angle in passed]),
        first=tuple("" if k is None else limit_words(limits[k]) for k, _ in passed),
        corner_names=job.machine.corner_names,
        course=course,
        missing=unknown_limits(scenario),
        assumptions=_assumptions(scenario),
        cautions=(
            "Caution: a tilted bed can let the part, tools or hot glue slide, and a mount beyond its travel "
            "drops the bed: it can pinch and burn.",
            *cautions(scenario),
            "These tilts are computed from the numbers above and nothing else; whoever builds and runs the "
            "machine must decide, with measurements of the real parts.",
        ),
    )


def supports_of(scenario: schema.Scenario) -> Supports:
    """Mounts with their stiffness in the plan, in series with the guide behind; along a groove it is nil."""
    points = convert.mount_points(scenario)
    outward = radial_directions(points[:, :2])
    direction, along, across = [], [], []
    for k, corner in enumerate(scenario.corner):
        part = convert.make_mount(corner.mount, points[k], outward[k])
        guide, frame = corner.guide, corner.frame
        behind = N_PER_UM * series([guide.radial_n_per_um, frame.radial_n_per_um])
        beside = N_PER_UM * series([guide.tangential_n_per_um, frame.tangential_n_per_um])
        direction.append(part.direction)
        if part.bolted:
            along.append(behind)
            across.append(beside)
        else:
            along.append(0.0 if part.radial <= 0 else series([part.radial, behind]))
            across.append(series([part.tangential, beside]))
    return Supports(
        points=points, direction=np.array(direction), along=np.array(along), across=np.array(across)
    )


def hanging(scenario: schema.Scenario, layer: int) -> tuple[Array, Array]:
    """Weights (2,) N of bed and part at a layer, and their centres (2, 3) m above the bed surface."""
    bed, (part, centre) = scenario.bed, convert.pieces_of(scenario).upto(layer).weighed
    own = np.array([bed.centre_x_mm, bed.centre_y_mm, bed.centre_height_mm]) * MM
    return np.array([bed.mass_kg, part]) * GRAVITY, np.stack([own, centre])


def limits_of(
    loaded: LoadedScenario, numbers: MachineNumbers, machine: Machine, system: System, level: float
) -> list[TiltLimit]:
    """Everything that can end a tilt at the commanded height `level` m, as far as it is known."""
    scenario = loaded.scenario
    keys, sizing = scenario.tilt or Tilt(), sizing_of(scenario)
    pushes = _remembered(tilted.joint_push(machine, system))
    seats = _seats(scenario, int(system.layers[0]))
    found: list[TiltLimit] = []
    for k, corner in enumerate(numbers.corners):
        name, nut = corner.name, float(machine.first_nut[k]) + level
        root = corner.screw.shaft.root_diameter
        top = corner.screw.shaft.length - root - nut
        if corner.grooved and sizing.mount_travel_mm is not None:
            found.append(_limit("mount travel", name, _give(k), sizing.mount_travel_mm * MM))
        found.append(_limit("screw's upper end", name, _climb(machine, k, 1.0), max(top, 0.0), of_screw=True))
        found.append(
            _limit("screw's lower end", name, _climb(machine, k, -1.0), max(nut - root, 0.0), of_screw=True)
        )
        if np.isfinite(machine.joint_travel[k]):
            joint = corner.joint
            other = corner.screw.run_out + joint.growth + joint.misalignment + joint.bore
            other += twist_travel(corner)
            found.append(_limit("joint travel", name, _push(pushes, k, other), joint.travel))
        if not mount_kind(scenario.corner[k].mount.kind).bolted:
            found.append(_limit("mount unloaded", name, _seat(seats, k), corner.mount_pull))
    if keys.mount_tilt_deg is not None:
        found.append(_limit("mount's seat", "all", lambda bed: bed.angle, keys.mount_tilt_deg * DEG))
    return found


def _limit(
    kind: str, corner: str, used: Callable[[Tilted], float], allowed: float, of_screw: bool = False
) -> TiltLimit:
    return TiltLimit(kind=kind, corner=corner, used=used, allowed=allowed, of_screw=of_screw)


def _give(k: int) -> Callable[[Tilted], float]:
    return lambda bed: abs(float(bed.give[k, 0]))


def _climb(machine: Machine, k: int, sign: float) -> Callable[[Tilted], float]:
    return lambda bed: sign * float(tilting.screw_heights(machine, bed)[k])


def _push(pushes: Callable[[Tilted], Array], k: int, other: float) -> Callable[[Tilted], float]:
    return lambda bed: other + float(pushes(bed)[k])


def _seat(seats: Callable[[Tilted], Array], k: int) -> Callable[[Tilted], float]:
    return lambda bed: -float(seats(bed)[k])


def _remembered(function: Callable[[Tilted], Array]) -> Callable[[Tilted], Array]:
    """The same function, its last answer kept: all corners ask for the same bed."""
    last: list[tuple[Tilted, Array]] = []

    def asked(bed: Tilted) -> Array:
        if not last or last[0][0] is not bed:
            last[:] = [(bed, function(bed))]
        return last[0][1]

    return asked


def _seats(scenario: schema.Scenario, layer: int) -> Callable[[Tilted], Array]:
    points = convert.mount_points(scenario)
    weights, centres = hanging(scenario, layer)

    def loads(bed: Tilted) -> Array:
        places = bed.place(points)[:, :2]
        return statics.support_loads(places, weights, bed.place(centres)[:, :2])

    return _remembered(loads)


def named_limit(limits: list[TiltLimit], bed: Tilted) -> TiltLimit | None:
    """The limit that a bed passes by most of its allowance, or None."""
    if not limits:
        return None
    over = [(limit.used(bed) - limit.allowed) / max(limit.allowed, 1e-12) for limit in limits]
    worst = int(np.argmax(over))
    return limits[worst] if over[worst] > 0 else None


def limit_words(limit: TiltLimit | Passed) -> str:
    """Say which limit it is."""
    at = "" if limit.corner == "all" else f" at {limit.corner}"
    return f"{limit.kind}{at}"


def _ordered(limits: list[TiltLimit], angles: Array) -> tuple[Passed, ...]:
    rows = [Passed(kind=x.kind, corner=x.corner, angle=float(a)) for x, a in zip(limits, angles, strict=True)]
    return tuple(sorted(rows, key=lambda row: row.angle))


def _refuse_belt(loaded: LoadedScenario, scenario: schema.Scenario) -> None:
    if scenario.drive.topology == "belt":
        raise InputError(
            f'{loaded.name}: drive.topology = "belt": one motor turns all screws alike and cannot tilt the '
            'bed. Allowed for a tilt: "motor_per_screw".'
        )


def _refuse_too_steep(loaded: LoadedScenario, keys: Tilt, asked: float, order: tuple[Passed, ...]) -> None:
    if not order or asked <= order[0].angle:
        return
    first = order[0]
    key = "about_x_deg" if abs(keys.about_x_deg) >= abs(keys.about_y_deg) else "about_y_deg"
    largest = math.floor(first.angle / DEG * 100) / 100
    raise InputError(
        f"{loaded.name}: tilt.{key} = {getattr(keys, key):g}: a tilt of {number(asked / DEG)}° passes a "
        f"limit: "
        f"{limit_words(first)}, at {largest:g}°. Largest tilt in this direction: {largest:g}°."
    )


def unknown_limits(scenario: schema.Scenario) -> tuple[str, ...]:
    """Keys that would limit a tilt and are not given."""
    lines = []
    grooves = [c.name for c in scenario.corner if mount_kind(c.mount.kind).grooved]
    if grooves and sizing_of(scenario).mount_travel_mm is None:
        lines.append("sizing.mount_travel_mm: the grooves' length is not known, so it limits nothing here")
    if (scenario.tilt or Tilt()).mount_tilt_deg is None:
        lines.append("tilt.mount_tilt_deg: how far a mount's seat can tilt is not known")
    return tuple(lines)


def _assumptions(scenario: schema.Scenario) -> tuple[str, ...]:
    lines = [
        "The held point keeps its height; sideways it goes where the mounts let the bed go, and the gantry "
        "must follow by the wander shown.",
        "Carriages stay upright. Grooves take up what the bed loses in the plan; their friction pushes the "
        "carriages.",
        "Joints: run-out, heat growth, misalignment and bore offset are added to what the tilt pushes them.",
        f"Errors: equilibrium with friction, stiffness at the height of the layer; {OFF_BY}.",
    ]
    if any(not mount_kind(c.mount.kind).grooved for c in scenario.corner):
        lines.append(
            "Bolted and flexing mounts bend with the tilt: side forces are those of linear springs, no "
            "strength is checked."
        )
    return tuple(lines)
