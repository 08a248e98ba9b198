"""The part's own wall in a report: relief and light all around and over its height, the worst band marked,
and how thick its layers come out where it stands."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from html import escape

import matplotlib.image
import numpy as np
from numpy.typing import NDArray

from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.units import DEG, MM, UM
from bedsim.views.report_charts import Ruler, area, points, sign
from bedsim.views.report_figures import Reported
from bedsim.views.report_page import PageSection
from bedsim.wall.outlines import OutlineWall, WorstStretch, outline_walls, worst_stretch
from bedsim.wall.program_told import printed_sentences, program_sentences
from bedsim.wall.surface import RAKING, screen_codes

LEFT, RIGHT, TOP, FOOT = 50.0, 560.0, 20.0, 224.0
"""Panel of a wall: once around to the right, height upwards."""
WIDE, NARROW, TALL = 624.0, 216.0, 262.0
MOST_ROWS = 3000  # of a picture; a wall of more layers shows some of them
LEAST_REACH = 0.01  # um


def unrolled_section(items: Sequence[Reported]) -> PageSection | None:
    """The wall of each run that prints a program, the one with the worst band; None where there is none."""
    drawn, told = [], []
    for item in items:
        layers, loaded = item.whole.layers, item.loaded
        walls = outline_walls(layers, loaded)
        lead = max(c.screw.lead_mm for c in loaded.scenario.corner) * MM
        found = worst_stretch(walls, lead)
        name = f"{item.label}: " if len(items) > 1 else ""
        told += [name + text for text in (*program_sentences(loaded), *printed_sentences(layers, loaded))]
        if found is not None:
            title = f"<h3>{escape(item.label)}</h3>" if name else ""
            drawn.append(f'{title}<div class="around">{_figures(found, walls)}</div>')
    if not told:
        return None
    return PageSection(title="The part's own wall", points=tuple(told), drawn="".join(drawn))


def _figures(found: WorstStretch, walls: Sequence[OutlineWall]) -> str:
    wall = found.wall
    low, high = (number(height / MM) for height in found.heights)
    worst = (
        f"worst band {number(found.size / UM, 2)} µm, {low} to {high} mm high, facing {found.facing}: framed"
    )
    reach = max(float(np.abs(wall.relief).max()) / UM, LEAST_REACH)
    lamp = f"lamp {90 - RAKING / DEG:.0f}° off the wall, nothing magnified"
    error = float(np.abs(wall.thickness_error).max()) / UM
    commanded = sorted({number(float(t) / MM) for t in (wall.thickness.min(), wall.thickness.max())})
    figures = (
        ("Relief, unrolled", worst, _unrolled(found, _coloured(wall, reach), _scale(reach), "relief")),
        (
            "Layer thickness",
            f"against {' to '.join(commanded)} mm commanded, up to {number(error, 2)} µm off",
            _thickness(wall),
        ),
        ("Its light", lamp, _unrolled(found, _grey(wall), "", "light")),
        ("From above", "its outline, and where the band is worst", _plan(found, walls)),
    )
    return "".join(
        f"<figure><figcaption><b>{title}</b> {escape(note)}</figcaption>{drawn}</figure>"
        for title, note, drawn in figures
    )


# ---- pictures ---------------------------------------------------------------------------------------------


def _rows(wall: OutlineWall) -> NDArray[np.int64]:
    """The layer of each row of a picture of even rows, the highest first."""
    edges = wall.edges
    most = (edges[-1] - edges[0]) / wall.thickness.min()
    count = int(np.clip(np.ceil(most - 1e-6), len(wall.top), max(MOST_ROWS, 1)))
    height = edges[0] + (np.arange(count)[::-1] + 0.5) / count * (edges[-1] - edges[0])
    return np.clip(np.searchsorted(edges, height, side="right") - 1, 0, len(wall.top) - 1)


def _coloured(wall: OutlineWall, reach: float) -> str:
    """Relief in the colours of the scale."""
    codes = np.clip((wall.relief / UM / reach + 1.0) / 2.0, 0.0, 1.0)
    return _picture(codes[_rows(wall)], "cividis")


def _grey(wall: OutlineWall) -> str:
    return _picture(screen_codes(wall.light(RAKING))[_rows(wall)], "gray")


def _picture(codes: Array, colours: str) -> str:
    """A picture of codes from 0 to 1 as an address that holds it."""
    drawn = io.BytesIO()
    matplotlib.image.imsave(drawn, codes, cmap=colours, vmin=0.0, vmax=1.0, format="png")
    return f"data:image/png;base64,{base64.b64encode(drawn.getvalue()).decode('ascii')}"


def _image(address: str, x: float, y: float, width: float, height: float) -> str:
    return (
        f'<image href="{address}" x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" '
        'preserveAspectRatio="none" image-rendering="pixelated"/>'
    )


# ---- charts -----------------------------------------------------------------------------------------------


def _unrolled(found: WorstStretch, address: str, scale: str, what: str) -> str:
    wall = found.wall
    x, y = Ruler(0.0, wall.length / MM, LEFT, RIGHT), _heights(wall)
    sides = "".join(
        f'<text class="tick mid" x="{_at(x, wall.way[k] / MM):.1f}" y="{TOP - 7}">{escape(name)}</text>'
        for name, k in wall.sides
    )
    words = f"The part's wall unrolled, {what}. Worst band {number(found.size / UM, 2)} µm"
    low, high = (number(height / MM) for height in found.heights)
    return _svg(
        WIDE,
        f"{words}, {low} to {high} mm high, facing {found.facing}.",
        _image(address, LEFT, TOP, RIGHT - LEFT, FOOT - TOP)
        + _height_axis(y, LEFT)
        + _across_axis(x, "way around from the front, counter-clockwise from above, mm", 9)
        + sides
        + _mark(found, x, y)
        + scale,
    )


def _heights(wall: OutlineWall) -> Ruler:
    return Ruler(float(wall.edges[0]) / MM, float(wall.top[-1]) / MM, FOOT, TOP)


def _at(ruler: Ruler, value: float) -> float:
    return float(ruler.at(np.array(value)))


def _mark(found: WorstStretch, x: Ruler, y: Ruler) -> str:
    """A frame about the worst band."""
    wall = found.wall
    low, high = _at(y, wall.edges[found.first] / MM), _at(y, wall.top[found.last] / MM)
    middle = _at(x, wall.way[found.around] / MM)
    frame = f'x="{middle - 10:.1f}" y="{high:.1f}" width="20" height="{max(low - high, 3.0):.1f}" fill="none"'
    return f'<rect class="beside" {frame}/><rect class="worst" {frame}/>'


def _scale(reach: float) -> str:
    """What colours of the relief mean, right of the panel."""
    steps = _picture(np.linspace(1.0, 0.0, 64)[:, None], "cividis")
    ruler = Ruler(-reach, reach, FOOT, TOP)
    ticks = "".join(
        f'<text class="tick" x="{RIGHT + 22}" y="{_at(ruler, t) + 3.5:.1f}">{sign(t)}</text>'
        for t in ruler.ticks(6)
    )
    unit = f'<text class="tick mid" x="{RIGHT + 26}" y="{FOOT + 32}">µm, outward</text>'
    return _image(steps, RIGHT + 8, TOP, 10, FOOT - TOP) + ticks + unit


def _thickness(wall: OutlineWall) -> str:
    """The least, the mean and the largest error of each layer's thickness around the wall."""
    error, y = wall.thickness_error / UM, _heights(wall)
    reach = 1.05 * max(float(np.abs(error).max()), LEAST_REACH)
    x = Ruler(-reach, reach, LEFT, NARROW - 8)
    at = y.at((wall.edges[1:] + wall.edges[:-1]) / 2 / MM)
    low, mean, high = (x.at(e) for e in (error.min(axis=1), error.mean(axis=1), error.max(axis=1)))
    zero = _at(x, 0.0)
    return _svg(
        NARROW,
        f"Error of each layer's thickness around the wall over its height: {number(reach / 1.05, 2)} µm.",
        _height_axis(y, LEFT, NARROW - 8)
        + _across_axis(x, "too thin left, too thick right, µm", 4)
        + f'<path class="zero" d="M{zero:.1f} {TOP}V{FOOT}"/><path class="tint" d="{area(low, high, at)}"/>'
        + f'<path class="strong" d="{points(mean, at)}"/>',
    )


def _plan(found: WorstStretch, walls: Sequence[OutlineWall]) -> str:
    """The walls from above, at one scale both ways."""
    every = np.concatenate([wall.place[0] for wall in walls]) / MM
    low, high = every.min(axis=0), every.max(axis=0)
    wide, tall = NARROW - 8 - LEFT, FOOT - TOP
    half = 0.54 * max(*((high - low) / np.array([wide, tall])), 1e-6) * np.array([wide, tall])
    middle = (low + high) / 2
    x = Ruler(middle[0] - half[0], middle[0] + half[0], LEFT, NARROW - 8)
    y = Ruler(middle[1] - half[1], middle[1] + half[1], FOOT, TOP)
    drawn = []
    for wall in walls:
        place = wall.place[0] / MM
        kind = "strong" if wall is found.wall else "thin"
        drawn.append(f'<path class="{kind}" d="{points(x.at(place[:, 0]), y.at(place[:, 1]))}Z"/>')
    px, py = found.wall.place[found.first, found.around] / MM
    return _svg(
        NARROW,
        f"Outline of the part's walls from above; the band is worst at ({px:.0f}, {py:.0f}) mm on the bed.",
        _height_axis(y, LEFT, NARROW - 8, "Y on the bed, mm")
        + _across_axis(x, "X on the bed, mm", 4)
        + "".join(drawn)
        + f'<circle class="place" r="4.5" cx="{_at(x, px):.1f}" cy="{_at(y, py):.1f}"/>',
    )


def _height_axis(y: Ruler, left: float, right: float | None = None, name: str = "height, mm") -> str:
    """Ticks left of a panel; lines across it where there is a `right`."""
    parts = []
    for tick in y.ticks(6):
        at = _at(y, tick)
        grid = f'<path class="grid" d="M{left} {at:.1f}H{right}"/>' if right else ""
        parts.append(f'{grid}<text class="tick end" x="{left - 5}" y="{at + 3.5:.1f}">{sign(tick)}</text>')
    middle = (TOP + FOOT) / 2
    return (
        f"{''.join(parts)}"
        f'<text class="tick mid" transform="translate(10 {middle:g}) rotate(-90)">{escape(name)}</text>'
    )


def _across_axis(x: Ruler, name: str, most: int) -> str:
    ticks = "".join(
        f'<path class="zero" d="M{_at(x, t):.1f} {FOOT}v4"/>'
        f'<text class="tick mid" x="{_at(x, t):.1f}" y="{FOOT + 16}">{sign(t)}</text>'
        for t in x.ticks(most)
    )
    return (
        f'{ticks}<text class="tick mid" x="{(x.start + x.end) / 2:g}" y="{FOOT + 32}">{escape(name)}</text>'
    )


def _svg(wide: float, label: str, inside: str) -> str:
    return (
        f'<svg viewBox="0 0 {wide:g} {TALL:g}" role="img" aria-label="{escape(label, quote=True)}">'
        f"{inside}</svg>"
    )
