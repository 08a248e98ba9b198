"""Two pictures of a compensation: what is left and how well the phase must be known; why a height map
changes."""

from __future__ import annotations

import math
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullLocator

from bedsim.compensate.advice import Compensation
from bedsim.compensate.phase import law
from bedsim.results.layers import Array
from bedsim.units import DEG, MM, UM
from bedsim.views import style

BEFORE, AFTER, LATE = style.series(0), style.series(1), style.series(2)


def draw_compensation(found: Compensation, path: Path) -> Path:
    """What is taken off, layer by layer, what every way leaves, and what a late table does."""
    title = f"What can be taken off: {style.short(found.title, 70)}"
    with style.page(path, 250 * MM, 190 * MM, title) as figure:
        (table, left), (late, doubt) = figure.subplots(2, 2)
        over_layers(table, found)
        by_way(left, found)
        against_phase(late, found)
        against_doubt(doubt, found)
    return path


def over_layers(ax: Axes, found: Compensation) -> None:
    """The three numbers of every layer; the turn as what it moves 100 mm from the middle."""
    top = found.rows.top / MM
    whole = found.rows.whole
    marks = ((whole.a, "X"), (whole.b, "Y"), (whole.turn * 100 * MM, "turn, at 100 mm"))
    for k, (values, label) in enumerate(marks):
        ax.plot(values / UM, top, **style.series(k, len(top)), label=label)
    style.least_extent(ax, "x", 0.1)
    ax.set_xlabel("nozzle goes by (µm)")
    ax.set_ylabel("top of the part (mm)")
    ax.set_title("Shift and turn, layer by layer")
    ax.legend(loc="best")


def by_way(ax: Axes, found: Compensation) -> None:
    """Sideways and in height, way by way."""
    there = [way for way in found.ways if way.left is not None]
    place = np.arange(len(there))[::-1]
    moved = [way.left for way in there if way.left]
    stepped = [x.stepped / UM if x.stepped != x.lateral else 0.0 for x in moved]  # bars of what is stepped
    exact, height = [x.lateral / UM for x in moved], [x.height / UM for x in moved]
    look: dict[str, Any] = {"height": 0.26, "edgecolor": style.INK, "linewidth": 0.6}
    ax.barh(place + 0.27, exact, color=style.BLUE, label="sideways", **look)
    if found.asked.step:
        label = f"sideways, steps of {found.asked.step / UM:g} µm"
        ax.barh(place, stepped, color=style.SKY, hatch="////", label=label, **look)
    ax.barh(place - 0.27, height, color=style.ORANGE, hatch="....", label="height", **look)
    ax.set_yticks(place, [style.wrapped(way.name, 16) for way in there])
    ax.grid(visible=False, axis="y")
    ax.set_xlabel("left, peak to valley at the worst place (µm)")
    ax.set_title("What every way leaves")
    ax.set_ylim(-2.3, place[0] + 0.6)  # room for the legend
    ax.legend(loc="lower left", ncols=2)


def against_phase(ax: Axes, found: Compensation) -> None:
    """What a late table leaves: the law and this machine."""
    phi = np.linspace(0.0, 90.0, 91)
    share = np.array([law(p * DEG) for p in phi])
    ax.plot(phi, 100 * share, color=style.INK, linewidth=1.4, label="law: 2 sin(phi/2)")
    machine = [(late.phi / DEG, 100 * late.by_machine) for late in found.phase.late]
    ax.plot(*zip(*machine, strict=True), **{**AFTER, "linestyle": "none"}, label="this machine, turned")
    ax.axhline(100, color=style.GREY, linestyle=(0, (1.5, 1.5)), linewidth=1.0, label="nothing gained")
    ax.set_xlim(0, 90)
    ax.set_ylim(0, 150)
    ax.set_xlabel("table late by (degrees of the screw)")
    ax.set_ylabel("left of the sideways error (%)")
    ax.set_title("A late table")
    ax.legend(loc="upper left")
    lead = found.leads[1] / MM
    top = ax.secondary_xaxis(
        "top", functions=(partial(_times, by=lead / 360), partial(_times, by=360 / lead))
    )
    top.set_xlabel("homing off by (mm)", fontsize=8)


def _times(values: Any, by: float) -> Any:
    return values * by


def against_doubt(ax: Axes, found: Compensation) -> None:
    """What doubts of homing and of levelling leave on average."""
    for k, (cause, label) in enumerate((("homing", "homing"), ("levelling", "levelling, every screw"))):
        own = [d for d in found.phase.doubts if d.cause == cause]
        within = [d.within / MM for d in own]
        look = style.series(k, len(own))
        ax.plot(within, [100 * d.mean for d in own], **look, label=f"{label}, average")
        ax.plot(
            within,
            [100 * d.most for d in own],
            color=look["color"],
            linestyle=(0, (1.5, 1.5)),
            label=f"{label}, worst of twenty",
        )
    ax.axhline(100, color=style.GREY, linewidth=1.0)
    ax.set_xscale("log")
    ax.set_xticks(within, [f"{mm:g}" for mm in within], minor=False)
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_ylim(bottom=0)
    ax.set_xlabel("doubt, up or down by up to (mm)")
    ax.set_ylabel("left of the sideways error (%)")
    ax.set_title("What not knowing the angle leaves")
    ax.legend(loc="upper left")


def draw_height_maps(found: Compensation, path: Path) -> Path:
    """The map, and what a turn of one screw, homing and another height do to it."""
    m = found.maps
    with style.page(path, 250 * MM, 190 * MM, "Why a height map changes") as figure:
        (one, all_of_them), (far, over) = figure.subplots(2, 2)
        shown = (m.by_screw, m.by_homing, m.by_height)
        bound = max(float(np.abs(values).max()) for values in shown) / UM or 0.01
        _map(figure, one, found, m.by_screw, bound, f"Screw at {m.quarter} a quarter turn on")
        _map(figure, all_of_them, found, m.by_homing, bound, "Homed a quarter turn off, all screws")
        _map(figure, far, found, m.by_height, bound, f"Bed {m.far / MM:.3g} mm further down")
        _over_travel(over, found)
    return path


def _map(figure: Figure, ax: Axes, found: Compensation, values: Array, bound: float, title: str) -> None:
    x, y = found.maps.x / MM, found.maps.y / MM
    drawn = ax.pcolormesh(x, y, values / UM, cmap="PuOr", vmin=-bound, vmax=bound, shading="gouraud")
    if np.ptp(values) > 0.02 * bound * UM:
        lines = ax.contour(x, y, values / UM, levels=6, colors=style.INK, linewidths=0.8)
        ax.clabel(lines, fmt="%.2g", fontsize=7)
    else:
        ax.text(
            *(0, 0, f"{values.mean() / UM:+.2g} µm everywhere"),
            ha="center",
            va="center",
            bbox={"facecolor": "white", "edgecolor": style.INK},
        )
    ax.set_aspect("equal")
    ax.grid(visible=False)
    ax.set_xlabel("X, to the right (mm)")
    ax.set_ylabel("Y, to the back (mm)")
    ax.set_title(style.short(title, 44))
    figure.colorbar(drawn, ax=ax, label="map changes by (µm)", shrink=0.9)


def _over_travel(ax: Axes, found: Compensation) -> None:
    m = found.maps
    down = (m.height - m.height[0]) / MM
    ax.plot(
        down, m.change / UM, color=style.BLUE, linestyle="none", marker=".", label="largest over the plate"
    )
    ax.axhline(m.within / UM, color=style.VERMILLION, linestyle=(0, (6, 2)), label=f"{m.within / UM:g} µm")
    if not math.isinf(m.true_for):
        ax.axvline(
            m.true_for / MM, color=style.INK, linewidth=0.9, label=f"true for {m.true_for / MM:.3g} mm"
        )
    ax.set_xlim(0, float(down[-1]) or 1.0)
    ax.set_ylim(bottom=0)
    ax.set_xlabel("bed below layer 1 (mm)")
    ax.set_ylabel("map off by (µm)")
    ax.set_title("Taken at layer 1, over the travel")
    ax.legend(loc="best")
