"""A plain (trapezoidal) lead screw: its flanks slide, and its nut may have play."""

from __future__ import annotations

from bedsim.registry import Default, ScrewKind

_SLIDING = "from memory: bronze, brass or POM on greased steel"
_ROOT = (
    "ISO 2904: d3 = d - 2 (P/2 + ac); range: Tr10x2 of class 8c goes 0.04 d below; rolled screws 0.1 d above "
    "from memory"
)


def thread_clearance_mm(pitch_mm: float) -> float:
    """Crest clearance ac of a metric trapezoidal thread.

    Source: ISO 2904; 0.15 and 0.25 mm are implied by tabulated diameters, 0.5 and 1 mm are from memory.
    """
    if pitch_mm <= 1.5:
        return 0.15
    if pitch_mm <= 5:
        return 0.25
    return 0.5 if pitch_mm <= 12 else 1.0


def root_mm(diameter_mm: float, lead_mm: float, starts: int) -> Default | None:
    """Root diameter d3 = d - 2 (P/2 + ac) of a trapezoidal thread [ISO 2904]; None if no core is left."""
    pitch = lead_mm / starts
    root = diameter_mm - 2 * (pitch / 2 + thread_clearance_mm(pitch))
    if root < 0.4 * diameter_mm:
        return None
    high = min(root + 0.1 * diameter_mm, diameter_mm)
    return Default(root - 0.04 * diameter_mm, root, high, _ROOT)


KIND = ScrewKind(
    name="plain",
    sentence="a plain (trapezoidal) lead screw",
    words="plain",
    rolls=False,
    root=root_mm,
    defaults={
        "bearing_radial_n_per_um": Default(3.0, 15.0, 60.0),
        "upper_bearing_radial_n_per_um": Default(2.0, 10.0, 40.0),
        "bearing_tilt_nm_per_rad": Default(50.0, 500.0, 3000.0),
        "bearing_axial_n_per_um": Default(10.0, 30.0, 80.0),
        "coupling_nm_per_rad": Default(10.0, 50.0, 300.0),
    },
    nut={
        "radial_n_per_um": Default(5.0, 30.0, 100.0),
        "axial_n_per_um": Default(10.0, 50.0, 200.0),
        "tilt_nm_per_rad": Default(20.0, 200.0, 1000.0),
        "drag_torque_n_mm": Default(0.2, 1.0, 10.0),
        "friction_coefficient": Default(0.08, 0.12, 0.20, _SLIDING),
        "clearance_um": Default(20.0, 80.0, 200.0),
    },
    idle={
        "it belongs to the balls of a nut": ("nut.active_length_mm",),
        "it belongs to ball screws": ("sizing.static_load_rating_n", "sizing.speed_diameter_mm_rpm"),
        "a plain nut has no balls": ("upkeep.ball_diameter_mm", "upkeep.contact_angle_deg"),
    },
)
