"""Screws drawn from a lot: plain parameters, their centreline and travel, and the scenario keys they stand
for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bedsim.units import DEG, MM, UM

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnScrew:
    """One screw.

    `eccentricity`, `bow` [m] and `tilt` [m/m]: offsets x + jy of the mounted, unloaded centreline in the
    screw's frame at its clocking zero.  Travel deviation [m]: slope s + sum Re(w e^{j 2 pi s/wavelength})
    + Re(once_per_turn e^{j angle}), with complex amplitudes (half of peak-to-valley) and s [m] above the
    lower end of the free length.
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
    """Unit bow at `position` [m]: sin(pi s/L) held at both ends, 1 - cos(pi s/(2L)) with the upper end
    free."""
    x = np.asarray(position, dtype=float) / length
    return np.asarray(1 - np.cos(np.pi * x / 2) if free_end else np.sin(np.pi * x))


def centreline(screws: DrawnScrew | DrawnScrews, position: ArrayLike) -> Complex:
    """Offset of the centreline [m], shape (n, positions) (one screw: (positions,)), at `position` [m]."""
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


def travel_deviation(screws: DrawnScrew | DrawnScrews, position: ArrayLike) -> Array:
    """Travel deviation [m] at `position` [m], the screw turning by 2 pi per lead; shapes as
    `centreline`."""
    s = np.asarray(position, dtype=float)
    once = np.asarray(screws.once_per_turn)[..., None] * np.exp(2j * np.pi * s / screws.lead)
    return np.asarray(np.asarray(screws.slope)[..., None] * s + slow_deviation(screws, s) + once.real)


def scenario_keys(screw: DrawnScrew, *, travel_table: str | None = None) -> dict[str, dict[str, object]]:
    """Write a screw as the keys of a scenario: {"run_out": {...}, "travel": {...}}.

    With `travel_table` (the name of a CSV made from `travel_table_rows`) the slow variation is exact;
    without, it is one wave: that of the largest amplitude, with the peak-to-valley of the whole.
    """
    travel: dict[str, object] = {"slope_um_per_300mm": screw.slope * 300 * MM / UM}
    if travel_table is not None:
        travel["table"] = travel_table
    elif screw.waves and any(screw.waves):
        k = int(np.argmax(np.abs(screw.waves)))
        rows = slow_deviation(screw, np.linspace(0.0, screw.length, 801))
        travel |= {
            "variation_pv_um": float(np.ptp(rows)) / UM,
            "variation_wavelength_mm": screw.wavelengths[k] / MM,
            "variation_deg": _degrees(screw.waves[k]),
        }
    travel |= {
        "once_per_turn_pv_um": 2 * abs(screw.once_per_turn) / UM,
        "once_per_turn_deg": _degrees(screw.once_per_turn),
    }
    run_out: dict[str, object] = {
        "eccentricity_tir_um": 2 * abs(screw.eccentricity) / UM,
        "eccentricity_deg": _degrees(screw.eccentricity),
        "tilt_tir_um_per_100mm": 2 * abs(screw.tilt) * 100 * MM / UM,
        "tilt_deg": _degrees(screw.tilt),
        "bow_tir_um": 2 * abs(screw.bow) / UM,
        "bow_deg": _degrees(screw.bow),
    }
    return {"run_out": run_out, "travel": travel}


def travel_table_rows(screw: DrawnScrew, step: float = 2 * MM) -> tuple[Array, Array]:
    """Positions [mm] and slow travel variation [um] for a scenario's travel table."""
    s = np.linspace(0.0, screw.length, max(3, round(screw.length / step) + 1))
    return s / MM, slow_deviation(screw, s) / UM


def _degrees(value: complex) -> float:
    return math.atan2(value.imag, value.real) / DEG
