"""Rows about how long screw and nut last: rolling fatigue of a ball screw, wear of a plain nut."""

from __future__ import annotations

import math

from bedsim.sizing import life, loads, wear
from bedsim.sizing.numbers import CornerNumbers, Duty, ScrewNumbers
from bedsim.sizing.table import Check, above, below, shown
from bedsim.units import MPA, UM

SUBJECT = "Life"
HOUR = 3600.0

#: Static safety that screw catalogues ask for in smooth motion. Source: usual figures 1 to 2, from memory.
STATIC_SAFETY = 2.0


def life_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    """Rows of life for the kind of screw at hand."""
    return _ball_rows(corner, duty) if corner.screw.is_ball else _plain_rows(corner, duty)


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
    return life.turns_per_layer(duty.layer, duty.hop, screw.lead) * HOUR / duty.seconds_per_layer


def wear_hours(screw: ScrewNumbers, load: float, duty: Duty) -> tuple[float, float] | None:
    """Return the hours (at high, at low wear) until a plain nut has the given play, or None without its
    length.
    """
    if screw.nut_length is None:
        return None
    pressure = wear.thread_pressure(load, pitch_diameter=screw.contact_diameter, nut_length=screw.nut_length)
    hours = []
    for k in (duty.wear.wear_high, duty.wear.wear_low):
        travel = wear.travel_to_clearance(
            duty.wear_clearance,
            wear_coefficient=k,
            pressure=pressure,
            pitch_diameter=screw.contact_diameter,
            lead=screw.lead,
            flank_angle=screw.flank_angle,
        )
        hours.append(life.life_hours(travel / screw.lead, turns_per_hour(screw, duty)))
    return hours[0], hours[1]


def _ball_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    screw, rows = corner.screw, []
    load = mean_load(corner)
    hours = ball_life_hours(screw, load, duty)
    if hours is not None:
        rows.append(
            above(
                SUBJECT,
                "nominal life (90 % survive)",
                hours,
                duty.life_hours,
                "h",
                formula="(Ca/(fw Fm))^3 10^6 turns",
                source="ISO 3408-5; THK",
                corner=corner.name,
                note=f"mean load {load:.3g} N, {turns_per_hour(screw, duty):.3g} turns per hour; "
                "short strokes wear and fret instead: move the nut its whole way now and then",
            )
        )
    if screw.static_rating is not None:
        rows.append(
            above(
                SUBJECT,
                "static safety",
                life.static_safety(screw.static_rating, loads.largest_thrust(corner, duty)),
                STATIC_SAFETY,
                "",
                formula="C0a/F",
                source="ISO 3408-5; limit usual, from memory",
                corner=corner.name,
            )
        )
    if len(rows) < 2:
        rows.append(
            _unknown(
                corner,
                "ratings",
                "the maker's load ratings (sizing.dynamic_load_rating_n, sizing.static_load_rating_n)",
            )
        )
    return rows


def _unknown(corner: CornerNumbers, what: str, key: str) -> Check:
    return shown(
        SUBJECT,
        f"not computed: {what} not given",
        math.nan,
        "",
        formula="",
        source="",
        corner=corner.name,
        missing=key,
    )


def _plain_rows(corner: CornerNumbers, duty: Duty) -> list[Check]:
    screw = corner.screw
    if screw.nut_length is None:
        return [_unknown(corner, "nut length", "the plain nut's length (sizing.plain_nut_length_mm)")]
    load = mean_load(corner)
    pressure = wear.thread_pressure(
        loads.largest_thrust(corner, duty), pitch_diameter=screw.contact_diameter, nut_length=screw.nut_length
    )
    slide = wear.sliding_distance_per_turn(screw.contact_diameter, screw.lead) * duty.speed / screw.lead
    hours = wear_hours(screw, load, duty)
    assert hours is not None
    return [
        shown(
            SUBJECT,
            "pressure on the nut's flanks",
            pressure / MPA,
            "MPa",
            formula="F/(pi d2 m/2)",
            source="RoyMech power screws; ISO 2904",
            corner=corner.name,
        ),
        below(
            SUBJECT,
            "pressure x velocity of the plain nut",
            pressure * slide / MPA,
            duty.wear.pressure_velocity / MPA,
            "MPa m/s",
            formula="p sqrt((pi d2)^2 + l^2) n",
            source=duty.wear.status,
            corner=corner.name,
            note="at travel speed, as if it never stopped",
        ),
        above(
            SUBJECT,
            f"hours until {duty.wear_clearance / UM:.0f} µm of play",
            hours[0],
            duty.life_hours,
            "h",
            formula="h = k p s",
            source=f"Archard 1953; k: {duty.wear.status}",
            corner=corner.name,
            note=f"{_hours(hours[0])} to {_hours(hours[1])} h over the usual range of wear coefficients",
        ),
    ]


def _hours(value: float) -> str:
    return f"{value:.2g}" if value < 1e6 else f"{value:.1e}"
