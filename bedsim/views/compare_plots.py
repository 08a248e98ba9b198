"""Runs side by side: errors, wavelengths, walls and figures on shared axes, and where a joint pays."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from bedsim.analysis import metrics
from bedsim.analysis.figures import METRICS, Metric, metric_text
from bedsim.analysis.printed import FLOOR
from bedsim.comparison.break_even import BreakEven, Crossing
from bedsim.comparison.compared import Compared, Comparison, worst_probe
from bedsim.number_text import number
from bedsim.ranges.travel import TravelRange
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.schema import Scenario
from bedsim.units import DEG, MM, N_PER_UM, UM
from bedsim.views import spectra, style
from bedsim.views.errors import LEAST_UM
from bedsim.views.pictures import wavelength_marks
from bedsim.views.travel_plots import draw_travel
from bedsim.views.wall_picture import draw_walls, wall_file
from bedsim.wall.worst import JudgedWall

BARS = ("lateral_pv", "height_pv", "lateral_band", "height_band", "joint_excursion", "side_force")
_UNITS = {"m": (UM, "µm"), "N": (1.0, "N"), "rad": (DEG, "°")}


def draw_comparison(
    comparison: Comparison,
    items: Sequence[Compared],
    walls: Sequence[Sequence[JudgedWall]],
    travel: Sequence[TravelRange],
    folder: Path,
) -> list[Path]:
    """Draw all pictures of a comparison into a folder; gives the files.  `items` as they were compared,
    `walls`: every wall, of every run; `travel`: the first machines over their travel, or none.

    Raises ResultFileError when one cannot be written.
    """
    scenarios = [i.loaded.scenario for i in items]
    files = [draw_travel(comparison.labels[: len(travel)], travel, folder / "travel.png")] if travel else []
    files.append(draw_errors(comparison, folder / "errors.png"))
    if min(len(part.layer) for part in comparison.layers) >= 5:
        files.append(draw_spectra(comparison, scenarios, folder / "wavelengths.png"))
    files += [
        draw_walls(row, comparison.layers, comparison.labels, folder / wall_file(row[0])) for row in walls
    ]
    return [*files, draw_figures(comparison, folder / "figures.png")]


# ---- errors over height -------------------------------------------------------------------------------


def draw_errors(comparison: Comparison, path: Path) -> Path:
    """Height error and lateral errors of all runs over the print height, at the worst common probe."""
    probe = worst_probe(comparison)
    panels = [_error_panels(part, probe) for part in comparison.layers]
    tall = (150 if len(comparison.layers[0].layer) < 200 else 220) * MM
    title = f"Error against layer 1 at {comparison.layers[0].probe_name[probe]}"
    with style.page(path, 260 * MM, tall, title) as figure:
        axes = list(figure.subplots(1, 3, sharey=True))
        for k, ax in enumerate(axes):
            what = panels[0][k][0]
            error_curves(ax, comparison.layers, [p[k][1] for p in panels], comparison.labels, what)
        axes[0].set_ylabel("print height (mm)")
        axes[0].set_title("positive: bed nearer the nozzle", fontsize=8, fontweight="normal")
        style.outside_legend(figure, axes[0], "run")
    return path


def _error_panels(layers: LayerResult, probe: int) -> tuple[tuple[str, Array], ...]:
    return (
        ("height error", layers.height_error[:, probe]),
        ("lateral error in X", layers.lateral_error[:, probe, 0]),
        ("lateral error in Y", layers.lateral_error[:, probe, 1]),
    )


def error_curves(
    ax: Axes, layers: Sequence[LayerResult], errors: Sequence[Array], labels: Sequence[str], what: str
) -> None:
    """One error (n,) m per run to the right, each over its own print height upwards."""
    factor, unit = style.length_unit(*errors)
    for i, (part, error, label) in enumerate(zip(layers, errors, labels, strict=True)):
        look = style.layered(i, len(errors), len(error))
        ax.plot(error / factor, part.print_height / MM, label=style.wrapped(label), **look)
    ax.axvline(0.0, color=style.GREY, linewidth=0.8)
    ax.set_xlabel(f"{what} ({unit})")
    if unit == "µm":
        style.least_extent(ax, "x", LEAST_UM)


# ---- wavelengths --------------------------------------------------------------------------------------


def draw_spectra(comparison: Comparison, scenarios: Sequence[Scenario], path: Path) -> Path:
    """Amplitude over wavelength of all runs at the worst common probe, and where the leads show."""
    probe = worst_probe(comparison)
    panels = [_error_panels(part, probe) for part in comparison.layers]
    marks = {
        text: (seen, text)
        for scenario, part in zip(scenarios, comparison.layers, strict=True)
        for seen, text in wavelength_marks(scenario, part.print_height)
    }
    title = f"Amplitude over wavelength at {comparison.layers[0].probe_name[probe]}"
    with style.page(path, 240 * MM, 200 * MM, title) as figure:
        axes = list(figure.subplots(3, 1, sharex=True))
        for row, ax in zip((1, 2, 0), axes, strict=True):
            spectrum_curves(ax, comparison.layers, [p[row][1] for p in panels], comparison.labels)
            ax.set_ylabel(f"{panels[0][row][0]}:\n{ax.get_ylabel()}")
        for k, ax in enumerate(axes):
            spectra.mark_wavelengths(ax, [(w, text if k == 0 else "") for w, text in marks.values()])
        axes[-1].set_xlabel("wavelength over the height of the print (mm)")
        style.outside_legend(figure, axes[0], "run")
    return path


def spectrum_curves(
    ax: Axes, layers: Sequence[LayerResult], errors: Sequence[Array], labels: Sequence[str]
) -> None:
    """Amplitude over wavelength of one error (n,) m per run; an extent below 0.02 µm is not magnified."""
    found = [metrics.spectrum(part.print_height, e) for part, e in zip(layers, errors, strict=True)]
    factor, unit = style.length_unit(*(s.amplitude for s in found))
    for i, (line, label) in enumerate(zip(found, labels, strict=True)):
        look = style.layered(i, len(found), marked=False)
        ax.plot(line.wavelength / MM, line.amplitude / factor, label=style.wrapped(label), **look)
    ax.set_xscale("log")
    low = min(float(s.wavelength.min()) for s in found) / MM
    high = max(float(s.wavelength.max()) for s in found) / MM
    ax.set_xlim(low, high)
    ax.set_ylim(0.0, max(ax.get_ylim()[1], LEAST_UM if unit == "µm" else 0.0))
    style.round_log_ticks(ax.xaxis, low, high)
    ax.yaxis.set_major_locator(MaxNLocator(5))
    ax.set_ylabel(f"amplitude ({unit})")


# ---- walls --------------------------------------------------------------------------------------------


# ---- figures ------------------------------------------------------------------------------------------


def draw_figures(comparison: Comparison, path: Path) -> Path:
    """Bars of the main figures, each on its own scale, all runs beside one another."""
    chosen = [m for m in METRICS if m.name in BARS]
    tall = 22 + 2 * (20 + 7 * len(comparison.labels))
    with style.page(path, 260 * MM, tall * MM, "Figures, worst over the print") as figure:
        axes = figure.subplots(2, 3).ravel()
        for ax, metric in zip(axes, chosen, strict=True):
            figure_bars(ax, metric, [v[metric.name] for v in comparison.values], comparison.labels)
        for ax in axes[[1, 2, 4, 5]]:
            ax.tick_params(left=False, labelleft=False)
    return path


def figure_bars(ax: Axes, metric: Metric, values: Sequence[float], labels: Sequence[str]) -> None:
    """One bar per run with its value written at its end, first run on top; what is not known has no bar."""
    factor, unit = _UNITS[metric.unit]
    for i, value in enumerate(values):
        known = 0.0 if np.isnan(value) or (metric.unit == "m" and value < FLOOR) else value / factor
        look = {"color": style.COLOURS[i % 7], "hatch": style.HATCHES[i % 6], "edgecolor": "white"}
        ax.barh(i, known, height=0.7, **look)  # type: ignore[arg-type]
        ax.annotate(
            metric_text(metric, value),
            (known, i),
            (3, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    ax.set_yticks(range(len(labels)), [style.wrapped(text, 20) for text in labels])
    ax.set_ylim(len(labels) - 0.5, -0.5)
    ax.set_xlim(0.0, 1.4 * max([v / factor for v in values if v >= FLOOR], default=1.0))
    ax.xaxis.set_major_locator(MaxNLocator(4))
    ax.grid(axis="y", visible=False)
    ax.set_title(metric.text, fontsize=8)
    ax.set_xlabel(unit)


# ---- break-even ---------------------------------------------------------------------------------------


def draw_break_even(found: BreakEven, path: Path) -> Path:
    """Lateral error with and without the joint over stiffness and over friction, and where the joint pays."""
    with style.page(path, 240 * MM, 110 * MM, f"Where a {found.kind} joint pays") as figure:
        left, right = figure.subplots(1, 2, sharey=True)
        break_even_curves(left, found.stiffness, found, N_PER_UM)
        break_even_curves(right, found.friction, found, 1.0)
        left.set_xlabel("guide and frame sideways, in series (N/µm)")
        right.set_xlabel("sliding force of a corner's joint (N)")
        left.set_ylabel("lateral error, peak to valley (µm)")
        style.outside_legend(figure, left)
    return path


def break_even_curves(ax: Axes, crossing: Crossing, found: BreakEven, unit: float) -> None:
    """Both machines over what was varied (in `unit`), the rigid one less the worth, crossings and the value
    given."""
    curve = crossing.curve
    place = curve.place / unit
    ax.plot(place, curve.rigid / UM, label="bolted", **style.layered(0, 2, marked=False))
    ax.plot(
        place,
        curve.joint / UM,
        label=style.wrapped(f"{found.kind} joint"),
        **style.layered(1, 2, marked=False),
    )
    limit = (curve.rigid - found.worth) / UM
    text = f"bolted less {number(found.worth / UM, 2)} µm"
    ax.plot(place, limit, color=style.GREY, linestyle=(0, (1, 1)), label=style.wrapped(text))
    ax.fill_between(
        place,
        curve.joint / UM,
        limit,
        where=list(curve.joint / UM <= limit),
        color=style.SKY,
        alpha=0.25,
        linewidth=0,
        label="the joint pays",
    )
    ax.axvline(crossing.given / unit, color=style.INK, linewidth=1.0, linestyle=(0, (6, 3)), label="as given")
    for k, at in enumerate(crossing.at):
        label = "break-even" if k == 0 else None
        ax.axvline(at / unit, color=style.PURPLE, linewidth=1.2, linestyle=(0, (8, 2, 2, 2)), label=label)
        place_above = (at / unit, 1.0), (0, 2), ax.get_xaxis_transform(), "offset points"
        ax.annotate(number(at / unit, 2), *place_above, color=style.PURPLE, fontsize=8, ha="center")
    ax.set_xscale("log")
    ax.set_ylim(bottom=0.0)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
