"""Amplitude over wavelength, with the wavelengths that the screws explain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

from bedsim.results.layers import Array
from bedsim.units import MM
from bedsim.views import style


def amplitude_over_wavelength(
    ax: Axes, wavelength: Array, amplitudes: Mapping[str, Array], *, factor: float, unit: str
) -> None:
    """One line per entry of `amplitudes` (f,) m over `wavelength` (f,) m, wavelength on a logarithmic
    axis.
    """
    for i, (name, amplitude) in enumerate(amplitudes.items()):
        ax.plot(wavelength / MM, amplitude / factor, label=name, **style.series(i, marked=False))
    ax.set_xscale("log")
    ax.set_ylabel(f"amplitude ({unit})")
    low, high = wavelength.min() / MM, wavelength.max() / MM
    ax.set_xlim(low, high)
    ax.set_ylim(0.0, max(ax.get_ylim()[1], 0.01 if unit == "µm" else 0.0))
    style.round_log_ticks(ax.xaxis, low, high)
    style.legend_beside(ax)


def mark_wavelengths(ax: Axes, marks: Sequence[tuple[float, str]]) -> None:
    """Vertical marks (wavelength m, label), labels on rows above the Axes so that none covers another.

    Marks beyond the axis widen it.
    """
    if not marks:
        return
    low, high = ax.get_xlim()
    low, high = min(low, *(w / MM / 1.1 for w, _ in marks)), max(high, *(w / MM * 1.1 for w, _ in marks))
    ax.set_xlim(low, high)
    above = blended_transform_factory(ax.transData, ax.transAxes)
    rows: list[float] = []  # right end of the last label of each row, as a part of the axis
    for wavelength, text in sorted(marks):
        ax.axvline(wavelength / MM, color=style.INK, linewidth=0.9, linestyle=(0, (2, 2)), zorder=1)
        place = np.log(wavelength / MM / low) / np.log(high / low)
        half = 0.0045 * len(text)
        row = next((r for r, end in enumerate(rows) if place - half > end), len(rows))
        rows[row : row + 1] = [place + half]
        height = 1.02 + 0.075 * row
        ax.text(wavelength / MM, height, text, transform=above, ha="center", va="bottom", fontsize=7.5)
