"""How much a machine is used: prints, layers, strokes, travel and hours in a month."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedsim.model.convert import stations_of
from bedsim.number_text import number
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.upkeep_keys import Upkeep
from bedsim.sizing import life
from bedsim.sizing.numbers import Duty
from bedsim.units import MM

DAYS_A_MONTH = 365.25 / 12
HOUR = 3600.0
MANY_YEARS = 1000.0
"""Beyond it a life is told as more than so many: no formula of wear or fatigue is meant for longer."""


def years_words(months: float) -> str:
    """A time in years for reading."""
    years = months / 12.0
    return f"more than {MANY_YEARS:,.0f} years" if years > MANY_YEARS else f"{number(years, 2)} years"


def span_words(first: float, last: float) -> str:
    """A span of months for reading, in years from two on."""
    if last >= 24.0:
        low, high = years_words(first), years_words(last)
        return low if low == high else f"{low.removesuffix(' years')} to {high}"
    low, high = number(first, 2), number(last, 2)
    return f"{low} months" if low == high else f"{low} to {high} months"


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """SI but for counts a month; `travel` m and `strokes` of a nut, `hours`, all of one print."""

    prints: float
    layers: float
    strokes: float
    travel: float
    hours: float
    longest_stroke: float

    @property
    def travel_a_month(self) -> float:
        """Way of a nut, up and down, m."""
        return self.prints * self.travel

    @property
    def hours_a_month(self) -> float:
        """Hours of printing."""
        return self.prints * self.hours

    def months_of_travel(self, travel: float) -> float:
        """Months until a nut has gone so far (m)."""
        return travel / self.travel_a_month

    def months_of_hours(self, hours: float) -> float:
        """Months until so many hours were printed."""
        return hours / self.hours_a_month


def upkeep_of(loaded: LoadedScenario) -> Upkeep:
    """The scenario's upkeep table, or one with nothing given."""
    return loaded.scenario.upkeep or Upkeep()


def use_of(loaded: LoadedScenario, duty: Duty) -> Use:
    """What the keys of `upkeep` make of the print; a stroke is one move of a layer or a hop."""
    keys, printed = upkeep_of(loaded), stations_of(loaded.scenario)
    high = keys.print_height_mm
    layers = printed.count if high is None else max(high * MM / float(printed.thickness.mean()), 1.0)
    hops = keys.hops_per_layer + float(np.mean(printed.hop > 0))
    longest = max(
        float(np.maximum(printed.thickness, printed.hop).max()), keys.hop_mm * MM * (keys.hops_per_layer > 0)
    )
    return Use(
        prints=keys.prints_a_month,
        layers=layers,
        strokes=layers * (1.0 + hops),
        travel=layers * life.turns_per_layer(duty.way, 1.0),
        hours=layers * duty.seconds_per_layer / HOUR,
        longest_stroke=longest,
    )
