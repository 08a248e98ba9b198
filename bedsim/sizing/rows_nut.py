"""Rows about how long screw and nut last: rolling fatigue of a ball screw, wear of a plain nut."""

from __future__ import annotations

import math

from bedsim.number_text import number
from bedsim.sizing import life, loads, unit, wear
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers
from bedsim.sizing.rows import AtCorner, Row, RowValue, Subject
from bedsim.units import UM

#: Static safety that screw catalogues ask for in smooth motion. Source: usual figures 1 to 2, from memory.
STATIC_SAFETY = 2.0

HOUR = unit.HOUR.si


def mean_load(corner: CornerNumbers) -> float:
    """Return the cubic mean [N] of the weights at the first and the last layer, guide friction added."""
    start, end = corner.hanging
    return life.cubic_mean_load([start + corner.guide_friction, end + corner.guide_friction], [1.0, 1.0])


def ball_life_hours(screw: ScrewNumbers, load: float, duty: Duty) -> float | None:
    """Return the L10 hours at the print's duty, or None without a rating."""
    if screw.dynamic_rating is None:
        return None
    turns = life.nominal_life_turns(screw.dynamic_rating, load, screw.load_factor)
    return life.life_hours(turns, turns_per_hour(screw, duty))


def turns_per_hour(screw: ScrewNumbers, duty: Duty) -> float:
    """Return the turns of the screw per hour of printing."""
    return life.turns_per_layer(duty.way, screw.shaft.lead) * HOUR / duty.seconds_per_layer


def wear_hours(screw: ScrewNumbers, load: float, duty: Duty) -> tuple[float, float] | None:
    """Return the hours (at high, at low wear) until a plain nut has the given play, or None without its
    length.
    """
    found = wear_travel(screw, load, duty)
    if found is None:
        return None
    hours = [life.life_hours(travel / screw.shaft.lead, turns_per_hour(screw, duty)) for travel in found]
    return hours[0], hours[1]


def wear_travel(screw: ScrewNumbers, load: float, duty: Duty) -> tuple[float, float] | None:
    """Return the travel [m] (at high, at low wear) until a plain nut has the given play, or None without its
    length."""
    if screw.nut_length is None:
        return None
    pressure = _pressure(screw, load)
    high, low = (
        wear.travel_to_clearance(
            duty.wear_clearance,
            wear_coefficient=k,
            pressure=pressure,
            pitch_diameter=screw.contact_diameter,
            lead=screw.shaft.lead,
            flank_angle=screw.nut.flank_angle,
        )
        for k in (duty.wear.wear_high, duty.wear.wear_low)
    )
    return high, low


def _pressure(screw: ScrewNumbers, load: float) -> float:
    """Pressure [Pa] of a load [N] on the flanks of a plain nut whose length is given."""
    assert screw.nut_length is not None
    return wear.thread_pressure(load, pitch_diameter=screw.contact_diameter, nut_length=screw.nut_length)


def _rated(at: AtCorner) -> bool:
    return at.corner.screw.is_ball and at.corner.screw.dynamic_rating is not None


def _statically_rated(at: AtCorner) -> bool:
    return at.corner.screw.is_ball and at.corner.screw.static_rating is not None


def _unrated(at: AtCorner) -> bool:
    return at.corner.screw.is_ball and not (_rated(at) and _statically_rated(at))


def _measured_nut(at: AtCorner) -> bool:
    return not at.corner.screw.is_ball and at.corner.screw.nut_length is not None


def _unmeasured_nut(at: AtCorner) -> bool:
    return not at.corner.screw.is_ball and at.corner.screw.nut_length is None


def _fatigue(at: AtCorner) -> RowValue:
    load = mean_load(at.corner)
    hours = ball_life_hours(at.corner.screw, load, at.duty)
    assert hours is not None
    return RowValue(
        hours * HOUR,
        at.duty.life_hours * HOUR,
        note=f"mean load {number(load)} N, {number(turns_per_hour(at.corner.screw, at.duty))} turns per "
        f"hour; "
        "short strokes wear and fret instead: move the nut its whole way now and then",
    )


def _static_safety(at: AtCorner) -> RowValue:
    rating = at.corner.screw.static_rating
    assert rating is not None
    return RowValue(life.static_safety(rating, loads.largest_thrust(at.corner, at.duty)), STATIC_SAFETY)


def _flank_pressure(at: AtCorner) -> float:
    return _pressure(at.corner.screw, loads.largest_thrust(at.corner, at.duty))


def _pressure_velocity(at: AtCorner) -> RowValue:
    screw, duty = at.corner.screw, at.duty
    slide = (
        wear.sliding_distance_per_turn(screw.contact_diameter, screw.shaft.lead)
        * duty.speed
        / screw.shaft.lead
    )
    value = _flank_pressure(at) * slide
    return RowValue(value, duty.wear.pressure_velocity, words={"status": duty.wear.status})


def _worn(at: AtCorner) -> RowValue:
    duty = at.duty
    hours = wear_hours(at.corner.screw, mean_load(at.corner), duty)
    assert hours is not None
    return RowValue(
        hours[0] * HOUR,
        duty.life_hours * HOUR,
        note=f"{_hours(hours[0])} to {_hours(hours[1])} h over the usual range of wear coefficients",
        words={"play": f"{duty.wear_clearance / UM:.0f}", "status": duty.wear.status},
    )


def _hours(value: float) -> str:
    return number(value, 2)


LIFE = Subject(
    title="Life",
    rows=(
        Row(
            key="nominal_life",
            name="nominal life (90 % survive)",
            unit=unit.HOUR,
            tell=_fatigue,
            where=_rated,
            stays="above",
            formula="(Ca/(fw Fm))^3 10^6 turns",
            source="ISO 3408-5; THK",
        ),
        Row(
            key="static_safety",
            name="static safety",
            unit=unit.ONE,
            tell=_static_safety,
            where=_statically_rated,
            stays="above",
            formula="C0a/F",
            source="ISO 3408-5; limit usual, from memory",
        ),
        Row(
            key="ratings_missing",
            name="life and static safety",
            unit=unit.ONE,
            tell=lambda at: RowValue(
                math.nan,
                missing="the maker's load ratings "
                "(sizing.dynamic_load_rating_n, sizing.static_load_rating_n)",
            ),
            where=_unrated,
            formula="",
            source="",
        ),
        Row(
            key="nut_length_missing",
            name="pressure and wear of the nut",
            unit=unit.ONE,
            tell=lambda at: RowValue(math.nan, missing="the plain nut's length (sizing.plain_nut_length_mm)"),
            where=_unmeasured_nut,
            formula="",
            source="",
        ),
        Row(
            key="flank_pressure",
            name="pressure on the nut's flanks",
            unit=unit.MPA,
            tell=lambda at: RowValue(_flank_pressure(at)),
            where=_measured_nut,
            formula="F/(pi d2 m/2)",
            source="RoyMech power screws; ISO 2904",
        ),
        Row(
            key="pressure_velocity",
            name="pressure x velocity of the plain nut",
            unit=unit.MPA_M_S,
            tell=_pressure_velocity,
            where=_measured_nut,
            stays="below",
            formula="p sqrt((pi d2)^2 + l^2) n",
            source="{status}",
            note="at travel speed, as if it never stopped",
        ),
        Row(
            key="wear_life",
            name="hours until {play} µm of play",
            unit=unit.HOUR,
            tell=_worn,
            where=_measured_nut,
            stays="above",
            formula="h = k p s",
            source="Archard 1953; k: {status}",
        ),
    ),
)
