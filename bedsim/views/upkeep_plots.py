"""Picture of the upkeep: jobs over two years, play of plain nuts over the years, speeds that sing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.units import MM, MM_S, UM
from bedsim.upkeep.calendar import Chore
from bedsim.upkeep.noise import Meeting
from bedsim.upkeep.report import UpkeepReport
from bedsim.upkeep.wear import PlainWear
from bedsim.views import style

MONTHS = 24.0
NAME = 44
"""Letters of a job's name that have room."""


def draw_upkeep(report: UpkeepReport, path: Path) -> Path:
    """Draw the jobs of two years, wear where nuts are plain and singing speeds, and save it."""
    shown = [c for c in report.chores if c.first <= MONTHS]
    lower = [x for x in (report.plain, report.noise) if x is not None]
    size = 70 + 6 * len(shown) + (70 if lower else 0)
    with style.page(path, 210 * MM, size * MM, f"{report.title}: upkeep") as figure:
        ratios = [30 + 6 * len(shown), 70] if lower else [1]
        grid = figure.add_gridspec(2 if lower else 1, max(len(lower), 1), height_ratios=ratios)
        _jobs(figure.add_subplot(grid[0, :]), shown)
        for k, part in enumerate(lower):
            ax = figure.add_subplot(grid[1, k])
            if isinstance(part, PlainWear):
                _play(ax, part)
            else:
                _sings(ax, part.motors, part.speed)
    return path


def _jobs(ax: Axes, chores: list[Chore]) -> None:
    names = list(dict.fromkeys(c.name for c in chores))
    for chore in chores:
        row = names.index(chore.name)
        days = np.array([chore.first]) if chore.every is None else np.arange(chore.first, MONTHS, chore.every)
        if days.size > 60:
            ax.plot([days[0], MONTHS], [row, row], color=style.SKY, linewidth=4.0)
        else:
            ax.plot(days, np.full(days.size, row), linestyle="none", marker="o", color=style.BLUE)
    ax.set_yticks(range(len(names)), [style.short(name, NAME) for name in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xlim(0.0, MONTHS + 0.5)
    ax.set_xticks(np.arange(0, MONTHS + 1, 3))
    ax.set_xlabel("months from the first day")
    ax.set_title("Jobs of two years")


def _play(ax: Axes, plain: PlainWear) -> None:
    longest = min(max(plain.change[0] * 1.2, MONTHS), 1200.0) / 12.0
    years = np.linspace(0.0, longest, 50)
    low, high = (plain.limit * years * 12.0 / months / UM for months in (plain.change[1], plain.change[0]))
    ax.fill_between(years, low, high, color=style.SKY, alpha=0.5, label="low to high wear")
    ax.axhline(plain.limit / UM, color=style.VERMILLION, linestyle=style.LINES[1], label="change the nut")
    ax.set_xlim(0.0, longest)
    ax.set_ylim(0.0, 1.4 * plain.limit / UM)  # the legend stands above the limit
    ax.set_xlabel("years of this use")
    ax.set_ylabel("play gained (µm)")
    ax.set_title("Wear of the plain nut")
    ax.legend(loc="upper left")


def _sings(ax: Axes, meetings: tuple[Meeting, ...], speed: float) -> None:
    for k, cause in enumerate(dict.fromkeys(m.cause for m in meetings)):
        found = [m for m in meetings if m.cause == cause]
        look = style.series(k, marked=True) | {"linestyle": "none", "markevery": None}
        ax.plot([m.speed / MM_S for m in found], [m.frequency for m in found], label=cause, **look)
    ax.axvline(speed / MM_S, color=style.INK, linewidth=0.8, linestyle=":", label="speed as set")
    ax.set_xlim(left=0.0)
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel("speed of the layer change (mm/s)")
    ax.set_ylabel("mode (Hz)")
    ax.set_title("Speeds that sing")
    style.legend_beside(ax)
