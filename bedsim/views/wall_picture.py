"""Pictures of printed walls: round posts under one lamp, nothing magnified, beside their relief at one
scale."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from bedsim.number_text import number
from bedsim.results.layers import LayerResult
from bedsim.units import DEG, MM, UM
from bedsim.views import style
from bedsim.wall.relief import Wall
from bedsim.wall.surface import LitPost, common_reach, light_post, screen_codes
from bedsim.wall.worst import BOTH, JudgedWall

POST = (46.0, 64.0)
"""Width and largest height (mm) of the post that is drawn, at true size on paper."""
_CURVE, _GAP, _SIDE, _FOOT, _HEAD = 22.0, 5.0, 9.0, 20.0, 13.0  # mm
LEAST_REACH = 5.0 * UM
"""Half of the finest scale of a relief: less is not magnified."""

# Codes of the sRGB curve in, a faintly warm grey out: what the lamp does is all there is to see.
_FILAMENT = LinearSegmentedColormap.from_list("filament", ["#000000", "#807f7d", "#fffefb"])


def draw_post(axes: Axes, post: LitPost) -> None:
    """Draw a post on the given axes, in mm: one row per layer, scaled smoothly, without layer lines
    (rescaled, these
    would make bands of their own)."""
    axes.imshow(
        screen_codes(post.brightness),
        cmap=_FILAMENT,
        vmin=0.0,
        vmax=1.0,
        origin="lower",
        extent=(-POST[0] / 2, POST[0] / 2, post.bottom / MM, post.top / MM),
        aspect="auto",
        interpolation="bilinear",
    )
    axes.set_axis_off()


def draw_relief(axes: Axes, wall: Wall, post: LitPost, reach: float) -> None:
    """Draw a wall's relief over the post's height, outwards to the right, `reach` (m) to either side."""
    kept = slice(len(post.brightness))
    relief, height = wall.relief[kept] / UM, wall.height[kept] / MM
    middle = float(np.mean(relief))
    axes.fill_betweenx(height, middle, relief, color=style.VERMILLION, alpha=0.2, linewidth=0)
    axes.plot(relief, height, color=style.VERMILLION, linewidth=1.1)
    axes.axvline(middle, color=style.GREY, linewidth=0.7)
    axes.set_xlim(middle - reach / UM, middle + reach / UM)
    axes.set_ylim(post.bottom / MM, post.top / MM)
    axes.set_axis_off()
    axes.set_title(
        f"{number(float(np.ptp(relief)), 2)} µm", fontsize=9, color=style.VERMILLION, loc="center", pad=2
    )


def wall_file(judged: JudgedWall) -> str:
    """Name of the picture of a wall: plain where place and direction are the worst, else with its normal."""
    place = judged.place
    return "wall.png" if place.sought == BOTH else f"wall_{place.wall.replace(' ', '_')}.png"


def draw_walls(
    row: Sequence[JudgedWall], layers: Sequence[LayerResult], labels: Sequence[str], path: Path
) -> Path:
    """The same wall of all runs as round posts under one lamp, beside reliefs at one scale; the lowest 64
    mm."""
    walls = [judged.wall for judged in row]
    posts = [light_post(part, w, top=POST[1] * MM) for part, w in zip(layers, walls, strict=True)]
    tall = max(post.top - post.bottom for post in posts) / MM
    width = _SIDE + (POST[0] + _GAP + _CURVE + _SIDE) * len(row)
    size = (max(width, 120.0), _HEAD + tall + _FOOT)
    reach = 1.05 * common_reach(walls, LEAST_REACH)
    with style.page(path, size[0] * MM, size[1] * MM) as figure:
        figure.set_layout_engine("none")
        for i, (judged, post, part, label) in enumerate(zip(row, posts, layers, labels, strict=True)):
            left = _SIDE + i * (POST[0] + _GAP + _CURVE + _SIDE)
            _panel(figure, (left, tall), size, judged, post, label, reach)
            _text(figure, left, _FOOT - 8.5, size, _nuts(post, part), fontsize=7)
        note = textwrap.fill(post_note(posts[0], row[0]), int((size[0] - 2 * _SIDE) / 1.45))
        _text(figure, _SIDE, 4.5, size, note, fontsize=7, color=style.GREY)
    return path


def _panel(
    figure: Figure,
    place: tuple[float, float],
    size: tuple[float, float],
    judged: JudgedWall,
    post: LitPost,
    label: str,
    reach: float,
) -> None:
    (left, tall), high = place, (post.top - post.bottom) / MM
    axes = figure.add_axes((left / size[0], _FOOT / size[1], POST[0] / size[0], high / size[1]))
    draw_post(axes, post)
    place_of_curve = ((left + POST[0] + _GAP) / size[0], _FOOT / size[1], _CURVE / size[0], high / size[1])
    draw_relief(figure.add_axes(place_of_curve), judged.wall, post, reach)
    _text(figure, left, _FOOT + tall + 7.0, size, style.short(label, 44), fontsize=10, fontweight="bold")
    bar = 10.0 / POST[0]
    axes.plot(
        [0, bar], [-2.0 / high] * 2, color=style.INK, linewidth=1.6, clip_on=False, transform=axes.transAxes
    )
    _text(figure, left + 11.5, _FOOT - 3.0, size, "10 mm", fontsize=7)


def _text(figure: Figure, x: float, y: float, size: tuple[float, float], text: str, **look: object) -> None:
    figure.text(x / size[0], y / size[1], text, ha="left", va="center", **look)  # type: ignore[arg-type]


def _nuts(post: LitPost, layers: LayerResult) -> str:
    n = len(post.brightness)
    nut = layers.nut_position[:n].mean(axis=1) / MM
    return (
        f"height {post.bottom / MM:.0f} to {post.top / MM:.0f} mm, nuts at {nut[0]:.0f} to {nut[-1]:.0f} mm, "
        f"contrast {number(100 * post.contrast, 2)} %"
    )


def post_note(post: LitPost, judged: JudgedWall) -> str:
    """What must stand beside every picture: where the lamp is, and that nothing is magnified."""
    return (
        f"Facing {judged.place.words}. Lamp above, {90 - post.incidence / DEG:.0f}° off the wall; nothing "
        f"magnified, "
        "layer lines left out."
    )
