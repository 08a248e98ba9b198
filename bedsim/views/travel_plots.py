"""The picture that decides: the band's amplitude against the nut's place on its screw, machines together."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from bedsim.analysis.printed import FLOOR
from bedsim.ranges.travel import TravelRange
from bedsim.units import MM, UM
from bedsim.views import style

SPAN = 8.0
"""Largest over smallest amplitude from which on it is drawn on a logarithmic axis."""


def draw_travel(labels: Sequence[str], found: Sequence[TravelRange], path: Path) -> Path:
    """Amplitude of the band at the lead over the whole travel of every machine, at its worst place."""
    with style.page(
        path, 220 * MM, 115 * MM, "Band at the lead over the whole travel, worst place"
    ) as figure:
        axes = figure.subplots()
        travel_curves(axes, labels, found)
        style.outside_legend(figure, axes)
        figure.supxlabel(
            "Without friction and vibration, on the tallest print that the screws allow. Shaded: 10 to 90 % "
            "of machines within the doubts.",
            fontsize=7.5,
        )
    return path


def travel_curves(ax: Axes, labels: Sequence[str], found: Sequence[TravelRange]) -> None:
    """One line per machine with its doubts as a band, print growing to the right."""
    for i, (label, one) in enumerate(zip(labels, found, strict=True)):
        nut = one.bands.nut / MM
        look = style.layered(i, len(found), len(nut))
        ax.fill_between(nut, one.low / UM, one.high / UM, color=look["color"], alpha=0.18, linewidth=0)
        ax.plot(nut, one.bands.amplitude / UM, label=style.wrapped(label), **look)
    _this_print(ax, found)
    _scale(ax, found)
    ax.set_xlim(*sorted(ax.get_xlim(), reverse=True))
    ax.set_xlabel("nuts above the lower ends of their screws (mm); the print grows to the right")
    ax.set_ylabel("sideways amplitude (µm)")


def _this_print(ax: Axes, found: Sequence[TravelRange]) -> None:
    """Mark the stretch that the prints use, where they use the same and not all."""
    low, high = found[0].printed
    nut = found[0].bands.nut
    if all(one.printed == (low, high) for one in found) and high - low < 0.9 * float(nut.max() - nut.min()):
        ax.axvspan(
            low / MM, high / MM, color=style.PALE, alpha=0.6, linewidth=0, label="this print", zorder=0
        )


def _scale(ax: Axes, found: Sequence[TravelRange]) -> None:
    told = [v for one in found for v in one.bands.amplitude if v >= FLOOR]
    if not told or max(told) < SPAN * min(told):
        ax.set_ylim(bottom=0.0)
        return
    ax.set_yscale("log")
    ax.set_ylim(bottom=max(0.3 * min(told), FLOOR) / UM)
    ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.yaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
