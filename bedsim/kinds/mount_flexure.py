"""A flexure: soft along its direction, with a moment of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedsim.components.mount import Mount
from bedsim.model.mount_kind import MountKind, springs
from bedsim.registry import AsChange, Default
from bedsim.scenario.schema import MountKeys

Array = NDArray[np.float64]


def make(part: MountKeys, point: Array, outward: Array) -> Mount:
    """Springs with a moment about all axes."""
    return replace(springs(part, point, outward), rotation=part.rotation_nm_per_rad)


KIND = MountKind(
    name="flexure",
    sentence="leaves that bend, with a moment of their own",
    change=AsChange(words="flexures as mounts"),
    make=make,
    defaults={
        "radial_n_per_um": Default(0.01, 0.05, 0.5),
        "tangential_n_per_um": Default(1.0, 5.0, 20.0),
        "vertical_n_per_um": Default(2.0, 10.0, 50.0),
        "rotation_nm_per_rad": Default(1.0, 10.0, 100.0),
    },
    idle={
        "only a groove rubs": ("mount.friction_coefficient", "mount.breakaway_um"),
        "only a ball in a groove has a way to go and can be lifted out of its seat": (
            "sizing.mount_travel_mm",
            "sizing.frame_acceleration_mm_s2",
        ),
    },
)
