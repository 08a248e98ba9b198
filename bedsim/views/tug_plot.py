"""Picture of a reader's own tug of war: E against u_val at every place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.learn.tug import TugRow
from bedsim.units import MM, UM
from bedsim.views import style

PARTS = (
    ("u_data", "u_D, readings", style.SKY, ""),
    ("u_input", "u_input, machine and free screw", style.ORANGE, "////"),
    ("u_num", "u_num, slope between heights", style.GREEN, "...."),
)


def draw_tug(rows: Sequence[TugRow], title: str, path: Path) -> Path:
    """E with its band of twice u_val by height, for every gauge and part, and below it what u_val is made
    of (squares, which add); give the path back."""
    places = list(dict.fromkeys((r.gauge, r.part) for r in rows))
    heading = f"Tug of war, prediction less reading: {style.short(title, 70)}"
    with style.page(path, 260 * MM, 150 * MM, heading) as figure:
        axes = figure.subplots(2, len(places), sharex=True, sharey="row", squeeze=False, height_ratios=[2, 1])
        for (above, below), place in zip(axes.T, places, strict=True):
            found = [r for r in rows if (r.gauge, r.part) == place]
            above.set_title(", ".join(place))
            _errors(above, found)
            _shares(below, found)
        axes[0, 0].set_ylabel("E = S - D (µm)")
        axes[1, 0].set_ylabel("share of u_val² (%)")
        told = {
            label: handle
            for ax in (*axes[0], axes[1, 0])
            for handle, label in zip(*ax.get_legend_handles_labels(), strict=True)
        }
        figure.legend(told.values(), told.keys(), loc="outside lower center", ncols=3)
    return path


def _errors(ax: Axes, rows: Sequence[TugRow]) -> None:
    height = np.array([r.height for r in rows]) / MM
    error, band = (np.array([of(r) for r in rows]) / UM for of in (lambda r: r.E, lambda r: 2 * r.u_val))
    ax.axhline(0.0, color=style.INK, linewidth=0.8)
    ax.errorbar(height, error, yerr=band, fmt="none", ecolor=style.GREY, capsize=3, label="±2 u_val")
    inside = np.abs(error) <= band
    ax.plot(height[inside], error[inside], "o", color=style.BLUE, label="E, within")
    if not inside.all():
        ax.plot(height[~inside], error[~inside], "X", color=style.VERMILLION, markersize=7, label="E, beyond")


def _shares(ax: Axes, rows: Sequence[TugRow]) -> None:
    height = np.array([r.height for r in rows]) / MM
    width = 0.6 * float(np.diff(height).min())
    base = np.zeros(height.size)
    for name, label, colour, hatch in PARTS:
        share = np.array([100 * (getattr(r, name) / r.u_val) ** 2 for r in rows])
        ax.bar(height, share, width, bottom=base, color=colour, hatch=hatch, edgecolor="white", label=label)
        base += share
    ax.set_ylim(0, 100)
    ax.set_xlabel("height of the nut (mm)")
