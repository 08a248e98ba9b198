"""One picture of what was learnt: the answer, the screws and five keys, before and after the readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.learn.answers import AnswerSpread
from bedsim.learn.learned import Learned
from bedsim.learn.unknowns import value_at
from bedsim.results.layers import Array
from bedsim.units import MM, UM
from bedsim.views import style

KEYS = 5
ENDS = (0.05, 0.25, 0.5, 0.75, 0.95)
BEFORE, AFTER = style.PALE, style.SKY


def draw_learned(found: Learned, title: str, path: Path) -> Path:
    """Draw ranges before and after, and save it; give the path back."""
    with style.page(path, 240 * MM, 150 * MM, f"What the readings tell: {style.short(title, 70)}") as figure:
        grid = figure.add_gridspec(2, 2, height_ratios=[1, 1.25], width_ratios=[1, 1])
        answers, screws = figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[0, 1])
        keys = figure.add_subplot(grid[1, :])
        _answers(answers, found)
        _screws(screws, found)
        _keys(keys, found)
        handles, labels = answers.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=3)
    return path


def _answers(ax: Axes, found: Learned) -> None:
    rows = [("sideways", found.before.lateral, found.after.lateral)]
    rows.append(("in height", found.before.height, found.after.height))
    if found.changed_before is not None and found.changed_after is not None:
        rows.append(("sideways, changed", found.changed_before.lateral, found.changed_after.lateral))
    every = np.concatenate([np.concatenate(row[1:]) for row in rows]) / UM
    for place, (_, before, after) in enumerate(reversed(rows)):
        _pair(ax, place, before / UM, after / UM, first=place == 0)
    ax.set_xscale("log")
    low, high = float(every.min()) * 0.8, float(every.max()) * 1.25
    ax.set_xlim(low, high)
    style.round_log_ticks(ax.xaxis, low, high)
    _labels(ax, [name for name, _, _ in reversed(rows)])
    ax.set_xlabel("error, peak to valley, worst place of the bed (µm)")
    ax.set_title("The answer")


def _screws(ax: Axes, found: Learned) -> None:
    names = [c.name for c in found.unknowns.loaded.scenario.corner]
    for place, k in enumerate(reversed(range(len(names)))):
        _pair(ax, place, 100 * _of(found.before, k), 100 * _of(found.after, k))
    ax.axvline(0.0, color=style.INK, linewidth=0.8)
    _labels(ax, names[::-1])
    ax.set_xlabel("share of the sideways motion (%)")
    ax.set_title("The screws")


def _of(spread: AnswerSpread, corner: int) -> Array:
    return spread.shares[:, corner]


def _keys(ax: Axes, found: Learned) -> None:
    """The keys on which the answer hangs most, in parts of their own range."""
    assert found.pull is not None  # drawn of readings alone
    count = len(found.unknowns.keys)
    chosen = np.argsort(-np.abs(found.pull[:count]))[:KEYS]
    free = np.random.default_rng(3).normal(size=400)
    labels = []
    for place, k in enumerate(chosen[::-1]):
        key = found.unknowns.keys[k]
        wide = key.high - key.low

        def part(u: Array, k: int = int(k), wide: float = wide) -> Array:
            own = found.unknowns.keys[k]
            return np.array([(value_at(own, float(x)) - own.low) / wide for x in u])

        _pair(ax, place, part(free), part(found.machines[:, k]))
        labels.append(f"{key.key}\n{key.low:g} to {key.high:g}")
    _labels(ax, labels)
    ax.set_xlim(0, 1)
    ax.set_xticks([0, 0.25, 0.5, 0.75, 1], ["low", "", "middle", "", "high"])
    ax.set_title("Keys on which it hangs most: what is learnt lies in them together, not in single ones")


def _pair(ax: Axes, place: int, before: Array, after: Array, first: bool = False) -> None:
    """Ranges of 90 % as thin bars, of half as thick ones, the middle as a mark; before above after."""
    for values, up, colour, hatch, name in (
        (before, 0.18, BEFORE, "", "before these readings"),
        (after, -0.18, AFTER, "////", "after them"),
    ):
        low, first_quarter, middle, last_quarter, high = np.quantile(values, ENDS, method="weibull")
        y = place + up
        ax.plot([low, high], [y, y], color=style.INK, linewidth=1.2)
        ax.barh(
            y,
            last_quarter - first_quarter,
            left=first_quarter,
            height=0.26,
            color=colour,
            hatch=hatch,
            edgecolor=style.INK,
            linewidth=0.6,
            label=f"{name}: half of all machines, line nine in ten" if first else None,
        )
        ax.plot(middle, y, "D", color=style.INK, markerfacecolor="white", markersize=4)


def _labels(ax: Axes, names: list[str]) -> None:
    ax.set_yticks(range(len(names)), names, fontsize=8)
    ax.set_ylim(-0.6, len(names) - 0.4)
    ax.grid(axis="y", visible=False)
