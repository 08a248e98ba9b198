"""Time history of one layer change."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from bedsim.results.layers import Trace
from bedsim.units import DEG, MM
from bedsim.views import style


def bed_height(ax: Axes, trace: Trace, probe: int) -> None:
    """Commanded height of the bed, and where the bed is at one probe."""
    actual = trace.commanded_height + trace.height[:, probe]
    ax.plot(trace.time, actual / MM, label="actual", color=style.BLUE, linewidth=2.4, alpha=0.7)
    ax.plot(
        trace.time, trace.commanded_height / MM, label="commanded", color=style.INK, linestyle=(0, (5, 2))
    )
    ax.set_ylabel("bed height (mm)")


def height_errors(ax: Axes, trace: Trace, names: Sequence[str], shown: Sequence[int]) -> None:
    """Height error at the probes whose indices are `shown`."""
    factor, unit = style.length_unit(trace.height)
    for i, probe in enumerate(shown):
        look = style.series(i, len(trace.time))
        ax.plot(trace.time, trace.height[:, probe] / factor, label=style.wrapped(names[probe]), **look)
    ax.set_ylabel(f"height error ({unit})")
    if unit == "µm":
        style.least_extent(ax, "y", 0.02)


def lateral_errors(ax: Axes, trace: Trace, probe: int) -> None:
    """Lateral error in X and Y at one probe."""
    factor, unit = style.length_unit(trace.lateral[:, probe])
    for i, axis in enumerate(("X", "Y")):
        look = style.series(i, marked=False)
        ax.plot(trace.time, trace.lateral[:, probe, i] / factor, label=axis, **look)
    ax.set_ylabel(f"lateral error ({unit})")
    if unit == "µm":
        style.least_extent(ax, "y", 0.02)


def load_angles(ax: Axes, trace: Trace, names: Sequence[str]) -> None:
    """Load angle of every motor in electrical degrees."""
    for i, name in enumerate(names):
        look = style.series(i, len(trace.time))
        ax.plot(trace.time, trace.load_angle[:, i] / DEG, label=style.wrapped(name), **look)
    ax.set_ylabel("load angle (el. °)")
    style.least_extent(ax, "y", 0.2)


def mark_print_start(axes: Sequence[Axes], time: float) -> None:
    """Line through all Axes where printing starts, named on the first; nothing when it lies beyond them."""
    if time > axes[0].get_xlim()[1] * (1 + 1e-9):  # histories may end right there
        return
    for ax in axes:
        ax.axvline(time, color=style.VERMILLION, linewidth=1.2, linestyle=(0, (8, 2, 2, 2)), clip_on=False)
    axes[0].annotate(
        "printing starts",
        (time, 1.0),
        (3, 2),
        xycoords=axes[0].get_xaxis_transform(),
        textcoords="offset points",
        color=style.VERMILLION,
        fontsize=8,
        va="bottom",
        ha="center",
    )
