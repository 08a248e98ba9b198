"""Pictures of printed walls under raking light, side by side at the same scale and light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from bedsim.analysis.wall import Wall
from bedsim.analysis.wall_surface import LitWall
from bedsim.units import DEG, MM, UM

# A warm grey filament: brightness runs evenly from shadow to light, so that it prints in grey as well.
_FILAMENT = LinearSegmentedColormap.from_list("filament", ["#15120f", "#8d867d", "#fffaf2"])
LINES: tuple[dict[str, Any], ...] = (
    {"color": "#0072B2", "linestyle": "-"},
    {"color": "#D55E00", "linestyle": "--"},
    {"color": "#009E73", "linestyle": "-."},
    {"color": "#CC79A7", "linestyle": ":"},
)
"""Okabe-Ito colours with line styles that tell them apart in grey."""


def draw_lit_wall(
    axes: Axes, lit: LitWall, *, width_mm: float, title: str = "", scale_bar_mm: float = 10.0
) -> None:
    """Draw one lit wall on the given axes, height in mm upwards, with a scale bar below its foot."""
    bottom, top = lit.bottom / MM, lit.top / MM
    axes.imshow(
        lit.brightness,
        cmap=_FILAMENT,
        vmin=0.0,
        vmax=1.0,
        origin="lower",
        extent=(0.0, width_mm, bottom, top),
        aspect="equal",
        interpolation="antialiased",
    )
    axes.set_title(title or lit.name, fontsize="medium")
    axes.set_xticks([])
    for side in ("top", "right", "bottom", "left"):
        axes.spines[side].set_visible(False)
    _scale_bar(axes, scale_bar_mm, bottom, top)


def _scale_bar(axes: Axes, length: float, bottom: float, top: float) -> None:
    span = top - bottom
    ink = axes.xaxis.label.get_color()
    axes.add_patch(
        Rectangle((0.0, bottom - 0.035 * span), length, 0.012 * span, color=ink, clip_on=False, linewidth=0)
    )
    axes.text(0.0, bottom - 0.05 * span, f"{length:g} mm", ha="left", va="top", fontsize="small", color=ink)


def draw_relief(axes: Axes, walls: Sequence[Wall], labels: Sequence[str]) -> None:
    """Draw reliefs (µm) against height (mm, upwards) on the given axes, to stand beside lit walls."""
    for wall, label, line in zip(walls, labels, _cycle(len(walls)), strict=True):
        axes.plot(wall.relief / UM, wall.height / MM, label=label, linewidth=1.1, **line)
    axes.set_xlabel("relief (µm), outwards to the right")
    axes.set_ylabel("height of the print (mm)")
    axes.grid(alpha=0.3)
    if len(walls) > 1:
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), fontsize="small", frameon=False, ncols=1)


def _cycle(n: int) -> list[dict[str, Any]]:
    return [LINES[i % len(LINES)] for i in range(n)]


def wall_picture(
    walls: Sequence[Wall],
    lit: Sequence[LitWall],
    labels: Sequence[str],
    *,
    extent_mm: tuple[float, float] | None = None,
) -> Figure:
    """Figure of lit walls side by side with their reliefs in one chart beside, all over the same heights.

    `walls` and `lit` belong together in order; all `lit` share light and gain.  `extent_mm`: part of the
    height to show; default: the lowest 60 mm at most, where bands of a few mm can still be seen.
    """
    top = max(picture.top for picture in lit) / MM
    low, high = extent_mm if extent_mm is not None else (0.0, min(top, 60.0))
    span = high - low
    width = 0.45 * span
    figure = Figure(figsize=(2.0 * len(lit) + 4.2, 5.4), layout="constrained")
    grid = figure.add_gridspec(1, len(lit) + 1, width_ratios=[*[1.0] * len(lit), 1.5])
    for i, (picture, label) in enumerate(zip(lit, labels, strict=True)):
        axes = figure.add_subplot(grid[i])
        draw_lit_wall(axes, picture, width_mm=width, title=label, scale_bar_mm=scale_bar(span))
        axes.set_ylim(low, high)
        axes.set_xlim(0, width)
        axes.set_yticks([])
    chart = figure.add_subplot(grid[-1])
    draw_relief(chart, walls, labels)
    chart.set_ylim(low, high)
    figure.suptitle(light_note(lit[0]), fontsize="small", x=0.01, ha="left")
    return figure


def scale_bar(span_mm: float) -> float:
    """Length of a scale bar (mm) for a picture that spans so many mm: 1, 2 or 5 times a power of ten."""
    wanted = span_mm / 5.0
    decade = 10.0 ** np.floor(np.log10(wanted))
    return float(max(s * decade for s in (1.0, 2.0, 5.0) if s * decade <= wanted * (1 + 1e-9)))


def light_note(lit: LitWall) -> str:
    """What must stand beside every picture: where the light comes from and how much contrast was
    magnified.
    """
    return (
        f"Light from above, {lit.incidence / DEG:.0f}° from the wall's normal. Contrast of the bands "
        "magnified "
        f"{lit.gain:g} times in every panel; layer lines as they are."
    )
