"""Waviness of a profile: the Gaussian profile filter and the parameters read from what it lets through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from bedsim.errors import InputError
from bedsim.results.layers import Array
from bedsim.units import MM

ALPHA = float(np.sqrt(np.log(2.0) / np.pi))
"""Constant of the filter that puts 50 % transmission at the cut-off, 0.4697.  Source: ISO 16610-21."""

# (largest mean spacing of the texture, cut-off), m.  Source: ISO 4288:1996, periodic profiles; given from
# memory.
_CUTOFFS = (
    (0.04 * MM, 0.08 * MM),
    (0.13 * MM, 0.25 * MM),
    (0.4 * MM, 0.8 * MM),
    (1.3 * MM, 2.5 * MM),
    (4.0 * MM, 8.0 * MM),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waviness:
    """Waviness profile with its parameters, all in m."""

    position: Array  # (n,)
    profile: Array  # (n,) between the cut-offs
    cutoff: float  # shorter waves (layer lines) are taken out
    long_cutoff: float | None  # longer waves (form) are taken out; None: only the mean line
    wa: float  # arithmetic mean deviation
    wq: float  # root mean square
    wt: float  # total height over the evaluation length


def gaussian_weights(distance: ArrayLike, cutoff: float) -> Array:
    """Weighting function (1/m) at a distance (m) from the middle, for a cut-off (m).

    s(x) = 1/(alpha lc) exp(-pi (x/(alpha lc))^2), alpha = sqrt(ln 2/pi).  Source: ISO 16610-21.
    """
    width = ALPHA * cutoff
    return np.exp(-np.pi * (np.asarray(distance, float) / width) ** 2) / width


def transmission(wavelength: ArrayLike, cutoff: float) -> Array:
    """Share of the amplitude of a sine (m) that the filter lets through, exp(-pi (alpha lc/lambda)^2).

    The Fourier transform of the weighting function; one half at the cut-off.  Source: ISO 16610-21.
    """
    return np.exp(-np.pi * (ALPHA * cutoff / np.asarray(wavelength, float)) ** 2)


def gaussian_filter(profile: ArrayLike, spacing: float, cutoff: float) -> Array:
    """Mean line (n,) of a profile (n,) sampled at even spacing (m): waves longer than the cut-off (m)
    remain.

    Inside, the plain weighted mean of ISO 16610-21, cut at one cut-off to each side (weights there: 7e-7
    of the middle). At the ends, where half of the weights would lie outside the profile, a straight line
    is fitted under the same weights (it retains level and slope, as the end corrections of ISO 16610-28
    do); inside, where the weights are symmetric, the line fit and the plain mean are the same number.  A
    straight profile passes unchanged up to its ends. Raises InputError if the spacing exceeds a quarter of
    the cut-off: too few weights, transmission off by over 1e-4.
    """
    y = np.asarray(profile, float)
    if not 0 < spacing <= cutoff / 4.0:
        raise InputError(
            f"cutoff = {cutoff / MM:g} mm: must be at least 4 sample spacings, here {4 * spacing / MM:g} mm."
        )
    reach = int(np.ceil(cutoff / spacing))
    x = np.arange(-reach, reach + 1) * spacing
    w = gaussian_weights(x, cutoff) * spacing
    ones = np.ones_like(y)
    s0, s1, s2 = (_moment(ones, w * x**k) for k in (0, 1, 2))
    t0, t1 = _moment(y, w), _moment(y, w * x)
    spread = s0 * s2 - s1**2
    return np.asarray((s2 * t0 - s1 * t1) / spread)


def _moment(y: Array, kernel: Array) -> Array:
    """sum_j kernel(x_j - x_i) y_j at every i."""
    reach = len(kernel) // 2
    return np.convolve(np.pad(y, reach), kernel[::-1], mode="valid")


def parameters(profile: ArrayLike) -> tuple[float, float, float]:
    """Wa, Wq, Wt (m) of a waviness profile about its mean; for a sine of amplitude A: 2A/pi, A/sqrt 2, 2A.

    Source: ISO 4287 (and ISO 21920-2), with the evaluation length being the whole profile.
    """
    w = np.asarray(profile, float)
    w = w - w.mean()
    return float(np.mean(np.abs(w))), float(np.sqrt(np.mean(w**2))), float(np.ptp(w))


def waviness(
    position: ArrayLike, profile: ArrayLike, cutoff: float, long_cutoff: float | None = None
) -> Waviness:
    """Waviness of a profile (n,) at even positions (n,), m: what lies between the short and the long
    cut-off (m).

    The least-squares straight line is taken off first (the nominal wall is straight).  Without a long
    cut-off the longest waves stay in.  The whole length is evaluated, ends included (see
    `gaussian_filter`).  Raises InputError.
    """
    z, y = np.asarray(position, float), np.asarray(profile, float)
    if len(z) < 3:
        raise InputError(f"profile of {len(z)} points: waviness needs at least 3.")
    if long_cutoff is not None and long_cutoff <= cutoff:
        raise InputError(
            f"long_cutoff = {long_cutoff / MM:g} mm: must exceed the cut-off, {cutoff / MM:g} mm."
        )
    spacing = float(np.ptp(z)) / (len(z) - 1)
    level = y - np.polyval(np.polyfit(z - z.mean(), y, 1), z - z.mean())
    w = gaussian_filter(level, spacing, cutoff)
    if long_cutoff is not None:
        w = w - gaussian_filter(level, spacing, long_cutoff)
    wa, wq, wt = parameters(w)
    return Waviness(
        position=z, profile=w - w.mean(), cutoff=cutoff, long_cutoff=long_cutoff, wa=wa, wq=wq, wt=wt
    )


def cutoff_for_layers(layer_height: float) -> float:
    """Cut-off (m) that takes the layer lines of given height (m) out, from the standard series 0.08 to 8
    mm.

    The layer lines are a periodic profile with the layer height as mean spacing.  Source: ISO 4288:1996,
    table of cut-offs for periodic profiles, up to 0.13 mm of spacing read in print, the rest from memory.
    Above 4 mm the largest value.
    """
    for largest_spacing, cutoff in _CUTOFFS:
        if layer_height <= largest_spacing:
            return cutoff
    return _CUTOFFS[-1][1]
