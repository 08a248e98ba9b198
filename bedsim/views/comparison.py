"""Several runs or choices side by side, in the common look."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from bedsim.results.layers import Array
from bedsim.views import style


def compare_lines(ax: Axes, x: Array, lines: Mapping[str, Array]) -> None:
    """One line per entry over a common `x` (n,); values in the unit of the axis."""
    for i, (name, values) in enumerate(lines.items()):
        ax.plot(x, values, label=style.wrapped(name), **style.series(i, len(x)))


def compare_bars(ax: Axes, labels: Sequence[str], groups: Mapping[str, Array]) -> None:
    """Horizontal bars, first label on top; each entry of `groups` (labels,) has its own colour and hatch."""
    thickness = 0.8 / max(1, len(groups))
    places = np.arange(len(labels), dtype=float)
    for i, (name, values) in enumerate(groups.items()):
        offset = (i - (len(groups) - 1) / 2) * thickness
        look: dict[str, Any] = {
            "color": style.COLOURS[i % 7],
            "hatch": style.HATCHES[i % 6],
            "edgecolor": "white",
        }
        ax.barh(places + offset, values, height=0.92 * thickness, label=style.wrapped(name), **look)
    ax.set_yticks(places, [style.wrapped(text, 24) for text in labels])
    ax.set_ylim(len(labels) - 0.5, -0.5)
    ax.grid(axis="y", visible=False)


def compare_ranges(ax: Axes, labels: Sequence[str], low: Array, likely: Array, high: Array) -> None:
    """One bar from `low` to `high` per label with a mark at `likely` (labels,), first label on top."""
    places = np.arange(len(labels), dtype=float)
    ax.hlines(places, low, high, color=style.SKY, linewidth=6)
    ax.plot(likely, places, "D", color=style.INK, markersize=5)
    ax.set_yticks(places, [style.wrapped(text, 24) for text in labels])
    ax.set_ylim(len(labels) - 0.5, -0.5)
    ax.grid(axis="y", visible=False)
