"""Screws from a lot in three modes: at the limit, typical, and drawn at random.

Every mode is the same map from numbers between 0 and 1 ("levels") to a screw.  At the limit all magnitudes
stand at the level that just meets the grade and all directions agree; typical takes the median of every
magnitude; at random the levels come from a numpy Generator, one spawned seed per screw, so that screw i
can be drawn again alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from bedsim.errors import InputError
from bedsim.screws.drawn import Complex, DrawnScrew, DrawnScrews
from bedsim.screws.limits import GradeLimits, grade_limits
from bedsim.screws.lots import GradedLot, Lot, MeanSpread, MeasuredLot, Waves
from bedsim.screws.standard_evaluation import widest_in_window
from bedsim.units import MM

Array = NDArray[np.float64]

_SAMPLES_PER_WAVE = 32
_MAGNITUDES = ("lower", "upper", "bow", "slope", "variation", "once")
_DIRECTIONS = ("lower", "upper", "bow", "slope", "once")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """Numbers from 0 to 1, shape (n,) each: magnitudes, directions as parts of a turn, and three for each
    wave (n, count).
    """

    magnitude: dict[str, Array]
    direction: dict[str, Array]
    wavelength: Array
    phase: Array
    weight: Array


def draw(lot: Lot, n: int, rng: np.random.Generator) -> DrawnScrews:
    """Draw `n` screws; equal to `draw_member(lot, seed)` for the seeds spawned from the generator.

    Raises InputError if the generator cannot spawn (it was not made by numpy.random.default_rng).
    """
    sequence = rng.bit_generator.seed_seq
    if not isinstance(sequence, np.random.SeedSequence):
        raise InputError(
            "rng: the generator has no seed sequence to spawn from; use numpy.random.default_rng."
        )
    return _screws(lot, _random_levels(lot, sequence.spawn(n)))


def draw_member(lot: Lot, seed: np.random.SeedSequence) -> DrawnScrew:
    """Draw one screw from its own seed."""
    return _screws(lot, _random_levels(lot, [seed])).member(0)


def limit_screw(lot: Lot) -> DrawnScrew:
    """Return the screw that uses up every tolerance of its grade, with all its parts in one direction.

    For a measured lot, and for a part the grade leaves open, the lot's own `inside` quantile stands for
    the limit.
    """
    levels = _fixed_levels(lot, _top_level(lot), spread_out=False)
    if isinstance(lot, GradedLot) and grade_limits(lot).turn is None:
        levels.magnitude["once"][:] = lot.spread.inside
    return _screws(lot, levels).member(0)


def typical_screw(lot: Lot) -> DrawnScrew:
    """Return the screw with the median of every magnitude, its parts 120 degrees apart."""
    return _screws(lot, _fixed_levels(lot, 0.5, spread_out=True)).member(0)


def _top_level(lot: Lot) -> float:
    if isinstance(lot, MeasuredLot):
        return lot.inside
    return 1.0 if lot.spread.law == "sorted" else _share_each(lot)


def _share_each(lot: GradedLot) -> float:
    """Share inside for one magnitude so that all of them together keep the lot's share."""
    return float(lot.spread.inside ** (1.0 / grade_limits(lot).count))


def _random_levels(lot: Lot, seeds: list[np.random.SeedSequence]) -> _Levels:
    fixed, count = len(_MAGNITUDES) + len(_DIRECTIONS), lot.waves.count
    u = np.stack([np.random.default_rng(seed).random(fixed + 3 * count) for seed in seeds])
    magnitudes, directions, waves = np.split(u, [len(_MAGNITUDES), fixed], axis=1)
    return _Levels(
        magnitude=dict(zip(_MAGNITUDES, magnitudes.T, strict=True)),
        direction=dict(zip(_DIRECTIONS, directions.T, strict=True)),
        wavelength=waves[:, :count],
        phase=waves[:, count : 2 * count],
        weight=waves[:, 2 * count :],
    )


def _fixed_levels(lot: Lot, level: float, *, spread_out: bool) -> _Levels:
    turns = {"lower": 0.0, "upper": 1 / 3, "bow": 2 / 3} if spread_out else {}
    count = lot.waves.count
    return _Levels(
        magnitude={name: np.array([level]) for name in _MAGNITUDES},
        direction={name: np.array([turns.get(name, 0.0)]) for name in _DIRECTIONS},
        wavelength=np.full((1, count), 0.5),
        phase=np.arange(count)[None, :] / count,
        weight=np.full((1, count), 0.5),
    )


def _screws(lot: Lot, levels: _Levels) -> DrawnScrews:
    return _graded(lot, levels) if isinstance(lot, GradedLot) else _measured(lot, levels)


# --- graded lots
# ---------------------------------------------------------------------------------------------------


def _graded(lot: GradedLot, levels: _Levels) -> DrawnScrews:
    d, limits = lot.dimensions, grade_limits(lot)
    m, share, law = levels.magnitude, _share_each(lot), lot.spread.law
    lower = limits.thread_run_out / 2 * _offset_share(m["lower"], share, law) * _turn(levels, "lower")
    if d.free_end:
        tilt = np.full_like(lower, lot.mount_tilt / 2) * _turn(levels, "upper")
    else:
        upper = limits.thread_run_out / 2 * _offset_share(m["upper"], share, law) * _turn(levels, "upper")
        tilt = (upper - lower) / d.length
    bow = limits.bow * _offset_share(m["bow"], share, law) * _turn(levels, "bow")
    sign = np.where(levels.direction["slope"] < 0.5, 1.0, -1.0)
    mean_error = sign * limits.mean_error * _signed_share(m["slope"], share, law)
    once = _once_per_turn(lot, limits, m["once"], share)
    used = _signed_share(m["variation"], share, law)
    waves, wavelengths, once = _variation(lot, limits, levels, used, once)
    amplitude = once / 2 * _turn(levels, "once")
    fitted = _line_slope(waves, wavelengths, d.length).sum(axis=-1) + _line_slope(amplitude, d.lead, d.length)
    return DrawnScrews(
        length=d.length,
        lead=d.lead,
        free_end=d.free_end,
        eccentricity=lower,
        tilt=tilt,
        bow=bow,
        slope=mean_error / d.length - fitted,
        waves=waves,
        wavelengths=wavelengths,
        once_per_turn=amplitude,
        assumptions=limits.assumptions,
    )


def _once_per_turn(lot: GradedLot, limits: GradeLimits, level: Array, share: float) -> Array:
    """Peak-to-valley (n,) of the once-per-turn part before the slow variation takes its place in the turn."""
    if limits.turn is not None:
        return limits.turn * _signed_share(level, share, lot.spread.law)
    assert lot.once_per_turn is not None
    return np.asarray(2 * lot.once_per_turn.rms * np.sqrt(-2 * np.log1p(-level)))


def _variation(
    lot: GradedLot, limits: GradeLimits, levels: _Levels, used: Array, once: Array
) -> tuple[Complex, Array, Array]:
    """Waves, wavelengths (n, count) and once-per-turn peak-to-valley (n,) that together use `used` of the
    bands.

    A band of the sum is at most the sum of the bands, so no screw with `used` <= 1 leaves its grade.  The
    slow part may take up to half of what the grade allows within a turn.
    """
    d = lot.dimensions
    waves, wavelengths = _unit_waves(lot.waves, levels)
    band, band_300, per_turn = _unit_bands(waves, wavelengths, lot)
    skew = 1 + 6 / np.pi * d.lead / d.length  # the fitted line's share of a once-per-turn sine
    factor = np.full_like(used, np.inf)
    for allowed, unit in ((limits.band, band), (limits.band_300, band_300)):
        if allowed is not None:
            once = np.minimum(once, allowed / skew)
            factor = np.minimum(factor, used * np.maximum(allowed - skew * once, 0.0) / unit)
    if limits.change_300 is not None:
        factor = np.minimum(factor, used * limits.change_300 / band)
    if limits.turn is not None:
        factor = np.minimum(factor, limits.turn / 2 / per_turn)
        once = np.maximum(once - factor * per_turn, 0.0)
    return waves * factor[:, None], wavelengths, once


# --- measured lots
# -------------------------------------------------------------------------------------------------


def _measured(lot: MeasuredLot, levels: _Levels) -> DrawnScrews:
    d, m = lot.dimensions, levels.magnitude
    waves, wavelengths = _unit_waves(lot.waves, levels)
    band = _unit_bands(waves, wavelengths, lot)[0]
    waves = waves * (_log_normal(lot.variation_pv, m["variation"]) / band)[:, None]
    once = _log_normal(lot.once_per_turn_pv, m["once"]) / 2 * _turn(levels, "once")
    sign = np.where(levels.direction["slope"] < 0.5, 1.0, -1.0)
    # a signed normal error: the level folds both tails, the sign is drawn apart
    slope = lot.slope.mean + sign * lot.slope.spread * ndtri((1 + m["slope"]) / 2)
    fitted = _line_slope(waves, wavelengths, d.length).sum(axis=-1) + _line_slope(once, d.lead, d.length)
    return DrawnScrews(
        length=d.length,
        lead=d.lead,
        free_end=d.free_end,
        eccentricity=_log_normal(lot.eccentricity_tir, m["lower"]) / 2 * _turn(levels, "lower"),
        tilt=_log_normal(lot.tilt_tir, m["upper"]) / 2 * _turn(levels, "upper"),
        bow=_log_normal(lot.bow_tir, m["bow"]) / 2 * _turn(levels, "bow"),
        slope=slope - fitted,
        waves=waves,
        wavelengths=wavelengths,
        once_per_turn=once,
        assumptions=(
            f"The lot rests on {lot.basis}.",
            "Magnitudes are taken log-normal and directions alike all round: our assumption.",
            "The slow variation is a sum of waves of assumed lengths.",
        ),
    )


def _log_normal(value: MeanSpread, level: Array) -> Array:
    """Quantile of the log-normal law with this mean and standard deviation (Johnson & Kotz, moments)."""
    if value.mean <= 0:
        return np.zeros_like(level)
    s2 = np.log1p((value.spread / value.mean) ** 2)
    return np.asarray(value.mean * np.exp(-s2 / 2 + np.sqrt(s2) * ndtri(level)))


# --- laws and waves
# ------------------------------------------------------------------------------------------------


def _offset_share(level: Array, inside: float, law: str) -> Array:
    """Magnitude of an offset in two directions as a part of its limit; 1 at level `inside` (sorted: at 1)."""
    if law == "uniform":
        return np.sqrt(level / inside)
    scaled = level * inside if law == "sorted" else level
    return np.asarray(np.sqrt(np.log1p(-scaled) / np.log1p(-inside)))


def _signed_share(level: Array, inside: float, law: str) -> Array:
    """Magnitude of a signed error as a part of its limit; 1 at level `inside` (sorted: at 1)."""
    if law == "uniform":
        return level / inside
    scaled = level * inside if law == "sorted" else level
    return np.asarray(ndtri((1 + scaled) / 2) / ndtri((1 + inside) / 2))


def _turn(levels: _Levels, name: str) -> Complex:
    return np.asarray(np.exp(2j * np.pi * levels.direction[name]))


def _unit_waves(waves: Waves, levels: _Levels) -> tuple[Complex, Array]:
    part = (np.arange(waves.count) + levels.wavelength) / waves.count
    wavelengths = waves.shortest * (waves.longest / waves.shortest) ** part
    size = (wavelengths / waves.longest) ** waves.growth * (0.5 + levels.weight)
    return size * np.exp(2j * np.pi * levels.phase), wavelengths


def _unit_bands(waves: Complex, wavelengths: Array, lot: Lot) -> tuple[Array, Array, Array]:
    """Upper bounds (n,) of the bands vu and v300 about the fitted line, and of the change within one turn."""
    length, lead = lot.dimensions.length, lot.dimensions.lead
    s = np.linspace(0.0, length, max(65, int(_SAMPLES_PER_WAVE * length / lot.waves.shortest) + 1))
    k = 2 * np.pi / wavelengths[..., None]
    rotating = waves[..., None] * np.exp(1j * k * s)
    line = _line_slope(waves, wavelengths, length).sum(axis=-1)[:, None]
    rest = rotating.real.sum(axis=-2) - line * s
    rate = (-k * rotating.imag).sum(axis=-2) - line
    between = 1 / np.cos(np.pi / _SAMPLES_PER_WAVE)  # a crest may fall between two samples
    return (
        np.ptp(rest, axis=-1) * between,
        widest_in_window(s, rest, 300 * MM) * between,
        np.abs(rate).max(axis=-1) * between * lead,
    )


def _line_slope(amplitude: Complex, wavelength: Array | float, length: float) -> Array:
    """Slope of the least-squares line through Re(amplitude e^{j 2 pi s/wavelength}) over 0..length.

    12/L^3 times the integral of (s - L/2) f(s), with the integral of x sin(kx) = 2 (sin h - h cos h)/k^2,
    h = kL/2.
    """
    k = 2 * np.pi / np.asarray(wavelength)
    h = k * length / 2
    moment = 2j * (np.sin(h) - h * np.cos(h)) / k**2
    return np.asarray((12 / length**3 * amplitude * np.exp(1j * h) * moment).real)
