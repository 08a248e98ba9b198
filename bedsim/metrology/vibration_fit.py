"""Frequencies and damping of the modes that ring after taps, from an accelerometer's log.

    a(t) = sum over modes of exp(-zeta w t) (A cos(w_d t) + B sin(w_d t)),   w_d = w sqrt(1 - zeta^2)

One w and zeta of each mode for all taps and axes, amplitudes A and B for each tap and axis: separable
least squares, amplitudes solved inside ([Golub2003]).  It is a fit in time and knows no window: the
half-power width of a windowed spectrum, told beside, is too wide by the window's own.
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
from bedsim.metrology.snippet import MeasuredKey
from bedsim.metrology.vibration_log import VibrationLog
from bedsim.number_text import number

Array = NDArray[np.float64]

MOST = 6  # modes sought
PROMINENCE = (
    6.0  # dB of a peak above the median of the spectrum; half of it from its neighbours, our assumption
)
DEEPEST = 25.0  # dB below the highest peak of its axis: what is still looked at, our assumption
HANN_WIDTH = 1.44  # steps of frequency: width at half power of a Hann window's own peak [Harris1978]
TWO_SIGMA = 0.9545
MOST_DAMPED = 0.3  # beyond it nothing rings
SWINGS = 3.0  # of a mode within a ring-down, at least


@dataclass(frozen=True, slots=True, kw_only=True)
class RingingMode:
    """Undamped frequency [Hz] and damping ratio with standard uncertainties; `direction` (a,) of its motion
    by axis, of length 1; `half_power`: the ratio that the spectrum's width would give."""

    frequency: float
    frequency_uncertainty: float
    damping: float
    damping_uncertainty: float
    direction: Array
    half_power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VibrationFit:
    """Modes by frequency; `resolution` [Hz] apart at which two are told apart; `band` [Hz] looked at;
    spectrum `density` over `frequency`; `left`: share of the ring-downs' energy that no mode takes."""

    modes: tuple[RingingMode, ...]
    resolution: float
    band: tuple[float, float]
    frequency: Array
    density: Array
    left: float
    taps: int
    warnings: tuple[str, ...]


def fit_vibration(log: VibrationLog, where: str = "log") -> VibrationFit:
    """Find the modes that ring in a log.

    Beginnings come from peaks of Welch's spectrum (scipy.signal.welch, Hann); frequency and damping then from
    least squares over all ring-downs.  Uncertainty: of white noise as large as what is left over, or from
    the scatter between taps (sandwich of the gradients of each tap, with Student's factor at 95 %), whichever
    is larger: what taps do differently (friction, where they hit) is in it from three taps on.
    Raises InputError where no mode stands out.
    """
    parts = log.ring_downs()
    longest = max(len(part) for part in parts) / log.rate
    band = (SWINGS / longest, 0.4 * log.rate)
    frequency, density = _spectrum(log)
    start, half = _peaks(frequency, density, band)
    if not start.size:
        raise InputError(f"{where}: no mode stands out between {band[0]:.3g} and {band[1]:.3g} Hz.")
    own = HANN_WIDTH * 4 * frequency[1] / (2 * start)
    theta = np.concatenate([np.log(start), np.log(np.clip(half - own, 0.004, 0.1))])
    time = [np.arange(len(part)) / log.rate for part in parts]
    while True:
        theta, u, amplitudes, rest = _least_squares(theta, time, parts)
        keep = _sound(theta, u, band)
        if keep.all() or not keep.any():
            break
        half, theta = half[keep], theta[np.tile(keep, 2)]
    if not keep.any():
        raise InputError(f"{where}: nothing that rings is found: {band[0]:.3g} to {band[1]:.3g} Hz.")
    count = theta.size // 2
    modes = [_mode(k, theta, u, amplitudes, float(half[k])) for k in range(count)]
    total = sum(float((part**2).sum()) for part in parts)
    left = float(sum((r**2).sum() for r in rest)) / total
    return VibrationFit(
        modes=tuple(sorted(modes, key=lambda m: m.frequency)),
        resolution=1 / longest,
        band=band,
        frequency=frequency,
        density=density.sum(axis=1),
        left=left,
        taps=len(parts),
        warnings=_warnings(len(parts), left),
    )


def scenario_keys(fit: VibrationFit) -> tuple[tuple[MeasuredKey, ...], tuple[str, ...]]:
    """The damping ratio that a scenario uses for all its modes: the mean of those found, as unsure as they
    differ; and remarks."""
    ratios = np.array([m.damping for m in fit.modes])
    own = math.sqrt(float(np.mean([m.damping_uncertainty**2 for m in fit.modes])))
    key = MeasuredKey(
        table="damping",
        key="ratio",
        likely=float(ratios.mean()),
        uncertainty=math.hypot(own, float(ratios.std())),
        least=1e-4,
        note="of the modes that rang; the scenario uses it for all",
    )
    remarks = (
        "Damping from taps; friction of guides and joints is in it too and counts twice if large.",
        f"Seen: {number(fit.band[0])} to {number(fit.band[1])} Hz; modes closer than "
        f"{number(fit.resolution, 2)} Hz pass for one; what is above half the sampling rate shows mirrored "
        "below it.",
    )
    return (key,), remarks


def _spectrum(log: VibrationLog) -> tuple[Array, Array]:
    """Welch's spectrum (n, a) of every axis.  Its stretches are no longer than a ring-down: two taps in one
    would cut the spectrum into the teeth of a comb."""
    length = max(16, int(np.max(log.taps[:, 1] - log.taps[:, 0])))
    frequency, density = scipy.signal.welch(log.value, log.rate, nperseg=length, nfft=4 * length, axis=0)
    return np.asarray(frequency), np.asarray(density)


def _peaks(frequency: Array, density: Array, band: tuple[float, float]) -> tuple[Array, Array]:
    """Frequencies of the highest peaks of all axes and the damping that their half-power widths tell; a peak
    that two axes show is one."""
    inside = (frequency >= band[0]) & (frequency <= band[1])
    found: list[tuple[float, float, float]] = []
    for column in density.T:
        level = 10 * np.log10(np.maximum(column, 1e-12 * density.max()))
        above = max(float(np.median(level[inside])) + PROMINENCE, float(level.max()) - DEEPEST)
        looked = np.where(inside, level, level.min())
        peaks, _ = scipy.signal.find_peaks(looked, height=above, prominence=PROMINENCE / 2)
        width = scipy.signal.peak_widths(column, peaks, rel_height=0.5)[0] * frequency[1]
        found += zip(column[peaks], frequency[peaks], width / (2 * frequency[peaks]), strict=True)
    chosen: list[tuple[float, float]] = []
    for _, f, half in sorted(found, reverse=True):
        if len(chosen) < MOST and all(abs(f - other) > 6 * frequency[1] for other, _ in chosen):
            chosen.append((f, half))
    return np.array([f for f, _ in chosen]), np.array([half for _, half in chosen])


def _basis(theta: Array, time: Array) -> Array:
    """Columns (m, 2 k + 1): cosine and sine of every mode, and a constant."""
    count = theta.size // 2
    w, zeta = 2 * np.pi * np.exp(theta[:count]), np.exp(np.minimum(theta[count:], -0.01))
    fall = np.exp(-np.outer(time, zeta * w))
    phase = np.outer(time, w * np.sqrt(1 - zeta**2))
    return np.hstack([fall * np.cos(phase), fall * np.sin(phase), np.ones((time.size, 1))])


def _least_squares(
    theta: Array, time: Sequence[Array], parts: Sequence[Array]
) -> tuple[Array, Array, list[Array], list[Array]]:
    """Poles, their standard uncertainties, amplitudes by tap and what is left over by tap."""

    def left(x: Array) -> list[Array]:
        basis = [_basis(x, t) for t in time]
        return [p - b @ np.linalg.lstsq(b, p, rcond=None)[0] for b, p in zip(basis, parts, strict=True)]

    def every(x: Array) -> Array:
        return np.concatenate([r.ravel() for r in left(x)])

    reach = np.concatenate([np.full(theta.size // 2, 0.15), np.full(theta.size // 2, 3.0)])
    found = scipy.optimize.least_squares(
        every, theta, bounds=(theta - reach, theta + reach), x_scale="jac", max_nfev=40
    )
    best, jacobian = np.asarray(found.x, dtype=float), np.asarray(found.jac, dtype=float)
    rest = left(best)
    solved = [np.linalg.lstsq(_basis(best, t), p, rcond=None)[0] for t, p in zip(time, parts, strict=True)]
    free = sum(p.size - (theta.size + 1) * p.shape[1] for p in parts) - theta.size
    variance = sum(float((r**2).sum()) for r in rest) / max(1, free)
    inverse = np.linalg.pinv(jacobian.T @ jacobian)
    white = variance * np.diag(inverse)
    u: Array = np.sqrt(np.maximum(white, _between(jacobian, rest, inverse)))
    return best, u, [np.asarray(a, dtype=float) for a in solved], rest


def _between(jacobian: Array, rest: Sequence[Array], inverse: Array) -> Array:
    """Variances from the scatter between taps, nothing below three of them."""
    if len(rest) < 3:
        return np.zeros(len(inverse))
    ends = np.cumsum([r.size for r in rest])[:-1]
    pulls = np.array([j.T @ r.ravel() for j, r in zip(np.split(jacobian, ends), rest, strict=True)])
    freedom = len(rest) - 1
    factor = float(student.isf((1 - TWO_SIGMA) / 2, freedom)) / 2
    middle = pulls.T @ pulls * len(rest) / freedom
    return np.asarray(factor**2 * np.diag(inverse @ middle @ inverse))


def _sound(theta: Array, u: Array, band: tuple[float, float]) -> NDArray[np.bool_]:
    """Which modes ring, are known to a tenth in frequency and 40 % in damping, and lie in the band."""
    count = theta.size // 2
    f, zeta = np.exp(theta[:count]), np.exp(theta[count:])
    return np.asarray(
        (f > band[0]) & (f < band[1]) & (zeta < MOST_DAMPED) & (u[:count] < 0.1) & (u[count:] < 0.4)
    )


def _mode(k: int, theta: Array, u: Array, amplitudes: Sequence[Array], half: float) -> RingingMode:
    count = theta.size // 2
    f, zeta = math.exp(theta[k]), math.exp(theta[count + k])
    size = np.sqrt(sum(a[k] ** 2 + a[count + k] ** 2 for a in amplitudes))
    return RingingMode(
        frequency=f,
        frequency_uncertainty=f * float(u[k]),
        damping=zeta,
        damping_uncertainty=zeta * float(u[count + k]),
        direction=size / np.linalg.norm(size),
        half_power=half,
    )


def _warnings(taps: int, left: float) -> tuple[str, ...]:
    found = []
    if taps < 3:
        found.append(
            f"{taps} tap{'s' * (taps > 1)}: how much taps differ is not known; tap five times or more"
        )
    if left > 0.1:
        why = "dry friction, modes too close, or a loose logger"
        found.append(f"{100 * left:.0f} % of what rings is no mode found: {why}")
    return tuple(found)
