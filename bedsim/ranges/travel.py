"""Bands over the machine's whole travel with what its uncertain numbers leave open, in numbers and words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from bedsim.analysis.printed import FLOOR, quantity, span
from bedsim.analysis.travel import TravelBands, printed_between, travel_bands, whole_travel
from bedsim.background import each
from bedsim.errors import BedsimError
from bedsim.ranges.draws import Draw, draws
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM
from bedsim.wall.visibility import Viewing, verdict, visible_between, wall_side

DRAWS = 20
"""Machines within the doubts that are followed: what is told are their 10 and 90 %."""
OUTER = (0.1, 0.9)

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class TravelRange:
    """Bands of the likely machine, and `low` and `high` (s,) m: 10 and 90 % of those of drawn ones, at each
    place of the nut (the likely ones where nothing is uncertain); `printed`: nuts (m) of this print, lowest
    and highest."""

    bands: TravelBands
    low: Array
    high: Array
    printed: tuple[float, float]

    @property
    def tells(self) -> bool:
        """Whether there is a band to speak of, and a wave of it on the travel."""
        return bool(self.bands.amplitude.max() >= FLOOR)


def travel_range(
    loaded: LoadedScenario, count: int = DRAWS, progress: Progress = lambda done: None
) -> TravelRange:
    """Bands over the whole travel, of the likely machine and of `count` drawn ones (0: of none).

    Drawn machines that cannot be computed are left out.  Raises ModelError or InputError where the likely
    one cannot.
    """
    likely = travel_bands(whole_travel(loaded))
    tried = draws(count, knowledge=loaded.knowledge) if loaded.ranges else ()
    works = [partial(_drawn, loaded, draw, likely) for draw in tried]
    found = [one for one in each(works, progress) if one is not None]
    low, high = np.quantile(found or [likely.amplitude], OUTER, axis=0)
    return TravelRange(bands=likely, low=low, high=high, printed=printed_between(loaded))


def _drawn(loaded: LoadedScenario, draw: Draw, likely: TravelBands) -> Array | None:
    """Amplitudes of a drawn machine where the likely one's are told; None where it cannot be computed."""
    try:
        drawn = travel_bands(whole_travel(loaded.with_values(draw.values(loaded.ranges))))
    except BedsimError:
        return None
    return np.asarray(np.interp(likely.nut[::-1], drawn.nut[::-1], drawn.amplitude[::-1])[::-1])


def travel_sentence(found: TravelRange) -> str:
    """The band over the whole travel and over this print; "" where there is none."""
    if not found.tells:
        return ""
    bands = found.bands
    top, k = float(bands.amplitude.max()), bands.worst
    text = (
        f"Whole travel (nuts at {_mm(bands.nut[0])} to {_mm(bands.nut[-1])} mm, without friction): bands of "
        f"the lead of {span(float(bands.amplitude.min()), top, 'm')} amplitude, most with the nuts at "
        f"{_mm(bands.nut[k])} mm ({bands.place[k]}{_open(found, k)}): {_sighting(bands)}"
    )
    here = bands.within(*found.printed)
    if here.size < bands.amplitude.size:
        text += f". On this print's stretch: up to {quantity(float(here.max()), 'm')}"
    return f"{text}."


def travel_told(loaded: LoadedScenario, count: int = 0) -> str:
    """The sentence of a machine, or why there is none."""
    try:
        return travel_sentence(travel_range(loaded, count))
    except BedsimError as fault:
        return f"Not followed over the whole travel: {fault}"


def _sighting(bands: TravelBands) -> str:
    """Whether the band is seen where it is largest, on a wall as wide as the tallest print is high."""
    k, viewing = bands.worst, Viewing(side=wall_side(bands.height))
    low, high = (float(edge) for edge in visible_between(bands.wavelength[k], viewing))
    return f"{verdict(float(bands.amplitude[k]), low, high)} (smallest visible {span(low, high, 'm')})"


def _open(found: TravelRange, k: int) -> str:
    low, high = float(found.low[k]), float(found.high[k])
    return "" if low == high else f"; {span(low, high, 'm')} within the doubts, 10 to 90 %"


def _mm(length: float) -> str:
    return f"{length / MM:.0f}"
