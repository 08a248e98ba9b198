"""Wheels that run on an extrusion."""

from __future__ import annotations

from bedsim.registry import AsChange, Default, GuideKind

KIND = GuideKind(
    name="wheels",
    sentence="wheels on extrusion",
    greased=False,
    change=AsChange(words="wheels as guides"),
    defaults={
        "radial_n_per_um": Default(0.4, 1.0, 2.5),
        "tangential_n_per_um": Default(0.4, 1.0, 2.5),
        "tilt_nm_per_rad": Default(100.0, 500.0, 1500.0),
        "yaw_nm_per_rad": Default(100.0, 500.0, 1500.0),
        "friction_n": Default(0.5, 2.0, 6.0),
        "breakaway_um": Default(20.0, 100.0, 400.0),
    },
)
