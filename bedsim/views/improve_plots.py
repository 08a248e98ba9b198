"""One picture of what to change: gains with how they hold, and the error's parts before and after."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from bedsim.improve.findings import Improvement, Told
from bedsim.ranges.split import Split
from bedsim.units import MM, UM
from bedsim.views import style

MOST_PARTS = 5
LEAST_SHARE = 0.02
ROW = 9.5
NAMES = {"lateral": "sideways", "height": "in height"}


def draw_improvement(found: Improvement, path: Path) -> Path:
    """Draw gains above, parts of the error below, and save it; give the path back."""
    shown = [t for t in (*found.gains, found.cheapest_told, found.best_set) if t is not None]
    splits = [("as it is", found.split), *_after(found)]
    parts = len(_parts(splits)) if found.aim == "lateral" else 0
    height = (64 + ROW * len(shown) + (30 + 4.2 * parts * len(splits) if parts else 0)) * MM
    title = f"What to change: {style.short(found.title, 70)}"
    with style.page(path, 240 * MM, height, title) as figure:
        if parts:
            ratio = [ROW * len(shown) + 14, 4.2 * parts * len(splits) + 14]
            upper, lower = figure.subplots(2, 1, height_ratios=ratio)
            part_bars(lower, splits)
        else:
            upper = figure.subplots()
        gain_bars(upper, shown, found)
        handles, labels = upper.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=3)
    return path


def _after(found: Improvement) -> list[tuple[str, Split]]:
    """The best single change's split, and that of the set that reaches the target."""
    best = next((t for t in found.gains if not t.refused and t.split is not None), None)  # not of software
    told = {"best change of a part": best, "cheapest set": found.cheapest_told}
    return [(name, t.split) for name, t in told.items() if t is not None and t.split is not None]


def gain_bars(ax: Axes, shown: Sequence[Told], found: Improvement) -> None:
    """Gain of the likely machine as a bar, over its doubts as a line with its middle."""
    places = np.arange(len(shown))[::-1]
    top = 2.0
    for place, told in zip(places, shown, strict=True):
        gain = told.trial.gain(found.aim)
        refused = bool(told.refused)
        ax.barh(
            place,
            gain - 1.0,
            left=1.0,
            height=0.55,
            color=style.PALE if refused else style.ORANGE if told.cancels else style.SKY,
            edgecolor=style.INK,
            linewidth=0.6,
            hatch="////" if refused else "...." if told.cancels else "",
        )
        top = max(top, gain)
        if told.holds is not None and not math.isnan(told.holds.middle):
            _doubt(ax, place, told)
            top = max(top, told.holds.high)
    ax.add_patch(_patch(style.SKY, "", "removes a cause"))
    ax.add_patch(_patch(style.ORANGE, "....", "works by cancelling"))
    if any(t.refused for t in shown):
        ax.add_patch(_patch(style.PALE, "////", "refused"))
    ax.plot([], [], color=style.INK, marker="D", label="over the machine's doubts: 10, 50, 90 %")
    ax.set_xscale("log")
    ax.set_xlim(0.4, 1.3 * top)
    style.round_log_ticks(ax.xaxis, 0.4, 1.3 * top)
    ax.axvline(1.0, color=style.INK, linewidth=1.2)
    ax.set_yticks(places, [_label(t) for t in shown], fontsize=7.5)
    ax.set_ylim(-0.7, len(shown) - 0.3)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel(f"error {NAMES[found.aim]} before over after, worst place of the bed (1: nothing gained)")
    ax.set_title("What it gains")


def _patch(colour: str, hatch: str, label: str) -> Rectangle:
    """An empty patch for the legend."""
    return Rectangle(
        (1.0, 0.0), 0.0, 0.0, facecolor=colour, hatch=hatch, edgecolor=style.INK, linewidth=0.6, label=label
    )


def _doubt(ax: Axes, place: float, told: Told) -> None:
    holds = told.holds
    assert holds is not None
    ax.plot([holds.low, holds.high], [place, place], color=style.INK, linewidth=1.6)
    ax.plot([holds.low, holds.high], [place, place], "|", color=style.INK, markersize=7)
    ax.plot(holds.middle, place, "D", color=style.INK, markerfacecolor="white")


def _label(told: Told) -> str:
    price = f"{told.cost:.0f} EUR" if told.cost else "free"
    return f"{style.wrapped(told.trial.words, 46)}\n{price}"


def _parts(splits: Sequence[tuple[str, Split]]) -> list[tuple[str, str]]:
    """The largest parts of any of the splits."""
    largest: dict[tuple[str, str], float] = {}
    for _, split in splits:
        for part, value in split.parts.items():
            largest[part] = max(largest.get(part, 0.0), abs(value))
    whole = max(split.whole for _, split in splits)
    told = sorted(largest, key=lambda p: -largest[p])
    return [p for p in told if largest[p] > LEAST_SHARE * whole][:MOST_PARTS]


def part_bars(ax: Axes, splits: Sequence[tuple[str, Split]]) -> None:
    """Signed parts of the error before and after; the bars of one colour add up to the whole."""
    parts = _parts(splits)
    width = 0.8 / len(splits)
    places = np.arange(len(parts))[::-1].astype(float)
    for k, (name, split) in enumerate(splits):
        values = [split.parts.get(p, 0.0) / UM for p in parts]
        ax.barh(
            places + (len(splits) / 2 - k - 0.5) * width,
            values,
            height=0.9 * width,
            color=style.COLOURS[k],
            hatch=style.HATCHES[k],
            edgecolor=style.INK,
            linewidth=0.6,
            label=f"{name}: {split.whole / UM:.2g} µm in all",
        )
    ax.axvline(0.0, color=style.INK, linewidth=1.0)
    ax.set_yticks(places, [style.wrapped(", ".join(p), 46) for p in parts], fontsize=7.5)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel(
        "part of the sideways error between its two furthest layers (µm); all parts of a colour add up"
    )
    ax.set_title("Where it comes from, before and after")
    ax.legend(loc="best")
