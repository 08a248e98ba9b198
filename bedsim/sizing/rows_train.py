"""Rows about the axial train: stiffness, sinking under the part, frequency, and what hangs on it."""

from __future__ import annotations

from bedsim.sizing import axial_train, unit
from bedsim.sizing.numbers import CornerNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject


def axial_parts(corner: CornerNumbers, nut_height: float) -> dict[str, float]:
    """Return the stiffness [N/m] of every part between ground and carriage, along the screw."""
    screw, motor = corner.screw, corner.motor
    steel = {"youngs_modulus": screw.shaft.youngs_modulus, "root_diameter": screw.shaft.root_diameter}
    lower = axial_train.shaft_axial_stiffness(loaded_length=nut_height, **steel)
    if screw.shaft.ends == "fixed-fixed":
        upper = axial_train.shaft_axial_stiffness(loaded_length=screw.shaft.length - nut_height, **steel)
        both = axial_train.series([screw.shaft.bearing_axial, lower])
        both += axial_train.series([screw.shaft.bearing_axial, upper])
        parts = {"shaft and its two bearings": both}
    else:
        thrust = "thrust bearing" if screw.shaft.motor_end is None else "coupling and motor's bearings"
        parts = {thrust: screw.shaft.bearing_axial, "shaft, stretch": lower}
    twist = axial_train.shaft_torsional_stiffness(
        shear_modulus=screw.shaft.shear_modulus,
        root_diameter=screw.shaft.root_diameter,
        loaded_length=nut_height,
    )
    magnetic = motor.steps_per_turn / 4.0 * motor.holding_torque * motor.gear_ratio**2
    torsional = {"shaft, twist": twist, "coupling": screw.shaft.coupling, "motor's magnetic spring": magnetic}
    if motor.belt_torsion is not None:
        torsional["belt"] = motor.belt_torsion
    parts |= {name: axial_train.torsion_seen_axially(k, screw.shaft.lead) for name, k in torsional.items()}
    return parts | {"nut": screw.nut.axial, "frame": corner.frame_vertical, "joint": corner.joint.axial}


def softest_nut_height(corner: CornerNumbers) -> float:
    """Return the nut height [m] within the print at which the shaft is softest along its axis."""
    if corner.screw.shaft.ends != "fixed-fixed":
        return corner.nut_high
    return min(max(corner.screw.shaft.length / 2.0, corner.nut_low), corner.nut_high)


def axial_shares(corner: CornerNumbers) -> dict[str, float]:
    """Return the share (0 to 1) of each part in the axial compliance where the shaft is softest."""
    return axial_train.compliance_shares(axial_parts(corner, softest_nut_height(corner)))


def axial_stiffness(corner: CornerNumbers) -> float:
    """Return the stiffness [N/m] of the whole axial train where the shaft is softest."""
    return axial_train.series(list(axial_parts(corner, softest_nut_height(corner)).values()))


def _stiffness(at: AtCorner) -> RowValue:
    listed = sorted(axial_shares(at.corner).items(), key=lambda item: -item[1])
    note = "of the compliance: " + ", ".join(f"{name} {100 * s:.0f} %" for name, s in listed)
    return RowValue(axial_stiffness(at.corner), note=note)


def _sinking(at: AtCorner) -> RowValue:
    start, end = at.corner.bed_load
    return RowValue((end - start) / axial_stiffness(at.corner))


def _frequency(at: AtCorner) -> RowValue:
    return RowValue(axial_train.axial_frequency(axial_stiffness(at.corner), at.corner.moved_mass))


TRAIN = Subject(
    title="Axial train",
    rows=(
        Row(
            key="axial_stiffness",
            name="axial stiffness, softest",
            unit=unit.N_PER_UM,
            tell=_stiffness,
            formula="1/k = sum of 1/k_i",
            source="THK, rigidity of the feed screw system",
            low_is_worse=True,
        ),
        Row(
            key="sinking",
            name="sag under the part's weight",
            unit=unit.UM,
            tell=_sinking,
            formula="dF/k",
            source="Hooke's law",
            note="spread over the print as the part grows",
        ),
        Row(
            key="corner_frequency",
            name="frequency of the corner on its train",
            unit=unit.HERTZ,
            tell=_frequency,
            formula="sqrt(k/m)/(2 pi)",
            source="oscillator of one mass",
            note="one corner alone, rotor held by its field; `bedsim run` has the machine's own modes",
        ),
        Row(
            key="hanging_weight",
            name="weight that hangs on the screw",
            unit=unit.NEWTON,
            tell=lambda at: RowValue(max(at.corner.hanging)),
            formula="bed share + carriage + nut - counterweight",
            source="statics",
            note="at its heaviest",
        ),
    ),
)
