"""A ground ball screw, and what it has in common with a rolled one."""

from __future__ import annotations

from bedsim.registry import AsChange, Default, ScrewKind

_ARRANGED = "computed: from a pair face to face to one back to back (Hertz); likely assumed"
_THRUST = "data sheet of a light duplex pair, 7.5 to 15; likely and high assumed"
_ROOT = (
    "MISUMI p. 1676 (shaft 15, lead 5: 12.5 mm); range from memory: catalogue ball screws 12 x 4 to 20 x 5, "
    "0.80 to 0.88 of the nominal diameter"
)

BEARINGS = {
    "bearing_radial_n_per_um": Default(10.0, 30.0, 100.0),
    "upper_bearing_radial_n_per_um": Default(5.0, 20.0, 60.0),
    "bearing_tilt_nm_per_rad": Default(90.0, 3000.0, 4900.0, _ARRANGED),
    "bearing_axial_n_per_um": Default(8.0, 80.0, 150.0, _THRUST),
    "coupling_nm_per_rad": Default(20.0, 80.0, 500.0),
}
FRICTION = Default(0.002, 0.005, 0.01)
IDLE = {
    "it belongs to the flanks of a plain thread": ("nut.clearance_um", "nut.flank_angle_deg"),
    "it belongs to plain nuts": ("sizing.pressure_velocity_mpa_m_s",),
}


def root_mm(diameter_mm: float, lead_mm: float, starts: int) -> Default:
    """Root diameter of a ball screw: 0.84 of the nominal diameter."""
    return Default(0.80 * diameter_mm, 0.84 * diameter_mm, 0.88 * diameter_mm, _ROOT)


KIND = ScrewKind(
    name="ground_ball",
    sentence="a ground ball screw",
    words="ball, ground",
    change=AsChange(
        words="ground screws, bow at most 20 µm",
        at_most={"run_out.bow_tir_um": 20.0, "run_out.eccentricity_tir_um": 20.0},
    ),
    rolls=True,
    root=root_mm,
    defaults=BEARINGS,
    nut={
        "axial_n_per_um": Default(60.0, 120.0, 200.0),
        "drag_torque_n_mm": Default(10.0, 30.0, 80.0),
        "friction_coefficient": FRICTION,
    },
    idle=IDLE,
)
