"""The joint of a corner for sizing: as the scenario states it, or summed from the parts the user lists."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from bedsim.scenario import schema
from bedsim.scenario.sizing_keys import BallPart, MagnetPart, Sizing
from bedsim.sizing import hertz, joint_parts, magnets
from bedsim.sizing.joint_parts import PlanarElement
from bedsim.sizing.numbers import BallNumbers, JointNumbers
from bedsim.units import DEG, GPA, MM, MPA, N_PER_MM, N_PER_UM, UM

Array = NDArray[np.float64]


def mount_places(scenario: schema.Scenario) -> Array:
    """Return x and y [m] of every mount, shape (n, 2)."""
    places = [[c.x_mm + c.mount.offset_x_mm, c.y_mm + c.mount.offset_y_mm] for c in scenario.corner]
    return np.array(places) * MM


def radius_from_centre(places: Array) -> Array:
    """Return the distance [m] of every mount from their centroid, shape (n,)."""
    return np.asarray(np.linalg.norm(places - places.mean(axis=0), axis=1))


def joint_numbers(
    corner: schema.Corner, sizing: Sizing, nut_top: float, growth: float, load: float
) -> JointNumbers:
    """Return a corner's joint in SI; `growth` [m] goes into it unless a groove takes it; `load` [N]."""
    part, align = corner.joint, corner.screw.alignment
    slope = math.hypot(align.slope_x_um_per_100mm, align.slope_y_um_per_100mm) * UM / (100.0 * MM)
    offset = math.hypot(align.offset_x_um, align.offset_y_um) * UM
    cold, warm = (part_elements(part, sizing, load, k) for k in (0.0, sizing.joint_warming_k))
    lateral, rotation, pull = _stated(part)
    if cold:
        total = joint_parts.assemble(cold, part.rotation_nm_per_rad)
        lateral, rotation, pull = total.recentring, total.rotation, total.pull
    return JointNumbers(
        kind=part.kind,
        lateral=lateral,
        rotation=rotation,
        friction_coefficient=part.friction_coefficient,
        breakaway=part.breakaway_um * UM,
        pull=pull,
        travel=part.travel_mm * MM,
        axial=part.axial_n_per_um * N_PER_UM,
        growth=0.0 if corner.mount.kind == "groove" else growth,
        misalignment=offset + slope * nut_top,
        bore=math.hypot(corner.nut.bore_offset_x_um, corner.nut.bore_offset_y_um) * UM,
        parts=cold,
        parts_warm=warm,
        balls=tuple(_ball_numbers(b) for b in sizing.joint_part.ball),
    )


def _stated(part: schema.Joint) -> tuple[float, float, float]:
    """Lateral and rotation stiffness and pull as the scenario states them."""
    if part.element:
        elements = [
            PlanarElement(
                name=f"element {i}",
                x=e.x_mm * MM,
                y=e.y_mm * MM,
                along=e.lateral_n_per_mm * N_PER_MM,
                across=e.lateral_n_per_mm * N_PER_MM,
            )
            for i, e in enumerate(part.element, start=1)
        ]
        total = joint_parts.assemble(elements, part.rotation_nm_per_rad)
        return total.recentring, total.rotation, part.magnet_force_n
    lateral = part.lateral_n_per_mm * N_PER_MM
    rotation = part.rotation_nm_per_rad + lateral * (part.element_radius_mm * MM) ** 2
    return lateral, rotation, part.magnet_force_n


def part_elements(
    part: schema.Joint, sizing: Sizing, load: float, warming: float
) -> tuple[PlanarElement, ...]:
    """Return what the listed parts add, with magnets warmer by `warming` [K] and `load` [N] on the joint."""
    listed = sizing.joint_part
    holding = [_magnet(m, warming) for m in listed.magnet]
    holding += [
        joint_parts.tension_spring(s.name, s.x_mm * MM, s.y_mm * MM, s.force_n, s.length_mm * MM)
        for s in listed.spring
    ]
    pressed = load + sum(e.pull for e in holding)
    balls = [_ball(b, part, pressed / len(listed.ball)) for b in listed.ball]
    rings = [
        joint_parts.o_ring(
            r.name,
            r.x_mm * MM,
            r.y_mm * MM,
            mean_diameter=r.mean_diameter_mm * MM,
            cord=r.cord_mm * MM,
            height=r.height_mm * MM,
            shear_modulus=joint_parts.rubber_shear_modulus(r.hardness_shore_a),
        )
        for r in listed.ring
    ]
    carrying = sum(leaf.carries_load for leaf in listed.leaf)
    leaves = [
        joint_parts.flexure(
            leaf.name,
            leaf.x_mm * MM,
            leaf.y_mm * MM,
            youngs_modulus=leaf.youngs_modulus_gpa * GPA,
            thickness=leaf.thickness_mm * MM,
            width=leaf.width_mm * MM,
            length=leaf.length_mm * MM,
            direction=leaf.direction_deg * DEG,
            compression=pressed / carrying if leaf.carries_load else 0.0,
        )
        for leaf in listed.leaf
    ]
    return (*holding, *balls, *rings, *leaves)


def _magnet(part: MagnetPart, warming: float) -> PlanarElement:
    remanence = magnets.remanence_when_warm(part.remanence_t, warming)
    first = magnets.Disc(
        radius=part.diameter_mm / 2.0 * MM, thickness=part.thickness_mm * MM, remanence=remanence
    )
    second = magnets.Disc(
        radius=(part.other_diameter_mm or part.diameter_mm) / 2.0 * MM,
        thickness=(part.other_thickness_mm or part.thickness_mm) * MM,
        remanence=remanence,
    )
    return joint_parts.magnet_pair(part.name, part.x_mm * MM, part.y_mm * MM, first, second, part.gap_mm * MM)


def _ball(part: BallPart, joint: schema.Joint, load: float) -> PlanarElement:
    dish = part.dish_radius_mm
    return joint_parts.ball(
        part.name,
        part.x_mm * MM,
        part.y_mm * MM,
        radius=part.diameter_mm / 2.0 * MM,
        load=load,
        rolling_coefficient=joint.friction_coefficient,
        dish_radius=None if dish is None else dish * MM,
        dished_plates=part.dished_plates,
        wedge=part.wedge_deg * DEG,
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
