"""The pictures of one run, each a page of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.analysis import metrics
from bedsim.analysis.figures import height_extent, lateral_extent
from bedsim.analysis.objects import shown_object
from bedsim.number_text import number
from bedsim.results.layers import LayerResult, Run, Trace
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Scenario
from bedsim.scenario.sections import section_of
from bedsim.units import MM
from bedsim.views import errors, history, machine, machine_side, spectra, style
from bedsim.views.unrolled import draw_unrolled
from bedsim.views.wall_picture import draw_walls, wall_file
from bedsim.wall.outlines import outline_walls, worst_stretch
from bedsim.wall.relief import probe_index
from bedsim.wall.worst import JudgedWall, printed_walls

FEWEST_FOR_WAVES = 5
"""Layers from which on wavelengths are told."""
MOST_PROBES = 6
"""More lines than these cannot be told apart: the probes with the largest lateral error are drawn."""


def drawings(
    run: Run,
    loaded: LoadedScenario,
    stem: Path,
    walls: Sequence[JudgedWall] = (),
    probe: str | None = None,
) -> list[Callable[[], Path]]:
    """All pictures of a run, to be drawn beside `stem` (results/first gives results/first_machine.png and so
    on), what takes longest first; `walls` beside them, and what is drawn of one place at `probe` (default:
    the worst one).

    Each gives the file written.  Raises ResultFileError when it cannot be written.
    """
    scenario, layers = loaded.scenario, run.layers
    found = [partial(draw_path, scenario, layers, _named(stem, "path"))]
    for trace in layers.trace:
        if has_history(trace):
            path = _named(stem, f"layer_{trace.layer}")
            found.append(partial(draw_history, scenario, layers, trace, path, probe))
    found += [
        partial(draw_machine, scenario, layers, _named(stem, "machine")),
        partial(draw_errors, scenario, layers, _named(stem, "errors")),
    ]
    if has_waves(layers):
        found.append(partial(draw_spectrum, scenario, layers, _named(stem, "wavelengths"), probe))
    names = [scenario.title]
    found += [
        partial(
            draw_walls,
            [w],
            [printed_walls(layers, scenario).layers],
            names,
            stem.with_name(f"{stem.name}_{wall_file(w)}"),
        )
        for w in walls
    ]
    lead = max(c.screw.lead_mm for c in scenario.corner) * MM
    around = outline_walls(layers, loaded)
    if (worst := worst_stretch(around, lead)) is not None:
        found.append(partial(draw_unrolled, scenario.title, worst, around, _named(stem, "unrolled")))
    return [*found]


def has_waves(layers: LayerResult) -> bool:
    """Whether the object that is shown is high enough to tell wavelengths."""
    part = shown_object(layers).part
    return part.stop - part.start >= FEWEST_FOR_WAVES


def has_history(trace: Trace) -> bool:
    """Whether there is something to draw: an engine without inertia knows only where a layer change ends."""
    return len(trace.time) > 1


def _named(stem: Path, name: str) -> Path:
    return stem.with_name(f"{stem.name}_{name}.png")


def _title(scenario: Scenario, what: str) -> str:
    return f"{what}: {style.short(scenario.title, 70)}"


def draw_machine(scenario: Scenario, layers: LayerResult, path: Path) -> Path:
    """The machine as understood."""
    with style.page(path, 300 * MM, 175 * MM, _title(scenario, "The machine as understood")) as figure:
        plan, side = figure.subplots(1, 2, width_ratios=(1.0, 1.0))
        machine.plan_view(plan, scenario, layers.probe_position / MM)
        nut = layers.nut_position / MM
        machine_side.side_view(side, scenario, list(nut.max(axis=0)), list(nut.min(axis=0)))
        handles, labels = machine.plan_legend(scenario, layers.probe_name)
        sign, text = machine_side.travel_sign()
        figure.legend([*handles, sign], [*labels, text], loc="outside lower left", ncols=3)
    return path


def draw_errors(scenario: Scenario, layers: LayerResult, path: Path) -> Path:
    """Height error and lateral error in X and Y over the height of the print."""
    tall = (150 if len(layers.layer) < 200 else 220) * MM
    several = len(metrics.objects(layers.print_height)) > 1
    what = "Error against the first layer of each object" if several else "Error against layer 1"
    with style.page(path, 260 * MM, tall, _title(scenario, what)) as figure:
        axes = figure.subplots(1, 3, sharey=True)
        error_panels(axes, layers)
        style.outside_legend(figure, axes[0], f"probe{_shown(layers)[1]}")
    return path


def error_panels(axes: Sequence[Axes], layers: LayerResult) -> None:
    """Height error and lateral error in X and Y, each in one of three axes, over the height of the print."""
    shown, _ = _shown(layers)
    names = [layers.probe_name[i] for i in shown]
    panels = (
        ("height error", layers.height_error[:, shown]),
        ("lateral error in X", layers.lateral_error[:, shown, 0]),
        ("lateral error in Y", layers.lateral_error[:, shown, 1]),
    )
    for ax, (what, error) in zip(axes, panels, strict=True):
        factor, unit = style.length_unit(error)
        errors.error_over_height(ax, layers.print_height, error, names, what=what, factor=factor, unit=unit)
    axes[0].set_ylabel("print height (mm)")
    axes[0].set_title("positive: bed nearer the nozzle", fontsize=8, fontweight="normal")


def _shown(layers: LayerResult) -> tuple[list[int], str]:
    """Probes to draw, in their order, and a remark where some are left out."""
    count = len(layers.probe_name)
    if count <= MOST_PROBES:
        return list(range(count)), ""
    largest = np.argsort(-lateral_extent(layers), kind="stable")[:MOST_PROBES]
    return sorted(int(i) for i in largest), f", the {MOST_PROBES}\nworst of {count}"


def draw_path(scenario: Scenario, layers: LayerResult, path: Path) -> Path:
    """Path of the bed in the plane at the probes, all to the same scale."""
    shown, note = _shown(layers)
    columns = min(len(shown), 3)
    rows = -(-len(shown) // columns)
    lateral = layers.lateral_error[:, shown]
    factor, unit = style.length_unit(lateral)
    turn = max(c.screw.lead_mm for c in scenario.corner) * MM
    colours, meaning = errors.height_scale(layers.print_height, turn)
    title = _title(scenario, "Path in the plane" + note.replace("\n", " "))
    with style.page(path, (columns * 71 + 45) * MM, (rows * 75 + 22) * MM, title) as figure:
        grid = figure.subplots(rows, columns, squeeze=False).ravel()
        for ax in grid[len(shown) :]:
            ax.set_axis_off()
        axes = list(grid[: len(shown)])
        for i, ax in enumerate(axes):
            errors.path_in_plane(ax, lateral[:, i], layers.print_height, colours, factor=factor)
            ax.set_title(style.short(layers.probe_name[shown[i]], 26), fontsize=9)
            ax.set_xlabel(f"lateral X ({unit})")
            ax.set_ylabel(f"lateral Y ({unit})")
        errors.common_square(axes, lateral, factor)
        figure.colorbar(colours, ax=axes, label=meaning, shrink=0.7)
        errors.path_legend(figure)
    return path


def _at_worst(layers: LayerResult, probe: str | None) -> tuple[int, int]:
    """The probes with the largest lateral and the largest height error, or the one that is named."""
    if probe is not None:
        return (probe_index(layers, probe),) * 2
    return metrics.worst(lateral_extent(layers))[0], metrics.worst(height_extent(layers))[0]


def draw_spectrum(scenario: Scenario, layers: LayerResult, path: Path, probe: str | None = None) -> Path:
    """Amplitude over wavelength at the probes with the largest lateral and the largest height error, or at
    the one that is named, of the object where the lateral error is largest."""
    sideways, up = _at_worst(layers, probe)
    shown = shown_object(layers)
    part = shown.part
    tops = layers.print_height[part]
    lateral = metrics.spectrum(tops, layers.lateral_error[part, sideways])
    height = metrics.spectrum(tops, layers.height_error[part, up])
    marks = wavelength_marks(scenario, tops)
    what = f"Amplitude over wavelength{f', {shown.words}' if shown.words else ''}"
    with style.page(path, 240 * MM, 160 * MM, _title(scenario, what)) as figure:
        top, bottom = figure.subplots(2, 1, sharex=True)
        factor, unit = style.length_unit(lateral.amplitude)
        lines = {"lateral X": lateral.amplitude[:, 0], "lateral Y": lateral.amplitude[:, 1]}
        spectra.amplitude_over_wavelength(top, lateral.wavelength, lines, factor=factor, unit=unit)
        factor, unit = style.length_unit(height.amplitude)
        spectra.amplitude_over_wavelength(
            bottom, height.wavelength, {"height": height.amplitude}, factor=factor, unit=unit
        )
        spectra.mark_wavelengths(top, marks)
        spectra.mark_wavelengths(bottom, [(w, "") for w, _ in marks])
        top.annotate(_at(layers, sideways), (1.01, 0.5), xycoords="axes fraction", fontsize=8)
        bottom.annotate(_at(layers, up), (1.01, 0.5), xycoords="axes fraction", fontsize=8)
        bottom.set_xlabel("wavelength over the height of the print (mm)")
    return path


def _at(layers: LayerResult, probe: int) -> str:
    return "at probe\n" + style.wrapped(layers.probe_name[probe])


def wavelength_marks(scenario: Scenario, tops: metrics.Array) -> list[tuple[float, str]]:
    """Where each lead (and its half) shows on the wall, named; `tops` (n,) of the layers in m."""
    marks: dict[str, tuple[float, str]] = {}
    for lead in sorted({c.screw.lead_mm for c in scenario.corner}):
        for harmonic, name in ((1, f"lead {lead:g}"), (2, f"half of lead {lead:g}")):
            seen = metrics.seen_wavelength(tops, lead * MM, harmonic)
            if np.isfinite(seen):
                folded = abs(seen - lead * MM / harmonic) > 1e-9 * seen
                text = f"{name}, seen at {number(seen / MM)} mm" if folded else f"{name} mm"
                marks[text] = (seen, text)
    return list(marks.values())


def draw_history(
    scenario: Scenario, layers: LayerResult, trace: Trace, path: Path, at: str | None = None
) -> Path:
    """Time history of one layer change at the probe with the largest lateral error, or at the one named."""
    probe = _at_worst(layers, at)[0]
    settle = section_of(scenario.print, scenario.motion, trace.layer).settle_s
    start = metrics.motion_end(trace.time, trace.commanded_height) + settle
    title = _title(scenario, f"Change to layer {trace.layer}")
    shown, note = _shown(layers)
    with style.page(path, 220 * MM, 210 * MM, title) as figure:
        axes = list(figure.subplots(4, 1, sharex=True))
        history.bed_height(axes[0], trace, probe)
        history.height_errors(axes[1], trace, layers.probe_name, shown)
        history.lateral_errors(axes[2], trace, probe)
        history.load_angles(axes[3], trace, layers.corner_name)
        names = style.wrapped(layers.probe_name[probe])
        titles = (f"at {names}", f"probe{note}", f"at {names}", "corner")
        for ax, legend in zip(axes, titles, strict=True):
            ax.legend(
                loc="upper left", bbox_to_anchor=(1.0, 1.04), title=legend, alignment="left", title_fontsize=8
            )
        axes[0].set_xlim(float(trace.time[0]), float(min(trace.time[-1], max(2 * start, 1e-3))))
        axes[3].set_xlabel("time from the start of the layer change (s)")
        history.mark_print_start(axes, start)
    return path
