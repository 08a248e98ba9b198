"""Pictures of workshop measurements: readings with their fit, the bent centreline, loops, decays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from numpy.typing import NDArray

from bedsim.metrology.centreline_fit import CentrelineFit
from bedsim.metrology.decay_fit import DecayFit
from bedsim.metrology.readings import Extremes, Readings
from bedsim.metrology.rolled_fit import RolledFit
from bedsim.metrology.runout_fit import PositionFit, curve
from bedsim.metrology.setup import Setup
from bedsim.metrology.stiffness_fit import LoopFit
from bedsim.number_text import number
from bedsim.units import MM, N_PER_UM, UM
from bedsim.views import style

Array = NDArray[np.float64]


def draw_run_out(
    readings: Readings,
    setup: Setup,
    fits: Sequence[PositionFit],
    centreline: CentrelineFit | None,
    title: str,
    path: Path,
) -> Path:
    """Draw the readings of every position with their fit and, if fitted, the centreline in two planes."""
    columns = min(3, len(fits))
    rows = math.ceil(len(fits) / columns)
    width = (62 * columns + (110 if centreline is not None else 0) + 10) * MM
    with style.page(path, width, max(95, 46 * rows + 24) * MM, title) as figure:
        left: Figure | SubFigure = figure
        if centreline is not None:
            sides: Any = figure.subfigures(1, 2, width_ratios=[62 * columns, 110])
            left, right = sides
            _centreline(right, centreline)
        _turns(left, rows, columns, readings, setup, fits)
    return path


def draw_extremes(extremes: Extremes, title: str, path: Path) -> Path:
    """Draw readings without angles: run-out (maximum minus minimum) against position."""
    with style.page(path, 150 * MM, 95 * MM, title) as figure:
        ax = figure.subplots()
        tir = (extremes.largest - extremes.smallest) / UM
        ax.plot(extremes.position / MM, tir, **style.series(0))
        ax.set(xlabel="position on the screw (mm)", ylabel="run-out, TIR (µm)")
        ax.set_ylim(bottom=0)
    return path


def draw_loops(loops: Sequence[LoopFit], title: str, path: Path) -> Path:
    """Draw force against displacement of every loop with the fitted slope."""
    columns = min(3, len(loops))
    rows = math.ceil(len(loops) / columns)
    with style.page(path, (70 * columns + 10) * MM, (66 * rows + 22) * MM, title) as figure:
        for ax, loop in zip(figure.subplots(rows, columns, squeeze=False).flat, loops, strict=False):
            _loop(ax, loop)
        _hide_rest(figure, len(loops))
        handles, labels = figure.axes[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=3)
    return path


def draw_decay(fit: DecayFit, title: str, path: Path) -> Path:
    """Draw amplitude against swings on a logarithmic axis with the fitted decay."""
    with style.page(path, 140 * MM, 95 * MM, title) as figure:
        ax = figure.subplots()
        ax.plot(fit.cycle, fit.amplitude / UM, "o", color=style.BLUE, markerfacecolor="white", label="read")
        decrement = 2 * np.pi * fit.damping / math.sqrt(max(1e-12, 1 - fit.damping**2))
        level = float(np.mean(np.log(fit.amplitude) + decrement * fit.cycle))
        n = np.linspace(fit.cycle.min(), fit.cycle.max(), 100)
        label = f"damping {fit.damping:.3f} ± {fit.damping_uncertainty:.3f}"
        ax.plot(n, np.exp(level - decrement * n) / UM, color=style.VERMILLION, label=label)
        ax.set(xlabel="swings", ylabel="amplitude (µm)", yscale="log")
        ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        ax.yaxis.set_minor_formatter(NullFormatter())
        ax.legend()
    return path


def draw_rolled(fit: RolledFit, title: str, path: Path) -> Path:
    """Draw the gaps under a screw on a plate as the blades hold them, with those of the fitted bow."""
    with style.page(path, 140 * MM, 95 * MM, title) as figure:
        ax = figure.subplots()
        order = np.argsort(fit.position)
        label = "between two blades, ± one standard uncertainty"
        ax.errorbar(
            fit.position / MM,
            fit.gap / UM,
            fit.gap_uncertainty / UM,
            fmt="o",
            color=style.BLUE,
            markerfacecolor="white",
            capsize=3,
            label=label,
        )
        bow = f"bow of {2 * fit.bow / UM:.0f} ± {2 * fit.bow_uncertainty / UM:.0f} µm TIR, sag taken off"
        ax.plot(fit.position[order] / MM, fit.fitted[order] / UM, color=style.VERMILLION, label=bow)
        ax.set(xlabel="position on the screw (mm)", ylabel="gap under the screw (µm)")
        ax.set_ylim(bottom=0, top=1.35 * float((fit.gap + fit.gap_uncertainty).max()) / UM)
        ax.legend(loc="upper right")
    return path


def _turns(
    figure: Figure | SubFigure,
    rows: int,
    columns: int,
    readings: Readings,
    setup: Setup,
    fits: Sequence[PositionFit],
) -> None:
    axes = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    for k, ax in enumerate(axes.flat):
        if k >= len(fits):
            ax.set_visible(False)
            continue
        _turn(ax, readings, setup, fits[k])
        if k + columns >= len(fits):
            ax.xaxis.set_tick_params(labelbottom=True)
            ax.set_xlabel(
                "mark on the screw (deg)" if _by_mark(readings, setup) else "turn of the screw (deg)"
            )
    figure.supylabel("reading from its mean (µm)", fontsize=9)
    named = {name: h for ax in axes.flat for h, name in zip(*ax.get_legend_handles_labels(), strict=True)}
    figure.legend(
        list(named.values()), list(named), loc="outside lower center", ncols=3, fontsize=7.5, handlelength=2
    )


def _turn(ax: Axes, readings: Readings, setup: Setup, fit: PositionFit) -> None:
    """Readings and fit of one position; the mean and a jog's trend are taken out."""
    grid = np.linspace(0, 2 * np.pi, 181)
    by_mark = _by_mark(readings, setup)
    mean = fit.coefficients[0]
    phi = readings.angle[fit.rows] - setup.gauge
    shown = (curve(fit, phi) + fit.residual - mean) / UM
    place = np.degrees(np.mod(-phi if by_mark else readings.angle[fit.rows], 2 * np.pi))
    smooth = (curve(fit, -grid if by_mark else grid - setup.gauge) - mean) / UM
    ax.plot(np.degrees(grid), smooth, color=style.VERMILLION, label="fit")
    ax.plot(place, shown, "o", color=style.BLUE, markerfacecolor="white", label="reading")
    bad = np.isin(fit.rows, fit.outliers)
    if bad.any():
        ax.plot(place[bad], shown[bad], "x", color=style.BLACK, markersize=8, label="outlier?")
    ax.set_xticks([0, 90, 180, 270, 360])
    ax.set_title(f"{fit.position / MM:.0f} mm{', journal' if fit.place == 'journal' else ''}")
    text = f"TIR {fit.run_out / UM:.0f} ± {fit.run_out_uncertainty / UM:.0f} µm"
    ax.set_title(text, loc="right", fontsize=8, fontweight="normal")


def _by_mark(readings: Readings, setup: Setup) -> bool:
    return setup.marks and not readings.by_jog


def _centreline(figure: SubFigure, fit: CentrelineFit) -> None:
    """Offset in X and in Y (magnified) over the position, measured and fitted, with two standard
    uncertainties."""
    axes = figure.subplots(1, 2, sharey=True)
    against = "" if fit.chord is None else " from the blocks' line"
    s = np.linspace(0.0, fit.length, 121)
    value, covariance = fit.at(s)
    for k, (ax, name) in enumerate(zip(axes, "XY", strict=True)):
        part = (value.real, value.imag)[k] / UM
        band = 2 * np.sqrt(covariance[:, k, k]) / UM
        ax.fill_betweenx(s / MM, part - band, part + band, color=style.PALE, label="fit, 95 %")
        ax.plot(part, s / MM, color=style.VERMILLION, label="fit")
        ax.errorbar(
            (fit.offset.real, fit.offset.imag)[k] / UM,
            fit.position / MM,
            xerr=2 * np.sqrt(fit.offset_covariance[:, k, k]) / UM,
            fmt="o",
            color=style.BLUE,
            markerfacecolor="white",
            capsize=2,
            label="measured, 95 %",
        )
        ax.axvline(0.0, color=style.GREY, linewidth=0.8, linestyle=(0, (4, 3)))
        ax.set_title(f"centreline {name}, magnified")
        ax.set_xlabel(f"{name}{against} (µm)" if against else f"offset in {name} (µm)")
        style.least_extent(ax, "x", 10.0)
    _same_scale(axes)
    axes[0].set_ylabel("position on the screw (mm)")
    handles, labels = axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=7.5, handlelength=2)


def _same_scale(axes: Sequence[Axes]) -> None:
    low = min(ax.get_xlim()[0] for ax in axes)
    high = max(ax.get_xlim()[1] for ax in axes)
    for ax in axes:
        ax.set_xlim(low, high)


def _loop(ax: Axes, loop: LoopFit) -> None:
    grows, falls = loop.side > 0, loop.side < 0
    x = loop.displacement / UM
    ax.plot(x, loop.force, color=style.GREY, linewidth=0.7)
    look: dict[str, Any] = {"markerfacecolor": "white", "linestyle": "none"}
    ax.plot(x[grows], loop.force[grows], "^", color=style.BLUE, label="force growing", **look)
    ax.plot(x[falls], loop.force[falls], "v", color=style.VERMILLION, label="force falling", **look)
    force = np.array([loop.force.min(), loop.force.max()])
    ends = np.mean(x) + (force - loop.force.mean()) / loop.stiffness / UM
    ax.plot(ends, force, color=style.BLACK, linestyle=(0, (6, 2)), label="fitted slope")
    height = "" if math.isnan(loop.height) else f", {loop.height / MM:g} mm"
    found = f"{number(loop.stiffness / N_PER_UM, 2)} N/µm, friction {number(loop.friction, 2)} N"
    title = f"{loop.place}, {loop.direction}{height}\n{found}"
    ax.set(xlabel="displacement (µm)", ylabel="force (N)", title=title)


def _hide_rest(figure: Figure, count: int) -> None:
    for ax in figure.axes[count:]:
        ax.set_visible(False)
