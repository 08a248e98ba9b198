"""Two packs of discs."""

from __future__ import annotations

from bedsim.registry import AsChange, CouplingKind, Default

KIND = CouplingKind(
    name="disc",
    sentence="two packs of discs",
    change=AsChange(words="disc couplings"),
    twist=Default(150.0, 400.0, 1500.0),
    defaults={
        "radial_n_per_um": Default(0.2, 0.6, 2.0),
        "tilt_nm_per_rad": Default(5.0, 15.0, 50.0),
        "axial_n_per_um": Default(0.03, 0.08, 0.3),
    },
)
