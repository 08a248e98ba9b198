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
from bedsim.wall.outlines import OutlineWall, WorstStretch
from bedsim.wall.surface import RAKING, screen_codes


def draw_unrolled(title: str, found: WorstStretch, walls: Sequence[OutlineWall], path: Path) -> Path:
    """The wall with the worst band, unrolled from its front counter-clockwise, seen from outside."""
    wall = found.wall
    with style.page(
        path, 180 * MM, 150 * MM, f"The part's own wall, unrolled: {style.short(title, 44)}"
    ) as figure:
        grid = figure.add_gridspec(2, 2, width_ratios=(3.0, 1.0))
        relief, light, plan, thickness = (
            figure.add_subplot(grid[row, column]) for column in (0, 1) for row in (0, 1)
        )
        _relief(relief, found)
        _light(light, wall)
        _mark(relief, found)
        _mark(light, found)
        _plan(plan, found, walls)
        _thickness(thickness, wall)
        low, high = (number(height / MM) for height in found.heights)
        relief.set_title(
            f"Relief; worst band {number(found.size / UM, 2)} µm, {low} to {high} mm, facing {found.facing}"
        )
        light.set_title("Its light, lamp along the wall; nothing magnified")
    return path


def _edges(wall: OutlineWall) -> tuple[np.ndarray, np.ndarray]:
    return np.append(wall.way, wall.length) / MM, wall.edges / MM


def _relief(axes: Axes, found: WorstStretch) -> None:
    way, height = _edges(found.wall)
    value = found.wall.relief / UM
    reach = max(float(np.abs(value).max()), 0.01)
    mesh = axes.pcolormesh(way, height, value, cmap="cividis", vmin=-reach, vmax=reach, shading="flat")
    axes.figure.colorbar(mesh, ax=axes, label="relief, outward (µm)", pad=0.01)
    _labels(axes, found.wall)


def _light(axes: Axes, wall: OutlineWall) -> None:
    way, height = _edges(wall)
    codes = screen_codes(wall.light(RAKING))
    axes.pcolormesh(way, height, codes, cmap="gray", vmin=0.0, vmax=1.0, shading="flat")
    _labels(axes, wall)


def _labels(axes: Axes, wall: OutlineWall) -> None:
    axes.grid(False)
    axes.set_xlabel("way around, from the front, counter-clockwise from above (mm)")
    axes.set_ylabel("height (mm)")
    for name, k in wall.sides:
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
    low, high = wall.edges[found.first] / MM, wall.top[found.last] / MM
    wide = max(wall.way[-1] / MM / 24, 1.0)
    at = wall.way[found.around] / MM
    axes.add_patch(
        Rectangle(
            (at - wide / 2, low), wide, high - low, fill=False, edgecolor=style.VERMILLION, linewidth=1.6
        )
    )


def _thickness(axes: Axes, wall: OutlineWall) -> None:
    """The least and the largest error of each layer's thickness around the wall."""
    error = wall.thickness_error / UM
    axes.stairs(
        error.max(axis=1),
        wall.edges / MM,
        baseline=error.min(axis=1),
        orientation="horizontal",
        fill=True,
        color=style.BLUE,
    )
    axes.plot(
        error.mean(axis=1), (wall.edges[1:] + wall.edges[:-1]) / 2 / MM, color=style.BLUE, linewidth=0.8
    )
    axes.axvline(0.0, color=style.GREY, linewidth=0.7)
    axes.set_ylim(wall.edges[0] / MM, wall.top[-1] / MM)
    axes.set_title("Thickness")
    axes.set_xlabel("off, where laid (µm)")
    axes.set_ylabel("height (mm)")


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
