"""A ball in a radial groove: free along it but for friction, and held there by its load alone."""

from __future__ import annotations

from bedsim.model.mount_kind import MountKind, springs
from bedsim.registry import AsChange, Default, fixed

KIND = MountKind(
    name="groove",
    sentence="a ball in a radial groove",
    change=AsChange(words="balls in grooves as mounts"),
    make=springs,
    grooved=True,
    defaults={
        "radial_n_per_um": fixed(0.0, "convention: a groove is free along itself"),
        "tangential_n_per_um": Default(5.0, 15.0, 40.0),
        "vertical_n_per_um": Default(5.0, 15.0, 40.0),
        "friction_coefficient": Default(0.05, 0.12, 0.20),
        "breakaway_um": Default(2.0, 5.0, 20.0),
    },
    idle={"only a flexure has it": ("mount.rotation_nm_per_rad",)},
)
