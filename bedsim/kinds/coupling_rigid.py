"""A rigid sleeve."""

from __future__ import annotations

from bedsim.registry import AsChange, CouplingKind, Default

_SLEEVE = "assumed: a sleeve, its clamps softer than itself"

KIND = CouplingKind(
    name="rigid",
    sentence="rigid sleeve",
    change=AsChange(words="rigid couplings"),
    twist=Default(200.0, 800.0, 4000.0, _SLEEVE),
    defaults={
        "radial_n_per_um": Default(20.0, 100.0, 500.0, _SLEEVE),
        "tilt_nm_per_rad": Default(100.0, 400.0, 2000.0, _SLEEVE),
        "axial_n_per_um": Default(20.0, 100.0, 400.0, _SLEEVE),
    },
)
