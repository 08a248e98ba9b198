"""Is a band on a printed wall seen?  From its slope under raking light to the contrast an eye can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from bedsim.analysis.printed import quantity, span
from bedsim.errors import InputError
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.units import DEG, MM, UM
from bedsim.wall.bands import Band
from bedsim.wall.light import ROUNDNESS, bead_share

Verdict = Literal["seen", "borderline", "not seen"]
Eye = Literal["mannos-sakrison", "barten"]

WALL_SIDE = 15e-3
"""Side (m) of a banded wall of which nothing is known.  Our assumption: a small test part."""

SPREAD: dict[Eye, tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]] = {
    "barten": (
        (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0),
        (0.35, 0.65, 0.65, 0.65, 0.7, 0.8, 0.8, 1.0),
        (2.6, 2.6, 2.6, 1.5, 1.5, 1.8, 2.2, 4.7),
    ),
    "mannos-sakrison": ((1.0, 4.0, 8.0, 16.0), (0.15, 0.3, 0.5, 2.0), (1.0, 1.6, 2.8, 7.0)),
}
"""Sensitivity of the curve over that measured: cycles per degree, smallest, largest ratio of all studies.

The studies: Robson (1966), Virsu (1979), Wright (1983), Rovamo et al. (1993), ModelFest, and Mantiuk et al.
at two luminances, grey gratings on patches of 0.9 to 8 degrees, as collected in the public castleCSF data
set; Barten's curve at each study's own luminance and patch.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """How the wall is lit and looked at, and what counts as seen; lengths in m, angle in rad."""

    incidence: float = 60.0 * DEG  # of the light from the wall's normal, in the vertical plane
    distance: float = 0.3  # from eye to wall
    eye: Eye = "barten"
    peak_sensitivity: float = 200.0  # 1/contrast at the peak of the relative curve
    luminance: float = 100.0  # cd/m2 of the wall, for "barten" only
    side: float = WALL_SIDE  # of a square as large as the banded wall
    threshold: float | None = None  # m, the user's own smallest visible amplitude; replaces the eye's curve
    factor: float = 2.0  # by which an own threshold may differ from day to day

    @property
    def field(self) -> float:
        """Degrees of the visual field that the banded wall fills."""
        return float(2.0 * np.arctan(self.side / (2.0 * self.distance)) / DEG)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One band judged."""

    band: Band
    contrast: float
    smallest_visible: float  # m, by the curve
    visible_between: tuple[float, float]  # m, the smallest visible of the most and the least sensitive study
    ratio: float  # amplitude over smallest visible; nan where the band is not resolved
    verdict: Verdict


def check_viewing(viewing: Viewing) -> Viewing:
    """The same viewing if it can be computed.  Raises InputError with all faults in one list."""
    rules = (
        (0 < viewing.incidence <= 85 * DEG, "incidence_deg", viewing.incidence / DEG, "between 0 and 85"),
        (viewing.distance >= 0.05, "distance_m", viewing.distance, "at least 0.05"),
        (viewing.factor >= 1, "factor", viewing.factor, "at least 1"),
        (viewing.peak_sensitivity > 0, "peak_sensitivity", viewing.peak_sensitivity, "above 0"),
        (viewing.luminance > 0, "luminance_cd_m2", viewing.luminance, "above 0"),
        (viewing.side > 0, "wall_mm", viewing.side / MM, "above 0"),
        (
            viewing.threshold is None or viewing.threshold > 0,
            "threshold_um",
            (viewing.threshold or 0) / UM,
            "above 0",
        ),
    )
    faults = [f"{key} = {value:g}: must be {allowed}." for good, key, value, allowed in rules if not good]
    if faults:
        raise InputError("\n".join(faults))
    return viewing


def wall_side(height: float, width: float | None = None) -> float:
    """Side (m) of a square as large as a wall; one of unknown width is taken as wide as it is high, and no
    smaller than `WALL_SIDE`."""
    return max(height, WALL_SIDE) if width is None else float(np.sqrt(height * width))


def relief_contrast(amplitude: ArrayLike, wavelength: ArrayLike, incidence: float) -> Array:
    """Luminance contrast (Lmax - Lmin)/(Lmax + Lmin) of a relief A sin(2 pi z/lambda), lengths in m, angle
    in rad.

    A matt (Lambert) wall lit from above under the angle i from its normal has L ~ cos i - s sin i at slope
    s = dr/dz, so L/L0 = 1 - s tan i and the contrast is the largest slope times tan i: (2 pi A/lambda) tan
    i. Source: Lambert's cosine law.  Layers are beads, which leave of it what a trace finds (`bead_share`).
    Holds for bands that are long against a layer and of which no part shades another, slope < cot i.
    """
    slope = 2.0 * np.pi * np.asarray(amplitude, float) / np.asarray(wavelength, float)
    return np.asarray(slope * np.tan(incidence) * bead_share(incidence))


def cycles_per_degree(wavelength: ArrayLike, distance: float) -> Array:
    """Visual frequency (cycles per degree) of bands of a wavelength (m) seen squarely from a distance
    (m)."""
    return np.asarray(2.0 * distance * np.tan(0.5 * DEG) / np.asarray(wavelength, float))


def mannos_sakrison(frequency: ArrayLike) -> Array:
    """Relative contrast sensitivity at a visual frequency f (cycles per degree); peak 0.98 near 8.

    A(f) = 2.6 (0.0192 + 0.114 f) exp(-(0.114 f)^1.1).
    Source: [Mannos1974], where it came out best for rating coded pictures.  It is relative: it says
    nothing about the contrast at its peak.
    """
    u = 0.114 * np.asarray(frequency, float)
    return np.asarray(2.6 * (0.0192 + u) * np.exp(-(u**1.1)))


def barten(frequency: ArrayLike, luminance: float = 100.0, field: float = 10.0) -> Array:
    """Contrast sensitivity at a visual frequency u (cycles per degree), luminance L (cd/m2), field X0
    (degrees).

    S(u) = 5200 exp(-0.0016 u^2 (1 + 100/L)^0.08) / sqrt((1 + 144/X0^2 + 0.64 u^2) (63/L^0.83 + 1/(1 -
    exp(-0.02 u^2)))) Source: [Barten2004], simplified formula.  It is the sensitivity of practised
    observers who know what to look for on an even field (50 % detection).
    """
    u2 = np.asarray(frequency, float) ** 2
    optics = np.exp(-0.0016 * u2 * (1.0 + 100.0 / luminance) ** 0.08)
    size = 1.0 + 144.0 / field**2 + 0.64 * u2
    noise = 63.0 / luminance**0.83 + 1.0 / -np.expm1(-0.02 * u2)
    return np.asarray(5200.0 * optics / np.sqrt(size * noise))


def contrast_sensitivity(frequency: ArrayLike, viewing: Viewing) -> Array:
    """1/(smallest visible contrast) at a visual frequency (cycles per degree)."""
    if viewing.eye == "barten":
        return barten(frequency, viewing.luminance, viewing.field)
    return viewing.peak_sensitivity * mannos_sakrison(frequency)


def smallest_visible_amplitude(wavelength: ArrayLike, viewing: Viewing) -> Array:
    """Amplitude (m) of bands of a wavelength (m) that is just seen; the user's own threshold where one is
    given.

    A = lambda/(2 pi tan i b S(f)) with f = cycles_per_degree(lambda, distance) and b = bead_share(i).
    """
    length = np.asarray(wavelength, float)
    if viewing.threshold is not None:
        return np.full_like(length, viewing.threshold)
    sensitivity = contrast_sensitivity(cycles_per_degree(length, viewing.distance), viewing)
    return np.asarray(1.0 / (relief_contrast(1.0, length, viewing.incidence) * sensitivity))


def visible_between(wavelength: ArrayLike, viewing: Viewing) -> tuple[Array, Array]:
    """Smallest visible amplitudes (m) by the most and by the least sensitive of the studies behind `SPREAD`.

    Ratios run straight over the logarithm of the frequency between those tabled and stay beyond them; for a
    user's own threshold, the threshold divided and multiplied by `factor`.
    """
    middle = smallest_visible_amplitude(wavelength, viewing)
    if viewing.threshold is not None:
        return middle / viewing.factor, middle * viewing.factor
    frequency, low, high = SPREAD[viewing.eye]
    at = np.log(cycles_per_degree(wavelength, viewing.distance))
    known = np.log(frequency)
    return middle * np.interp(at, known, low), middle * np.interp(at, known, high)


def visibility_curve(
    viewing: Viewing, shortest: float = 0.4e-3, longest: float = 100e-3, points: int = 200
) -> tuple[Array, Array]:
    """Wavelengths (points,) and smallest visible amplitudes (points,) in m, evenly spaced in the
    logarithm.
    """
    length = np.geomspace(shortest, longest, points)
    return length, smallest_visible_amplitude(length, viewing)


def judge(bands: Sequence[Band], viewing: Viewing) -> tuple[Sighting, ...]:
    """Every band with its contrast, the smallest visible amplitude at its seen wavelength, and the
    verdict."""
    return tuple(_judge(band, viewing) for band in bands)


def _judge(band: Band, viewing: Viewing) -> Sighting:
    if not np.isfinite(band.amplitude):
        nothing = (np.nan, np.nan)
        return Sighting(
            band=band,
            contrast=np.nan,
            smallest_visible=np.nan,
            visible_between=nothing,
            ratio=np.nan,
            verdict="not seen",
        )
    limit = float(smallest_visible_amplitude(band.seen_wavelength, viewing))
    low, high = (float(edge) for edge in visible_between(band.seen_wavelength, viewing))
    return Sighting(
        band=band,
        contrast=float(relief_contrast(band.amplitude, band.seen_wavelength, viewing.incidence)),
        smallest_visible=limit,
        visible_between=(low, high),
        ratio=band.amplitude / limit,
        verdict=verdict(band.amplitude, low, high),
    )


def verdict(amplitude: float, low: float, high: float) -> Verdict:
    """Seen above what every study's observers saw, not seen below what any of them saw, borderline
    between."""
    if amplitude > high:
        return "seen"
    return "borderline" if amplitude >= low else "not seen"


def worst(sightings: Sequence[Sighting]) -> Sighting | None:
    """The band that stands out most, None if no band is resolved."""
    resolved = [s for s in sightings if np.isfinite(s.ratio)]
    return max(resolved, key=lambda s: s.ratio) if resolved else None


def wall_sentence(name: str, sightings: Sequence[Sighting]) -> str:
    """The band of a wall that stands out most, and whether it is seen."""
    found = worst(sightings)
    if found is None:
        return f"Wall {name}: too low to tell bands of the leads."
    length, ratio = number(found.band.seen_wavelength / MM), number(found.ratio, 2)
    return (
        f"Wall {name}: bands every {length} mm ({found.band.label}) of "
        f"{quantity(found.band.amplitude, 'm')} amplitude, {ratio} times the smallest visible "
        f"({span(*found.visible_between, 'm')}): {found.verdict}."
    )


def assumptions(viewing: Viewing) -> tuple[str, ...]:
    """What the verdict rests on, as sentences to stand beside it."""
    if viewing.threshold is not None:
        return (
            f"The smallest visible amplitude is your own: {viewing.threshold / UM:g} µm at every wavelength.",
            f"A band is called seen above {viewing.factor:g} times it, not seen below 1/{viewing.factor:g} "
            "of it, and borderline between.",
        )
    return (
        "The wall is matt and evenly coloured; one light falls on it from above, "
        f"{viewing.incidence / DEG:g}° from its normal. Gloss, several lamps and daylight change the "
        "contrast. "
        f"Its layers are beads, {ROUNDNESS:g} times as deep as half-round ones (our assumption), that "
        f"shade each "
        f"other: they leave {100 * bead_share(viewing.incidence):.0f} % of the contrast of a smooth wall.",
        f"The eye looks squarely at the wall from {viewing.distance:g} m; the wall fills "
        f"{number(viewing.field, 2)}° of its view. A larger wall shows smaller bands.",
        _eye_assumption(viewing),
        "Many even bands are assumed; a single step or a beat is another matter. Layer lines mask bands near "
        "their own wavelength, which is left out.",
        "A band is called seen above what every study's observers saw, not seen below what any of them saw, "
        "and borderline between. No study looked at printed walls.",
    )


def _eye_assumption(viewing: Viewing) -> str:
    if viewing.eye == "barten":
        return (
            f"Contrast sensitivity after Barten (2004), at {viewing.luminance:g} cd/m². Measured "
            "sensitivities (Robson 1966, Virsu 1979, Wright 1983, Rovamo 1993, ModelFest, Mantiuk, as "
            "collected in the castleCSF data) differ from it by factors of 0.65 to 2.6 at the wavelengths of "
            "leads."
        )
    return (
        "Relative contrast sensitivity after Mannos and Sakrison (1974) with a peak of "
        f"{viewing.peak_sensitivity:g}; its peak has two readings, 98 and 196, and it is up to six times too "
        "insensitive for bands of several millimetres on large walls."
    )


# A coupon with known bands, so that users find their own threshold.


@dataclass(frozen=True, slots=True, kw_only=True)
class Coupon:
    """Offsets to be given to the layers of a test print along one wall's normal."""

    layer: Array  # (n,) 1, 2, ...
    height: Array  # (n,) m, top of the layer
    offset: Array  # (n,) m outward
    amplitude: Array  # (n,) m of the block the layer belongs to, 0 in the plain gaps


def coupon(
    layer_height: float,
    wavelength: float,
    amplitudes: Sequence[float] = (1e-6, 2e-6, 4e-6, 8e-6, 16e-6),
    *,
    periods: int = 6,
    gap: float | None = None,
) -> Coupon:
    """Coupon of blocks of `periods` bands each, with plain gaps (default: two wavelengths) before, between
    and after; m.

    Raises InputError where a band has fewer than four layers: the layers could not carry its shape.
    """
    if wavelength < 4.0 * layer_height:
        raise InputError(
            f"wavelength_mm = {wavelength / MM:g}: must be at least 4 layers ({4 * layer_height / MM:g} mm)."
        )
    plain = np.zeros(round((2.0 * wavelength if gap is None else gap) / layer_height))
    count = round(periods * wavelength / layer_height)
    wave = np.sin(2.0 * np.pi * np.arange(1, count + 1) * layer_height / wavelength)
    offset, amplitude = [plain], [plain]
    for a in amplitudes:
        offset += [a * wave, plain]
        amplitude += [np.full(count, a), plain]
    total = np.concatenate(offset)
    layer = np.arange(1, len(total) + 1, dtype=float)
    return Coupon(layer=layer, height=layer * layer_height, offset=total, amplitude=np.concatenate(amplitude))


COUPON_NOTES = (
    "Shift every layer of a plain, thin-walled box by its offset along one axis and print it on the "
    "machine in "
    "question.",
    "Check first that the axis can do it: offsets below one microstep are rounded, and the machine's own "
    "bands "
    "add to these.",
    "Hold the coupon as you hold your parts. Your threshold lies between the smallest block whose bands "
    "you see "
    "and the next smaller one.",
)
"""How to use the coupon (common practice, no source)."""
