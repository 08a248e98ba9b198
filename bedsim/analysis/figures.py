"""Figures that sum up a run, in SI: over the whole machine, per corner, and where it is worst."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis import metrics
from bedsim.analysis.printed import quantity
from bedsim.results.layers import LayerResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One figure that sums up a run: its name in tables, what it says, and its SI unit."""

    name: str
    text: str
    unit: str


METRICS: tuple[Metric, ...] = (
    Metric(name="lateral_pv", text="lateral error, peak to valley", unit="m"),
    Metric(name="height_pv", text="height error, peak to valley", unit="m"),
    Metric(name="thickness_error", text="layer-thickness error, largest", unit="m"),
    Metric(name="lateral_band", text="lateral amplitude at the lead's wavelength", unit="m"),
    Metric(name="height_band", text="height amplitude at the lead's wavelength", unit="m"),
    Metric(name="residual_lateral", text="lateral vibration when printing starts, peak", unit="m"),
    Metric(name="residual_height", text="height vibration when printing starts, peak", unit="m"),
    Metric(name="joint_excursion", text="joint excursion, largest", unit="m"),
    Metric(name="side_force", text="side force on a guide, largest", unit="N"),
    Metric(name="load_angle", text="motor load angle (electrical), largest", unit="rad"),
    Metric(name="mount_force", text="mount force, smallest", unit="N"),
    Metric(name="axial_force", text="load on a screw, smallest", unit="N"),
    Metric(name="tail_bound", text="motion neglected by the solver, at most", unit="m"),
)


NEEDS_INERTIA = ("residual_lateral", "residual_height")
"""Metrics that an engine without inertia leaves open, as NaN."""


def metric_text(metric: Metric, value: float) -> str:
    """A metric's value (SI) with its unit, for reading."""
    if metric.name in NEEDS_INERTIA and np.isnan(value):
        return "not computed"
    if metric.name == "mount_force":
        return mount_text(value)
    return quantity(value, metric.unit)


def mount_text(force: float) -> str:
    """Least force of a mount (N) for reading; a bolted one has none that can be told."""
    return "bolted" if np.isnan(force) else quantity(force, "N")


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerFigures:
    """One corner: lengths m, forces N, angle rad; amplitudes at the probe nearest to its screw."""

    name: str
    lead: float
    wall_wavelength: float
    lateral_amplitude: float
    height_amplitude: float
    joint_excursion: float
    side_force: float
    load_angle: float
    mount_force: float


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
    amplitudes = [corner_amplitudes(layers, c, lead) for c, lead in enumerate(leads)]
    lateral, height = np.array(amplitudes).T
    return {
        "lateral_pv": float(metrics.lateral_peak_to_valley(layers.lateral_error).max()),
        "height_pv": float(metrics.peak_to_valley(layers.height_error).max()),
        "thickness_error": float(np.abs(layers.thickness_error).max()),
        "lateral_band": _largest(lateral),
        "height_band": _largest(height),
        "residual_lateral": float(layers.residual_lateral.max()),
        "residual_height": float(layers.residual_height.max()),
        "joint_excursion": float(layers.joint_excursion.max()),
        "side_force": float(layers.side_force.max()),
        "load_angle": float(np.abs(layers.load_angle).max()),
        "mount_force": float(np.fmin.reduce(layers.mount_force, axis=None)),
        "axial_force": float(layers.axial_force.min()),
        "tail_bound": float(layers.tail_bound.max()),
    }


def _largest(values: metrics.Array) -> float:
    told = values[~np.isnan(values)]
    return float(told.max()) if told.size else float("nan")


def layer_thickness(layers: LayerResult) -> float:
    """Commanded layer thickness, m."""
    height = layers.print_height
    return float(np.ptp(height) / (len(height) - 1)) if len(height) > 1 else float(height[0])


def corner_amplitudes(layers: LayerResult, corner: int, lead: float) -> tuple[float, float]:
    """Lateral and height amplitude (m) at the wavelength a lead shows on the wall, at the probe nearest its
    screw.
    """
    seen = metrics.wall_wavelength(lead, layer_thickness(layers))
    probe = metrics.nearest(layers.probe_position, layers.corner_position[corner])
    lateral = metrics.lateral_amplitude_at(layers.print_height, layers.lateral_error[:, probe], seen)
    height = metrics.amplitude_at(layers.print_height, layers.height_error[:, probe], seen)
    return float(lateral), float(height)


def places_of_worst(layers: LayerResult) -> dict[str, str]:
    """Name of the probe or corner where each metric is worst."""
    probe = {
        "lateral_pv": metrics.lateral_peak_to_valley(layers.lateral_error),
        "height_pv": metrics.peak_to_valley(layers.height_error),
        "thickness_error": np.abs(layers.thickness_error).max(axis=0),
        "residual_lateral": layers.residual_lateral.max(axis=0),
        "residual_height": layers.residual_height.max(axis=0),
    }
    corner = {
        "joint_excursion": layers.joint_excursion.max(axis=0),
        "side_force": layers.side_force.max(axis=0),
        "load_angle": np.abs(layers.load_angle).max(axis=0),
        "mount_force": -layers.mount_force.min(axis=0),
        "axial_force": -layers.axial_force.min(axis=0),
    }
    places = {name: layers.probe_name[metrics.worst(v)[0]] for name, v in probe.items()}
    return places | {name: layers.corner_name[metrics.worst(v)[0]] for name, v in corner.items()}


def corner_figures(layers: LayerResult, leads: Sequence[float]) -> tuple[CornerFigures, ...]:
    """Figures of every corner; `leads` (c,) m."""
    figures = []
    for c, lead in enumerate(leads):
        lateral, height = corner_amplitudes(layers, c, lead)
        figures.append(
            CornerFigures(
                name=layers.corner_name[c],
                lead=lead,
                wall_wavelength=metrics.wall_wavelength(lead, layer_thickness(layers)),
                lateral_amplitude=lateral,
                height_amplitude=height,
                joint_excursion=float(layers.joint_excursion[:, c].max()),
                side_force=float(layers.side_force[:, c].max()),
                load_angle=float(np.abs(layers.load_angle[:, c]).max()),
                mount_force=float(layers.mount_force[:, c].min()),
            )
        )
    return tuple(figures)


def band_window(layers: LayerResult, leads: Sequence[float]) -> float:
    """Height (m) in which every band that fits the print repeats: the largest lead, or wavelength on the
    wall.
    """
    seen = [metrics.wall_wavelength(lead, layer_thickness(layers)) for lead in leads]
    return max(*leads, *(w for w in seen if w <= layers.print_height[-1]))


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
