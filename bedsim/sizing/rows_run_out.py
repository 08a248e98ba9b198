"""Rows about run-out: how much of it reaches the carriage, bolted or through the joint."""

from __future__ import annotations

from bedsim.number_text import number
from bedsim.sizing import transmission, unit
from bedsim.sizing.numbers import CornerNumbers, ScrewNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import GRAVITY, UM


def joint_load(corner: CornerNumbers) -> float:
    """Return the largest weight [N] that stands on the joint: bed share and carriage."""
    return max(corner.bed_load) + corner.carriage_mass * GRAVITY


def joint_friction(corner: CornerNumbers) -> float:
    """Return the force [N] that holds the joint against sideways motion: coefficient x (weight + pull)."""
    return corner.joint.friction_coefficient * (joint_load(corner) + corner.joint.pull)


def screw_side_stiffness(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    """Return the screw's largest lateral stiffness [N/m] within the nut's travel: where it pushes hardest."""
    return max(
        transmission.screw_lateral_stiffness(
            youngs_modulus=screw.shaft.youngs_modulus,
            root_diameter=screw.shaft.root_diameter,
            free_length=screw.shaft.length,
            nut_height=z,
            ends=screw.shaft.ends,
        )
        for z in (corner.nut_low, corner.nut_high)
    )


def bolted_run_out(screw: ScrewNumbers, corner: CornerNumbers) -> float:
    """Return how far [m] a screw would push its carriage if the nut were bolted to it."""
    k = screw_side_stiffness(screw, corner)
    return transmission.transmitted_rigid(screw.run_out, k, corner.guide_lateral)


def passed_run_out(corner: CornerNumbers) -> float:
    """Return how far [m] the screw pushes its carriage through the joint at hand."""
    joint, bolted = corner.joint, bolted_run_out(corner.screw, corner)
    if joint.bolted:
        return bolted
    friction = joint_friction(corner)
    through = transmission.transmitted_by_joint(
        corner.screw.run_out,
        breakaway_stiffness=friction / joint.breakaway,
        recentring=joint.lateral,
        friction=friction,
        guide=corner.guide_lateral,
    )
    return min(through, bolted)


def bolted(at: AtCorner) -> bool:
    """Whether the nut is bolted to its carriage."""
    return at.corner.joint.bolted


def jointed(at: AtCorner) -> bool:
    """Whether the nut has a joint."""
    return not bolted(at)


def _straightened(at: AtCorner) -> bool:
    """Whether clamped ends have a bow to straighten."""
    return at.corner.screw.mounting_moment != 0.0


def _reaches_bolted(at: AtCorner) -> RowValue:
    run_out = at.corner.screw.run_out
    return RowValue(
        bolted_run_out(at.corner.screw, at.corner),
        note=f"one corner alone; run-out up to {number(run_out / UM)} µm off the axis",
    )


def _side_push(at: AtCorner) -> RowValue:
    return RowValue(bolted_run_out(at.corner.screw, at.corner) * at.corner.guide_lateral)


RUN_OUT = Subject(
    title="Run-out",
    rows=(
        Row(
            key="lateral_stiffness",
            name="lateral stiffness of the screw at its nut",
            unit=unit.N_PER_UM,
            tell=lambda at: RowValue(screw_side_stiffness(at.corner.screw, at.corner)),
            formula="3EI/z^3, 12EIL^3/(z^3 b^2 (3L + b)), ... by its ends",
            source="Roark beams",
            note="stiffest over the travel, bearings rigid",
        ),
        Row(
            key="bolted_run_out",
            name="reaches the carriage if the nut is bolted to it",
            unit=unit.UM,
            tell=_reaches_bolted,
            formula="e k_screw/(k_screw + k_guide)",
            source="springs in series",
        ),
        Row(
            key="side_push",
            name="sideways push on the carriage",
            unit=unit.NEWTON,
            tell=_side_push,
            where=bolted,
            formula="e k_screw k_guide/(k_screw + k_guide)",
            source="springs in series",
            note="turns with the screw; the guide and the nut carry it",
        ),
        Row(
            key="passed_run_out",
            name="reaches the carriage through the joint",
            unit=unit.UM,
            tell=lambda at: RowValue(passed_run_out(at.corner)),
            where=jointed,
            formula="min((k_b + k_r) e/(k_b + k_r + k_g), (F_c + k_r e)/(k_g + k_r))",
            source="elastic-slip element; derived",
            note="one corner alone, stiff screw",
        ),
        Row(
            key="mounting_moment",
            name="moment on a clamped bearing from the bow",
            unit=unit.NEWTON_METRE,
            tell=lambda at: RowValue(at.corner.screw.mounting_moment),
            where=_straightened,
            formula="-k_tilt x slope of the mounted end",
            source="Roark beams; derived",
            note="from mounting the bent screw; turns with it, beside the loads of the print",
        ),
        Row(
            key="mounting_force",
            name="radial force on a bearing from the bow",
            unit=unit.NEWTON,
            tell=lambda at: RowValue(at.corner.screw.mounting_force),
            where=_straightened,
            formula="(m0 + mL)/L",
            source="Roark beams; derived",
            note="the same at both ends, opposite",
        ),
    ),
)
