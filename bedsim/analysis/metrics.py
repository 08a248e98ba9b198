"""Figures of merit: pure functions over arrays whose first axis is the layer.

Values carry any further axes (probe, axis, variant) and these are kept.  Lengths in m.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_DIRECTIONS = 180  # one per degree: the largest extent is missed by at most 1 - cos(0.5 deg) = 4e-5 of itself
MOST_CELLS = 2_000_000  # layers times lines of a spectrum that is fitted line by line: a quarter of a second
_PARTS = 6  # of the directions, looked at one after the other: more at once would leave the processor's cache
_STEP = 5  # directions, of which one is looked at first, for long paths
_LONG = 400  # layers, from which on paths are looked at one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstWall:
    """Where a lateral error is largest: index of the place, unit vector (2,) along which, and the layers
    (indices) where it stands furthest to and fro."""

    place: int
    direction: Array
    high: int
    low: int

    def between(self, lateral: Array) -> float:
        """What of a part (n, p, 2) lies between these two layers, signed: parts add up to the whole."""
        ends = lateral[[self.high, self.low], self.place] @ self.direction
        return float(ends[0] - ends[1])


def peak_to_valley(values: Array) -> Array:
    """Largest minus smallest value over the layers; `values` (n, ...) gives (...)."""
    return np.asarray(np.max(values, axis=0) - np.min(values, axis=0))


def lateral_peak_to_valley(lateral: Array) -> Array:
    """Largest extent of the path in the plane over all directions; `lateral` (n, ..., 2) gives (...).

    This is the peak-to-valley that the worst-facing wall shows; it does not change when the machine is
    turned. Searched in steps of one degree: low by at most 4e-5 of itself.
    """
    extent = np.zeros(lateral.shape[1:-1])
    if lateral.shape[0] >= _LONG:
        paths = np.moveaxis(lateral.reshape(lateral.shape[0], -1, 2), 0, -1)
        return np.array([_extent(path) for path in paths]).reshape(extent.shape)
    for some in _directions():
        extent = np.maximum(extent, peak_to_valley(lateral @ some).max(axis=-1))
    return extent


def _extent(path: Array) -> float:
    """The same of one path (2, n), which is long: its layers side by side in memory.

    Every fifth direction is looked at, then those around the ones within cos 2.5 degrees of the best.  None
    of the others can be larger: the two points that are furthest apart along the best direction lie along it
    to half a degree, so along a direction two degrees from it they are that far apart or further.
    """
    x = np.ascontiguousarray(path)
    every = np.concatenate(_directions(), axis=1)
    coarse = _widths(every[:, ::_STEP], x)
    near = _STEP * np.flatnonzero(coarse >= coarse.max() * np.cos(np.pi / _DIRECTIONS * _STEP / 2))
    around = np.unique((near[:, None] + np.arange(-(_STEP // 2), _STEP // 2 + 1)) % _DIRECTIONS)
    return float(_widths(every[:, around], x).max())


def _widths(directions: Array, path: Array) -> Array:
    """Extent (d,) of a path (2, n) along directions (2, d), some at a time."""
    parts = (some.T @ path for some in np.array_split(directions, -(-directions.shape[1] // 30), axis=1))
    return np.concatenate([along.max(axis=1) - along.min(axis=1) for along in parts])


def widest(height: Array, lateral: Array) -> Array:
    """Largest extent (p,) of the path (n, p, 2) of one object, as `lateral_peak_to_valley`; of several with
    tops `height` (n,) that of the object where it is largest."""
    return np.max([lateral_peak_to_valley(lateral[part]) for part in objects(height)], axis=0)


def worst_wall(lateral: Array, walls: Sequence[slice] = (slice(None),)) -> WorstWall:
    """Place, direction and layers, of one of the `walls`, between which `lateral` (n, p, 2) has its largest
    peak-to-valley; searched like `lateral_peak_to_valley`, with the same value."""
    every = np.concatenate(_directions(), axis=1)
    extents = np.array([lateral_peak_to_valley(lateral[wall]) for wall in walls])
    number, place = (int(k) for k in np.unravel_index(int(np.argmax(extents)), extents.shape))
    layers = np.arange(lateral.shape[0])[walls[number]]
    along = lateral[layers, place] @ every
    best = int(np.argmax(peak_to_valley(along)))
    return WorstWall(
        place=place,
        direction=every[:, best],
        high=int(layers[np.argmax(along[:, best])]),
        low=int(layers[np.argmin(along[:, best])]),
    )


def _directions() -> list[Array]:
    """Unit vectors (2, some) of half a turn, in parts."""
    angle = np.arange(_DIRECTIONS) * np.pi / _DIRECTIONS
    return np.split(np.stack([np.cos(angle), np.sin(angle)]), _PARTS, axis=1)


def worst(values: Array) -> tuple[int, float]:
    """Index and value of the largest entry of a one-dimensional array, e.g. the worst probe; of what is a
    number where anything is."""
    index = int(np.argmax(np.where(np.isnan(values), -np.inf, values)))
    return index, float(values[index])


# ---- layers ------------------------------------------------------------------------------------------------


def objects(height: Array) -> list[slice]:
    """Stretches of layers of one object each, from tops `height` (n,) m: one begins wherever they fall."""
    starts = np.flatnonzero(np.diff(height, prepend=np.inf) <= 0)
    return [slice(int(a), int(b)) for a, b in pairwise([*starts, height.size])]


def thicknesses(height: Array) -> Array:
    """Commanded thickness (n,) m of layers with tops `height` (n,) m, the first of each object on the bed."""
    steps = np.diff(height, prepend=0.0)
    return np.where(steps > 0, steps, height)


def evenly_spaced(height: Array) -> bool:
    """Whether tops of layers rise by one step; what the first layer is thick does not matter."""
    steps = np.diff(height)
    return bool(steps.size == 0 or (steps.min() > 0 and np.ptp(steps) <= 1e-6 * steps.mean()))


def usual_thickness(height: Array) -> float:
    """Thickness of evenly spaced layers m, of others the mean."""
    if evenly_spaced(height) and height.size > 1:
        return float(np.ptp(height) / (height.size - 1))
    return float(thicknesses(height).mean())


# ---- bands -------------------------------------------------------------------------------------------------


def seen_wavelength(height: Array, lead: float, harmonic: int = 1) -> float:
    """Wavelength (m) on the wall of an error that repeats `harmonic` times per turn: that of
    `wall_wavelength`, its own where layers are not evenly spaced, which fold nothing onto one wave."""
    if not evenly_spaced(height):
        return lead / harmonic
    return wall_wavelength(lead, usual_thickness(height), harmonic)


def wall_wavelength(lead: float, layer: float, harmonic: int = 1) -> float:
    """Wavelength (m) seen on the wall of an error that repeats `harmonic` times per turn; infinite when
    none is.

    The wall is a sample of the error taken once per layer, so its spatial frequency folds:
    1/wavelength = |k/lead - round(k layer/lead)/layer|.  With up to half a lead per layer this is lead/k
    itself. Derivation: cos(2 pi f n layer) is unchanged when f is shifted by a whole multiple of 1/layer
    (sampling theorem, C. E. Shannon, Proc. IRE 37 (1949) 10-21).  Below 1e-9 cycles per layer the band
    counts as absent.
    """
    per_layer = harmonic * layer / lead
    folded = abs(per_layer - round(per_layer))
    return layer / folded if folded > 1e-9 else float("inf")


def phasor_at(height: Array, values: Array, wavelength: float) -> NDArray[np.complex128]:
    """Sinusoid of one wavelength in `values` (n, ...) over `height` (n,), as complex numbers (...).

    values = Re(phasor exp(-2 pi i (height - height[0])/wavelength)) + mean + linear trend, by least squares
    under a Hann window, like `spectrum`.  The window is zero at the first layer and smooth at both ends:
    what is no wave leaks into the fit with the cube of the waves in the print, not with the first power as
    in an even fit.  It runs over the height, and layers count by the height that they stand for.  So a step
    at the first layer counts nothing, the settling after it and a bent drift next to nothing.  A step s in
    the middle, m waves high, counts 2 s/(pi m): so much of every wavelength it does hold.  Derivation: a
    part's Fourier integral falls by one power of m for every derivative of window times part that is
    continuous; the step's is the integral of the window from the step on, window(step)/(2 pi m) in the
    leading order, over half the window's sum.
    An infinite wavelength has amplitude 0.  NaN where the print cannot tell: fewer than five layers, or
    less than one wavelength high (the trend would swallow the band).  A wavelength of exactly two layers
    has no separate sine: the fit of least norm is taken.
    """
    shape = values.shape[1:]
    if np.isinf(wavelength):
        return np.zeros(shape, dtype=np.complex128)
    span = float(height[-1] - height[0]) if height.size else 0.0
    layer = span / max(1, height.size - 1)
    if height.size < 5 or span + layer < wavelength * (1.0 - 1e-9):
        return np.full(shape, np.nan, dtype=np.complex128)
    phase = 2.0 * np.pi * (height - height[0]) / wavelength
    trend = (height - height.mean()) / span
    root = np.sqrt(_window(height))[:, None]
    basis = np.column_stack([np.cos(phase), np.sin(phase), np.ones_like(phase), trend])
    flat = values.reshape(len(values), -1)
    fit = np.linalg.lstsq(root * basis, root * flat, rcond=1e-9)[0]
    return np.asarray(fit[0] + 1j * fit[1]).reshape(shape)


def _window(height: Array) -> Array:
    """Periodic Hann window over the height, zero at the first of n layers [Harris1978], each weighed by what
    it stands for of it: half of the way to either neighbour, 1 where all ways are equal."""
    n = height.size
    if evenly_spaced(height):
        return np.asarray(0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n))
    steps = np.diff(height)
    around = np.append(steps, steps.mean())
    whole = float(around.sum())
    hann = 0.5 - 0.5 * np.cos(2.0 * np.pi * (height - height[0]) / whole)
    return np.asarray(hann * (around + np.roll(around, 1)) * (n / 2 / whole))


def amplitude_at(height: Array, values: Array, wavelength: float) -> Array:
    """Amplitude (...) of the sinusoid of one wavelength in `values` (n, ...); limits as in `phasor_at`."""
    return np.abs(phasor_at(height, values, wavelength))


def lateral_amplitude_at(height: Array, lateral: Array, wavelength: float) -> Array:
    """Amplitude of a band in the direction where it is largest; `lateral` (n, ..., 2) gives (...).

    X and Y of one wavelength draw an ellipse; its longer half axis is
    sqrt((|a|^2 + |b|^2 + |a^2 + b^2|)/2) with the phasors a and b of X and Y.  Derivation: maximum over the
    angle g of |a cos g + b sin g|.  Limits as in `phasor_at`.
    """
    return longest_way(phasor_at(height, lateral, wavelength))


def longest_way(phasor: NDArray[np.complex128]) -> Array:
    """Longer half axes (...) of the ellipses that phasors in X and Y (..., 2) draw, see
    `lateral_amplitude_at`."""
    a, b = phasor[..., 0], phasor[..., 1]
    return np.sqrt((np.abs(a) ** 2 + np.abs(b) ** 2 + np.abs(a**2 + b**2)) / 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """Amplitude over wavelength: `wavelength` (f,) m, decreasing; `amplitude` (f, ...) m."""

    wavelength: Array
    amplitude: Array


def spectrum(height: Array, values: Array) -> Spectrum:
    """Amplitude over wavelength of `values` (n, ...), from the height of the print down to two layers.

    Mean and linear trend are removed, fitted under a Hann window; then a discrete Fourier transform under
    that window, padded with zeros to sixteen times the length; amplitude = 2 |X| / (sum of the window).
    Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83 (coherent gain of a window).  From three waves in the
    print on this is the amplitude of `phasor_at`, which fits trend and wave together.
    Layers that are not evenly spaced have no transform: each line is a fit of one wave under the window, by
    least squares, down to two of the thickest layers [Scargle1982].
    Limits: one object, of at least five layers (empty otherwise); two bands closer than 2/(height of the
    print) in 1/wavelength are not told apart, and fewer than about three waves in the print are told too low.
    """
    n = len(height)
    if n < 5:
        return Spectrum(wavelength=np.zeros(0), amplitude=np.zeros((0, *values.shape[1:])))
    steps = np.diff(height)
    if steps.min() <= 0:
        raise ValueError("a spectrum is of one object")
    flat = values.reshape(n, -1)
    trend = np.column_stack([np.ones(n), 2.0 * (height - height[0]) / np.ptp(height) - 1.0])
    window = _window(height)
    root = np.sqrt(window)[:, None]
    detrended = flat - trend @ np.linalg.lstsq(root * trend, root * flat, rcond=None)[0]
    if not evenly_spaced(height):
        fitted = _frequencies(height)
        found = _fitted(height, detrended, window, fitted)
        return Spectrum(wavelength=1.0 / fitted, amplitude=found.reshape(-1, *values.shape[1:]))
    lines = 2.0 * np.abs(np.fft.rfft(detrended * window[:, None], n=16 * n, axis=0)) / window.sum()
    frequency: Array = np.asarray(np.fft.rfftfreq(16 * n, d=float(steps.mean())), dtype=np.float64)
    kept = frequency >= (1.0 - 1e-9) / float(n * steps.mean())
    lines[-1] /= 2.0  # the line at two layers per wave has no mirror image
    return Spectrum(wavelength=1.0 / frequency[kept], amplitude=lines[kept].reshape(-1, *values.shape[1:]))


def _frequencies(height: Array) -> Array:
    """Lines (f,) 1/m from one wave in the print to two of the thickest layers per wave, sixteen to a wave in
    the print, or as many as make `MOST_CELLS` with the layers."""
    steps = np.diff(height)
    lowest, highest = 1.0 / (np.ptp(height) + steps.mean()), 0.5 / steps.max()
    count = int(np.clip(16 * (highest / lowest - 1), 2, max(2, MOST_CELLS // height.size)))
    return np.linspace(lowest, max(highest, lowest), count)


def _fitted(height: Array, values: Array, window: Array, frequency: Array) -> Array:
    """Amplitudes (f, m) of one wave at a time in `values` (n, m), by least squares under a window (n,): the
    normal equations of a cosine and a sine."""
    angle = 2.0 * np.pi * np.outer(frequency, height - height[0])
    cos, sin = np.cos(angle), np.sin(angle)
    cc, ss, cs = (((p * q) @ window)[:, None] for p, q in ((cos, cos), (sin, sin), (cos, sin)))
    a, b = cos @ (window[:, None] * values), sin @ (window[:, None] * values)
    determinant = np.maximum(cc * ss - cs**2, 1e-9 * window.sum() ** 2)
    return np.asarray(np.hypot(ss * a - cs * b, cc * b - cs * a) / determinant)


# ---- where it is worst --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintStretch:
    """A stretch of the print and its peak-to-valley (m): layers `first` to `last` (indices), `probe`
    (index).
    """

    first: int
    last: int
    probe: int
    peak_to_valley: float


def worst_band(height: Array, lateral: Array, window: float) -> PrintStretch:
    """Stretch of the print of length `window` (one lead) with the largest lateral peak-to-valley.

    `height` (n,); `lateral` (n, p, 2), its extent as in `lateral_peak_to_valley`.  A window longer than the
    print takes the whole print (of each object), a short one at least two layers.
    """
    spans = [_spans(height[part], window) + part.start for part in objects(height)]
    first, last = np.concatenate(spans, axis=1)
    extent = np.zeros((first.size, lateral.shape[1]))
    for some in _directions():
        along = lateral @ some
        high, low = (_between(extreme, along, first, last) for extreme in (np.maximum, np.minimum))
        extent = np.maximum(extent, (high - low).max(-1))
    found, probe = np.unravel_index(int(np.argmax(extent)), extent.shape)
    return PrintStretch(
        first=int(first[found]),
        last=int(last[found]),
        probe=int(probe),
        peak_to_valley=float(extent[found, probe]),
    )


def _spans(height: Array, window: float) -> NDArray[np.int64]:
    """First and last layers (2, s) of all stretches of one object that are a window high, to half a layer."""
    n = height.size
    if evenly_spaced(height):
        step = (height[-1] - height[0]) / (n - 1) if n > 1 else window
        width = int(np.clip(round(window / step) + 1, min(2, n), n))
        start = np.arange(n - width + 1)
        return np.stack([start, start + width - 1])
    half = 0.5 * float(np.diff(height).mean())
    full = np.flatnonzero(height + window - half <= height[-1])
    first = full if full.size else np.zeros(1, dtype=np.int64)
    last = np.searchsorted(height, height[first] + window + half) - 1
    return np.stack([first, np.maximum(last, np.minimum(first + 1, n - 1))])


def _between(extreme: np.ufunc, values: Array, first: NDArray[np.int64], last: NDArray[np.int64]) -> Array:
    """Extreme over layers `first` to `last` (s,) on the first axis: of two overlapping stretches it is that
    of their extremes, and stretches double in every pass."""
    found = np.empty((first.size, *values.shape[1:]))
    level = np.log2(last - first + 1).astype(np.int64)
    for k in range(int(level.max()) + 1):
        here = level == k
        if here.any():
            found[here] = extreme(values[first[here]], values[last[here] + 1 - 2**k])
        if k < level.max():
            values = np.asarray(extreme(values[: -(2**k)], values[2**k :]))
    return found


def nearest(points: Array, place: Array) -> int:
    """Index of the point (m, 2) nearest to a place (2,), e.g. the probe nearest to a screw."""
    return int(np.argmin(np.linalg.norm(points - place, axis=1)))


def motion_end(time: Array, commanded: Array) -> float:
    """Time after which the commanded height stays where it ends; `time`, `commanded` (t,) of one layer."""
    moving = np.flatnonzero(np.abs(commanded - commanded[-1]) > 1e-12)
    return float(time[min(moving[-1] + 1, len(time) - 1)]) if moving.size else float(time[0])
