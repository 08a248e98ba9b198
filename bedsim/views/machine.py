"""The machine as understood: plan and side view to scale, with the names that results and advice use.

Millimetres throughout, as in the scenario; no figure of merit is drawn here.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyArrowPatch
from matplotlib.path import Path
from matplotlib.textpath import TextPath

from bedsim.model.mount_kind import mount_kind
from bedsim.scenario.schema import Corner, Scenario
from bedsim.scenario.sections import PrintObject, objects_of
from bedsim.units import DEG
from bedsim.views import style

OBJECT: dict[str, Any] = {
    "marker": "x",
    "color": style.ORANGE,
    "markersize": 9,
    "markeredgewidth": 2,
    "linestyle": "",
}


def plan_view(ax: Axes, scenario: Scenario, probes: style.Array) -> None:
    """Bed, screws, mounts, guides and probes as seen from above; `probes` (p, 2) mm, numbered from 1."""
    reach = _reach(scenario)
    bed = scenario.bed
    style.box(ax, -bed.size_x_mm / 2, -bed.size_y_mm / 2, bed.size_x_mm, bed.size_y_mm, facecolor="#F4F4F4")
    centre = _mount_centre(scenario)
    for corner in scenario.corner:
        _groove(ax, corner, centre, 0.9 * reach)
        _plan_screw(ax, corner, reach)
        _corner_name(ax, corner, scenario, reach)
    for number, (x, y) in enumerate(probes, start=1):
        _probe(ax, x, y, number)
    _objects(ax, scenario)
    _plan_frame(ax, scenario, reach)


def _objects(ax: Axes, scenario: Scenario) -> None:
    """Where each of several objects stands, its number beside."""
    for number, one in enumerate(_placed(scenario), start=1):
        ax.plot(one.x_mm, one.y_mm, zorder=3, **OBJECT)
        ax.annotate(str(number), (one.x_mm, one.y_mm), (6, 6), textcoords="offset points", fontsize=8)


def _placed(scenario: Scenario) -> list[PrintObject]:
    """Several objects with places of their own; a program says its own."""
    printed = objects_of(scenario.print, scenario.motion) if scenario.print.laid is None else []
    return printed if len(printed) > 1 else []


def _plan_frame(ax: Axes, scenario: Scenario, reach: float) -> None:
    """Limits that leave room for the corner names above and below, and labels."""
    xs = [c.x_mm for c in scenario.corner]
    names = [_name_height(c, scenario, reach) for c in scenario.corner]
    half_x, half_y = scenario.bed.size_x_mm / 2, scenario.bed.size_y_mm / 2
    room = 2.2 * reach
    room_x = room if max(map(abs, xs)) <= half_x else 1.5 * room
    ax.set_xlim(min(-half_x, *xs) - room_x, max(half_x, *xs) + room_x)
    ax.set_ylim(min(-half_y, *names) - 1.4 * room, max(half_y, *names) + 1.4 * room)
    ax.set_aspect("equal")
    ax.set_title("Plan view, seen from above")
    ax.set_xlabel("X, to the right (mm)")
    ax.set_ylabel("Y, to the back (mm)")


def plan_legend(scenario: Scenario, probe_names: Sequence[str]) -> tuple[list[Line2D], list[str]]:
    """Handles and labels that explain the signs of the plan view."""
    entries = [
        (_sign("s", style.INK, markerfacecolor="#F4F4F4"), "bed"),
        (_sign("o", style.INK, markerfacecolor="#BBBBBB"), "screw, to scale"),
        (_sign(_letter("\u21ba"), style.BLUE), "screw turns this way while the bed goes down"),
        (Line2D([], [], color=style.INK, linewidth=2), "clocking zero (towards +X)"),
        (_sign(_letter("\u2192"), style.VERMILLION), "run-out at clocking zero: e offset, b bow"),
        (_sign("D", style.GREEN, markerfacecolor="white"), "mount; bar: its groove"),
        (_sign("s", style.PURPLE, markerfacecolor="none"), "guide"),
    ]
    if _placed(scenario):
        entries.append((Line2D([], [], **OBJECT), "object, in the order of printing"))
    if not any(_run_out_directions(c) for c in scenario.corner):
        del entries[4]
    if probe_names:
        names = ", ".join(f"{i} {name}" for i, name in enumerate(probe_names, start=1))
        names = "numbered as in the scenario" if len(names) > 200 else names
        entries.append(
            (_sign("o", style.INK, markerfacecolor="white"), textwrap.fill(f"probes: {names}", 52))
        )
    return [handle for handle, _ in entries], [label for _, label in entries]


def _letter(letter: str) -> Path:
    """A letter of the font as a marker, its middle at the point."""
    drawn = TextPath((0, 0), letter)
    points, codes = np.array(drawn.vertices), np.array(drawn.codes)
    of_shape = codes != Path.CLOSEPOLY  # these stand anywhere
    points -= (points[of_shape].min(axis=0) + points[of_shape].max(axis=0)) / 2
    points[~of_shape] = 0.0
    return Path(points, codes)


def _sign(marker: str | Path, colour: str, markerfacecolor: str | None = None) -> Line2D:
    face = colour if markerfacecolor is None else markerfacecolor
    return Line2D([], [], marker=marker, color=colour, linestyle="", markersize=9, markerfacecolor=face)


def _reach(scenario: Scenario) -> float:
    """Radius of the turning arrow: seen well on the page, and clear of the screw."""
    thickest = max(c.screw.diameter_mm for c in scenario.corner)
    return max(0.9 * thickest, 0.055 * max(scenario.bed.size_x_mm, scenario.bed.size_y_mm))


def _mount_centre(scenario: Scenario) -> tuple[float, float]:
    places = [(c.x_mm + c.mount.offset_x_mm, c.y_mm + c.mount.offset_y_mm) for c in scenario.corner]
    x, y = np.mean(places, axis=0)
    return float(x), float(y)


def _groove(ax: Axes, corner: Corner, centre: tuple[float, float], half: float) -> None:
    x, y = corner.x_mm + corner.mount.offset_x_mm, corner.y_mm + corner.mount.offset_y_mm
    given = corner.mount.direction_deg
    angle = math.atan2(centre[1] - y, centre[0] - x) if given is None else given * DEG
    if mount_kind(corner.mount.kind).grooved:
        dx, dy = half * math.cos(angle), half * math.sin(angle)
        ax.plot([x - dx, x + dx], [y - dy, y + dy], color=style.GREEN, linewidth=5, alpha=0.5, zorder=2)
    ax.plot(x, y, marker="D", color=style.GREEN, markersize=6, markerfacecolor="white", zorder=5)


def _plan_screw(ax: Axes, corner: Corner, reach: float) -> None:
    x, y, radius = corner.x_mm, corner.y_mm, corner.screw.diameter_mm / 2
    ax.add_patch(Circle((x, y), radius, facecolor="#BBBBBB", edgecolor=style.INK, linewidth=0.8, zorder=4))
    place = (x + corner.guide.offset_x_mm, y + corner.guide.offset_y_mm)
    ax.plot(*place, marker="s", color=style.PURPLE, markerfacecolor="none", markersize=10, zorder=5)
    ax.plot([x + radius, x + 1.25 * reach], [y, y], color=style.INK, linewidth=2, zorder=5)
    _turning_arrow(ax, corner, reach)
    for letter, angle in _run_out_directions(corner):
        direction = np.array([math.cos(angle), math.sin(angle)])
        _arrow(ax, np.array([x, y]), np.array([x, y]) + 1.5 * reach * direction, style.VERMILLION)
        beyond = np.array([x, y]) + 1.75 * reach * direction
        ax.annotate(letter, tuple(beyond), ha="center", va="center", color=style.VERMILLION, fontsize=8)


def _turning_arrow(ax: Axes, corner: Corner, reach: float) -> None:
    """A right-hand screw turns counter-clockwise seen from above while its nut goes down."""
    sense = 1.0 if corner.screw.hand == "right" else -1.0
    angles = sense * np.linspace(40.0, 320.0, 60) * DEG
    points = np.array([corner.x_mm, corner.y_mm]) + reach * np.column_stack([np.cos(angles), np.sin(angles)])
    ax.plot(*points.T, color=style.BLUE, linewidth=1.6, zorder=5)
    _arrow(ax, points[-3], points[-1], style.BLUE)


def _arrow(ax: Axes, tail: style.Array, tip: style.Array, colour: str) -> None:
    look: Any = {"arrowstyle": "-|>", "mutation_scale": 12, "color": colour, "shrinkA": 0, "zorder": 6}
    ax.add_patch(FancyArrowPatch(tuple(tail), tuple(tip), **look))


def _run_out_directions(corner: Corner) -> list[tuple[str, float]]:
    """Letter and direction (rad) of each given run-out, as mounted at the clocking zero."""
    run_out, clocking = corner.screw.run_out, corner.screw.clocking_deg
    given = (
        ("e", run_out.eccentricity_tir_um, run_out.eccentricity_deg),
        ("b", run_out.bow_tir_um, run_out.bow_deg),
    )
    return [(letter, (angle + clocking) * DEG) for letter, size, angle in given if size > 0]


def _name_height(corner: Corner, scenario: Scenario, reach: float) -> float:
    """Y of a corner's name: on the side away from the middle, and clear of a bed's edge that is near."""
    up = 1.0 if corner.y_mm >= 0 else -1.0
    place, edge = abs(corner.y_mm) + 2.1 * reach, scenario.bed.size_y_mm / 2 + 0.3 * reach
    return up * (edge if edge - 3.0 * reach < place < edge else place)


def _corner_name(ax: Axes, corner: Corner, scenario: Scenario, reach: float) -> None:
    height = _name_height(corner, scenario, reach)
    half_x, half_y = scenario.bed.size_x_mm / 2, scenario.bed.size_y_mm / 2
    beside_bed = abs(corner.x_mm) > half_x and abs(height) < half_y + 1.5 * reach  # clear of the bed's corner
    # beside the bed's corner the name ends at the screw, so that no probe there is hidden
    towards_bed = math.copysign(reach, -corner.x_mm) if beside_bed else 0.0
    aligned = "center" if not beside_bed else "left" if corner.x_mm > 0 else "right"
    ax.annotate(
        style.wrapped(corner.name, 16),
        (corner.x_mm + towards_bed, height),
        ha=aligned,
        va="bottom" if height >= 0 else "top",
        fontweight="bold",
        zorder=8,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.0},
    )


def _probe(ax: Axes, x: float, y: float, number: int) -> None:
    ax.plot(x, y, "o", color=style.INK, markersize=10, markerfacecolor="white", markeredgewidth=0.9, zorder=7)
    ax.annotate(
        str(number), (x, y), ha="center", va="center_baseline", fontsize=7 if number < 10 else 6, zorder=8
    )
