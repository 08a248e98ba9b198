"""Side view of the machine: heights of bed, mount, joint, guide and carriage, screws with their ends, nut
travel.

Millimetres throughout, as in the scenario.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from bedsim.scenario.schema import Corner, Scenario
from bedsim.scenario.sections import objects_of
from bedsim.views import style

_PARTS: tuple[tuple[str, str, str, str, str], ...] = (
    ("mount", "height_mm", "mount", "D", style.GREEN),
    ("joint", "height_mm", "joint", "o", style.ORANGE),
    ("nut", "thread_height_mm", "nut, middle of its thread", "_", style.BLUE),
    ("carriage", "height_mm", "carriage, centre of mass", "P", style.BLACK),
    ("guide", "height_mm", "guide", "s", style.PURPLE),
)


def side_view(ax: Axes, scenario: Scenario, nut_top: Sequence[float], nut_bottom: Sequence[float]) -> None:
    """Heights as seen from the front with the bed at layer 1.

    `nut_top`, `nut_bottom` (c,) mm: highest and lowest place of each nut in the print, above the lower end
    of its screw's free length.
    """
    travel = max(t - b for t, b in zip(nut_top, nut_bottom, strict=True))
    _bed(ax, scenario, travel)
    for corner, top, bottom in zip(scenario.corner, nut_top, nut_bottom, strict=True):
        _screw(ax, corner, top)
        _nut(ax, corner, top - bottom)
        _parts(ax, corner)
    lows = [c.nut.thread_height_mm - t for c, t in zip(scenario.corner, nut_top, strict=True)]
    highs = [low + c.screw.length_mm for low, c in zip(lows, scenario.corner, strict=True)]
    _frame(ax, scenario, min(lows), max(0.0, *highs))
    _names(ax, scenario, min(lows))
    _height_labels(ax, scenario, travel)


def _frame(ax: Axes, scenario: Scenario, lowest: float, highest: float) -> None:
    """Limits with room for the names below, ticks only where the machine is."""
    half = max(0.55 * scenario.bed.size_x_mm, *(1.33 * abs(c.x_mm) + 10 for c in scenario.corner))
    tall = highest - lowest
    top, bottom = highest + 0.1 * tall, lowest - 0.24 * tall
    lacking = max(0.0, 1.6 * half - (top - bottom))  # a low, wide machine gets room for its labels
    ax.set_xlim(-half, half)
    ax.set_ylim(bottom - 0.8 * lacking, top + 0.2 * lacking)
    ax.set_aspect("equal")
    ax.set_xticks([t for t in ax.get_xticks() if -half <= t <= half])
    ax.set_title("Side view, seen from the front, bed at layer 1")
    ax.set_xlabel("X, to the right (mm)", loc="left")
    ax.set_ylabel("height above the bed surface (mm)")
    ax.grid(axis="x", visible=False)


def _bed(ax: Axes, scenario: Scenario, travel: float) -> None:
    x, t = scenario.bed.size_x_mm, scenario.bed.thickness_mm
    style.box(ax, -x / 2, -t, x, t, facecolor="#C8C8C8", zorder=3)
    if travel > 0:
        style.box(ax, -x / 2, -t - travel, x, t, fill=False, linestyle=(0, (4, 3)), zorder=3)
    ax.plot(scenario.bed.centre_x_mm, scenario.bed.centre_height_mm, marker="P", color=style.INK, zorder=4)


def _screw(ax: Axes, corner: Corner, nut_top: float) -> None:
    screw, width = corner.screw, corner.screw.diameter_mm
    low = corner.nut.thread_height_mm - nut_top
    style.box(ax, corner.x_mm - width / 2, low, width, screw.length_mm, facecolor="#EEEEEE", zorder=1)
    lower, upper = screw.ends.split("-")
    _end(ax, corner.x_mm, low, width, lower, above=False)
    _end(ax, corner.x_mm, low + screw.length_mm, width, upper, above=True)


def _end(ax: Axes, x: float, z: float, width: float, kind: str, *, above: bool) -> None:
    """Fixed: a hatched block around the end; motor: a coupling on a block; supported: a bearing on each side;
    free: nothing."""
    size = 1.6 * width
    if kind == "fixed":
        style.box(ax, x - size, z if above else z - size, 2 * size, size, facecolor="white", hatch="/////")
    if kind == "motor":
        style.box(ax, x - size / 2, z - size / 3, size, 2 * size / 3, facecolor="white", zorder=2)
        style.box(ax, x - size, z - size, 2 * size, 2 * size / 3, facecolor=style.GREY)
    if kind == "supported":
        for left in (x - size, x + width / 2):
            style.box(ax, left, z - size / 4, size - width / 2, size / 2, facecolor="white")


def _nut(ax: Axes, corner: Corner, travel: float) -> None:
    """The nut, and beside it how far it goes down in the print."""
    x, z, width = corner.x_mm, corner.nut.thread_height_mm, corner.screw.diameter_mm
    style.box(ax, x - 0.9 * width, z - 0.6 * width, 1.8 * width, 1.2 * width, facecolor=style.SKY, zorder=4)
    beside = x - 1.35 * width
    ax.plot([beside, beside], [z, z - travel], color=style.BLUE, linewidth=1.6, marker="_", markersize=9)


def travel_sign() -> tuple[Line2D, str]:
    """Handle and label of the bar beside each nut."""
    sign = Line2D([], [], linestyle="", color=style.BLUE, marker="|", markersize=10, markeredgewidth=1.6)
    return sign, "side view: nut travel in the print"


def _parts(ax: Axes, corner: Corner) -> None:
    for part, key, _, marker, colour in _PARTS:
        made = getattr(corner, part)
        x = corner.x_mm + getattr(made, "offset_x_mm", 0.0)
        look: Any = {
            "marker": marker,
            "color": colour,
            "markersize": 5,
            "markerfacecolor": "white",
            "zorder": 6,
        }
        ax.plot(x, getattr(made, key), **look)


def _height_labels(ax: Axes, scenario: Scenario, travel: float) -> None:
    """One label per part and height beside the Axes, moved apart, with a thin line to where it belongs."""
    bed = scenario.bed
    entries = [
        (0.0, "bed surface", "_", style.INK),
        (bed.centre_height_mm, "bed, centre of mass", "P", style.INK),
    ]
    for part, key, text, marker, colour in _PARTS:
        entries += [(z, said, marker, colour) for z, said in _heights(scenario, part, key, text)]
    several = len(objects_of(scenario.print, scenario.motion)) > 1
    entries.append((-travel, f"bed surface, {'lowest' if several else 'last'} layer", "_", style.INK))
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    width = right - left
    places = style.spread([e[0] for e in entries], 0.05 * (top - bottom))
    too_high = max(0.0, max(places) - top)
    places = [place - too_high for place in places]
    for (z, text, marker, colour), place in zip(entries, places, strict=True):
        elbow = [right, right + 0.06 * width, right + 0.1 * width]
        ax.plot(elbow, [z, place, place], color=style.GREY, linewidth=0.6, clip_on=False)
        look: Any = {"marker": marker, "color": colour, "markersize": 5, "markerfacecolor": "white"}
        ax.plot(right + 0.13 * width, place, clip_on=False, **look)
        ax.text(right + 0.16 * width, place, f"{text} {_signed(z)} mm", va="center", fontsize=8)
    ax.set_xlim(left, right)


def _signed(height: float) -> str:
    return "0" if height == 0 else f"{height:+.4g}".replace("-", "\N{MINUS SIGN}")


def _heights(scenario: Scenario, part: str, key: str, text: str) -> list[tuple[float, str]]:
    """Heights of one kind of part; corners are named where they differ."""
    groups: dict[float, list[str]] = {}
    for corner in scenario.corner:
        groups.setdefault(getattr(getattr(corner, part), key), []).append(corner.name)
    if len(groups) == 1:
        return [(z, text) for z in groups]
    return [(z, f"{part} ({style.short(', '.join(who), 22)})") for z, who in groups.items()]


def _names(ax: Axes, scenario: Scenario, lowest: float) -> None:
    """Corner names under their screws; corners that stand one behind the other share a place."""
    near = 0.22 * scenario.bed.size_x_mm
    groups: list[list[Corner]] = []
    for corner in sorted(scenario.corner, key=lambda c: c.x_mm):
        if groups and corner.x_mm - groups[-1][0].x_mm < near:
            groups[-1].append(corner)
        else:
            groups.append([corner])
    below = lowest - 1.7 * max(c.screw.diameter_mm for c in scenario.corner)
    for group in groups:
        x = sum(c.x_mm for c in group) / len(group)
        names = [style.short(c.name, 15) for c in group]
        ends = sorted({c.screw.ends.replace("-", ", ") for c in group})
        text = "\n".join([*names[:3], *([] if len(names) <= 3 else ["..."]), *(f"({e})" for e in ends[:2])])
        ax.annotate(text, (x, below), ha="center", va="top", fontsize=7.5)
