"""Leaves or rods that bend: they hold the nut by their stiffness and do not rub."""

from __future__ import annotations

from bedsim.model.joint_kind import JointKind, held_against_turning
from bedsim.model.joint_parts import plate_joint
from bedsim.registry import ASSUMED, AsChange, Default, fixed

KIND = JointKind(
    name="flexure",
    sentence="leaves or rods that bend",
    change=AsChange(words="flexures between nut and carriage", price=2),
    make=plate_joint,
    refused=held_against_turning,
    defaults={
        "lateral_n_per_mm": Default(2.0, 10.0, 50.0),
        "elements": fixed(4, ASSUMED),
        "element_radius_mm": Default(10.0, 15.0, 30.0),
        "rotation_nm_per_rad": Default(20.0, 100.0, 1000.0),
        "friction_coefficient": fixed(0.0),
        "magnet_force_n": fixed(0.0),
        "breakaway_um": fixed(50.0),
        "damping_n_s_per_m": fixed(0.0),
        "travel_mm": Default(0.2, 0.5, 1.0),
        "axial_n_per_um": Default(10.0, 50.0, 200.0),
    },
)
