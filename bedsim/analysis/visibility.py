"""Is a band on a printed wall seen?  From its slope under raking light to the contrast an eye can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from bedsim.analysis.bands import Band
from bedsim.errors import InputError
from bedsim.results.layers import Array
from bedsim.units import DEG, MM, UM

Verdict = Literal["seen", "borderline", "not seen"]
Eye = Literal["mannos-sakrison", "barten"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """How the wall is lit and looked at, and what counts as seen; lengths in m, angle in rad."""

    incidence: float = 60.0 * DEG  # of the light from the wall's normal, in the vertical plane
    distance: float = 0.3  # from eye to wall
    eye: Eye = "mannos-sakrison"
    peak_sensitivity: float = 200.0  # 1/contrast at the peak of the relative curve
    luminance: float = 100.0  # cd/m2 of the wall, for "barten" only
    field: float = 10.0  # degrees of the visual field that the banded wall fills, for "barten" only
    factor: float = 2.0  # verdict "borderline" between threshold/factor and threshold*factor
    threshold: float | None = None  # m, the user's own smallest visible amplitude; replaces the eye's curve


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One band judged."""

    band: Band
    contrast: float
    smallest_visible: float  # m
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
        (viewing.field > 0, "field_deg", viewing.field, "above 0"),
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


def relief_contrast(amplitude: ArrayLike, wavelength: ArrayLike, incidence: float) -> Array:
    """Luminance contrast (Lmax - Lmin)/(Lmax + Lmin) of a relief A sin(2 pi z/lambda), lengths in m, angle
    in rad.

    A matt (Lambert) wall lit from above under the angle i from its normal has L ~ cos i - s sin i at slope
    s = dr/dz, so L/L0 = 1 - s tan i and the contrast is the largest slope times tan i: (2 pi A/lambda) tan
    i. Source: Lambert's cosine law.  Holds while no part shades another, slope < cot i.
    """
    slope = 2.0 * np.pi * np.asarray(amplitude, float) / np.asarray(wavelength, float)
    return np.asarray(slope * np.tan(incidence))


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

    A = lambda/(2 pi tan i S(f)) with f = cycles_per_degree(lambda, distance).
    """
    length = np.asarray(wavelength, float)
    if viewing.threshold is not None:
        return np.full_like(length, viewing.threshold)
    sensitivity = contrast_sensitivity(cycles_per_degree(length, viewing.distance), viewing)
    return np.asarray(length / (2.0 * np.pi * np.tan(viewing.incidence) * sensitivity))


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
        return Sighting(band=band, contrast=np.nan, smallest_visible=np.nan, ratio=np.nan, verdict="not seen")
    limit = float(smallest_visible_amplitude(band.seen_wavelength, viewing))
    ratio = band.amplitude / limit
    return Sighting(
        band=band,
        contrast=float(relief_contrast(band.amplitude, band.seen_wavelength, viewing.incidence)),
        smallest_visible=limit,
        ratio=ratio,
        verdict=verdict(ratio, viewing.factor),
    )


def verdict(ratio: float, factor: float) -> Verdict:
    """Seen above `factor` times the threshold, not seen below 1/`factor` of it, borderline between."""
    if ratio > factor:
        return "seen"
    return "borderline" if ratio >= 1.0 / factor else "not seen"


def worst(sightings: Sequence[Sighting]) -> Sighting | None:
    """The band that stands out most, None if no band is resolved."""
    resolved = [s for s in sightings if np.isfinite(s.ratio)]
    return max(resolved, key=lambda s: s.ratio) if resolved else None


def assumptions(viewing: Viewing) -> tuple[str, ...]:
    """What the verdict rests on, as sentences to stand beside it."""
    between = (
        f"A band is called seen above {viewing.factor:g} times the smallest visible amplitude, not seen "
        "below "
        f"1/{viewing.factor:g} of it, and borderline between."
    )
    if viewing.threshold is not None:
        own = (
            f"The smallest visible amplitude is your own: {viewing.threshold / UM:g} µm at every wavelength."
        )
        return own, between
    return (
        "The wall is matt and evenly coloured; one light falls on it from above, "
        f"{viewing.incidence / DEG:g}° from its normal. Gloss, several lamps and daylight change the "
        "contrast.",
        f"The eye looks squarely at the wall from {viewing.distance:g} m.",
        _eye_assumption(viewing),
        "Many even bands are assumed; a single step or a beat is another matter. Layer lines mask bands near "
        "their own wavelength, which is left out.",
        between,
    )


def _eye_assumption(viewing: Viewing) -> str:
    if viewing.eye == "barten":
        return (
            f"Contrast sensitivity after Barten (2004), at {viewing.luminance:g} cd/m² on a field of "
            f"{viewing.field:g}°: practised observers on an even field, the strictest case."
        )
    return (
        "Relative contrast sensitivity after Mannos and Sakrison (1974) with a peak sensitivity of "
        f"{viewing.peak_sensitivity:g} (smallest contrast {100 / viewing.peak_sensitivity:.2g} %), which "
        "is our "
        "assumption for an attentive eye; published peaks lie between about 100 and 600."
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
