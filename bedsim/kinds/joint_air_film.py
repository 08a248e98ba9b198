"""A round pad on a film of air: no dry friction, no recentring, and turning uses up no travel."""

from __future__ import annotations

from bedsim.model.joint_kind import JointKind, held_against_turning
from bedsim.model.joint_parts import whole_joint
from bedsim.registry import AsChange, Default, Needed, fixed

_FILM = "computed: 10 cm2 of air at 1.8e-5 Pa s, film of 20, 10 and 5 um"

KIND = JointKind(
    name="air_film",
    sentence="a pad on a film of air",
    change=AsChange(
        words="air films between nut and carriage",
        price=5,
        by_run=True,
        beside={"rotation_nm_per_rad": 200.0},
    ),
    make=whole_joint,
    wears=False,
    refused=held_against_turning,
    defaults={
        "lateral_n_per_mm": fixed(0.0),
        "elements": fixed(1),
        "element_radius_mm": fixed(20.0),
        "friction_coefficient": fixed(0.0, "convention: an air film has no dry friction"),
        "magnet_force_n": fixed(0.0),
        "breakaway_um": fixed(50.0),
        "damping_n_s_per_m": Default(0.0009, 0.0018, 0.0036, _FILM),
        "travel_mm": Default(0.5, 1.0, 2.0),
        "axial_n_per_um": Default(5.0, 20.0, 50.0),
    },
    needed={
        "rotation_nm_per_rad": Needed(
            suggested=Default(1000 / 3, 1000.0, 3000.0),
            remark="the part that keeps the nut from turning",
            hint="An air film does not keep the nut from turning: give the anti-rotation part's stiffness.",
        )
    },
)
