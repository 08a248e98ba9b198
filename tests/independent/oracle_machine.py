"""One three-screw machine as a scenario, and the numbers of any like it in SI without the package's formulas.

The shaft's 2x2 stiffness comes by transfer matrices from the equation of a beam under thrust, not from span
matrices. Read: rolling joints, groove mounts, run-out and travel errors (`screw_lines`), heat growth, weight,
plain nuts with play, gears, belts, any number of screws, and layer changes with hops and limited jerk.
Everything else must be switched off.
"""

from __future__ import annotations

import cmath
import copy
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from quiet import QUIET
from scipy.integrate import quad
from scipy.linalg import expm
from scipy.optimize import brentq
from screw_lines import Line, bending, centreline, travel_error

from bedsim.scenario import schema
from bedsim.scenario.load import LoadedScenario, scenario_from_tree
from bedsim.scenario.machine_keys import PrintSection

Array = NDArray[np.float64]

UNTIL = 0.3  # s of the layer change that are compared: motion 0.08 s, then ringing
GRAVITY = 9.80665  # m/s2, standard value

CORNERS = (
    {
        "name": "left",
        "x_mm": -190,
        "y_mm": -105,
        "screw": {"ends": "fixed-free", "run_out": {"eccentricity_tir_um": 120, "eccentricity_deg": 20}},
        "nut": {"thread_height_mm": -48},
        "joint": {"height_mm": -33},
    },
    {
        "name": "right",
        "x_mm": 185,
        "y_mm": -110,
        "screw": {
            "ends": "supported-supported",
            "hand": "left",
            "clocking_deg": 35,
            "run_out": {"bow_tir_um": 160, "bow_deg": 135, "tilt_tir_um_per_100mm": 10, "tilt_deg": -40},
        },
        "guide": {"offset_x_mm": 25, "offset_y_mm": -10, "height_mm": -55},
        "mount": {"offset_x_mm": -20, "offset_y_mm": 12, "height_mm": -11},
    },
    {
        "name": "back",
        "x_mm": 10,
        "y_mm": 195,
        "screw": {
            "ends": "fixed-supported",
            "run_out": {"eccentricity_tir_um": 90, "bow_tir_um": 100, "bow_deg": 250},
        },
        "carriage": {"mass_kg": 0.55, "height_mm": -42},
        "frame": {"radial_n_per_um": 1.4},
        "joint": {
            "element": [
                {"x_mm": 22, "y_mm": 3, "lateral_n_per_mm": 7},
                {"x_mm": -12, "y_mm": 18, "lateral_n_per_mm": 5},
                {"x_mm": -9, "y_mm": -20, "lateral_n_per_mm": 6},
            ],
            "rotation_nm_per_rad": 25,
        },
    },
)

TREE: dict[str, Any] = {
    "title": "Three screws for independent models",
    "bed": {
        "size_x_mm": 300,
        "size_y_mm": 280,
        "mass_kg": 2.8,
        "centre_x_mm": 4,
        "centre_y_mm": -6,
        "centre_height_mm": -9,
        "temperature_rise_k": 3,
    },
    "print": {
        "layers": 2,
        "layer_mm": 0.5,
        "first_layer_nut_mm": 230,
        "seconds_per_layer": 2,
        "part_mass_kg": 0.3,
        "part_x_mm": 15,
        "part_y_mm": -8,
    },
    # so gentle that the sine of the motors' torque, straight in these models, moves nothing by 10 nm
    "motion": {"speed_mm_s": 12, "acceleration_mm_s2": 300},
    "screw": {
        "kind": "rolled_ball",
        "diameter_mm": 12,
        "root_diameter_mm": 10,
        "lead_mm": 5,
        "length_mm": 400,
    },
    "nut": {"drag_torque_n_mm": 0},
    "joint": {
        "kind": "rolling",
        "lateral_n_per_mm": 40,
        "friction_coefficient": 0,
        "damping_n_s_per_m": 20,
    },
    "mount": {"kind": "groove", "radial_n_per_um": 0.03, "friction_coefficient": 0},
    "guide": {"kind": "profile_rail", "friction_n": 0},
    "frame": {"radial_n_per_um": 1.0, "tangential_n_per_um": 0.8},
    "motor": {"holding_torque_n_m": 0.45, **QUIET},
    "corner": list(CORNERS),
}


def oracle_machine() -> LoadedScenario:
    """The machine all independent models are built from: three unlike corners, all shaft ends but one."""
    return scenario_from_tree(TREE, folder=Path(), source="", name="three screws")


def hot_machine(bent: float) -> LoadedScenario:
    """The same with joints and mounts as good as bolted and a bed 60 K warmer, which pushes against screws of
    `bent` times the run-out; each layer is a fifth of a turn on."""
    tree = copy.deepcopy(TREE)
    tree["bed"]["temperature_rise_k"] = 60
    tree["print"] |= {"layers": 6, "layer_mm": 1}
    tree["screw"] |= {"diameter_mm": 20, "root_diameter_mm": 17}
    tree["joint"]["lateral_n_per_mm"] = 5e4
    tree["mount"]["radial_n_per_um"] = 50
    for c in tree["corner"]:
        c["screw"]["run_out"] = {
            key: value * bent if "tir" in key else value for key, value in c["screw"]["run_out"].items()
        }
        for e in c.get("joint", {}).get("element", []):
            e["lateral_n_per_mm"] *= 1000
    return scenario_from_tree(tree, folder=Path(), source="", name="three screws, hot")


@dataclass(frozen=True, kw_only=True)
class Play:
    """A plain nut's radial play: how far, what stops it, tangent of its flank, tip of the cone, shaft's mass
    that moves at the thread."""

    clearance: float
    stop: float
    climb: float
    tip: float
    shaft: float


@dataclass(frozen=True, kw_only=True)
class Belt:
    """One motor and a belt to pulleys on all screws: stiffness along the belt, pitch radius and eccentricity
    of the pulleys, magnetic spring and inertia of motor and pulley seen at a screw."""

    stiffness: float
    radius: float
    eccentricity: float
    motor: float
    inertia: float


@dataclass(frozen=True, kw_only=True)
class Plate:
    """The uniform plate that more than three screws bend: half sides (2,), mass, thickness^3 times shear
    modulus."""

    half: Array
    mass: float
    rigidity: float


@dataclass(frozen=True, kw_only=True)
class Corner:
    """One corner's numbers in SI; points from the screw axis at the height of the bed surface unless said."""

    axis: Array  # (3,) machine
    hand: int
    lead: float
    plane: Array  # (2, 2) deflection, slope
    lift: float  # of all that is axial, the screw held at the nut
    twist: float  # of screw and coupling between nut and motor
    thread: float
    joint: float
    elements: tuple[tuple[float, float, float], ...]  # x, y, stiffness
    joint_rotation: float
    joint_damping: float
    nut_mass: float
    nut_inertia: float
    mount: Array  # (3,) machine
    mount_stiffness: tuple[float, float, float]  # along the groove, across, vertical
    groove: Array  # (2,) unit vector
    growth: Array  # (3,)
    guide: Array
    guide_direction: Array  # (2,) outwards
    guide_stiffness: tuple[float, float, float, float]  # radial, tangential, tilt, yaw
    carriage_mass: float
    carriage_inertia: float
    carriage_height: float
    rotor_inertia: float
    motor: float
    start: float  # nut above the lower end at layer 1
    line: Line
    rise: Callable[[Array, Array], Array]  # travel error by place on the screw and turn
    centreline: complex  # offset with the bed at rest at the height asked for
    slope: complex
    curvature: complex
    lifted: float  # by the travel error there
    play: Play | None

    @property
    def axial(self) -> float:
        """Axial stiffness with the motor held: the twist lets the nut come down by a lead per turn."""
        return one_behind_the_other(self.lift, self.twist * (2 * math.pi / self.lead) ** 2)

    @property
    def turn(self) -> float:
        """Turn of the screw per metre of rise: a right-hand screw lowers its nut when it turns by +."""
        return -self.hand * 2 * math.pi / self.lead


@dataclass(frozen=True, kw_only=True)
class Numbers:
    """The machine in SI for one layer. Bed and part as one rigid body about the bed surface's origin."""

    corners: tuple[Corner, ...]
    bodies: tuple[tuple[float, Array, Array], ...]  # bed, objects: mass, centre (3,), inertia about it (3,)
    plate: Plate
    part: tuple[float, Array, float]  # mass, place (3,) of its centre, height
    belt: Belt | None
    damping_ratio: float
    layer: float
    period: float
    speed: float
    acceleration: float
    jerk: float
    hop: float
    dwell: float


def numbers(loaded: LoadedScenario, layer: int, loads: Array | None = None, height: float = 0.0) -> Numbers:
    """Work out the machine at mid-height of a layer; `loads` (c,) N press the shafts below their nuts, the
    screws stand as they do with the bed at rest at `height`."""
    s = loaded.scenario
    check_supported(s)
    places = np.array([[c.x_mm, c.y_mm] for c in s.corner]) * 1e-3
    mounts = places + np.array([[c.mount.offset_x_mm, c.mount.offset_y_mm] for c in s.corner]) * 1e-3
    out_axes, out_mounts = outwards(places), outwards(mounts)
    tops, thick = objects_of(s.print, layer)[-1].tops, objects_of(s.print, layer)[-1].thick
    drop = tops[-1] - objects_of(s.print, 1)[0].tops[0] - thick / 2
    corners = tuple(
        corner(loaded, k, out_axes[k], out_mounts[k], drop, 0.0 if loads is None else float(loads[k]), height)
        for k in range(len(s.corner))
    )
    standing = [part(one) for one in objects_of(s.print, layer)]
    return Numbers(
        corners=corners,
        bodies=(plate(s.bed), *standing),
        plate=Plate(
            half=np.array([s.bed.size_x_mm, s.bed.size_y_mm]) * 0.5e-3,
            mass=s.bed.mass_kg,
            rigidity=s.bed.shear_modulus_gpa * 1e9 * (s.bed.thickness_mm * 1e-3) ** 3,
        ),
        part=(standing[-1][0], standing[-1][1], tops[-1]),
        belt=belt(s) if s.drive.topology == "belt" else None,
        damping_ratio=s.damping.ratio,
        layer=thick,
        period=s.print.seconds_per_layer,
        speed=s.motion.speed_mm_s * 1e-3,
        acceleration=s.motion.acceleration_mm_s2 * 1e-3,
        jerk=s.motion.jerk_mm_s3 * 1e-3,
        hop=s.motion.z_hop_mm * 1e-3,
        dwell=s.motion.hop_dwell_s,
    )


def check_supported(s: schema.Scenario) -> None:
    """Raise ValueError for content these models do not carry."""
    silent = [
        all(c.joint.kind == "rolling" and c.mount.kind == "groove" for c in s.corner),
        all(
            c.joint.friction_coefficient == c.guide.friction_n == c.nut.drag_torque_n_mm == 0
            for c in s.corner
        ),
        all(c.nut.friction_coefficient == 0 for c in s.corner if c.screw.kind == "plain"),
        all(c.mount.friction_coefficient == 0 for c in s.corner),
        all(getattr(c.motor, key) == 0 for c in s.corner for key in QUIET),
        all(
            c.nut.bore_offset_x_um == c.nut.bore_offset_y_um == c.guide.straightness_mm_per_m == 0
            for c in s.corner
        ),
        all(c.screw.alignment == schema.Alignment() and c.screw.travel.warm_up_k == 0 for c in s.corner),
        all(c.screw.run_out.bow_measured == "free" for c in s.corner),
        all((microsteps(s, c) % 1) < 1e-9 or (microsteps(s, c) % 1) > 1 - 1e-9 for c in s.corner),
    ]
    if not all(silent):
        raise ValueError(f"content that the independent models do not carry: {silent}")


def microsteps(s: schema.Scenario, c: schema.Corner) -> float:
    """Microsteps in a layer: a whole number leaves no rounding."""
    if s.drive.topology == "belt":
        c = s.corner[0]
    turns = s.print.layer_mm / c.screw.lead_mm * c.motor.gear_ratio
    return turns * c.motor.steps_per_turn * c.motor.microsteps


def belt(s: schema.Scenario) -> Belt:
    """Every angle is the screws': a motor behind a gear turns faster, by that much for its energies too."""
    d, own = s.drive, s.corner[0].motor
    return Belt(
        stiffness=d.belt_n_per_um * 1e6,
        radius=d.pulley_pitch_diameter_mm * 0.5e-3,
        eccentricity=d.pulley_eccentricity_tir_um * 0.5e-6,
        motor=magnetic_spring(own),
        inertia=(own.gear_ratio**2 * own.rotor_inertia_g_cm2 + d.pulley_inertia_g_cm2) * 1e-7,
    )


def magnetic_spring(m: schema.MotorKeys) -> float:
    """Curvature of the energy -T/N cos(N gear angle) of N rotor teeth at no angle."""
    torque = m.holding_torque_n_m * m.current_percent / 100
    return torque * m.steps_per_turn / 4 * m.gear_ratio**2


def outwards(points: Array) -> Array:
    """Unit vectors from the middle of the points."""
    arm = points - points.mean(axis=0)
    return arm / np.hypot(arm[:, 0], arm[:, 1])[:, None]


def plate(bed: schema.BedKeys) -> tuple[float, Array, Array]:
    """The bed as a uniform cuboid, unless its moments of inertia are given."""
    x, y, t = bed.size_x_mm * 1e-3, bed.size_y_mm * 1e-3, bed.thickness_mm * 1e-3
    m = bed.mass_kg
    cuboid = (m * (y * y + t * t) / 12, m * (x * x + t * t) / 12, m * (x * x + y * y) / 12)
    given = (bed.inertia_x_kg_m2, bed.inertia_y_kg_m2, bed.inertia_z_kg_m2)
    inertia = np.array([c if g is None else g for c, g in zip(cuboid, given, strict=True)])
    return m, np.array([bed.centre_x_mm, bed.centre_y_mm, bed.centre_height_mm]) * 1e-3, inertia


@dataclass(frozen=True, kw_only=True)
class Standing:
    """An object as far as it is printed: tops m of its layers, the last one's thickness m, its mass kg and
    place (2,) m."""

    tops: list[float]
    thick: float
    mass: float
    place: tuple[float, float]


def objects_of(job: schema.Print, layer: int) -> list[Standing]:
    """What stands on the bed when a layer is done; objects give their own mass, or there is one."""
    listed = [(s, s.layer_mm or job.layer_mm) for s in job.section for _ in range(s.layers)]
    listed += [(None, job.layer_mm)] * (job.layers - len(listed))
    starts = [0] + [k for k in range(1, len(listed)) if _begins(listed[k][0], listed[k - 1][0])]
    found = []
    for first, end in zip(starts, [*starts[1:], len(listed)], strict=True):
        heights, key = [h * 1e-3 for _, h in listed[first:end]], listed[first][0]
        done = min(end, layer) - first
        if done > 0:
            whole = job.part_mass_kg if key is None or key.part_mass_kg is None else key.part_mass_kg
            x = job.part_x_mm if key is None or key.part_x_mm is None else key.part_x_mm
            y = job.part_y_mm if key is None or key.part_y_mm is None else key.part_y_mm
            mass = whole * sum(heights[:done]) / sum(heights)
            tops = [sum(heights[: k + 1]) for k in range(done)]
            found.append(Standing(tops=tops, thick=heights[done - 1], mass=mass, place=(x * 1e-3, y * 1e-3)))
    return found


def _begins(section: PrintSection | None, before: PrintSection | None) -> bool:
    return section is not None and section is not before and section.new_object


def part(one: Standing) -> tuple[float, Array, Array]:
    """An object so far: a slender column that stands on the bed."""
    height = one.tops[-1]
    slender = one.mass * height**2 / 12
    return one.mass, np.array([*one.place, height / 2]), np.array([slender, slender, 0.0])


def corner(
    loaded: LoadedScenario,
    k: int,
    out_axis: Array,
    out_mount: Array,
    drop: float,
    load: float,
    height: float,
) -> Corner:
    """One corner in SI, its nut `drop` m below its place at layer 1."""
    s = loaded.scenario
    c = s.corner[k]
    w, n = c.screw, c.nut
    given = s.print.first_layer_nut_mm
    nut = (w.length_mm - 60 if given is None else given) * 1e-3
    axis = np.array([c.x_mm, c.y_mm, 0.0]) * 1e-3
    mount = axis + np.array([c.mount.offset_x_mm, c.mount.offset_y_mm, c.mount.height_mm]) * 1e-3
    angle = None if c.mount.direction_deg is None else math.radians(c.mount.direction_deg)
    groove = out_mount if angle is None else np.array([math.cos(angle), math.sin(angle)])
    line, rise = centreline(w, loaded.tables), travel_error(w, loaded.tables)
    hand, lead = 1 if w.hand == "right" else -1, w.lead_mm * 1e-3
    turn, place = -hand * 2 * math.pi / lead * height, np.array(nut + height)
    turned = cmath.rect(1.0, turn)
    shared = s.drive.topology == "belt"
    rotor = s.drive.pulley_inertia_g_cm2 if shared else c.motor.rotor_inertia_g_cm2 * c.motor.gear_ratio**2
    return Corner(
        axis=axis,
        hand=hand,
        lead=lead,
        plane=lateral_stiffness(w, n, nut - drop, load),
        lift=lift_stiffness(c, nut - drop),
        twist=twist_stiffness(w, nut - drop),
        thread=n.thread_height_mm * 1e-3,
        joint=c.joint.height_mm * 1e-3,
        elements=joint_elements(c.joint),
        joint_rotation=c.joint.rotation_nm_per_rad,
        joint_damping=c.joint.damping_n_s_per_m,
        nut_mass=n.mass_kg,
        nut_inertia=n.inertia_kg_cm2 * 1e-4,
        mount=mount,
        mount_stiffness=(
            c.mount.radial_n_per_um * 1e6,
            c.mount.tangential_n_per_um * 1e6,
            c.mount.vertical_n_per_um * 1e6,
        ),
        groove=groove,
        growth=s.bed.expansion_um_per_m_k * 1e-6 * s.bed.temperature_rise_k * mount * [1, 1, 0],
        guide=np.array([c.guide.offset_x_mm, c.guide.offset_y_mm, c.guide.height_mm]) * 1e-3,
        guide_direction=out_axis,
        guide_stiffness=(
            one_behind_the_other(c.guide.radial_n_per_um * 1e6, c.frame.radial_n_per_um * 1e6),
            one_behind_the_other(c.guide.tangential_n_per_um * 1e6, c.frame.tangential_n_per_um * 1e6),
            one_behind_the_other(c.guide.tilt_nm_per_rad, c.frame.rotation_nm_per_rad),
            one_behind_the_other(c.guide.yaw_nm_per_rad, c.frame.rotation_nm_per_rad),
        ),
        carriage_mass=c.carriage.mass_kg,
        carriage_inertia=c.carriage.inertia_kg_cm2 * 1e-4,
        carriage_height=c.carriage.height_mm * 1e-3,
        rotor_inertia=rotor * 1e-7 + shaft_inertia(w),
        motor=0.0 if shared else magnetic_spring(c.motor),
        start=nut,
        line=line,
        rise=rise,
        centreline=complex(line.offset(place)) * turned,
        slope=complex(line.slope(place)) * turned,
        curvature=complex(line.curvature(place)) * turned,
        lifted=float(rise(place, np.array(turn))),
        play=play(w, n) if has_play(w, n) else None,
    )


def one_behind_the_other(*stiffness: float) -> float:
    """Springs in series."""
    return 1 / sum(1 / k for k in stiffness)


def joint_elements(joint: schema.JointKeys) -> tuple[tuple[float, float, float], ...]:
    """Place and stiffness of the balls: those listed, or equal ones on a circle."""
    if joint.element:
        return tuple((e.x_mm * 1e-3, e.y_mm * 1e-3, e.lateral_n_per_mm * 1e3) for e in joint.element)
    places = (
        cmath.rect(joint.element_radius_mm * 1e-3, 2 * math.pi * k / joint.elements)
        for k in range(joint.elements)
    )
    return tuple((p.real, p.imag, joint.lateral_n_per_mm * 1e3 / joint.elements) for p in places)


def has_play(w: schema.ScrewKeys, n: schema.NutKeys) -> bool:
    """Whether the shaft moves on its own within the nut."""
    return w.kind == "plain" and n.clearance_um > 0


def play(w: schema.ScrewKeys, n: schema.NutKeys) -> Play:
    """The play of a plain nut; the tip of the cone is the package's assumption, and so are the handbook's
    shares of a shaft's mass that follow its middle or free end: here by its deflection curve."""
    return Play(
        clearance=n.clearance_um * 1e-6,
        stop=n.radial_n_per_um * 1e6,
        climb=math.tan(math.radians(n.flank_angle_deg)),
        tip=2e-6,
        shaft=shaft_mass(w) * moving_share(w.ends),
    )


def moving_share(ends: str) -> float:
    """Mean square of the curve that a force at the free end or in the middle of a shaft bends it to, which
    is 1 there; as rounded by the package where one end is clamped and one supported."""
    if ends == "fixed-supported":
        return 0.45
    x = Polynomial([0.0, 1.0])
    curve = {
        "fixed-free": (3 * x**2 - x**3) / 2,
        "supported-supported": (3 * (x / 2) - 4 * (x / 2) ** 3),
        "fixed-fixed": 3 * x**2 - 2 * x**3,
    }[ends]
    return float((curve**2).integ()(1.0))


def mean_power(w: schema.ScrewKeys, power: int) -> float:
    """Mean over a pitch of a power of the diameter, m^power.

    A plain thread (ISO 2904) is half a pitch wide at d - P/2 and wider below by its flanks of 15 degrees; a
    ball's groove is half-round from the nominal diameter.
    """
    radius, root, pitch = w.diameter_mm / 2, w.root_diameter_mm / 2, w.lead_mm / w.starts
    if w.kind == "plain":
        width = lambda d: 0.5 - (d - w.diameter_mm + pitch / 2) * math.tan(math.pi / 12) / pitch  # noqa: E731
        thread, _ = quad(lambda d: power * d ** (power - 1) * width(d), 2 * root, 2 * radius)
        return ((2 * root) ** power + thread) * 10 ** (-3 * power)
    depth = radius - root
    groove, _ = quad(lambda z: (radius - math.sqrt(depth**2 - z**2)) ** power, -depth, depth)
    return 2**power * (groove + (pitch - 2 * depth) * radius**power) / pitch * 10 ** (-3 * power)


def shaft_inertia(w: schema.ScrewKeys) -> float:
    """Discs stacked along a pitch."""
    return w.density_kg_m3 * w.length_mm * 1e-3 * math.pi / 32 * mean_power(w, 4)


def shaft_mass(w: schema.ScrewKeys) -> float:
    """The same discs."""
    return w.density_kg_m3 * w.length_mm * 1e-3 * math.pi / 4 * mean_power(w, 2)


def lateral_stiffness(w: schema.ScrewKeys, n: schema.NutKeys, a: float, load: float) -> Array:
    """Stiffness (2, 2) for deflection and slope: shaft by transfer matrices, nut in series; where there is
    play, that has its radial part."""
    radial = 0.0 if has_play(w, n) else 1e-6 / n.radial_n_per_um
    at = shaft_compliance(w, a, load) + np.diag([radial, 1 / n.tilt_nm_per_rad])
    return np.linalg.inv(at)


def shaft_compliance(w: schema.ScrewKeys, a: float, load: float) -> Array:
    """Deflection and slope at the nut under unit force and unit moment there, the load pressing below it.

    Deflection, slope, moment and side force go from the lower bearing to the nut, jump by what acts there,
    and go on to the upper bearing, whose two conditions find how the lower end moves.
    """
    radial, tilt = w.bearing_radial_n_per_um * 1e6, w.bearing_tilt_nm_per_rad
    lower = tilt if w.ends.startswith("fixed") else 0.0
    start = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, lower], [-radial, 0.0]])
    below, above = along(w, a, load), along(w, w.length_mm * 1e-3 - a, 0.0)
    radial = 0.0 if w.ends == "fixed-free" else w.upper_bearing_radial_n_per_um * 1e6
    upper = tilt if w.ends == "fixed-fixed" else 0.0
    end = np.array([[0.0, upper, 1.0, 0.0], [-radial, 0.0, 0.0, 1.0]]) @ above
    jump = np.array([[0.0, 0.0], [0.0, 0.0], [0.0, -1.0], [1.0, 0.0]])
    return (below @ start)[:2] @ np.linalg.solve(end @ below @ start, -end @ jump)


def along(w: schema.ScrewKeys, length: float, load: float) -> Array:
    """Transfer matrix (4, 4) along a shaft under thrust, of the side force that stays as the shaft bends."""
    rate = np.array([[0, 1, 0, 0], [0, 0, 1 / bending(w), 0], [0, -load, 0, 1], [0, 0, 0, 0]])
    return expm(rate * length)


def twist_stiffness(w: schema.ScrewKeys, a: float) -> float:
    """Shaft in torsion and coupling one behind the other."""
    GJ = w.shear_modulus_gpa * 1e9 * math.pi * (w.root_diameter_mm * 1e-3) ** 4 / 32
    return one_behind_the_other(GJ / a, w.coupling_nm_per_rad)


def lift_stiffness(c: schema.Corner, a: float) -> float:
    """Thrust bearing, shaft in tension, nut, joint and frame one behind the other."""
    w = c.screw
    EA = w.youngs_modulus_gpa * 1e9 * math.pi * (w.root_diameter_mm * 1e-3) ** 2 / 4
    below = a / EA + 1e-6 / w.bearing_axial_n_per_um
    if w.ends == "fixed-fixed":
        above = (w.length_mm * 1e-3 - a) / EA + 1e-6 / w.bearing_axial_n_per_um
        below = 1 / (1 / below + 1 / above)
    rest = 1e-6 * (1 / c.nut.axial_n_per_um + 1 / c.joint.axial_n_per_um + 1 / c.frame.vertical_n_per_um)
    return 1 / (below + rest)


def ramps(layer: float, speed: float, acceleration: float) -> tuple[Array, Array]:
    """Instants (4,) and jumps (4,) of the acceleration of a trapezoidal step down by `layer`."""
    top = min(speed, math.sqrt(acceleration * layer))
    rise, whole = top / acceleration, layer / top + top / acceleration
    return np.array([0, rise, whole - rise, whole]), acceleration * np.array([-1.0, 1.0, 1.0, -1.0])


def smoothed(layer: float, speed: float, acceleration: float, jerk: float) -> tuple[Array, Array]:
    """Instants (8,) and jumps (8,) of the jerk of the same step: a trapezoid's acceleration as its running
    mean over the time in which the jerk builds it up. Every time is so passed through thrice: distance/speed,
    speed/acceleration, acceleration/jerk."""

    def needed(top: float) -> float:
        most = min(acceleration, math.sqrt(top * jerk))
        return top * (top / most + most / jerk) - layer

    top = speed if needed(speed) <= 0 else brentq(needed, 1e-9, speed, xtol=1e-15)
    most = min(acceleration, math.sqrt(top * jerk))
    rise, blur = top / most, most / jerk
    start = np.array([0, rise, layer / top, layer / top + rise])
    sign = jerk * np.array([-1.0, 1.0, 1.0, -1.0])
    return np.concatenate([start, start + blur]), np.concatenate([sign, -sign])


def jumps(n: Numbers) -> tuple[Array, Array]:
    """Instants (k,) at which the acceleration, or with limited jerk the jerk, jumps in a layer change, and by
    how much: the step down, then a hop down and back."""
    found, begin = [], 0.0
    for way, wait in ((n.layer, 0.0), (n.hop, n.dwell), (-n.hop, 0.0)):
        if way:
            limits = abs(way), n.speed, n.acceleration
            start, jump = smoothed(*limits, n.jerk) if n.jerk else ramps(*limits)
            found.append((begin + start, math.copysign(1.0, way) * jump))
            begin += start.max() + wait
    time, size = (np.concatenate(part) for part in zip(*found, strict=True))
    return time, size


def commanded(n: Numbers, time: Array) -> tuple[Array, Array, Array]:
    """Height, speed and acceleration (t,) of the layer change; at a jump of acceleration the later value."""
    start, jump = jumps(n)
    since = np.maximum(np.asarray(time, dtype=float)[:, None] - start, 0.0)
    begun = np.asarray(time)[:, None] >= start
    if n.jerk:
        return (since**3 / 6) @ jump, (since**2 / 2) @ jump, since @ jump
    return (since**2 / 2) @ jump, since @ jump, begun @ jump


def screw_offset(c: Corner, height: Array) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Offset and slope (t,) of the centreline at the nut, turned with the screw, at heights (t,)."""
    turned = np.exp(1j * c.turn * height)
    return c.line.offset(c.start + height) * turned, c.line.slope(c.start + height) * turned
