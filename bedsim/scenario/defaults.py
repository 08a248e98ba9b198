"""What the trade takes for a part when nobody has measured it: low, likely, high, and where that comes from.

`TABLE[part, kind][key]` holds the values in the units of the key; a registered kind (`bedsim.registry`)
brings its own.  A source is a document that was read, a value computed here (the inputs are named), "from
memory" (recalled, not read again), or "assumed".  A `Default` whose low and high are equal is a convention,
not a guess, and gets no range.  `nut` goes by the kind of its screw; parts without kinds stand under "any",
and "any" also holds what is the same for every kind of a part.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bedsim import registry
from bedsim.registry import Default, fixed

_BALL_NUT = (
    "computed: 20 kgf/um of a 16 x 5 catalogue nut, taken at 30 % of its load rating, 80 % of it for the "
    "housing (THK), scaled with the cube root of load down to 10 to 1000 N"
)
_PLATE = "alloy data sheets: 6063, 6061, 5052 and 5182 plate, 20 to 100 °C"
_SHEAR = "alloy data sheets: 6063, 5052, 6061"
_ARRANGED = "computed: from a pair face to face to one back to back (Hertz); likely assumed"
_DAMPING = (
    "a stage's axial mode 0.0014, a spindle in rolling bearings 0.042, both measured; likely and high assumed"
)
_THRUST = "data sheet of a light duplex pair, 7.5 to 15; likely and high assumed"
_HELIX = (
    "computed: one beam of aluminium, outside 19 to 25 mm, bore 10 to 8, 1.2 to 2.5 mm thick, 4 to 2.5 turns"
)
_SLEEVE = "assumed: a sleeve, its clamps softer than itself"
_SPIDER = "from memory: hubs of 25 to 30 mm, spider 80 to 98 Shore A"
_ANY_COUPLING = "assumed: from the softest helical to the stiffest rigid one"
_BORES = "assumed: bores a few hundredths apart, set screws at one side"
_MOTOR_BEARING = "computed: Hertz contacts of a single bearing 8 x 22 at 1 to 20 N"
_STEPPER_SHEET = "from memory: data sheets of 42 mm frames, 57 mm: 15 N"
_STEPPER = "from memory: typical 42 mm frame steppers, 40 to 48 mm long"
_PLACE_ERROR = (
    "computed: one motor measured up and down, a second at its full steps [StepperMeasured]; high: 5 % of a "
    "step, three times the likely one"
)
_PLACE_PHASE = "assumed: unknown; from the worst to none in layers that alternate"
_SLIDING = "from memory: bronze, brass or POM on greased steel"
_BALL_ROOT = (
    "MISUMI p. 1676 (shaft 15, lead 5: 12.5 mm); range from memory: catalogue ball screws 12 x 4 to 20 x 5, "
    "0.80 to 0.88 of the nominal diameter"
)
_PLAIN_ROOT = (
    "ISO 2904: d3 = d - 2 (P/2 + ac); range: Tr10x2 of class 8c goes 0.04 d below; rolled screws 0.1 d above "
    "from memory"
)


_NUT_ANY = {
    "thread_height_mm": Default(-60.0, -35.0, -15.0),
    "drag_breakaway_deg": Default(0.3, 1.0, 5.0),
    "mass_kg": Default(0.05, 0.1, 0.3),
    "inertia_kg_cm2": Default(0.1, 0.3, 1.0),
}
_BALL_SCREW = {
    "bearing_radial_n_per_um": Default(10.0, 30.0, 100.0),
    "upper_bearing_radial_n_per_um": Default(5.0, 20.0, 60.0),
    "bearing_tilt_nm_per_rad": Default(90.0, 3000.0, 4900.0, _ARRANGED),
    "bearing_axial_n_per_um": Default(8.0, 80.0, 150.0, _THRUST),
    "coupling_nm_per_rad": Default(20.0, 80.0, 500.0),
}

TABLE: Mapping[tuple[str, str], Mapping[str, Default]] = {
    ("bed", "any"): {
        "thickness_mm": Default(4.0, 6.0, 10.0),
        "shear_modulus_gpa": Default(25.8, 25.9, 26.0, _SHEAR),
        "centre_height_mm": Default(-15.0, -8.0, -4.0),
        "temperature_rise_k": Default(40.0, 60.0, 90.0),
        "expansion_um_per_m_k": Default(23.4, 23.6, 24.1, _PLATE),
    },
    ("print", "any"): {"part_mass_kg": Default(0.1, 0.3, 1.0)},
    ("damping", "any"): {"ratio": Default(0.002, 0.03, 0.08, _DAMPING)},
    ("drive", "any"): {
        "belt_n_per_um": Default(0.05, 0.2, 0.6),
        "pulley_inertia_g_cm2": Default(5.0, 20.0, 60.0),
    },
    ("screw", "ground_ball"): _BALL_SCREW,
    ("screw", "rolled_ball"): _BALL_SCREW,
    ("screw", "plain"): {
        "bearing_radial_n_per_um": Default(3.0, 15.0, 60.0),
        "upper_bearing_radial_n_per_um": Default(2.0, 10.0, 40.0),
        "bearing_tilt_nm_per_rad": Default(50.0, 500.0, 3000.0),
        "bearing_axial_n_per_um": Default(10.0, 30.0, 80.0),
        "coupling_nm_per_rad": Default(10.0, 50.0, 300.0),
    },
    ("coupling", "any"): {
        "eccentricity_tir_um": Default(20.0, 60.0, 150.0, _BORES),
        "angle_tir_um_per_100mm": Default(50.0, 150.0, 400.0, _BORES),
    },
    ("coupling", "rigid"): {
        "radial_n_per_um": Default(20.0, 100.0, 500.0, _SLEEVE),
        "tilt_nm_per_rad": Default(100.0, 400.0, 2000.0, _SLEEVE),
        "axial_n_per_um": Default(20.0, 100.0, 400.0, _SLEEVE),
    },
    ("coupling", "jaw"): {
        "radial_n_per_um": Default(0.1, 0.4, 0.8, _SPIDER),
        "tilt_nm_per_rad": Default(1.0, 5.0, 20.0),
        "axial_n_per_um": Default(0.3, 1.0, 5.0),
    },
    ("coupling", "helical"): {
        "radial_n_per_um": Default(0.046, 0.18, 0.83, _HELIX),
        "tilt_nm_per_rad": Default(0.28, 1.4, 6.5, _HELIX),
        "axial_n_per_um": Default(0.006, 0.026, 0.11, _HELIX),
    },
    ("coupling", "disc"): {
        "radial_n_per_um": Default(0.2, 0.6, 2.0),
        "tilt_nm_per_rad": Default(5.0, 15.0, 50.0),
        "axial_n_per_um": Default(0.03, 0.08, 0.3),
    },
    ("coupling", "not_known"): {
        "radial_n_per_um": Default(0.046, 0.6, 500.0, _ANY_COUPLING),
        "tilt_nm_per_rad": Default(0.28, 5.0, 2000.0, _ANY_COUPLING),
        "axial_n_per_um": Default(0.006, 0.1, 400.0, _ANY_COUPLING),
    },
    ("nut", "any"): _NUT_ANY,
    ("nut", "ground_ball"): {
        "axial_n_per_um": Default(60.0, 120.0, 200.0),
        "drag_torque_n_mm": Default(10.0, 30.0, 80.0),
        "friction_coefficient": Default(0.002, 0.005, 0.01),
    },
    ("nut", "rolled_ball"): {
        "axial_n_per_um": Default(25.0, 40.0, 120.0, _BALL_NUT),
        "drag_torque_n_mm": Default(1.0, 5.0, 20.0),
        "friction_coefficient": Default(0.002, 0.005, 0.01),
    },
    ("nut", "plain"): {
        "radial_n_per_um": Default(5.0, 30.0, 100.0),
        "axial_n_per_um": Default(10.0, 50.0, 200.0),
        "tilt_nm_per_rad": Default(20.0, 200.0, 1000.0),
        "drag_torque_n_mm": Default(0.2, 1.0, 10.0),
        "friction_coefficient": Default(0.08, 0.12, 0.20, _SLIDING),
        "clearance_um": Default(20.0, 80.0, 200.0),
    },
    ("joint", "any"): {"height_mm": Default(-50.0, -30.0, -15.0)},
    ("mount", "any"): {"height_mm": Default(-25.0, -15.0, -5.0)},
    ("guide", "any"): {"height_mm": Default(-70.0, -40.0, -15.0)},
    ("frame", "any"): {
        "radial_n_per_um": Default(0.5, 2.0, 8.0),
        "tangential_n_per_um": Default(0.5, 2.0, 8.0),
        "vertical_n_per_um": Default(2.0, 10.0, 50.0),
        "rotation_nm_per_rad": Default(500.0, 3000.0, 20000.0),
    },
    ("carriage", "any"): {
        "mass_kg": Default(0.2, 0.4, 1.0),
        "inertia_kg_cm2": Default(1.5, 4.0, 12.0),
        "height_mm": Default(-60.0, -35.0, -15.0),
    },
    ("motor", "any"): {
        "holding_torque_n_m": Default(0.40, 0.45, 0.59, _STEPPER),
        "bearing_radial_n_per_um": Default(4.0, 8.0, 12.0, _MOTOR_BEARING),
        "bearing_axial_n_per_um": Default(1.0, 5.0, 20.0),
        "bearing_span_mm": Default(25.0, 32.0, 45.0),
        "shaft_diameter_mm": fixed(5.0, "from memory: 42 mm frames; 57 mm: 6.35 or 8"),
        "shaft_overhang_mm": Default(14.0, 20.0, 26.0),
        "axial_force_limit_n": Default(10.0, 10.0, 15.0, _STEPPER_SHEET),
        "current_percent": Default(50.0, 70.0, 100.0),
        "rotor_inertia_g_cm2": Default(54.0, 60.0, 82.0, _STEPPER),
        "place_error_1_deg": Default(0.01, 0.03, 0.09, _PLACE_ERROR),
        "place_error_2_deg": Default(0.01, 0.02, 0.05, _PLACE_ERROR),
        "place_error_3_deg": Default(0.004, 0.0115, 0.03, _PLACE_ERROR),
        "place_error_4_deg": Default(0.004, 0.01, 0.03, _PLACE_ERROR),
        "place_error_1_phase_deg": Default(-90.0, 0.0, 90.0, _PLACE_PHASE),
        "place_error_2_phase_deg": Default(-90.0, 0.0, 90.0, _PLACE_PHASE),
        "place_error_3_phase_deg": Default(-90.0, 0.0, 90.0, _PLACE_PHASE),
        "place_error_4_phase_deg": Default(-90.0, 0.0, 90.0, _PLACE_PHASE),
    },
}


UNUSED: Mapping[str, Mapping[str, float]] = {
    "joint": {
        "lateral_n_per_mm": 0.0,
        "elements": 1,
        "element_radius_mm": 10.0,
        "rotation_nm_per_rad": 0.0,
        "friction_coefficient": 0.0,
        "magnet_force_n": 0.0,
        "breakaway_um": 50.0,
        "damping_n_s_per_m": 0.0,
        "travel_mm": 1.0,
    },
    "mount": {
        "radial_n_per_um": 1.0,
        "tangential_n_per_um": 1.0,
        "vertical_n_per_um": 1.0,
        "rotation_nm_per_rad": 0.0,
        "friction_coefficient": 0.0,
    },
}
"""What stands for a key of a part that does nothing beside its kind."""


def default_ranges(part: str, kind: str = "any") -> dict[str, Default]:
    """Give every default of a part of one kind, key -> `Default`, in the units of the keys."""
    own = _of_kind(part, kind) if kind in registry.names(part) else TABLE.get((part, kind), {})
    return {**TABLE.get((part, "any"), {}), **own}


def _of_kind(part: str, name: str) -> dict[str, Default]:
    kind, unused = registry.find(part, name), UNUSED.get(part, {})
    idle = {key for keys in kind.idle.values() for key in keys}
    stand_ins = {key: fixed(value) for key, value in unused.items() if f"{part}.{key}" in idle}
    return {**stand_ins, **kind.defaults}


def known_kinds(part: str) -> tuple[str, ...]:
    """Name the kinds of a part that have their own defaults."""
    listed = tuple(kind for name, kind in TABLE if name == part and kind != "any")
    return registry.names(part) or listed


def kind_of(part: str, corner: Mapping[str, Any]) -> str | None:
    """The kind that picks a part's defaults; None if it is missing or not a known one."""
    owner = "screw" if part == "nut" else part
    if not known_kinds(part):
        return "any"
    table = corner.get(owner)
    kind = table.get("kind") if isinstance(table, dict) else None
    if kind is None and part in ("joint", "mount", "coupling"):
        kind = {"joint": "rigid", "mount": "groove", "coupling": "not_known"}[part]
    return kind if isinstance(kind, str) and kind in known_kinds(part) else None


def thread_clearance_mm(pitch_mm: float) -> float:
    """Crest clearance ac of a metric trapezoidal thread.

    Source: ISO 2904; 0.15 and 0.25 mm are implied by tabulated diameters, 0.5 and 1 mm are from memory.
    """
    if pitch_mm <= 1.5:
        return 0.15
    if pitch_mm <= 5:
        return 0.25
    return 0.5 if pitch_mm <= 12 else 1.0


def root_diameter_default(kind: str, diameter_mm: float, lead_mm: float, starts: int) -> Default | None:
    """Root diameter of a screw known by nominal diameter, lead and starts; None if no core is left.

    Plain: d3 = d - 2 (P/2 + ac) (ISO 2904).  Ball: 0.84 of the nominal diameter.
    """
    if kind != "plain":
        return Default(0.80 * diameter_mm, 0.84 * diameter_mm, 0.88 * diameter_mm, _BALL_ROOT)
    pitch = lead_mm / starts
    root = diameter_mm - 2 * (pitch / 2 + thread_clearance_mm(pitch))
    if root < 0.4 * diameter_mm:
        return None
    high = min(root + 0.1 * diameter_mm, diameter_mm)
    return Default(root - 0.04 * diameter_mm, root, high, _PLAIN_ROOT)
