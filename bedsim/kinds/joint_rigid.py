"""A bolted nut: it stands in its carriage and gives way along the screw alone."""

from __future__ import annotations

from bedsim.model.joint_kind import PART_KEYS, PLATE_KEYS, JointKind
from bedsim.registry import AsChange, Default

KIND = JointKind(
    name="rigid",
    sentence="bolted",
    suggested=True,
    change=AsChange(words="bolt the nuts to their carriages"),
    make=None,
    wears=False,
    defaults={"axial_n_per_um": Default(100.0, 500.0, 2000.0)},
    idle={
        "a bolted nut does not move on its carriage": PLATE_KEYS,
        "a bolted nut has no joint": (*PART_KEYS, "sizing.joint_twist_um", "sizing.joint_reversal_um"),
        "a bolted nut has no joint that gives way": ("damping.joint_ratio",),
    },
)
