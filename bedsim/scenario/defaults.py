"""What the trade takes for a part when nobody has measured it: low, likely, high, and where that comes from.

`TABLE[part][key]` holds what is the same for every kind of a part, in the units of the key; a kind
(`bedsim.registry`) brings its own, that of a screw its nut's too.  A source is a document that was read, a
value computed here (the inputs are named), "from memory" (recalled, not read again), or "assumed".  A
`Default` whose low and high are equal is a convention, not a guess, and gets no range.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bedsim import registry
from bedsim.registry import Default, fixed

_PLATE = "alloy data sheets: 6063, 6061, 5052 and 5182 plate, 20 to 100 °C"
_SHEAR = "alloy data sheets: 6063, 5052, 6061"
_DAMPING = (
    "a stage's axial mode 0.0014, a spindle in rolling bearings 0.042, both measured; likely and high assumed"
)
_BORES = "assumed: bores a few hundredths apart, set screws at one side"
_MOTOR_BEARING = "computed: Hertz contacts of a single bearing 8 x 22 at 1 to 20 N"
_STEPPER_SHEET = "from memory: data sheets of 42 mm frames, 57 mm: 15 N"
_STEPPER = "from memory: typical 42 mm frame steppers, 40 to 48 mm long"
_PLACE_ERROR = (
    "computed: one motor measured up and down, a second at its full steps [StepperMeasured]; high: 5 % of a "
    "step, three times the likely one"
)
_PLACE_PHASE = "assumed: unknown; from the worst to none in layers that alternate"
TABLE: Mapping[str, Mapping[str, Default]] = {
    "bed": {
        "thickness_mm": Default(4.0, 6.0, 10.0),
        "shear_modulus_gpa": Default(25.8, 25.9, 26.0, _SHEAR),
        "centre_height_mm": Default(-15.0, -8.0, -4.0),
        "temperature_rise_k": Default(40.0, 60.0, 90.0),
        "expansion_um_per_m_k": Default(23.4, 23.6, 24.1, _PLATE),
    },
    "print": {"part_mass_kg": Default(0.1, 0.3, 1.0)},
    "damping": {"ratio": Default(0.002, 0.03, 0.08, _DAMPING)},
    "drive": {
        "belt_n_per_um": Default(0.05, 0.2, 0.6),
        "pulley_inertia_g_cm2": Default(5.0, 20.0, 60.0),
    },
    "coupling": {
        "eccentricity_tir_um": Default(20.0, 60.0, 150.0, _BORES),
        "angle_tir_um_per_100mm": Default(50.0, 150.0, 400.0, _BORES),
    },
    "nut": {
        "thread_height_mm": Default(-60.0, -35.0, -15.0),
        "drag_breakaway_deg": Default(0.3, 1.0, 5.0),
        "mass_kg": Default(0.05, 0.1, 0.3),
        "inertia_kg_cm2": Default(0.1, 0.3, 1.0),
    },
    "joint": {"height_mm": Default(-50.0, -30.0, -15.0)},
    "mount": {"height_mm": Default(-25.0, -15.0, -5.0)},
    "guide": {"height_mm": Default(-70.0, -40.0, -15.0)},
    "frame": {
        "radial_n_per_um": Default(0.5, 2.0, 8.0),
        "tangential_n_per_um": Default(0.5, 2.0, 8.0),
        "vertical_n_per_um": Default(2.0, 10.0, 50.0),
        "rotation_nm_per_rad": Default(500.0, 3000.0, 20000.0),
    },
    "carriage": {
        "mass_kg": Default(0.2, 0.4, 1.0),
        "inertia_kg_cm2": Default(1.5, 4.0, 12.0),
        "height_mm": Default(-60.0, -35.0, -15.0),
    },
    "motor": {
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
    own = _of_kind(part, kind) if kind in known_kinds(part) else {}
    return {**TABLE.get(part, {}), **own}


def _of_kind(part: str, name: str) -> dict[str, Default]:
    if part == "nut":
        return dict(registry.screw_kind(name).nut)
    kind, unused = registry.find(part, name), UNUSED.get(part, {})
    idle = {key for keys in kind.idle.values() for key in keys}
    stand_ins = {key: fixed(value) for key, value in unused.items() if f"{part}.{key}" in idle}
    return {**stand_ins, **kind.defaults}


def known_kinds(part: str) -> tuple[str, ...]:
    """Name the kinds of a part that have their own defaults."""
    return registry.names(owner_of(part))


def owner_of(part: str) -> str:
    """The part whose kind picks the defaults of a part: a nut goes by its screw."""
    return "screw" if part == "nut" else part


def kind_of(part: str, corner: Mapping[str, Any]) -> str | None:
    """The kind that picks a part's defaults; None if it is missing or not a known one."""
    if not known_kinds(part):
        return "any"
    table = corner.get(owner_of(part))
    kind = table.get("kind") if isinstance(table, dict) else None
    if kind is None and part in ("joint", "mount", "coupling"):
        kind = {"joint": "rigid", "mount": "groove", "coupling": "not_known"}[part]
    return kind if isinstance(kind, str) and kind in known_kinds(part) else None


def root_diameter_default(kind: str, diameter_mm: float, lead_mm: float, starts: int) -> Default | None:
    """Root diameter of a screw known by nominal diameter, lead and starts; None if no core is left."""
    return registry.screw_kind(kind).root(diameter_mm, lead_mm, starts)
