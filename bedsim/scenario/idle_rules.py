"""What puts which keys to rest, but for kinds of parts, which say so themselves."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from bedsim import registry
from bedsim.scenario.schema import Coupling, MotorKeys

Test = Callable[[Any], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Idle:
    """`keys` that do nothing where every choice in `beside` passes its test.

    The choice told is the first.  A key of a part looks at its own corner, any other at all corners, which
    must agree.  `followers`: the first corner's key acts all the same.
    """

    keys: tuple[str, ...]
    beside: Mapping[str, Test]
    why: str
    followers: bool = False


NOT_DRAWN = ("supported-supported", "fixed-free", "motor-free")
"""Ends of a screw that leave a bow as it is."""


def one_of(*kinds: str) -> Test:
    """Whether a choice is one of these."""
    return lambda value: value in kinds


def _given(value: Any) -> bool:
    return value not in (None, ())


def _not_given(value: Any) -> bool:
    return not _given(value)


def _listed(parts: Any) -> bool:
    return isinstance(parts, Mapping) and any(parts.values())


def _all_weighed(sections: Any) -> bool:
    """Whether every object of a print has a mass of its own."""
    listed = sections if isinstance(sections, list | tuple) else ()
    begin = [
        one for k, one in enumerate(listed) if isinstance(one, Mapping) and (k == 0 or one.get("new_object"))
    ]
    return bool(begin) and all(one.get("part_mass_kg") is not None for one in begin)


def three(corners: Any) -> bool:
    """Whether corners are three at most, or none that can be counted."""
    return not isinstance(corners, list | tuple) or len(corners) <= 3


def _rolls(screw: Any) -> bool:
    return screw in registry.names("screw") and registry.screw_kind(screw).rolls


def _slides(screw: Any) -> bool:
    return screw in registry.names("screw") and not registry.screw_kind(screw).rolls


def _not_rated(guide: Any) -> bool:
    return guide in registry.names("guide") and not registry.guide_kind(guide).rated


_ON_MOTOR = one_of("motor-free", "motor-supported")
HOLDING = (
    "bearing_radial_n_per_um",
    "bearing_axial_n_per_um",
    "bearing_span_mm",
    "shaft_diameter_mm",
    "shaft_overhang_mm",
    "axial_force_limit_n",
)
"""What a motor has to say about a screw that it holds."""

SAID_BY_PROGRAM = (
    "print.layer_mm",
    "print.seconds_per_layer",
    "print.settle_s",
    "print.part_mass_kg",
    "print.part_x_mm",
    "print.part_y_mm",
    "print.section.layers",
    "motion.z_hop_mm",
    "motion.hop_dwell_s",
)
"""What a part's own program has in it."""

IDLE: tuple[Idle, ...] = (
    Idle(
        keys=("screw.upper_bearing_radial_n_per_um",),
        beside={"screw.ends": one_of("fixed-free", "motor-free")},
        why="a free end has no bearing",
    ),
    Idle(
        keys=("screw.bearing_tilt_nm_per_rad", "screw.bearing_arrangement"),
        beside={"screw.ends": one_of("supported-supported")},
        why="no end is held against tilting",
    ),
    Idle(
        keys=("screw.run_out.bow_measured",),
        beside={"screw.ends": one_of(*NOT_DRAWN)},
        why="nothing draws the bow straighter",
    ),
    Idle(
        keys=("screw.run_out.table_measured",),
        beside={"screw.run_out.table": _not_given},
        why="there is no table",
    ),
    Idle(
        keys=(
            "screw.bearing_radial_n_per_um",
            "screw.bearing_arrangement",
            "screw.bearing_tilt_nm_per_rad",
            "screw.bearing_axial_n_per_um",
        ),
        beside={"screw.ends": _ON_MOTOR},
        why="the motor's own bearings hold the screw",
    ),
    Idle(
        keys=(
            *(f"coupling.{key}" for key in Coupling.model_fields if key != "kind"),
            *(f"motor.{key}" for key in HOLDING),
        ),
        beside={"screw.ends": lambda ends: not _ON_MOTOR(ends)},
        why="the screw has a bearing of its own",
    ),
    Idle(
        keys=("joint.lateral_n_per_mm", "joint.elements", "joint.element_radius_mm"),
        beside={"joint.element": _given},
        why="the elements listed one by one stand in its place",
    ),
    Idle(
        keys=("joint.lateral_n_per_mm", "joint.element", "joint.magnet_force_n"),
        beside={"sizing.joint_part": _listed},
        why="the parts listed in sizing.joint_part stand in its place",
    ),
    Idle(
        keys=("joint.elements", "joint.element_radius_mm"),
        beside={"sizing.joint_part.ball": _given},
        why="the balls listed in sizing.joint_part stand in its place",
    ),
    Idle(
        keys=("damping.bed_ratio",),
        beside={"corner": three},
        why="three supports do not bend the bed",
    ),
    Idle(
        keys=(
            "drive.belt_n_per_um",
            "drive.pulley_pitch_diameter_mm",
            "drive.pulley_eccentricity_tir_um",
            "drive.pulley_inertia_g_cm2",
        ),
        beside={"drive.topology": one_of("motor_per_screw")},
        why="there is no belt",
    ),
    Idle(
        keys=tuple(f"motor.{key}" for key in MotorKeys.model_fields),
        beside={"drive.topology": one_of("belt")},
        why="the first corner's motor drives all screws",
        followers=True,
    ),
    Idle(
        keys=("frame.post", "frame.free_length_mm"),
        beside={"frame.section": _not_given},
        why="without a section it gives no stiffness",
    ),
    Idle(
        keys=("bed.shear_modulus_gpa",),
        beside={"corner": three},
        why="three screws do not twist the plate",
    ),
    Idle(
        keys=("bed.thickness_mm",),
        beside={"bed.inertia_x_kg_m2": _given, "bed.inertia_y_kg_m2": _given, "corner": three},
        why="the moments of inertia are given, and three screws do not twist the plate",
    ),
    Idle(
        keys=("sizing.ball_circle_diameter_mm",),
        beside={"screw.kind": _slides, "sizing.other_screw": _not_given},
        why="it belongs to ball screws",
    ),
    Idle(
        keys=("sizing.joint_warming_k",),
        beside={"sizing.joint_part.magnet": _not_given},
        why="no magnets are listed in sizing.joint_part",
    ),
    Idle(
        keys=("sizing.other_screw.flank_angle_deg", "sizing.other_screw.starts"),
        beside={"sizing.other_screw.kind": _rolls},
        why="it belongs to the flanks of a plain thread",
    ),
    Idle(
        keys=("sizing.other_screw.dynamic_load_rating_n",),
        beside={"sizing.other_screw.kind": _slides},
        why="it belongs to ball screws",
    ),
    Idle(
        keys=("disturbance.acceleration_mm_s2", "disturbance.speed_mm_s", "disturbance.gantry_mass_kg"),
        beside={"disturbance.history": _given},
        why="the history stands in the place of the gantry's numbers",
    ),
    Idle(
        keys=("disturbance.frame_damping_ratio",),
        beside={"disturbance.frame_hz": _not_given},
        why="a frame that stands loose does not swing",
    ),
    Idle(
        keys=("upkeep.hop_mm",),
        beside={"upkeep.hops_per_layer": lambda hops: hops in (None, 0)},
        why="there are no hops while a layer is printed",
    ),
    Idle(
        keys=("upkeep.guide_load_rating_n",),
        beside={"guide.kind": _not_rated},
        why="it belongs to profile rails",
    ),
    Idle(
        keys=("print.part_mass_kg",),
        beside={"print.section": _all_weighed},
        why="every object has a mass of its own",
    ),
    Idle(
        keys=SAID_BY_PROGRAM,
        beside={"print.program": _given},
        why="the program says it",
    ),
    Idle(
        keys=(
            "print.program_x_mm",
            "print.program_y_mm",
            "print.program_e",
            "print.filament_diameter_mm",
            "print.density_g_cm3",
            "print.plane_acceleration_mm_s2",
            "print.plane_corner_mm_s",
            "print.program_z_least_mm",
            "print.program_z_most_mm",
        ),
        beside={"print.program": _not_given},
        why="there is no program",
    ),
    Idle(
        keys=("print.filament_diameter_mm",),
        beside={"print.program_e": one_of("volume")},
        why="E counts the material itself",
    ),
)
