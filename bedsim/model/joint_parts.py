"""A corner's joint as `run` and `size` both have it: as the scenario states it, or from the parts it lists.

Listed parts (sizing.joint_part) stand for the stiffness and the pull that the joint's table states, magnets
as warm as they get in print.  Dished balls and loaded leaves are as stiff as under the corner's heaviest
load: over a print their stiffness changes as the load does.  A wedge's push has no known direction: `size`
alone counts it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedsim.components import joint
from bedsim.components.joint import Joint
from bedsim.model.convert import mount_points, pieces_of
from bedsim.model.joint_kind import joint_kind
from bedsim.scenario import schema
from bedsim.scenario.sizing_keys import BallPart, MagnetPart, Sizing
from bedsim.sizing import joint_parts, magnets, statics
from bedsim.sizing.joint_parts import PlanarElement
from bedsim.units import DEG, GPA, GRAVITY, MM, N_PER_MM, N_PER_UM, UM

Array = NDArray[np.float64]


def bed_load(scenario: schema.Scenario, done: int) -> Array:
    """Weight (c,) N of the bed and of the layers that are done on each mount, a rigid bed on equal springs.
    Raises ModelError when the mounts stand on one line."""
    bed, (part, centre) = scenario.bed, pieces_of(scenario).upto(done).weighed
    places = mount_points(scenario)[:, :2]
    at = [[bed.centre_x_mm * MM, bed.centre_y_mm * MM], list(centre[:2])]
    weights = np.array([bed.mass_kg, part]) * GRAVITY
    return statics.support_loads(places, weights, at)


def bed_loads(scenario: schema.Scenario) -> tuple[Array, Array]:
    """The same without any layer, and after the last."""
    return bed_load(scenario, 0), bed_load(scenario, scenario.print.layers)


def joint_loads(scenario: schema.Scenario) -> Array:
    """The heaviest load (c,) N that stands on each corner's joint in the print: bed, part and carriage."""
    return np.maximum(*bed_loads(scenario)) + GRAVITY * np.array(
        [c.carriage.mass_kg for c in scenario.corner]
    )


def make_joints(scenario: schema.Scenario) -> list[Joint | None]:
    """The joint of every corner, none where it is bolted."""
    kinds = [joint_kind(c.joint.kind) for c in scenario.corner]
    jointed = any(kind.make is not None for kind in kinds)
    loads = joint_loads(scenario) if jointed else np.zeros(len(scenario.corner))
    sizing = scenario.sizing or Sizing()
    return [
        None if kind.make is None else kind.make(c, sizing, float(load))
        for kind, c, load in zip(kinds, scenario.corner, loads, strict=True)
    ]


def whole_joint(corner: schema.Corner, sizing: Sizing, load: float) -> Joint:
    """A joint that moves as a whole: turning uses up none of its travel."""
    return replace(plate_joint(corner, sizing, load), ends=np.zeros((1, 2)))


def plate_joint(corner: schema.Corner, sizing: Sizing, load: float) -> Joint:
    """A joint under a heaviest `load` N: its elements listed or on a circle, or its parts."""
    part = corner.joint
    listed = part_elements(part, sizing, load, sizing.joint_warming_k)
    if listed:
        points = np.array([[e.x, e.y] for e in listed])
        stiffness = np.array([e.planar() for e in listed])
        pull = sum(e.pull for e in listed)
        balls = np.array([[b.x_mm, b.y_mm] for b in sizing.joint_part.ball]) * MM
        contacts = balls if balls.size else joint.ring(part.elements, part.element_radius_mm * MM)
        share = np.full(len(contacts), 1 / len(contacts))
        ends = balls if balls.size else points
    else:
        points, stiffness, share = _stated(part)
        contacts, ends, pull = points, points, part.magnet_force_n
    return Joint(
        height=part.height_mm * MM,
        elements=points,
        element_stiffness=stiffness,
        contacts=contacts,
        load_share=share,
        ends=ends,
        rotation=part.rotation_nm_per_rad,
        friction=part.friction_coefficient,
        magnet_force=pull,
        nut_weight=corner.nut.mass_kg * GRAVITY,
        breakaway=part.breakaway_um * UM,
        damping=part.damping_n_s_per_m,
        travel=part.travel_mm * MM,
        stop=part.stop_n_per_um * N_PER_UM,
        axial=part.axial_n_per_um * N_PER_UM,
    )


def _stated(part: schema.JointKeys) -> tuple[Array, Array, Array]:
    """Places (e, 2) m, stiffness (e, 2, 2) N/m and shares of the load (e,) as the joint's table states
    them."""
    if part.element:
        points = np.array([[e.x_mm, e.y_mm] for e in part.element]) * MM
        stiffness = np.array([e.lateral_n_per_mm for e in part.element])
        even = 1 / len(part.element)
        share = np.array([even if e.load_share is None else e.load_share for e in part.element])
    else:
        points = joint.ring(part.elements, part.element_radius_mm * MM)
        stiffness = np.full(part.elements, part.lateral_n_per_mm / part.elements)
        share = np.full(part.elements, 1 / part.elements)
    return points, (stiffness * N_PER_MM)[:, None, None] * np.eye(2), share


def part_elements(
    part: schema.JointKeys, sizing: Sizing, load: float, warming: float
) -> tuple[PlanarElement, ...]:
    """What the listed parts add, with magnets warmer by `warming` K and `load` N on the joint."""
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


def _ball(part: BallPart, joint: schema.JointKeys, load: float) -> PlanarElement:
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
