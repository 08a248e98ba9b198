"""One picture of a clocking: how to turn, the bed's path before and after, and what levelling leaves."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Arc, FancyArrowPatch, Rectangle

from bedsim.clocking.advice import Advice, Placement
from bedsim.clocking.response import about_mean
from bedsim.scenario.schema import Corner, Scenario
from bedsim.units import DEG, MM, UM
from bedsim.views import style

MARK = (0, (3, 1.2))
SMALLEST_ARC = 8.0  # degrees; less has no room for a head


def draw_clock(scenario: Scenario, advice: Advice, path: Path) -> Path:
    """Draw the advice and save it; give the path back."""
    with style.page(path, 250 * MM, 190 * MM, f"Clocking: {style.short(advice.title, 70)}") as figure:
        (plan, flat), (height, left) = figure.subplots(2, 2)
        plan_of_turns(plan, scenario, advice)
        paths(flat, advice)
        over_height(height, advice)
        over_correction(left, advice)
        marks, curves = plan.get_legend_handles_labels(), left.get_legend_handles_labels()
        figure.legend(marks[0] + curves[0], marks[1] + curves[1], loc="outside lower center", ncols=3)
    return path


def plan_of_turns(ax: Axes, scenario: Scenario, advice: Advice) -> None:
    """Corners from above with the way to turn every screw, from the clocking zero or from now."""
    bed = scenario.bed
    ax.add_patch(
        Rectangle(
            (-bed.size_x_mm / 2, -bed.size_y_mm / 2),
            bed.size_x_mm,
            bed.size_y_mm,
            facecolor="#F4F4F4",
            edgecolor=style.GREY,
        )
    )
    xs, ys = [c.x_mm for c in scenario.corner], [c.y_mm for c in scenario.corner]
    wide = max(np.ptp([*xs, -bed.size_x_mm / 2, bed.size_x_mm / 2]), np.ptp([*ys, -bed.size_y_mm / 2]))
    reach = 0.11 * wide
    for corner, placement in zip(scenario.corner, advice.placements, strict=True):
        _turn(ax, corner, placement, reach, bed.size_y_mm / 2)
    half_x, half_y = bed.size_x_mm / 2, bed.size_y_mm / 2
    ax.set_xlim(min(*xs, -half_x) - 3.6 * reach, max(*xs, half_x) + 3.6 * reach)
    ax.set_ylim(min(*ys, -half_y) - 4.6 * reach, max(*ys, half_y) + 4.6 * reach)
    ax.plot([], [], color=style.INK, linewidth=1.6, label="mark on the screw now (zero where it is put in)")
    if not advice.leave:
        ax.plot([], [], color=style.VERMILLION, linestyle=MARK, label="mark on the screw when turned")
    ax.set_aspect("equal")
    ax.grid(visible=False)
    ax.set_xlabel("X, to the right (mm)")
    ax.set_ylabel("Y, to the back (mm)")
    ax.set_title("Leave the screws as they are" if advice.leave else "Turn the screws, seen from above")


def _turn(ax: Axes, corner: Corner, placement: Placement, reach: float, edge: float) -> None:
    x, y = corner.x_mm, corner.y_mm
    begin = 0.0 if placement.moved else corner.screw.clocking_deg
    turn = placement.turn / DEG
    ax.plot(*_spoke(x, y, begin, 1.15 * reach), color=style.INK, linewidth=1.6)
    ax.plot(x, y, marker="o", color=style.INK, markersize=3)
    if placement.turned:
        ax.plot(*_spoke(x, y, begin + turn, 1.15 * reach), color=style.VERMILLION, linestyle=MARK)
    if abs(turn) >= SMALLEST_ARC:
        _sweep(ax, x, y, begin, turn, 0.8 * reach)
    way = "ccw" if turn >= 0 else "cw"
    lines = [style.wrapped(placement.corner, 22)]
    lines += [style.wrapped(f"put in {placement.screw}", 18)] if placement.moved else []
    lines += [f"{abs(turn):.0f}° {way}"] if placement.turned else []
    lines += [] if placement.worked_on else ["leave it"]
    above = y > 0
    away = max(abs(y) + 1.3 * reach, edge + 0.2 * reach)  # clear of the dial and of the bed's edge
    ax.annotate(
        "\n".join(lines),
        (x, away if above else -away),
        ha="center",
        va="bottom" if above else "top",
        fontsize=8,
        linespacing=1.1,
    )


def _spoke(x: float, y: float, angle_deg: float, length: float) -> tuple[list[float], list[float]]:
    a = angle_deg * DEG
    return [x, x + length * math.cos(a)], [y, y + length * math.sin(a)]


def _sweep(ax: Axes, x: float, y: float, begin: float, turn: float, radius: float) -> None:
    """An arc from the old to the new attitude with a head at its end."""
    low, high = sorted((begin, begin + turn))
    ax.add_patch(
        Arc((x, y), 2 * radius, 2 * radius, theta1=low, theta2=high, color=style.BLUE, linewidth=1.6)
    )
    end = (begin + turn) * DEG
    before = end - math.copysign(min(0.25, abs(turn) * DEG / 2), turn)
    tail, tip = ((x + radius * math.cos(a), y + radius * math.sin(a)) for a in (before, end))
    ax.add_patch(
        FancyArrowPatch(
            tail, tip, arrowstyle="-|>", mutation_scale=11, color=style.BLUE, shrinkA=0, shrinkB=0
        )
    )


def _lateral(advice: Advice) -> tuple[style.Array, style.Array, str]:
    """Lateral paths (n, 2) m before and after about their means, at the chosen probe that is worst before."""
    before, after = (advice.response.errors(s.screw, s.clocking)[0] for s in (advice.now, advice.best))
    before, after = (e[:, list(advice.chosen_probes)] for e in (before, after))
    before, after = (about_mean(e, advice.response.walls) for e in (before, after))
    worst = int(np.argmax(np.mean(np.sum(before**2, axis=2), axis=0)))
    return apart(before[:, worst], advice), apart(after[:, worst], advice), advice.probes[worst]


def apart(values: style.Array, advice: Advice) -> style.Array:
    """Values (n, ...) with a gap before each object but the first."""
    return np.insert(values, [wall.start for wall in advice.response.walls[1:]], np.nan, axis=0)


BEFORE, AFTER = style.series(0), style.series(1)


def paths(ax: Axes, advice: Advice) -> None:
    """Path of the bed in the plane at the probe that is worst as it is."""
    before, after, probe = _lateral(advice)
    factor, unit = style.length_unit(before, after)
    for path, look, label in ((before, BEFORE, "as it is"), (after, AFTER, advice.name_of_best)):
        every = max(1, len(path) // 15)
        ax.plot(*(path.T / factor), **{**look, "markevery": every}, label=label)
    ax.set_aspect("equal", adjustable="datalim")
    ax.set_xlabel(f"lateral error X, about its mean ({unit})")
    ax.set_ylabel(f"lateral error Y, about its mean ({unit})")
    ax.set_title(f"Path of the bed as placed, {style.short(probe, 24)}")


def over_height(ax: Axes, advice: Advice) -> None:
    """Distance of the bed from its mean place over the height of the print, same probe."""
    before, after, probe = _lateral(advice)
    top = apart(advice.response.top, advice) / MM
    away = [np.hypot(*path.T) for path in (before, after)]
    factor, unit = style.length_unit(*away)
    for values, look, label in zip(away, (BEFORE, AFTER), ("as it is", advice.name_of_best), strict=True):
        ax.plot(values / factor, top, **{**look, "markevery": max(1, len(top) // 15)}, label=label)
    ax.set_xlim(left=0)
    ax.set_xlabel(f"distance from the mean place ({unit})")
    ax.set_ylabel("height of the print (mm)")
    ax.set_title(f"Over the height, {style.short(probe, 28)}")


def over_correction(ax: Axes, advice: Advice) -> None:
    """Expected error over how far levelling moves the corners; chance as a line."""
    correction, now, best = advice.curve.T
    factor, unit = style.length_unit(now, best)
    ax.plot(correction / MM, now / factor, **{**BEFORE, "markevery": 4}, label="as it is")
    ax.plot(correction / MM, best / factor, **{**AFTER, "markevery": 4}, label=advice.name_of_best)
    ax.axhline(
        advice.by_chance / factor, color=style.GREY, linestyle=(0, (1.5, 1.5)), label="clocked by chance"
    )
    ax.axvline(advice.correction / MM, color=style.INK, linewidth=0.9, label="expected correction")
    top = max(float(np.max(now)), float(np.max(best)), advice.by_chance) / factor
    ax.set_ylim(0, max(1.08 * top, 0.01 * UM / factor))
    ax.set_xlim(0, correction[-1] / MM)
    ax.set_xlabel("levelling moves each corner by up to ± (mm)")
    ax.set_ylabel(f"expected lateral error, RMS ({unit})")
    ax.set_title("What levelling leaves of it")
