"""Keys for living with the machine: how much it prints, how its nuts run, what a choice weighs.

All are optional; `bedsim size --upkeep` reads them, and the wear and life of plain `bedsim size` count the
hops, the lubrication and the dirt given here.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator
from pydantic_core import PydanticCustomError

from bedsim.scenario.section import NonNegative, Positive, Section

FIRST_YEAR, LAST_YEAR = 1900, 2200


def _as_text(value: Any) -> Any:
    """TOML has days of its own, without quotes."""
    is_day = isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)
    return value.isoformat() if is_day else value


class Weights(Section):
    """What the user's choice between machines weighs; all 0: a table without a score."""

    error: NonNegative = 0.0
    """Weight of the error, sideways and in height, each against the best."""
    hold: NonNegative = 0.0
    """Weight of the torque that holds the bed without current, over what is needed."""
    back_driving: NonNegative = 0.0
    """Weight of the friction there is, over that below which the load turns the screw."""
    load: NonNegative = 0.0
    """Weight of the margin of the push against half the buckling load."""
    life: NonNegative = 0.0
    """Weight of the life of screw or nut."""
    upkeep: NonNegative = 0.0
    """Weight of the jobs a year."""
    noise: NonNegative = 0.0
    """Weight of the difference in level; only between ball screws is one known."""
    price: NonNegative = 0.0
    """Weight of the price, from [prices]."""


class Upkeep(Section):
    """How the machine is used and looked after, for `bedsim size --upkeep`."""

    prints_a_month: Annotated[float, Field(gt=0, le=1000)] = 8.0
    """Prints in a month, assumed if not given."""
    print_height_mm: Annotated[float, Field(gt=0, le=2000)] | None = None
    """Mean height of these prints, at the layer of `print`; default: the height of `print`."""
    hops_per_layer: Annotated[float, Field(ge=0, le=10000)] = 0.0
    """Hops while a layer is printed, beside motion.z_hop_mm at the layer change; `bedsim size` counts
    them in wear and life."""
    hop_mm: Annotated[float, Field(gt=0, le=100)] = 0.5
    """How far the bed is lowered in such a hop."""
    first_date: Annotated[str, BeforeValidator(_as_text)] | None = None
    """Day from which the calendar counts, YYYY-MM-DD; default: none, it counts months."""
    nut_runs: Literal["greased", "oiled", "dry"] | None = None
    """Plain nut: how it runs; default: greased on bronze, dry on plastics. `bedsim size` counts it."""
    dirt: Literal["clean", "open", "dusty"] = "clean"
    """Plain nut: covered and clean, open, or in dust; `bedsim size` counts it in wear."""
    ball_diameter_mm: Positive | None = None
    """Ball screw: diameter of its balls; default: 0.6 of the lead, at most a fifth of the screw (assumed)."""
    contact_angle_deg: Annotated[float, Field(ge=20, le=70)] = 45.0
    """Ball screw: angle at which its balls touch their grooves."""
    guide_load_rating_n: Positive | None = None
    """Profile rail: the maker's dynamic load rating of a corner's carriage, for 50 km."""
    weights: Weights = Weights()
    """What a choice between machines weighs."""

    @field_validator("first_date")
    @classmethod
    def _is_a_day(cls, value: str | None) -> str | None:
        if value is None:
            return None
        try:
            day = datetime.date.fromisoformat(value)
        except ValueError:
            day = None
        if day is None or len(value) != 10 or not FIRST_YEAR <= day.year <= LAST_YEAR:
            rule = f"must be a day YYYY-MM-DD of the years {FIRST_YEAR} to {LAST_YEAR}"
            raise PydanticCustomError("day", "{rule}", {"rule": rule})
        return value
