"""Bands on a wall: their amplitude as the layers show it, and which screw and cause made them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bedsim.analysis.metrics import Spectrum, evenly_spaced, seen_wavelength, spectrum
from bedsim.results.layers import Array
from bedsim.units import MM
from bedsim.wall.relief import Section, Wall, wall_relief

Source = tuple[str, str]
"""(cause, corner), for instance ("run-out", "left")."""

REMAINDER: Source = ("friction and vibration", "all")


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A periodic part of a wall's relief, as the layers sample it."""

    label: str  # "lead 5 mm", "1/2 lead 5 mm", joined with "+" where layers cannot tell them apart
    wavelength: float  # m, of the cause
    seen_wavelength: float  # m, on the wall; inf where layers fold the band onto a constant
    amplitude: float  # m, nan where the wall cannot resolve it
    crest_height: float  # m, lowest height at which the band stands out most, nan where not resolved
    phasor: complex  # m, relief = Re(phasor exp(2 pi i z / seen_wavelength))


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What one source adds to a wall."""

    source: Source
    relief: Array  # (n,) m
    variance_share: float  # of the variance of the whole relief; shares of all sources sum to 1
    bands: tuple[Band, ...]
    band_share: tuple[float, ...]  # of each band's amplitude, in the phase of the whole; sums to 1 per band


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wave:
    """A wave to be fitted: frequency (1/m) as seen, and whether the wall is long enough to tell its
    amplitude."""

    label: str
    wavelength: float
    frequency: float
    resolved: bool


def band_amplitudes(wall: Wall, leads: Sequence[float], harmonics: int = 3) -> tuple[Band, ...]:
    """Amplitude of a wall's relief at each lead (m) and its harmonics, as seen through the layers.

    A least-squares fit of constant, slope and one sine per seen frequency.  Bands closer than 0.9 cycles
    over the wall cannot be told apart and are reported as one; bands with less than one cycle have
    amplitude nan.
    """
    waves = _waves(wall, leads, harmonics)
    resolved = [w for w in waves if w.resolved]
    phasors = wave_phasors(wall.height, np.array([w.frequency for w in resolved]), wall.relief)
    found = {w.label: complex(c) for w, c in zip(resolved, phasors, strict=True)}
    return tuple(_band(w, found.get(w.label, complex(np.nan, np.nan))) for w in waves)


def _waves(wall: Wall, leads: Sequence[float], harmonics: int) -> list[_Wave]:
    extent = float(wall.thickness.sum())
    waves: list[_Wave] = []
    wanted = [(lead, k) for k in range(1, harmonics + 1) for lead in sorted(set(leads), reverse=True)]
    for lead, k in wanted:
        label = f"{'' if k == 1 else f'1/{k} '}lead {lead / MM:g} mm"
        f = 1.0 / seen_wavelength(wall.tops, lead, k)
        near = [i for i, w in enumerate(waves) if w.resolved and abs(w.frequency - f) * extent < 0.9]
        if near and f * extent >= 1.0:
            waves[near[0]] = replace(waves[near[0]], label=f"{waves[near[0]].label} + {label}")
        else:
            waves.append(_Wave(label=label, wavelength=lead / k, frequency=f, resolved=f * extent >= 1.0))
    return waves


def wave_phasors(height: Array, frequency: Array, values: Array) -> NDArray[np.complex128]:
    """Complex amplitudes (f, ...) of values (n, ...) over height (n,) m at frequencies (f,) 1/m.

    values = Re(phasor e^{2 pi j frequency height}) + constant + slope, by least squares.
    """
    angle = 2.0 * np.pi * np.outer(height, frequency)
    line = np.stack([np.ones_like(height), (height - height.mean()) / max(np.ptp(height), 1e-12)], axis=1)
    design = np.hstack([line, np.cos(angle), np.sin(angle)])
    flat = values.reshape(len(values), -1)
    solution = np.linalg.lstsq(design, flat, rcond=None)[0][2:].reshape(-1, *values.shape[1:])
    m = len(frequency)
    return np.asarray(solution[:m] - 1j * solution[m:])


def _band(wave: _Wave, phasor: complex) -> Band:
    seen = 1.0 / wave.frequency if wave.frequency > 0 else np.inf
    turn = -np.angle(phasor) / (2.0 * np.pi)
    return Band(
        label=wave.label,
        wavelength=wave.wavelength,
        seen_wavelength=seen,
        amplitude=float(np.abs(phasor)),
        crest_height=float(np.mod(turn, 1.0) * seen) if wave.resolved else np.nan,
        phasor=phasor,
    )


def amplitude_spectrum(wall: Wall) -> Spectrum:
    """Amplitude over wavelength (m, falling) of a wall's relief, mean line taken off, periodic Hann window.

    The window keeps a band from leaking over the whole chart; a band that fits the wall a whole number of
    times shows its own amplitude, one between two lines up to 15 % less.  Source: coherent gain 1/2 and
    scalloping loss 1.42 dB of the Hann window, [Harris1978].  Of unequal layers that of `spectrum`.  Empty
    below five layers.
    """
    n = len(wall.relief)
    if n < 5:
        return Spectrum(wavelength=np.zeros(0), amplitude=np.zeros(0))
    if not evenly_spaced(wall.tops):
        return spectrum(wall.tops, wall.relief)
    place = np.arange(n)
    level = wall.relief - np.polyval(np.polyfit(place, wall.relief, 1), place)
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * place / n)
    amplitude = 4.0 * np.abs(np.fft.rfft(level * window)) / n
    frequency = np.fft.rfftfreq(n, wall.layer_height)
    return Spectrum(wavelength=np.asarray(1.0 / frequency[1:]), amplitude=np.asarray(amplitude[1:]))


def source_shares(
    wall: Wall,
    sources: Mapping[Source, tuple[ArrayLike, ArrayLike]],
    probe: int,
    leads: Sequence[float],
    *,
    harmonics: int = 3,
    section: Section = "rectangle",
) -> tuple[Share, ...]:
    """Share of every (cause, corner) in a wall, from each source's own errors: lateral (n, p, 2), height
    (n, p), m.

    Each source's errors are what the linear machine does with that imperfection alone.  Reliefs then add
    up; what the whole has beyond their sum (friction, vibration, contact) is the last entry, REMAINDER.
    Amplitudes of waves that differ in phase do not add; shares do.  Share of a band: the part of a
    source's wave that is in phase with the whole, Re(c_j conj(C))/|C|^2; share of variance: cov(r_j,
    r)/var(r).  Both sum to one and can be negative for a source that works against the whole.
    """
    parts: dict[Source, Array] = {}
    for source, (lateral, height) in sources.items():
        parts[source] = wall_relief(
            np.asarray(lateral, float)[:, probe],
            np.asarray(height, float)[:, probe],
            normal=wall.normal,
            line_width=wall.line_width,
            layer_height=wall.thickness,
            section=section,
        )
    known = np.sum(list(parts.values()), axis=0) if parts else np.zeros_like(wall.relief)
    parts[REMAINDER] = wall.relief - known
    whole = band_amplitudes(wall, leads, harmonics)
    return tuple(_share(wall, source, relief, whole, leads, harmonics) for source, relief in parts.items())


def _share(
    wall: Wall, source: Source, relief: Array, whole: tuple[Band, ...], leads: Sequence[float], harmonics: int
) -> Share:
    bands = band_amplitudes(replace(wall, relief=relief), leads, harmonics)
    centred = wall.relief - wall.relief.mean()
    variance = float(centred @ centred)
    of_variance = float(relief @ centred) / variance if variance > 0 else np.nan
    return Share(
        source=source,
        relief=relief,
        variance_share=of_variance,
        bands=bands,
        band_share=tuple(_in_phase(b.phasor, w.phasor) for b, w in zip(bands, whole, strict=True)),
    )


def _in_phase(part: complex, whole: complex) -> float:
    size = abs(whole) ** 2
    return (part * whole.conjugate()).real / size if size > 0 else float("nan")


def shares_by_corner(shares: Sequence[Share]) -> dict[str, float]:
    """Variance share of every corner, all its causes together (the remainder under "all")."""
    return _grouped(shares, 1)


def shares_by_cause(shares: Sequence[Share]) -> dict[str, float]:
    """Variance share of every cause, all corners together."""
    return _grouped(shares, 0)


def _grouped(shares: Sequence[Share], which: int) -> dict[str, float]:
    total: dict[str, float] = {}
    for share in shares:
        total[share.source[which]] = total.get(share.source[which], 0.0) + share.variance_share
    return total
