"""Machines side by side over their whole travel: where a change pays, and where it does not."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from bedsim.analysis.printed import FLOOR, rounded
from bedsim.analysis.travel import TravelBands
from bedsim.comparison.compared import Comparison
from bedsim.ranges.travel import TravelRange, travel_sentence


def travel_lines(comparison: Comparison, found: Sequence[TravelRange]) -> list[str]:
    """Each machine's band over its travel, of the first ones that are followed, then what each leaves of the
    first's."""
    labels = comparison.labels[: len(found)]
    own = [f"{label}: {travel_sentence(t)}" for label, t in zip(labels, found, strict=True) if t.tells]
    return [*own, *_left(labels, found)]


def left_of(first: TravelBands, other: TravelBands) -> tuple[float, float]:
    """Least and largest part of the first machine's band that another has, where both have the nut; NaN where
    there is none."""
    nuts = other.nut
    there = (first.nut >= nuts.min()) & (first.nut <= nuts.max()) & (first.amplitude >= FLOOR)
    if not there.any():
        return math.nan, math.nan
    own = np.interp(first.nut[there], nuts[::-1], other.amplitude[::-1])
    ratio = own / first.amplitude[there]
    return float(ratio.min()), float(ratio.max())


def _left(labels: Sequence[str], found: Sequence[TravelRange]) -> list[str]:
    parts = [left_of(found[0].bands, other.bands) for other in found[1:]]
    return [
        f"Of the band of {labels[0]}, {label} leaves {_percent(low)} to {_percent(high)}, by where the nuts "
        "stand."
        for label, (low, high) in zip(labels[1:], parts, strict=True)
        if not math.isnan(low)
    ]


def _percent(ratio: float) -> str:
    return f"{rounded(100 * ratio)} %"
