"""The part's own wall unrolled: relief and light all around and over its height, the worst band marked."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from bedsim.number_text import number
from bedsim.units import MM, UM
from bedsim.views import style
from bedsim.wall.light import bead_share
from bedsim.wall.outlines import OutlineWall, WorstStretch
from bedsim.wall.surface import RAKING, screen_codes

SIDES = (("+X", 0.0), ("+Y", 90.0), ("-X", 180.0), ("-Y", -90.0))


def draw_unrolled(title: str, found: WorstStretch, walls: Sequence[OutlineWall], path: Path) -> Path:
    """The wall with the worst band, unrolled from its front counter-clockwise, seen from outside."""
    wall = found.wall
    with style.page(
        path, 180 * MM, 150 * MM, f"The part's own wall, unrolled: {style.short(title, 44)}"
    ) as figure:
        relief, light, plan = (
            figure.add_subplot(spec)
            for spec in (lambda g: (g[0, 0], g[1, 0], g[:, 1]))(
                figure.add_gridspec(2, 2, width_ratios=(3.0, 1.0))
            )
        )
        _relief(relief, found)
        _light(light, wall)
        _mark(relief, found)
        _mark(light, found)
        _plan(plan, found, walls)
        relief.set_title(f"Relief; the worst band {number(found.size / UM, 2)} µm, facing {found.facing}")
        light.set_title("Its light, lamp along the wall; nothing magnified")
    return path


def _edges(wall: OutlineWall) -> tuple[np.ndarray, np.ndarray]:
    way = np.append(wall.way, wall.way[-1] + wall.way[1]) / MM
    return way, np.append(wall.top[0] - wall.thickness[0], wall.top) / MM


def _relief(axes: Axes, found: WorstStretch) -> None:
    way, height = _edges(found.wall)
    value = found.wall.relief / UM
    reach = max(float(np.abs(value).max()), 0.01)
    mesh = axes.pcolormesh(way, height, value, cmap="cividis", vmin=-reach, vmax=reach, shading="flat")
    axes.figure.colorbar(mesh, ax=axes, label="relief, outward (µm)", pad=0.01)
    _labels(axes, found.wall)


def _light(axes: Axes, wall: OutlineWall) -> None:
    """As `gentle_light` has it, all columns at once: 1 - slope tan i times the share that beads leave."""
    way, height = _edges(wall)
    slope = np.gradient(wall.relief, wall.top - wall.thickness / 2, axis=0)
    light = np.maximum(1.0 - slope * np.tan(RAKING) * bead_share(RAKING), 0.0)
    axes.pcolormesh(way, height, screen_codes(light), cmap="gray", vmin=0.0, vmax=1.0, shading="flat")
    _labels(axes, wall)


def _labels(axes: Axes, wall: OutlineWall) -> None:
    axes.grid(False)
    axes.set_xlabel("way around, from the front, counter-clockwise from above (mm)")
    axes.set_ylabel("height (mm)")
    middle = wall.normal[len(wall.normal) // 2]
    angle = np.degrees(np.arctan2(middle[:, 1], middle[:, 0]))
    for name, at in SIDES:
        off = np.abs((angle - at + 180.0) % 360.0 - 180.0)
        inside = np.flatnonzero(off < 20.0)
        if inside.size:
            k = inside[np.argmin(np.abs(inside - np.median(inside)))]
            axes.text(
                wall.way[k] / MM,
                0.94,
                name,
                transform=axes.get_xaxis_transform(),
                ha="center",
                va="center",
                fontsize=8,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
            )


def _mark(axes: Axes, found: WorstStretch) -> None:
    wall = found.wall
    low, high = (wall.top[found.first] - wall.thickness[found.first]) / MM, wall.top[found.last] / MM
    wide = max(wall.way[-1] / MM / 24, 1.0)
    at = wall.way[found.around] / MM
    axes.add_patch(
        Rectangle(
            (at - wide / 2, low), wide, high - low, fill=False, edgecolor=style.VERMILLION, linewidth=1.6
        )
    )


def _plan(axes: Axes, found: WorstStretch, walls: Sequence[OutlineWall]) -> None:
    for wall in walls:
        points = wall.place[0] / MM
        closed = np.concatenate([points, points[:1]])
        here = wall is found.wall
        axes.plot(*closed.T, color=style.BLUE if here else style.GREY, linewidth=1.4 if here else 0.8)
    x, y = found.wall.place[found.first, found.around] / MM
    axes.plot(x, y, marker="o", color=style.VERMILLION)
    axes.set_aspect("equal", anchor="N")
    axes.margins(0.15)
    axes.set_title("From above")
    axes.set_xlabel("X on the bed (mm)")
    axes.set_ylabel("Y on the bed (mm)")
