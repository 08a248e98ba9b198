"""What a sweep says: probabilities with two intervals, price and quality, enough members."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from bedsim.analysis.summary import is_choice
from bedsim.results.sweep import CellResult, Doubt, SweepResult

Array = NDArray[np.float64]

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


def wilson(successes: ArrayLike, members: ArrayLike, confidence: float) -> tuple[Array, Array]:
    """Wilson's interval of a probability from `successes` out of `members` at a two-sided `confidence`.

    (p + z^2/2n -+ z sqrt(p (1 - p)/n + z^2/4n^2)) / (1 + z^2/n).  Source: [WILSON].  It holds what the finite
    number of printers leaves open, nothing else.
    """
    k, n = np.asarray(successes, dtype=float), np.asarray(members, dtype=float)
    z = ndtri((1 + confidence) / 2)
    p = k / n
    middle = p + z**2 / (2 * n)
    half = z * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    scale = 1 + z**2 / n
    low = np.where(k == 0, 0.0, (middle - half) / scale)  # rounding would leave 1e-18 there
    return low, np.where(k == n, 1.0, (middle + half) / scale)


def members_to_decide(probability: float, wanted: float, confidence: float) -> int:
    """Fewest printers for which Wilson's interval around a `probability` leaves a `wanted` one out.

    n = z^2 w (1 - w)/(p - w)^2, rounded up: the interval holds every w with |p - w| <= z sqrt(w (1 - w)/n).
    Source: [WILSON].  Both between 0 and 1 and not equal.
    """
    z = ndtri((1 + confidence) / 2)
    return math.floor(z**2 * wanted * (1 - wanted) / (probability - wanted) ** 2) + 1


def lot_interval(
    probability: float, own: NDArray[np.bool_], others: NDArray[np.bool_], confidence: float
) -> tuple[float, float]:
    """Interval of a probability for what is not known of the lot.

    Every alternative lot (others: lots, k) is put through the same k printers' luck as the lot itself (k,);
    the central `confidence` of the differences of their shares is added to `probability`.  NaN without
    alternatives.  A new lot lies below the i-th smallest of k with i/(k + 1) (order statistics, derived), so
    the quantiles count by that; k lots can hold no more than (k - 1)/(k + 1), 0.95 from 39 on.
    """
    return shifted(probability, others.mean(axis=1) - own.mean() if others.size else np.zeros(0), confidence)


def shifted(probability: float, shift: Array, confidence: float) -> tuple[float, float]:
    """Interval of a probability from differences (k,) drawn, see `lot_interval`; NaN without any."""
    if not shift.size or not np.isfinite(probability):
        return (float("nan"), float("nan"))
    ends = [(1 - confidence) / 2, (1 + confidence) / 2]
    low, high = np.quantile(shift, ends, method="weibull")
    return float(np.clip(probability + min(low, 0.0), 0, 1)), float(
        np.clip(probability + max(high, 0.0), 0, 1)
    )


def quantiles(figures: Array) -> Array:
    """Quantiles (q, metrics) at `LEVELS` of figures (m, metrics), linear between order statistics."""
    return np.quantile(figures, LEVELS, axis=0)


def front(prices: Sequence[float], qualities: Sequence[float]) -> list[int]:
    """Indices of the cells that no other beats in both price and quality, cheapest first.

    NaN prices and qualities stay out; of equal cells the first is kept.
    """
    order = [
        i
        for i in sorted(range(len(prices)), key=lambda i: (prices[i], -qualities[i]))
        if np.isfinite(prices[i]) and np.isfinite(qualities[i])
    ]
    found: list[int] = []
    for i in order:
        if not found or qualities[i] > qualities[found[-1]]:
            found.append(i)
    return found


def enough_drawn(cell: CellResult, result: SweepResult) -> bool:
    """Whether the lower end of Wilson's interval reaches the wanted probability: with lot and machine as
    likely.

    Said of a cell that falls just short in (1 - confidence)/2 of sweeps: one in forty at 0.95.
    """
    return bool(np.isfinite(cell.probability) and cell.wilson[0] >= result.wanted_probability)


def good_enough(cell: CellResult, result: SweepResult) -> bool:
    """Whether the lower end of the interval for luck, lot and machine together reaches it as well."""
    return enough_drawn(cell, result) and not cell.whole_interval[0] < result.wanted_probability


def cheapest(
    result: SweepResult, good: Callable[[CellResult, SweepResult], bool] = good_enough
) -> CellResult | None:
    """The cheapest cell with a price that is good enough, or None; of equal prices the likelier."""
    found = [c for c in result.cells if good(c, result) and np.isfinite(c.price)]
    return min(found, key=lambda c: (c.price, -c.probability)) if found else None


def turning(result: SweepResult) -> CellResult:
    """The cell that the choice turns on: the cheapest that would do with lot and machine as likely, else the
    likeliest; without a target the one with the least median lateral error."""
    if not has_target(result):
        column = result.metrics.index("lateral_pv")
        return min(result.cells, key=lambda c: float(np.median(c.figures[:, column])))
    would = cheapest(result, enough_drawn)
    return max(result.cells, key=lambda c: c.probability) if would is None else would


def to_measure(doubt: Doubt) -> list[int]:
    """Places of the keys that are conditions, most worth measuring first; a measured one never heads them."""
    order = [k for k, key in enumerate(doubt.keys) if not is_choice(key)]
    order.sort(key=lambda k: doubt.basis[k] == "measured")
    return order if order and doubt.basis[order[0]] != "measured" else []


def to_choose(doubt: Doubt) -> list[int]:
    """Places of the keys that a builder sets: a number for them is chosen, not read."""
    return [k for k, key in enumerate(doubt.keys) if is_choice(key)]


def has_target(result: SweepResult) -> bool:
    """Whether anything is asked of the print."""
    return bool(np.isfinite(result.lateral_target) or np.isfinite(result.height_target))
