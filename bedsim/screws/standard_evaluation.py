"""A centreline judged as the screw standards judge it, and the widest band of a record in a window.

The centreline is compared with the straight line through its ends: the axis about which a screw turns when it
lies on two supports there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bedsim.errors import InputError

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CentrelineEvaluation:
    """Run-out of one or many screws as total indicator readings, shape (...,) [m].

    `lower_end`, `upper_end`: against the axis of rotation (against thread_run_out).  `total`: the largest
    anywhere, against the axis of rotation.  `straightness`: the largest against the line through the ends
    (against t5max). `local`: largest growth of that run-out over the length l5 (against t5p).
    """

    lower_end: Array
    upper_end: Array
    total: Array
    straightness: Array
    local: Array


def evaluate_centreline(
    position: ArrayLike, offset: ArrayLike, straightness_length: float
) -> CentrelineEvaluation:
    """Evaluate a centreline r(s) = x + jy against the axis of rotation and against the line through its
    ends.

    Parameters
    ----------
    position : shape (n,) [m], increasing, from end to end
    offset : shape (..., n) complex [m], against the axis of rotation
    straightness_length : l5 [m], see `grades.straightness_length`

    `local` is 2 max |rho(s + w) - rho(s)|, rho being the offset from the line through the ends and w = l5
    or half the length, whichever is shorter.  The standard's text was not at hand; this reading makes a
    screw of four l5 with a kink at mid-length meet t5p and t5max = 2 t5p (grades 1 to 7, short screws) at
    once, as the printed tables suggest. A screw held at one end swings the free end far more than
    `straightness`: see `total`.
    """
    s = positions(position)
    r = np.asarray(offset, dtype=complex)
    length = s[-1] - s[0]
    chord = r[..., :1] + (r[..., -1:] - r[..., :1]) * ((s - s[0]) / length)
    bent = r - chord
    return CentrelineEvaluation(
        lower_end=2 * np.abs(r[..., 0]),
        upper_end=2 * np.abs(r[..., -1]),
        total=2 * np.abs(r).max(axis=-1),
        straightness=2 * np.abs(bent).max(axis=-1),
        local=2 * largest_change(s, bent, min(straightness_length, length / 2)),
    )


def widest_in_window(position: Array, values: Array, window: float) -> Array:
    """Largest maximum-minus-minimum of `values` (..., n) within any stretch of length `window` [m].

    Maxima over 1, 2, 4, ... samples are built up once; two of them cover any stretch.
    """
    low, high = _windows(position, window)
    widest = np.zeros(values.shape[:-1])
    top, bottom, width = values, values, 1
    while True:
        now = np.flatnonzero((high - low + 1 >= width) & (high - low + 1 < 2 * width))
        if now.size:
            first, last = low[now], high[now] - width + 1
            upper = np.maximum(top[..., first], top[..., last])
            lower = np.minimum(bottom[..., first], bottom[..., last])
            widest = np.maximum(widest, (upper - lower).max(axis=-1))
        if top.shape[-1] <= width:
            return widest
        top = np.maximum(top[..., :-width], top[..., width:])
        bottom = np.minimum(bottom[..., :-width], bottom[..., width:])
        width *= 2


def _windows(position: Array, window: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last sample of every full stretch; the whole record if it is shorter than the window."""
    slack = 1e-9 * window
    low = np.flatnonzero(position <= position[-1] - window + slack)
    if low.size == 0:
        return np.array([0]), np.array([position.size - 1])
    high = np.searchsorted(position, position[low] + window + slack, side="right") - 1
    return low, np.maximum(high, low)


def largest_change(position: Array, values: NDArray[np.generic], window: float) -> Array:
    """Largest |values(s + w) - values(s)|, linear between samples; w is the window or the whole record."""
    w = min(window, position[-1] - position[0])
    starts = position[position <= position[-1] - w + 1e-9 * w]
    ends = np.minimum(starts + w, position[-1])
    k = np.clip(np.searchsorted(position, ends) - 1, 0, position.size - 2)
    share = (ends - position[k]) / (position[k + 1] - position[k])
    at_end = values[..., k] * (1 - share) + values[..., k + 1] * share
    return np.asarray(np.abs(at_end - values[..., : starts.size]).max(axis=-1))


def positions(position: ArrayLike) -> Array:
    """Positions (n,) of a record as an array. Raises InputError unless three or more, increasing."""
    s = np.asarray(position, dtype=float)
    if s.ndim != 1 or s.size < 3 or not np.all(np.diff(s) > 0):
        raise InputError("position: an evaluation needs at least three increasing positions.")
    return s
