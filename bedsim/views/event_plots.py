"""Pictures of a power loss, a tilt and a shaken frame."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.power_loss.report import FallRow, PowerLossReport
from bedsim.shake.report import ShakeReport, ShakeRow
from bedsim.tilt.report import TiltReport
from bedsim.tilt.tilted import TiltCourse
from bedsim.units import DEG, MM, MM_S, UM
from bedsim.views import style

POINTS = 120  # of a curve of a fall


def draw_power_loss(report: PowerLossReport, path: Path) -> Path:
    """Draw how far and how fast the bed comes down in every case, and save it; give the path back."""
    layers = list(dict.fromkeys(row.layer for row in report.rows))
    with style.page(path, 230 * MM, 160 * MM, f"{report.title}: power loss") as figure:
        axes = figure.subplots(2, len(layers), sharex="col", sharey="row", squeeze=False)
        for column, layer in enumerate(layers):
            rows = [row for row in report.rows if row.layer == layer]
            axes[0, column].set_title(f"Power lost at layer {layer}")
            _fall_curves(axes[0, column], axes[1, column], rows)
        axes[0, 0].set_ylabel("bed below its place (mm)")
        axes[1, 0].set_ylabel("speed downward (mm/s)")
    return path


def _fall_curves(upper: Axes, lower: Axes, rows: list[FallRow]) -> None:
    longest = max([row.time for row in rows if row.outcome != "holds"], default=0.1)
    for k, row in enumerate(rows):
        low = int(np.argmin(row.course.height[-1]))
        time = np.linspace(0.0, row.time if row.outcome in ("falls", "creeps") else longest, POINTS)
        drop = np.interp(time, row.course.time, -row.course.height[:, low])
        speed = np.interp(time, row.course.time, -row.course.speed[:, low])
        look = style.series(k, POINTS)
        upper.plot(time, drop / MM, label=f"{row.case}: {row.outcome}", **look)
        lower.plot(time, speed / MM_S, **look)
    lower.set_xlabel("time after the power is lost (s)")
    for ax in (upper, lower):
        style.least_extent(ax, "y", 1.0)
    upper.legend(loc="upper left")


def draw_tilt(report: TiltReport, path: Path) -> Path:
    """Draw the largest tilt around and what happens along the one asked for, and save it."""
    course = report.course
    with style.page(path, (240 if course else 140) * MM, 150 * MM, f"{report.title}: tilting") as figure:
        grid = figure.add_gridspec(2, 2 if course else 1, width_ratios=[1, 1.1] if course else None)
        around = figure.add_subplot(grid[:, 0], projection="polar")
        _around(around, report)
        handles, labels = around.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower left", title="passed first", ncols=2)
        if course is not None:
            upper = figure.add_subplot(grid[0, 1])
            _give(upper, course, report.corner_names)
            _errors(figure.add_subplot(grid[1, 1], sharex=upper), course)
    return path


def _around(ax: Axes, report: TiltReport) -> None:
    """Largest tilt over the direction in which the bed is raised, one marker for each kind of limit."""
    raised = report.directions + np.pi / 2  # a turn about X raises the back
    largest = np.minimum(report.largest, 45 * DEG) / DEG
    closed = np.append(np.arange(raised.size), 0)
    ax.plot(raised[closed], largest[closed], color=style.GREY, linewidth=1.0)
    for k, name in enumerate(dict.fromkeys(report.first)):
        where = [i for i, first in enumerate(report.first) if first == name]
        look = style.series(k, marked=True) | {"linestyle": "none", "markevery": None}
        ax.plot(raised[where], largest[where], label=name or "none up to 45°", **look)
    if report.asked > 0:
        ax.plot(
            report.towards + np.pi / 2,
            report.asked / DEG,
            marker="*",
            markersize=11,
            color=style.VERMILLION,
            linestyle="none",
            label="asked for",
        )
    ax.set_title("Largest tilt (°) over the side raised", loc="center", pad=10)
    ax.set_xticks(np.arange(0, 360, 45) * DEG, ["right", "", "back", "", "left", "", "front", ""])
    ax.set_ylim(0, 1.15 * float(largest.max()))


def _give(ax: Axes, course: TiltCourse, names: tuple[str, ...]) -> None:
    factor, unit = style.length_unit(course.give)
    for k, name in enumerate(names):
        label = style.short(name, 18)
        ax.plot(
            course.angle / DEG, course.give[:, k] / factor, label=label, **style.series(k, len(course.angle))
        )
    ax.set_ylabel(f"along the mount ({unit})")
    ax.set_title("What the mounts take up")
    style.legend_beside(ax)


def _errors(ax: Axes, course: TiltCourse) -> None:
    for k, name in enumerate(("X", "Y", "height")):
        ax.plot(course.angle / DEG, course.error[:, k] / UM, label=name, **style.series(k, len(course.angle)))
    style.least_extent(ax, "y", 1.0)
    ax.set_xlabel("tilt (°)")
    ax.set_ylabel("error (µm)")
    ax.set_title("Error at the held point")
    style.legend_beside(ax)


def draw_shake(report: ShakeReport, path: Path) -> Path:
    """Draw the motion at the nozzle while shaken and after a layer change, and save it."""
    with style.page(path, 200 * MM, 150 * MM, f"{report.title}: shaken frame") as figure:
        upper, lower = figure.subplots(2, 1)
        direction = _main_direction(report.rows[-1])
        for k, row in enumerate(report.rows):
            look = style.series(k, 1000, marked=False)
            upper.plot(row.time, row.lateral @ direction / UM, label=f"layer {row.layer}", **look)
            size = np.linalg.norm(row.after_change, axis=1) / UM
            lower.plot(row.after_time, size, label=f"layer {row.layer}", **look)
        upper.axvspan(0.0, report.push_end, color=style.PALE, label="pushed")
        _target(upper, report.target, both=True)
        _target(lower, report.target, both=False)
        upper.set_xlim(0.0, min(float(report.rows[0].time[-1]), report.push_end + 0.3))
        lower.set_xlim(0.0, 0.3)
        upper.set_title("Sideways at the nozzle, frame shaken")
        lower.set_title("Left after a layer change")
        upper.set_ylabel("bed against frame (µm)")
        lower.set_ylabel("distance (µm)")
        for ax in (upper, lower):
            ax.set_xlabel("time (s)")
            style.legend_beside(ax)
    return path


def _main_direction(row: ShakeRow) -> np.ndarray:
    """Unit vector along which the point moves most."""
    largest = row.lateral[int(np.argmax(np.linalg.norm(row.lateral, axis=1)))]
    length = math.hypot(*largest)
    return largest / length if length > 0 else np.array([1.0, 0.0])


def _target(ax: Axes, target: float, both: bool) -> None:
    ax.axhline(target / UM, color=style.INK, linewidth=0.8, linestyle=":", label="target")
    if both:
        ax.axhline(-target / UM, color=style.INK, linewidth=0.8, linestyle=":")
