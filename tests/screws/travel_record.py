"""A drawn screw's travel, and a travel record judged as the screw standards judge it.

The record of travel deviation is compared with its least-squares line: the line's deviation at the end of
the useful travel is held against ep, the width of the band of the rest against vup, v300 (worst 300 mm)
and v2pi (worst turn).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bedsim.screws.drawn import DrawnScrew, DrawnScrews, slow_deviation
from bedsim.screws.standard_evaluation import largest_change, positions, widest_in_window
from bedsim.units import MM

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TravelEvaluation:
    """Travel of one or many screws, shape (...,) [m]; slope [m/m].

    `mean_error`: fitted line over the useful travel, signed (against ep).  `vu`, `v300`, `v2pi`: widths of
    the band parallel to that line.  `change_300`: largest change of the deviation over 300 mm (against
    travel_300).
    """

    slope: Array
    mean_error: Array
    vu: Array
    v300: Array
    v2pi: Array
    change_300: Array


def travel_deviation(screws: DrawnScrew | DrawnScrews, position: ArrayLike) -> Array:
    """Travel deviation [m] at `position` [m], the screw turning by 2 pi per lead; shapes as
    `centreline`."""
    s = np.asarray(position, dtype=float)
    once = np.asarray(screws.once_per_turn)[..., None] * np.exp(2j * np.pi * s / screws.lead)
    return np.asarray(np.asarray(screws.slope)[..., None] * s + slow_deviation(screws, s) + once.real)


def evaluate_travel(position: ArrayLike, deviation: ArrayLike, lead: float) -> TravelEvaluation:
    """Evaluate travel deviation against its least-squares line.

    Parameters
    ----------
    position : shape (n,) [m], increasing, over the useful travel
    deviation : shape (..., n) [m]
    lead : [m]; at least eight points must fall on a turn or v2pi is too small

    Where the useful travel is shorter than 300 mm, v300 and change_300 are taken over the whole of it.
    Raises InputError for fewer than three positions or positions that do not increase.
    Source: [REXROTH83301] p. 81 and [ISO3408-3] for the definitions of e, vu, v300, v2pi.
    """
    s = positions(position)
    d = np.asarray(deviation, dtype=float)
    centred = s - s.mean()
    slope = d @ centred / (centred @ centred)
    rest = d - d.mean(axis=-1, keepdims=True) - slope[..., None] * centred
    return TravelEvaluation(
        slope=slope,
        mean_error=slope * (s[-1] - s[0]),
        vu=np.ptp(rest, axis=-1),
        v300=widest_in_window(s, rest, 300 * MM),
        v2pi=widest_in_window(s, rest, lead),
        change_300=largest_change(s, d, _whole_turns(s[-1] - s[0], lead)),
    )


def _whole_turns(record: float, lead: float) -> float:
    """Whole turns next to 300 mm; if the record is shorter, those it holds (less than one turn: all of
    it).
    """
    turns = round(300 * MM / lead)
    if turns * lead > record * (1 + 1e-9):
        turns = math.floor(record / lead * (1 + 1e-9))
    return turns * lead or record
