"""Bands in a photo of a wall under raking light: their length, where their crests are, how strong they look.

A matt wall of slope r' under light at an angle i from its normal, from above, is brighter by -r' tan i
(Lambert, small slopes; `wall.surface.band_contrast`).  So a band r = A cos(2 pi (z - crest)/L) shows as

    contrast = (2 pi A/L) tan i sin(2 pi (z - crest)/L)

brightest a quarter of a band above its crest, or below it with light from below.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray
from scipy.stats import t as student

from bedsim.errors import InputError

Array = NDArray[np.float64]

MOST_BANDS = 3
TWO_SIGMA = 0.9545  # of a normal law within two standard deviations
SURE = 4.0  # standard uncertainties of contrast that a band must have, our assumption
LEAST_WAVES = 2.0  # of a band within the height seen: fewer pass for a change of the light
FEWEST_PIXELS = 6.0  # of a band's length
SHADES = 3  # degree of the light's own change along the height


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoBand:
    """`wavelength`, `crest` (the lowest above the first layer) in the unit of the heights given, `contrast`
    (amplitude over the mean brightness), each with its standard uncertainty."""

    wavelength: float
    wavelength_uncertainty: float
    crest: float
    crest_uncertainty: float
    contrast: float
    contrast_uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WallShade:
    """Brightness over its smooth part, minus one, (n,) at `height` (n,)."""

    height: Array
    shade: Array


def profile(
    picture: Array,
    origin: tuple[float, float],
    per_height: tuple[float, float],
    box: tuple[float, float, float, float],
) -> WallShade:
    """Brightness along the height of a wall that may be tilted in the picture, averaged across.

    `origin`: pixel (x, y) of height 0; `per_height`: pixels (x, y) of one unit up; `box`: height from, to,
    and pixels across from, to, beside the line of heights.  Uneven light across is divided out by columns.
    """
    up = np.array(per_height)
    scale = float(np.hypot(*up))
    along, across = up / scale, np.array([-up[1], up[0]]) / scale
    low, high, left, right = box
    height = np.arange(low, high, 1 / scale)
    side = np.arange(left, right)
    x = origin[0] + np.outer(height * scale, [along[0]]) + side * across[0]
    y = origin[1] + np.outer(height * scale, [along[1]]) + side * across[1]
    seen = scipy.ndimage.map_coordinates(picture, [y, x], order=1, mode="nearest")
    level = _smooth(height, seen)
    even = seen / np.maximum(level, 1e-6) - 1
    return WallShade(height=height, shade=even.mean(axis=1))


def bands_of(seen: WallShade, *, from_above: bool, layer: float) -> tuple[PhotoBand, ...]:
    """Find the bands of a profile, the strongest first.

    Each is the highest peak of the spectrum of what the ones before leave, refined by least squares together
    with the light's own change (a cubic).  Uncertainty: see `_spread`.  Lengths below three
    layers are the layers' own.
    """
    z, y = seen.height, seen.shade
    span = float(z[-1] - z[0])
    shortest = max(FEWEST_PIXELS * float(z[1] - z[0]), 3.0 * layer)
    frequency: Array = np.zeros(0)
    for _ in range(MOST_BANDS):
        rest = _linear(z, y, frequency)[1]
        start = _strongest(z, rest, 1 / shortest, LEAST_WAVES / span, frequency)
        if start is None:
            break
        found = _refined(z, y, np.append(frequency, start))
        last = _told(z, y, found, from_above)[-1]
        if last.contrast < SURE * last.contrast_uncertainty or last.wavelength > span / LEAST_WAVES:
            break
        frequency = found
    return tuple(_told(z, y, frequency, from_above))


def coupon_amplitude(
    band: PhotoBand, coupon: PhotoBand, amplitude: float, amplitude_uncertainty: float
) -> tuple[float, float]:
    """Amplitude of a band beside a coupon of known bands in the same light, with standard uncertainty.

    A ~ contrast times length, for both: the light's angle and the camera's curve drop out where both walls
    face alike and are as bright.
    """
    value = amplitude * band.contrast * band.wavelength / (coupon.contrast * coupon.wavelength)
    parts = (
        band.contrast_uncertainty / band.contrast,
        coupon.contrast_uncertainty / coupon.contrast,
        band.wavelength_uncertainty / band.wavelength,
        amplitude_uncertainty / amplitude,
    )
    return value, value * math.hypot(*parts)


def layer_pixels(seen: WallShade) -> float:
    """Length of one layer in the unit of `height`: the strongest fine line.  Raises InputError where none
    stands out."""
    found = _strongest(
        seen.height, seen.shade, 0.4 / float(seen.height[1] - seen.height[0]), 20 / np.ptp(seen.height)
    )
    if found is None:
        raise InputError("layer lines are not seen: give two points of known height instead of layer_mm.")
    return 1 / float(_refined(seen.height, seen.shade, np.array([found]))[0])


def _smooth(height: Array, seen: Array) -> Array:
    """The light's own change along every column: a cubic, and across by columns."""
    x = 2 * (height - height[0]) / max(float(np.ptp(height)), 1e-9) - 1
    base = np.polynomial.polynomial.polyvander(x, SHADES)
    return np.asarray(base @ np.linalg.lstsq(base, seen, rcond=None)[0])


def _design(z: Array, frequency: Array) -> Array:
    x = 2 * (z - z[0]) / float(z[-1] - z[0]) - 1
    waves = [f(2 * np.pi * k * (z - z[0])) for k in frequency for f in (np.cos, np.sin)]
    return np.column_stack([np.polynomial.polynomial.polyvander(x, SHADES), *waves])


def _linear(z: Array, y: Array, frequency: Array) -> tuple[Array, Array]:
    design = _design(z, frequency)
    found = np.linalg.lstsq(design, y, rcond=None)[0]
    return np.asarray(found[SHADES + 1 :]), np.asarray(y - design @ found)


def _strongest(
    z: Array, y: Array, highest: float, lowest: float, found: Sequence[float] | Array = ()
) -> float | None:
    """Frequency of the highest peak between the two, two steps of resolution or more off those `found`; None
    where there is none."""
    step = float(z[1] - z[0])
    frequency, power = scipy.signal.periodogram(y, 1 / step, window="hann", nfft=8 * z.size)
    inside = (frequency >= lowest) & (frequency <= highest)
    for one in found:
        inside &= np.abs(frequency - one) > 2 / float(z[-1] - z[0])
    if not inside.any() or not power[inside].max() > 0:
        return None
    return float(frequency[inside][np.argmax(power[inside])])


def _refined(z: Array, y: Array, frequency: Array) -> Array:
    reach = 0.5 / float(z[-1] - z[0])

    def rest(f: Array) -> Array:
        return _linear(z, y, f)[1]

    low = np.maximum(frequency - reach, 0.1 * frequency)
    found = scipy.optimize.least_squares(rest, frequency, bounds=(low, frequency + reach), x_scale=reach)
    return np.asarray(found.x, dtype=float)


def _told(z: Array, y: Array, frequency: Array, from_above: bool) -> list[PhotoBand]:
    """Every band with its uncertainties, from the covariance of waves and frequencies together."""
    if not frequency.size:
        return []
    waves, rest = _linear(z, y, frequency)
    angle, slopes = 2 * np.pi * (z - z[0]), []
    for k, f in enumerate(frequency):
        a, b = waves[2 * k : 2 * k + 2]
        slopes.append(angle * (-a * np.sin(f * angle) + b * np.cos(f * angle)))
    whole = np.column_stack([_design(z, frequency), *slopes])
    scale = np.linalg.norm(whole, axis=0)
    inverse = np.linalg.pinv((whole / scale).T @ (whole / scale)) / np.outer(scale, scale)
    bands = []
    for k in range(frequency.size):
        at = [SHADES + 1 + 2 * k, SHADES + 2 + 2 * k, SHADES + 1 + 2 * frequency.size + k]
        covariance = _spread(z, rest, frequency, float(frequency[k])) * inverse[np.ix_(at, at)]
        bands.append(
            _band(waves[2 * k : 2 * k + 2], float(frequency[k]), covariance, float(z[0]), from_above)
        )
    return bands


def _band(wave: Array, f: float, covariance: Array, start: float, from_above: bool) -> PhotoBand:
    """A wave (cosine, sine from `start` on) of frequency `f` and their covariance (3, 3) as a band."""
    a, b = (float(v) for v in wave)
    size, length = math.hypot(a, b), 1 / f
    brightest = start + math.atan2(b, a) / (2 * math.pi) * length
    crest = (brightest - length / 4 if from_above else brightest + length / 4) % length
    of_crest = np.array([-b / size**2, a / size**2, 0.0]) * length / (2 * math.pi)
    of_crest[2] = -(crest - start) / f  # a longer band moves every crest but the first seen
    of_size = np.array([a / size, b / size, 0.0])
    return PhotoBand(
        wavelength=length,
        wavelength_uncertainty=math.sqrt(covariance[2, 2]) * length**2,
        crest=crest,
        crest_uncertainty=math.sqrt(float(of_crest @ covariance @ of_crest)),
        contrast=size,
        contrast_uncertainty=math.sqrt(float(of_size @ covariance @ of_size)),
    )


def _spread(z: Array, rest: Array, frequency: Array, f: float) -> float:
    """Variance that white noise of the same density as what is left over around `f` would have.

    Layer lines and grain are stronger or weaker elsewhere and do not count.  Mean of the periodogram from
    half the frequency to twice, at least ten of its steps; what the fitted bands took out of it (three
    numbers each, two a step) is put back, and Student's factor at 95 % added for so few.
    """
    step = float(z[1] - z[0])
    grid, power = scipy.signal.periodogram(rest, 1 / step, detrend=False)
    near = (grid >= f / 2) & (grid <= max(2 * f, f / 2 + 10 * grid[1]))
    taken = 1.5 * float(np.sum((frequency >= f / 2) & (frequency <= 2 * f)))
    free = max(1.0, float(near.sum()) - taken)
    factor = float(student.isf((1 - TWO_SIGMA) / 2, 2 * free)) / 2
    return factor**2 * float(power[near].sum()) / free / (2 * step)
