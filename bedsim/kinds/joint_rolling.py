"""Balls that roll between two plates, held together by magnets or springs."""

from __future__ import annotations

from bedsim.model.joint_kind import JointKind, held_against_turning
from bedsim.model.joint_parts import plate_joint
from bedsim.registry import ASSUMED, AsChange, Default, fixed

_HERTZ = (
    "computed: Hertz contact of three 5 mm steel balls between flat steel plates at 3 to 10 N each "
    "(Johnson, Contact Mechanics)"
)
_MAGNETS = (
    "computed: one to three pairs of axially magnetised discs, 8 x 3 to 10 x 5 mm, Br 1.3 T, gap 6 to 1 mm "
    "(integral of Vokoun et al. 2009)"
)
_ROLLING = (
    "Cross, Coulomb's law for rolling friction, Am. J. Phys. (1e-4 on hard surfaces); upper end from memory: "
    "handbook rolling arms on ground plates"
)

KIND = JointKind(
    name="rolling",
    sentence="balls between two plates",
    change=AsChange(words="rolling joints between nut and carriage"),
    make=plate_joint,
    balls=True,
    refused=held_against_turning,
    defaults={
        "lateral_n_per_mm": Default(0.2, 2.0, 12.0, _MAGNETS),
        "elements": fixed(3, ASSUMED),
        "element_radius_mm": Default(12.0, 20.0, 30.0),
        "rotation_nm_per_rad": fixed(0.0),
        "friction_coefficient": Default(1e-4, 1e-3, 4e-3, _ROLLING),
        "magnet_force_n": Default(1.0, 10.0, 40.0, _MAGNETS),
        "breakaway_um": Default(20.0, 50.0, 100.0, "from memory: of the order of the contact's radius"),
        "damping_n_s_per_m": fixed(0.0),
        "travel_mm": Default(0.5, 1.0, 2.0),
        "axial_n_per_um": Default(8.0, 15.0, 30.0, _HERTZ),
    },
)
