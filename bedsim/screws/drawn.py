"""Screws drawn from a lot: plain parameters, their centreline and travel, and the scenario keys they stand
for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from bedsim.units import DEG, MM, UM

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FIRST_STEP = 2 * MM
TABLE_ERROR = 0.002 * UM
"""A fifth of the least length that is told."""
LOOKED_AT = 4  # places per step


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnScrew:
    """One screw.

    `eccentricity`, `bow` [m] and `tilt` [m/m]: offsets x + jy of the centreline in the screw's frame at its
    clocking zero; the bow is that of the free screw, with `free_end` as read with the lower end held.  Travel
    deviation [m]: slope s + sum Re(w e^{j 2 pi s/wavelength}) + Re(once_per_turn e^{j angle}), with complex
    amplitudes (half of peak-to-valley) and s [m] above the lower end of the free length.
    """

    length: float
    lead: float
    free_end: bool
    eccentricity: complex
    tilt: complex
    bow: complex
    slope: float
    waves: tuple[complex, ...]
    wavelengths: tuple[float, ...]
    once_per_turn: complex
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnScrews:
    """Many screws as arrays, shape (n,) each, waves and wavelengths (n, count); meaning as in
    DrawnScrew."""

    length: float
    lead: float
    free_end: bool
    eccentricity: Complex
    tilt: Complex
    bow: Complex
    slope: Array
    waves: Complex
    wavelengths: Array
    once_per_turn: Complex
    assumptions: tuple[str, ...]

    def __len__(self) -> int:
        return int(self.slope.size)

    def member(self, i: int) -> DrawnScrew:
        """Return screw `i` by itself."""
        return DrawnScrew(
            length=self.length,
            lead=self.lead,
            free_end=self.free_end,
            eccentricity=complex(self.eccentricity[i]),
            tilt=complex(self.tilt[i]),
            bow=complex(self.bow[i]),
            slope=float(self.slope[i]),
            waves=tuple(complex(w) for w in self.waves[i]),
            wavelengths=tuple(float(w) for w in self.wavelengths[i]),
            once_per_turn=complex(self.once_per_turn[i]),
            assumptions=self.assumptions,
        )


def bow_shape(position: ArrayLike, length: float, free_end: bool) -> Array:
    """Unit bow of the free screw at `position` [m]: sin(pi s/L), or 1 - cos(pi s/(2L)) where the upper end
    will be free."""
    x = np.asarray(position, dtype=float) / length
    return np.asarray(1 - np.cos(np.pi * x / 2) if free_end else np.sin(np.pi * x))


def centreline(screws: DrawnScrew | DrawnScrews, position: ArrayLike) -> Complex:
    """Offset of the free screw's centreline [m] at `position` [m], shape (n, positions); one screw:
    (positions,)."""
    s = np.asarray(position, dtype=float)
    shape = bow_shape(s, screws.length, screws.free_end)
    e, t, b = (np.asarray(v)[..., None] for v in (screws.eccentricity, screws.tilt, screws.bow))
    return np.asarray(e + t * s + b * shape)


def slow_deviation(screws: DrawnScrew | DrawnScrews, position: ArrayLike) -> Array:
    """Slow travel variation [m] without slope and once-per-turn part, shapes as `centreline`."""
    s = np.asarray(position, dtype=float)
    k = 2j * np.pi / np.asarray(screws.wavelengths)
    waves = np.asarray(screws.waves)[..., None] * np.exp(k[..., None] * s)
    return np.asarray(waves.real.sum(axis=-2))


def scenario_keys(screw: DrawnScrew, travel_table: str) -> dict[str, dict[str, object]]:
    """Write a screw as the keys of a scenario: {"run_out": {...}, "travel": {...}}.

    Its slow variation stands in `travel_table`, a CSV made from `travel_table_rows`: waves of several lengths
    are no single one.
    """
    travel: dict[str, object] = {
        "slope_um_per_300mm": screw.slope * 300 * MM / UM,
        "variation_pv_um": 0.0,
        "once_per_turn_pv_um": 2 * abs(screw.once_per_turn) / UM,
        "once_per_turn_deg": _degrees(screw.once_per_turn),
        "table": travel_table,
    }
    run_out: dict[str, object] = {
        "eccentricity_tir_um": 2 * abs(screw.eccentricity) / UM,
        "eccentricity_deg": _degrees(screw.eccentricity),
        "tilt_tir_um_per_100mm": 2 * abs(screw.tilt) * 100 * MM / UM,
        "tilt_deg": _degrees(screw.tilt),
        "bow_tir_um": 2 * abs(screw.bow) / UM,
        "bow_deg": _degrees(screw.bow),
        "bow_measured": "free",
    }
    return {"run_out": run_out, "travel": travel}


def travel_table_rows(screw: DrawnScrew) -> tuple[Array, Array]:
    """Positions [mm] and slow travel variation [um] for a scenario's travel table.

    So many that the curve which a scenario draws through them (`components.lead`) leaves the screw's by
    `TABLE_ERROR` at most.
    """
    count = max(3, round(screw.length / FIRST_STEP) + 1)
    while True:
        s = np.linspace(0.0, screw.length, count)
        between = np.linspace(0.0, screw.length, LOOKED_AT * (count - 1) + 1)
        slow = slow_deviation(screw, s)
        drawn = scipy.interpolate.PchipInterpolator(s, slow)(between)
        if np.abs(drawn - slow_deviation(screw, between)).max() <= TABLE_ERROR:
            return s / MM, slow / UM
        count = 2 * count - 1


def _degrees(value: complex) -> float:
    return math.atan2(value.imag, value.real) / DEG
