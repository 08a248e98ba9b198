"""Rows about the screw: column, turning speed, unloading, and what holds it where its motor does."""

from __future__ import annotations

import math

from bedsim.sizing import buckling, critical_speed, loads, unit
from bedsim.sizing.numbers import CornerNumbers, ScrewNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import GRAVITY, MM

MOTOR_PUSHED = "motor_pushed"


def axial_play(screw: ScrewNumbers) -> float:
    """Return how far [m] a screw's corner goes when its load changes sign.

    A plain nut with radial clearance c about its screw has c tan(beta) along the screw to either flank
    (derived: flanks at the angle beta from the plane across the axis).
    """
    return screw.axial_play + 2.0 * screw.clearance * math.tan(screw.nut.flank_angle)


def _in_bearings(at: AtCorner) -> bool:
    return at.corner.screw.shaft.motor_end is None


def _on_motor(at: AtCorner) -> bool:
    return not _in_bearings(at)


def _motor_limited(at: AtCorner) -> bool:
    return _on_motor(at) and at.corner.motor.axial_limit is not None


def _on_balls(at: AtCorner) -> bool:
    return at.corner.screw.is_ball


def _loose(at: AtCorner) -> bool:
    return axial_play(at.corner.screw) != 0.0


def _critical(corner: CornerNumbers) -> tuple[float, float]:
    """Least buckling load [N] over the travel, and the nut height [m] at which it is."""
    return buckling.critical_load(corner.screw.shaft, corner.nut_low, corner.nut_high)


def _buckling(at: AtCorner) -> RowValue:
    load, height = _critical(at.corner)
    beyond = (
        "beyond it the screw leans on its nut, which guide and joint must hold upright"
        if at.corner.screw.shaft.leans
        else "bedsim run refuses from this load on"
    )
    note = f"least over the travel, at a nut height of {height / MM:.0f} mm; nut and guide do not count; "
    return RowValue(load, note=note + beyond)


def _column(at: AtCorner) -> RowValue:
    screw = at.corner.screw
    free = at.corner.nut_high if screw.shaft.ends == "fixed-free" else screw.shaft.length
    printed = buckling.permissible_column_load(
        youngs_modulus=screw.shaft.youngs_modulus,
        root_diameter=screw.shaft.root_diameter,
        free_length=free,
        ends=screw.shaft.ends,
    )
    push, critical = loads.largest_thrust(at.corner, at.duty), _critical(at.corner)[0]
    beyond = "beyond the buckling load: nut and guide alone keep it upright; " if push > critical else ""
    return RowValue(
        push,
        buckling.CATALOGUE_FACTOR * critical,
        note=f"{beyond}makers' 0.5 N pi^2 E I/L^2 of {free / MM:.0f} mm, {screw.shaft.ends}, rigid bearings: "
        f"{printed:.0f} N",
    )


def _compression(at: AtCorner) -> RowValue:
    limit = buckling.permissible_compression(root_diameter=at.corner.screw.shaft.root_diameter)
    return RowValue(loads.largest_thrust(at.corner, at.duty), limit)


def first_bending(screw: ScrewNumbers) -> float:
    """Return the first bending frequency [Hz] of the bare screw, on rigid bearings or on its motor."""
    if screw.shaft.motor_end is not None:
        return critical_speed.first_frequency_on_bearings(screw.shaft)
    return critical_speed.first_bending_frequency(
        youngs_modulus=screw.shaft.youngs_modulus,
        density=screw.shaft.density,
        root_diameter=screw.shaft.root_diameter,
        free_length=screw.shaft.length,
        ends=screw.shaft.ends,
    )


def _critical_speed(at: AtCorner) -> RowValue:
    return RowValue(first_bending(at.corner.screw))


def _turning_speed(at: AtCorner) -> RowValue:
    limit = critical_speed.permissible_speed(first_bending(at.corner.screw))
    return RowValue(at.duty.speed / at.corner.screw.shaft.lead, limit)


def _speed_diameter(at: AtCorner) -> RowValue:
    screw = at.corner.screw
    value = critical_speed.speed_diameter(
        turns_per_second=at.duty.speed / screw.shaft.lead, ball_circle_diameter=screw.contact_diameter
    )
    if screw.speed_diameter_limit is not None:
        return RowValue(value, screw.speed_diameter_limit, words={"authority": "limit given"})
    return RowValue(
        value,
        critical_speed.SPEED_DIAMETER_LIMIT,
        note="76 200 with external return, 140 000 with internal: give the maker's as "
        "sizing.speed_diameter_mm_rpm",
        words={"authority": "Engineers Edge, low end of all"},
    )


def _slenderness(at: AtCorner) -> RowValue:
    value = at.corner.screw.shaft.length / at.corner.screw.shaft.diameter
    asked = value > critical_speed.SLENDERNESS_ASKED
    return RowValue(
        value,
        critical_speed.SLENDERNESS_LIMIT,
        note=f"sag of a lying screw; its maker asks from {critical_speed.SLENDERNESS_ASKED:g} on"
        + (": how straight does it arrive and stay?" if asked else ""),
    )


def _unloading(at: AtCorner) -> RowValue:
    left = min(at.corner.hanging) - at.corner.guide_friction
    limit = left / at.corner.moved_mass
    return RowValue(at.duty.acceleration, limit, missing="weight on the nut" if left <= 0 else "")


def _pushed(at: AtCorner) -> RowValue:
    limit = at.corner.motor.axial_limit
    assert limit is not None
    push = loads.largest_thrust(at.corner, at.duty) + at.corner.screw.shaft.mass * GRAVITY
    return RowValue(push, limit, missing="a thrust bearing under the screw" if push > limit else "")


SCREW = Subject(
    title="Screw",
    rows=(
        Row(
            key="buckling_load",
            name="buckling load",
            unit=unit.NEWTON,
            tell=_buckling,
            formula="P_cr of the span from thrust bearing to nut, on its bearings",
            source="exact beam-column (Timoshenko)",
            low_is_worse=True,
        ),
        Row(
            key="column_push",
            name="push against half the buckling load",
            unit=unit.NEWTON,
            tell=_column,
            stays="below",
            formula="0.5 P_cr of the span from thrust bearing to nut, on its bearings",
            source="exact beam-column (Timoshenko); 0.5: MISUMI p. 1676; THK A15-30",
        ),
        Row(
            key="compression",
            name="push against compression of the root",
            unit=unit.NEWTON,
            tell=_compression,
            stays="below",
            formula="147 MPa pi d^2/4",
            source="THK A15-30",
        ),
        *(
            row
            for where, formula, source, note in (
                (
                    _in_bearings,
                    "(beta L)^2/(2 pi L^2) sqrt(E I/(rho A))",
                    "MISUMI p. 1677",
                    "bare screw on rigid bearings",
                ),
                (
                    _on_motor,
                    "f_1 of the beam on its springs",
                    "finite elements; 0.8: MISUMI p. 1677",
                    "bare screw on coupling and motor as they yield; its nut holds it too",
                ),
            )
            for row in (
                Row(
                    key="critical_speed",
                    name="critical speed",
                    unit=unit.RPM,
                    tell=_critical_speed,
                    where=where,
                    formula=formula,
                    source=source,
                    note=note,
                    low_is_worse=True,
                ),
                Row(
                    key="turning_speed",
                    name="turning speed against 0.8 of critical",
                    unit=unit.RPM,
                    tell=_turning_speed,
                    where=where,
                    stays="below",
                    formula=f"0.8 {formula}",
                    source=source,
                    note=note,
                ),
            )
        ),
        Row(
            key="speed_diameter",
            name="speed x diameter",
            unit=unit.MM_RPM,
            tell=_speed_diameter,
            where=_on_balls,
            stays="below",
            formula="D n",
            source="{authority}",
        ),
        Row(
            key="slenderness",
            name="free length over diameter",
            unit=unit.ONE,
            tell=_slenderness,
            stays="below",
            formula="L/d",
            source="a ball screw maker's rule",
        ),
        Row(
            key="unloading",
            name="deceleration against unloading of the nut",
            unit=unit.MM_S2,
            tell=_unloading,
            stays="below",
            formula="(F - guide friction)/m",
            source="Newton's second law",
            note="beyond it play in nut and thrust bearing opens",
        ),
        Row(
            key="axial_play",
            name="jump in height if a screw is unloaded",
            unit=unit.UM,
            tell=lambda at: RowValue(axial_play(at.corner.screw)),
            where=_loose,
            formula="axial play + 2 c tan(beta)",
            source="geometry of the thread; derived",
            note="the weight keeps play shut below the deceleration above; no run follows it open",
        ),
        Row(
            key=MOTOR_PUSHED,
            name="push on the motor's bearings",
            unit=unit.NEWTON,
            tell=_pushed,
            where=_motor_limited,
            stays="below",
            formula="F + weight of the screw",
            source="motor.axial_force_limit_n",
            note="the motor's own bearings carry bed and screw",
        ),
    ),
)
