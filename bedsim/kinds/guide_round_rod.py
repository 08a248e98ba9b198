"""Bushings on round rods."""

from __future__ import annotations

from bedsim.registry import AsChange, Default, GuideKind

_RODS = (
    "computed: middle of two steel rods built in at both ends, 8 mm on 400 mm to 12 mm on 300 mm, "
    "2 x 192 E I/L^3"
)

KIND = GuideKind(
    name="round_rod",
    sentence="round rod with bushing",
    change=AsChange(words="round rods as guides"),
    defaults={
        "radial_n_per_um": Default(0.25, 0.9, 3.0, _RODS),
        "tangential_n_per_um": Default(0.25, 0.9, 3.0, _RODS),
        "tilt_nm_per_rad": Default(50.0, 200.0, 800.0),
        "yaw_nm_per_rad": Default(50.0, 200.0, 800.0),
        "friction_n": Default(0.2, 1.0, 4.0),
        "breakaway_um": Default(5.0, 20.0, 80.0),
    },
)
