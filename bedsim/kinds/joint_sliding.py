"""Two crossed slideways: each rubs in its own direction as a whole, and turning uses up no travel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bedsim.components.joint import Joint, JointPlace, JointRows, plate_rows
from bedsim.components.row import Friction
from bedsim.model.joint_kind import JointKind, held_against_turning
from bedsim.model.joint_parts import whole_joint
from bedsim.registry import ASSUMED, AsChange, Default, fixed


def slide_rows(place: JointPlace, joint: Joint) -> JointRows:
    """Those of two plates, with a friction contact for each slide instead of one for every element."""
    slides = [] if joint.friction == 0.0 else [_slide(place, joint, axis) for axis in range(2)]
    return replace(plate_rows(place, joint), frictions=slides)


def _slide(place: JointPlace, joint: Joint, axis: int) -> Friction:
    return Friction(
        name=f"{place.link_name} slide {'xy'[axis]}",
        part="joint",
        corner=place.corner,
        jacobian=place.planar[axis : axis + 1],
        command=np.zeros(1),
        breakaway=joint.breakaway,
        coefficient=joint.friction,
        load_share=1.0,
        preload=joint.pressed,
    )


KIND = JointKind(
    name="sliding",
    sentence="two crossed slideways",
    change=AsChange(words="sliding joints between nut and carriage", by_run=True),
    make=whole_joint,
    rows=slide_rows,
    refused=held_against_turning,
    defaults={
        "lateral_n_per_mm": fixed(0.0),
        "elements": fixed(4, ASSUMED),
        "element_radius_mm": Default(10.0, 20.0, 30.0),
        "rotation_nm_per_rad": Default(300.0, 1000.0, 5000.0),
        "friction_coefficient": Default(
            0.05, 0.12, 0.20, "from memory: bronze, brass or POM on greased steel"
        ),
        "magnet_force_n": fixed(0.0),
        "breakaway_um": Default(5.0, 15.0, 50.0),
        "damping_n_s_per_m": fixed(0.0),
        "travel_mm": Default(0.5, 1.0, 2.0),
        "axial_n_per_um": Default(20.0, 100.0, 300.0),
    },
    idle={"two crossed slideways rub as a whole": ("joint.elements", "joint.element.load_share")},
)
