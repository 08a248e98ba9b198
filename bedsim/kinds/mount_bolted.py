"""A bolted connection: the carriage goes with the bed."""

from __future__ import annotations

from bedsim.model.mount_kind import MountKind, springs
from bedsim.registry import AsChange, fixed

_UNUSED = "convention: a bolted mount is a constraint, this number is not used"


KIND = MountKind(
    name="bolted",
    sentence="a bolted connection",
    change=AsChange(words="bolt the bed to its carriages"),
    make=springs,
    bolted=True,
    defaults={
        "radial_n_per_um": fixed(1000.0, _UNUSED),
        "tangential_n_per_um": fixed(1000.0, _UNUSED),
        "vertical_n_per_um": fixed(1000.0, _UNUSED),
    },
    idle={
        "a bolted mount is stiff": (
            "damping.mount_ratio",
            "mount.radial_n_per_um",
            "mount.tangential_n_per_um",
            "mount.vertical_n_per_um",
        ),
        "only a flexure has it": ("mount.rotation_nm_per_rad",),
        "only a groove rubs": ("mount.friction_coefficient", "mount.breakaway_um"),
        "only a ball in a groove has a way to go and can be lifted out of its seat": (
            "sizing.mount_travel_mm",
            "sizing.frame_acceleration_mm_s2",
        ),
    },
)
