"""The joint of a corner in the numbers of sizing."""

from __future__ import annotations

import math

import numpy as np

from bedsim.model.corner import CornerParts
from bedsim.model.joint_parts import part_elements, plate_joint
from bedsim.scenario.sizing_keys import BallPart, Sizing
from bedsim.sizing import hertz, joint_parts
from bedsim.sizing.numbers import BallNumbers, JointNumbers
from bedsim.units import GPA, MM, MPA, UM


def joint_numbers(c: CornerParts, sizing: Sizing, nut_top: float, growth: float, load: float) -> JointNumbers:
    """Return a corner's joint in SI; `growth` [m] goes into it unless a groove takes it; `load` [N]."""
    part, align = c.data.joint, c.data.screw.alignment
    slope = math.hypot(align.slope_x_um_per_100mm, align.slope_y_um_per_100mm) * UM / (100.0 * MM)
    offset = math.hypot(align.offset_x_um, align.offset_y_um) * UM
    made = c.joint or plate_joint(c.data, sizing, load)
    warmings = () if c.joint is None else (0.0, sizing.joint_warming_k)
    cold, warm = [part_elements(part, sizing, load, k) for k in warmings] or ((), ())
    return JointNumbers(
        kind=part.kind,
        bolted=c.joint is None,
        lateral=joint_parts.softest(made.planar),
        rotation=float(made.planar[2, 2]),
        anti_rotation=made.rotation,
        reach=float(np.hypot(*made.ends.T).max()),
        friction_coefficient=made.friction,
        breakaway=made.breakaway,
        pull=made.magnet_force,
        travel=made.travel,
        twist_travel=made.travel / 10.0 if sizing.joint_twist_um is None else sizing.joint_twist_um * UM,
        axial=made.axial,
        growth=0.0 if c.mount.grooved else growth,
        misalignment=offset + slope * nut_top,
        bore=abs(c.nut.bore_offset),
        parts=cold,
        parts_warm=warm,
        balls=tuple(_ball_numbers(b) for b in sizing.joint_part.ball),
    )


def _ball_numbers(part: BallPart) -> BallNumbers:
    strength = part.plate_yield_mpa
    return BallNumbers(
        name=part.name,
        radius=part.diameter_mm / 2.0 * MM,
        modulus=hertz.contact_modulus(
            part.ball_modulus_gpa * GPA, part.poisson, part.plate_modulus_gpa * GPA, part.poisson
        ),
        yield_pressure=None if strength is None else hertz.FIRST_YIELD_RATIO * strength * MPA,
    )
