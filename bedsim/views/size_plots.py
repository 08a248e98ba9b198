"""One picture of a sizing: margins as bars, and what makes the axial train soft."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter

from bedsim.number_text import number
from bedsim.sizing.table import Check
from bedsim.units import MM
from bedsim.views import style

WIDEST = 100.0
NARROWEST = 0.1


def draw_size(
    checks: Sequence[Check], shares: Mapping[str, float], corner: str, title: str, path: Path
) -> Path:
    """Draw margins above, axial compliance of one corner below, and save it; give the path back.

    `shares`: part -> share (0 to 1).
    """
    shown = [c for c in checks if c.margin is not None]
    height = (56 + 5.4 * (len(shown) + len(shares))) * MM
    with style.page(path, 210 * MM, height, title) as figure:
        ratio = [5.4 * len(shown) + 8, 5.4 * len(shares) + 8]
        upper, lower = figure.subplots(2, 1, height_ratios=ratio)
        margin_bars(upper, shown)
        share_bars(lower, shares, corner)
    return path


def margin_bars(ax: Axes, checks: Sequence[Check]) -> None:
    """How many times each limit is kept: one bar a row from 1 (just reached), on a logarithmic axis."""
    places = np.arange(len(checks))[::-1]
    ends = [min(max(c.margin or 0.0, NARROWEST), WIDEST) for c in checks]
    for place, end, check in zip(places, ends, checks, strict=True):
        kept = check.within is True
        ax.barh(
            place,
            end - 1.0,
            left=1.0,
            height=0.62,
            color=style.SKY if kept else style.VERMILLION,
            edgecolor=style.INK,
            linewidth=0.6,
            hatch="" if kept else "////",
        )
        ax.annotate(
            _margin_text(check.margin),
            (end, place),
            xytext=(3 if end >= 1 else -3, 0),
            textcoords="offset points",
            va="center",
            ha="left" if end >= 1 else "right",
            fontsize=7.5,
        )
    ax.set_xscale("log")
    ax.set_xlim(NARROWEST / 2.2, WIDEST * 2.2)
    ax.xaxis.set_major_locator(FixedLocator([0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100]))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    ax.xaxis.set_minor_locator(FixedLocator([]))
    ax.axvline(1.0, color=style.INK, linewidth=1.2)
    ax.set_yticks(places, [f"{c.subject}: {c.name}" for c in checks], fontsize=7.5)
    ax.set_ylim(-0.7, len(checks) - 0.3)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel("margin (1: just reached; hatched: exceeded)")
    ax.set_title("Margins at the worst corner: computed, no proof")


def _margin_text(margin: float | None) -> str:
    if margin is None or margin > WIDEST:
        return f"> {WIDEST:g}"
    return number(margin, 2) if margin >= NARROWEST else number(margin, 1)


def share_bars(ax: Axes, shares: Mapping[str, float], corner: str) -> None:
    """Share of each part in the axial compliance of one corner, the softest part on top."""
    ordered = sorted(shares.items(), key=lambda item: item[1])
    places = np.arange(len(ordered))
    width = [100.0 * share for _, share in ordered]
    bars = ax.barh(places, width, height=0.62, color=style.ORANGE, edgecolor=style.INK, linewidth=0.6)
    ax.bar_label(bars, fmt="%.0f %%", padding=3, fontsize=7.5)
    ax.set_yticks(places, [name for name, _ in ordered], fontsize=7.5)
    ax.set_xlim(0, max(width) * 1.12)
    ax.set_ylim(-0.7, len(ordered) - 0.3)
    ax.grid(axis="y", visible=False)
    ax.set_xlabel("share of the axial compliance (%)")
    ax.set_title(f"What gives way along the screw, {style.short(corner, 24)}")
