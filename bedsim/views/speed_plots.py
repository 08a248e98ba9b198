"""Picture of the speeds of a layer change: what every mount keeps, what is left when printing starts."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from bedsim.analysis.move_speeds import KEEPS, Ride, SpeedReport
from bedsim.number_text import number
from bedsim.units import MM, MM_S, MM_S2, UM
from bedsim.views import style


def draw_speeds(report: SpeedReport, path: Path) -> Path:
    """Draw share of the load kept and vibration over speed, and save it; give the path back."""
    with style.page(path, 210 * MM, 160 * MM, f"{report.title}: speeds of a layer change") as figure:
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[2, 1])
        for low, high in report.avoid:
            upper.axvspan(low / MM_S, high / MM_S, color=style.PALE, zorder=0)
        for k, rides in enumerate((report.here, *report.others)):
            label = f"{number(rides[0].acceleration / MM_S2, 4)} mm/s²" + (" (as set)" if k == 0 else "")
            _curve(upper, rides, [100 * max(r.share, -0.5) for r in rides], k, label)
            _curve(lower, rides, [r.vibration / UM for r in rides], k, label)
        upper.axhline(100 * KEEPS, color=style.INK, linewidth=0.8, linestyle=":", label="half of the load")
        upper.axhline(0.0, color=style.INK, linewidth=0.8)
        upper.plot(
            *_as_set(report.as_set), marker="*", markersize=11, color=style.VERMILLION, linestyle="none"
        )
        _meetings(upper, report)
        upper.set_ylim(bottom=min(0.0, *(100 * max(r.share, -0.5) for r in report.here)) - 3, top=104)
        upper.set_ylabel("left on the worst mount (%)")
        lower.set_ylabel("vibration (µm)")
        lower.set_xlabel("speed of the layer change (mm/s)")
        upper.set_title(
            "Load that stays on the worst mount (star: as set; grey: avoid; dashed: order and mode)",
            pad=16,
        )
        lower.set_title("Vibration in height when printing starts")
        speeds = [r.speed / MM_S for r in report.here]
        lower.set_xscale("log")
        style.round_log_ticks(lower.xaxis, speeds[0], speeds[-1])
        style.least_extent(lower, "y", 0.1)
        lower.set_ylim(bottom=0.0)
        style.legend_beside(upper, "acceleration")
    return path


def _as_set(ride: Ride) -> tuple[float, float]:
    return ride.speed / MM_S, 100 * max(ride.share, -0.5)


def _curve(ax: Axes, rides: Sequence[Ride], values: Sequence[float], index: int, label: str) -> None:
    ax.plot([r.speed / MM_S for r in rides], values, label=label, **style.series(index, len(rides)))


def _meetings(ax: Axes, report: SpeedReport) -> None:
    """Mark where an order of the place error meets a mode: order x frequency above the axis."""
    if not report.resonances:
        return
    places = [float(np.log(c.speed)) for c in report.resonances]
    span = np.log(report.here[-1].speed / report.here[0].speed)
    for cause, place in zip(report.resonances, style.spread(places, 0.12 * span), strict=True):
        ax.axvline(cause.speed / MM_S, color=style.GREY, linewidth=0.8, linestyle="--", zorder=1)
        ax.text(
            float(np.exp(place)) / MM_S,
            1.01,
            f"{cause.order}: {cause.frequency:.0f} Hz",
            transform=ax.get_xaxis_transform(),
            fontsize=7,
            ha="center",
        )
