"""Figures that sum up a run, in SI: over the whole machine, per corner, and where it is worst."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis import metrics
from bedsim.analysis.objects import largest
from bedsim.analysis.printed import quantity
from bedsim.quantities import FIGURES, PER_CORNER, UNKNOWN, Quantity
from bedsim.results.layers import LayerResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One figure that sums up a run: its name in tables, what it says, its SI unit; how no number reads."""

    name: str
    text: str
    unit: str
    unknown: str = UNKNOWN


OF_ERRORS: tuple[Metric, ...] = (
    Metric(name="lateral_pv", text="lateral error, peak to valley", unit="m"),
    Metric(name="height_pv", text="height error, peak to valley", unit="m"),
    Metric(name="thickness_error", text="layer-thickness error, largest", unit="m"),
    Metric(name="lateral_band", text="lateral amplitude at the lead's wavelength", unit="m"),
    Metric(name="height_band", text="height amplitude at the lead's wavelength", unit="m"),
)
METRICS: tuple[Metric, ...] = (
    *OF_ERRORS,
    *(Metric(name=q.name, text=q.figure, unit=q.unit, unknown=q.unknown) for q in FIGURES),
)


def metric_text(metric: Metric | Quantity, value: float) -> str:
    """A figure's value (SI) with its unit, for reading."""
    return metric.unknown if np.isnan(value) else quantity(value, metric.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerFigures:
    """One corner, SI: amplitudes at the probe nearest to its screw; `worst` of every quantity per corner."""

    name: str
    lead: float
    wall_wavelength: float
    lateral_amplitude: float
    height_amplitude: float
    worst: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstBand:
    """The stretch of one band's length with the largest lateral peak-to-valley: heights m, layer numbers,
    probe name.
    """

    bottom: float
    top: float
    first_layer: int
    last_layer: int
    probe: str
    lateral_pv: float


def metric_values(layers: LayerResult, leads: Sequence[float]) -> dict[str, float]:
    """All METRICS of a run (SI); `leads` (c,) m, one per corner."""
    lateral, height = corner_amplitudes(layers, leads).T
    return {
        "lateral_pv": float(lateral_extent(layers).max()),
        "height_pv": float(height_extent(layers).max()),
        "thickness_error": float(np.abs(layers.thickness_error).max()),
        "lateral_band": _largest(lateral),
        "height_band": _largest(height),
        **{q.name: float(q.extreme.reduce(getattr(layers, q.field), axis=None)) for q in FIGURES},
    }


def lateral_extent(layers: LayerResult) -> metrics.Array:
    """Peak-to-valley (p,) m of the lateral error at the probes, of the object where it is largest."""
    return metrics.widest(layers.print_height, layers.lateral_error)


def height_extent(layers: LayerResult) -> metrics.Array:
    """Peak-to-valley (p,) m of the height error, likewise."""
    return largest(metrics.peak_to_valley, layers.height_error, metrics.objects(layers.print_height))


def _largest(values: metrics.Array) -> float:
    told = values[~np.isnan(values)]
    return float(told.max()) if told.size else float("nan")


def corner_amplitudes(layers: LayerResult, leads: Sequence[float]) -> metrics.Array:
    """Lateral and height amplitude (c, 2) m at the wavelength that every corner's lead shows on the wall, at
    the probe nearest its screw; of objects one after the other, the largest.
    """
    probes = [metrics.nearest(layers.probe_position, at) for at in layers.corner_position]
    found = np.full((len(leads), 2), np.nan)
    for part in metrics.objects(layers.print_height):
        tops = layers.print_height[part]
        for lead in dict.fromkeys(leads):  # one fit tells of all corners of a lead
            own = [c for c, other in enumerate(leads) if other == lead]
            near = [probes[c] for c in own]
            errors = layers.lateral_error[part, near], layers.height_error[part, near, None]
            wave = metrics.phasor_at(
                tops, np.concatenate(errors, axis=-1), metrics.seen_wavelength(tops, lead)
            )
            amplitude = np.stack([metrics.longest_way(wave[:, :2]), np.abs(wave[:, 2])], axis=-1)
            found[own] = np.fmax(found[own], amplitude)
    return found


def places_of_worst(layers: LayerResult) -> dict[str, str]:
    """Name of the probe or corner where each metric is worst."""
    found = {
        "lateral_pv": layers.probe_name[metrics.worst(lateral_extent(layers))[0]],
        "height_pv": layers.probe_name[metrics.worst(height_extent(layers))[0]],
        "thickness_error": layers.probe_name[metrics.worst(np.abs(layers.thickness_error).max(axis=0))[0]],
    }
    names = {"probe": layers.probe_name, "corner": layers.corner_name}
    for q in FIGURES:
        if q.dims[-1] in names:
            bad = q.badness(getattr(layers, q.field)).max(axis=0)
            found[q.name] = names[q.dims[-1]][metrics.worst(bad)[0]]
    return found


def corner_figures(layers: LayerResult, leads: Sequence[float]) -> tuple[CornerFigures, ...]:
    """Figures of every corner; `leads` (c,) m."""
    figures = []
    for c, (lead, (lateral, height)) in enumerate(
        zip(leads, corner_amplitudes(layers, leads).tolist(), strict=True)
    ):
        figures.append(
            CornerFigures(
                name=layers.corner_name[c],
                lead=lead,
                wall_wavelength=metrics.seen_wavelength(layers.print_height, lead),
                lateral_amplitude=lateral,
                height_amplitude=height,
                worst={q.name: float(q.extreme.reduce(getattr(layers, q.field)[:, c])) for q in PER_CORNER},
            )
        )
    return tuple(figures)


def band_window(layers: LayerResult, leads: Sequence[float]) -> float:
    """Height (m) in which every band that fits the print repeats: the largest lead, or wavelength on the
    wall.
    """
    seen = [metrics.seen_wavelength(layers.print_height, lead) for lead in leads]
    return max(*leads, *(w for w in seen if w <= layers.print_height.max()))


def worst_band(layers: LayerResult, window: float) -> WorstBand:
    """Where the lateral error varies most within a height of `window` (m)."""
    band = metrics.worst_band(layers.print_height, layers.lateral_error, window)
    return WorstBand(
        bottom=float(layers.print_height[band.first]),
        top=float(layers.print_height[band.last]),
        first_layer=int(layers.layer[band.first]),
        last_layer=int(layers.layer[band.last]),
        probe=layers.probe_name[band.probe],
        lateral_pv=band.peak_to_valley,
    )
