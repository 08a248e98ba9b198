"""Errors of a print over its height, and the path of the bed in the plane."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from bedsim.analysis import metrics
from bedsim.results.layers import Array
from bedsim.units import MM
from bedsim.views import style

FIRST_LAYER: Any = {"marker": "o", "color": style.INK, "markerfacecolor": "white", "markersize": 6}
LAST_LAYER: Any = {"marker": "s", "color": style.INK, "markerfacecolor": "white", "markersize": 5}
COLOURS = 128
"""Of a path."""
LEAST_UM = 0.02  # extent of an axis below which only noise is left


def error_over_height(
    ax: Axes, height: Array, error: Array, names: Sequence[str], *, what: str, factor: float, unit: str
) -> None:
    """Error to the right, print height upwards: one line per probe.

    `height` (n,) m, `error` (n, p) m; `factor` and `unit` as given by `style.length_unit`.  Objects printed
    one after the other are lines of their own.
    """
    apart = [part.start for part in metrics.objects(height)[1:]]
    height, error = np.insert(height, apart, np.nan), np.insert(error, apart, np.nan, axis=0)
    for i, name in enumerate(names):
        ax.plot(error[:, i] / factor, height / MM, label=style.wrapped(name), **style.series(i, len(height)))
    ax.axvline(0.0, color=style.GREY, linewidth=0.8)
    ax.xaxis.set_major_locator(MaxNLocator(5))  # numbers with two decimals beside each other
    ax.set_xlabel(f"{what} ({unit})")
    if unit == "µm":
        style.least_extent(ax, "x", LEAST_UM)


def path_in_plane(ax: Axes, lateral: Array, height: Array, colours: ScalarMappable, *, factor: float) -> None:
    """Path of one probe in the plane, coloured by print height or by its place in a turn; a ring at the first
    layer, a square at the last.

    `lateral` (n, 2) m, `height` (n,) m, `colours` of `height_scale`.
    """
    points = lateral / factor
    joined = height[1:] > height[:-1]  # not from one object to the next
    segments = np.stack([points[:-1], points[1:]], axis=1)[joined]
    shown = height[1:][joined] / MM
    if colours.cmap is style.TURN_COLOURS:
        shown = np.mod(shown, float(colours.get_clim()[1] or np.inf))
    # one broken line per colour: a line for every layer takes as long as all else here
    number = np.floor(np.clip(colours.norm(shown), 0.0, 1.0) * (COLOURS - 1)).astype(int)
    broken = np.concatenate([segments, np.full((len(segments), 1, 2), np.nan)], axis=1)
    every = np.unique(number)
    lines = LineCollection(
        [broken[number == k].reshape(-1, 2) for k in every],
        colors=colours.cmap((every + 0.5) / COLOURS),
        linewidths=1.3,
    )
    ax.add_collection(lines)
    for point, sign in ((points[0], FIRST_LAYER), (points[-1], LAST_LAYER)):
        ax.plot(*point, zorder=4, **sign)
    ax.set_aspect("equal")


def path_legend(figure: Figure) -> None:
    """What the signs at the ends of a path mean, below all of them."""
    signs = [
        Line2D([], [], linestyle="", label=label, **sign)
        for sign, label in ((FIRST_LAYER, "layer 1"), (LAST_LAYER, "last layer"))
    ]
    figure.legend(handles=signs, loc="outside lower left", ncols=2, handlelength=1.0)


def height_scale(height: Array, turn: float) -> tuple[ScalarMappable, str]:
    """Colour scale of the paths and what it means: the print height, or, where the paths are loops over each
    other, the height since the last full turn (`turn`: the longest lead, m)."""
    if float(height.max()) < 1.5 * turn:
        norm = Normalize(0.0, float(height.max()) / MM)
        return ScalarMappable(norm=norm, cmap=style.HEIGHT_COLOURS), "print height (mm)"
    turns = ScalarMappable(norm=Normalize(0.0, turn / MM), cmap=style.TURN_COLOURS)
    return turns, f"print height since the last full {turn / MM:g} mm (mm)"


def common_square(axes: Sequence[Axes], lateral: Array, factor: float) -> None:
    """Give all paths the same square of the plane, so that their sizes can be compared; `lateral` (n, p, 2)
    m.
    """
    low, high = lateral.min(axis=(0, 1)) / factor, lateral.max(axis=(0, 1)) / factor
    middle = (low + high) / 2
    half = max(0.55 * float((high - low).max()), LEAST_UM / 2)
    for ax in axes:
        ax.set_xlim(middle[0] - half, middle[0] + half)
        ax.set_ylim(middle[1] - half, middle[1] + half)
