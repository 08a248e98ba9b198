"""Rows about run-out: how much of it reaches the carriage, bolted or through the joint."""

from __future__ import annotations

from bedsim.sizing import transmission
from bedsim.sizing.numbers import CornerNumbers, ScrewNumbers
from bedsim.sizing.table import Check, shown
from bedsim.units import GRAVITY, N_PER_UM, UM

RUN_OUT = "Run-out"


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
            youngs_modulus=screw.youngs_modulus,
            root_diameter=screw.root_diameter,
            free_length=screw.length,
            nut_height=z,
            ends=screw.ends,
        )
        for z in (corner.nut_low, corner.nut_high)
    )


def bolted_run_out(corner: CornerNumbers) -> float:
    """Return how far [m] the screw would push its carriage if the nut were bolted to it."""
    k = screw_side_stiffness(corner.screw, corner)
    return transmission.transmitted_rigid(corner.screw.run_out, k, corner.guide_lateral)


def passed_run_out(corner: CornerNumbers) -> float:
    """Return how far [m] the screw pushes its carriage through the joint at hand."""
    joint, bolted = corner.joint, bolted_run_out(corner)
    if joint.kind == "rigid":
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


def run_out_rows(corner: CornerNumbers) -> list[Check]:
    """Rows of what reaches the carriage, bolted and through the joint at hand, and what the bearings hold."""
    return [*_carriage_rows(corner), *_bearing_rows(corner)]


def _carriage_rows(corner: CornerNumbers) -> list[Check]:
    bolted = bolted_run_out(corner)
    rows = [
        shown(
            RUN_OUT,
            "lateral stiffness of the screw at its nut",
            screw_side_stiffness(corner.screw, corner) / N_PER_UM,
            "N/µm",
            formula="3EI/z^3, 12EIL^3/(z^3 b^2 (3L + b)), ... by its ends",
            source="Roark beams",
            corner=corner.name,
            note="stiffest over the travel, bearings rigid",
            key="lateral_stiffness",
        ),
        shown(
            RUN_OUT,
            "reaches the carriage if the nut is bolted to it",
            bolted / UM,
            "µm",
            formula="e k_screw/(k_screw + k_guide)",
            source="springs in series",
            corner=corner.name,
            note=f"one corner alone; run-out up to {corner.screw.run_out / UM:.3g} µm off the axis",
            key="bolted_run_out",
        ),
    ]
    if corner.joint.kind == "rigid":
        return [*rows, _side_push(corner, bolted)]
    return [
        *rows,
        shown(
            RUN_OUT,
            "reaches the carriage through the joint",
            passed_run_out(corner) / UM,
            "µm",
            formula="min((k_b + k_r) e/(k_b + k_r + k_g), (F_c + k_r e)/(k_g + k_r))",
            source="elastic-slip element; derived",
            corner=corner.name,
            note="one corner alone, stiff screw",
        ),
    ]


def _side_push(corner: CornerNumbers, moved: float) -> Check:
    return shown(
        RUN_OUT,
        "sideways push on the carriage",
        moved * corner.guide_lateral,
        "N",
        formula="e k_screw k_guide/(k_screw + k_guide)",
        source="springs in series",
        corner=corner.name,
        note="turns with the screw; the guide and the nut carry it",
        key="side_push",
    )


def _bearing_rows(corner: CornerNumbers) -> list[Check]:
    """Rows of a bow that clamped ends straighten; none where they have nothing to straighten."""
    screw = corner.screw
    if screw.mounting_moment == 0.0:
        return []
    return [
        shown(
            RUN_OUT,
            "moment on a clamped bearing from the bow",
            screw.mounting_moment,
            "N m",
            formula="-k_tilt x slope of the mounted end",
            source="Roark beams; derived",
            corner=corner.name,
            note="from mounting the bent screw; turns with it, beside the loads of the print",
        ),
        shown(
            RUN_OUT,
            "radial force on a bearing from the bow",
            screw.mounting_force,
            "N",
            formula="(m0 + mL)/L",
            source="Roark beams; derived",
            corner=corner.name,
            note="the same at both ends, opposite",
        ),
    ]
