"""Charts of a wall's bands: what the eye can see against what is predicted, and who made it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from bedsim.analysis.metrics import Spectrum
from bedsim.results.layers import Array
from bedsim.units import MM, UM
from bedsim.views import style
from bedsim.wall.bands import Share, shares_by_cause, shares_by_corner
from bedsim.wall.relief import Wall
from bedsim.wall.visibility import Sighting, Viewing, visible_between

MOST_SOURCES = 5
LEAST_RELIEF = 0.01 * UM
SUMMED = 25 * MM
"""Height of the wall on which single sources can still be followed."""
_MARKS = {"seen": "o", "borderline": "D", "not seen": "v"}


def draw_visibility(
    axes: Axes,
    spectra: Mapping[str, Spectrum],
    sightings: Mapping[str, Sequence[Sighting]],
    viewing: Viewing,
    curve: tuple[Array, Array],
) -> None:
    """Draw predicted spectra (label -> spectrum) and judged bands under the curve of the smallest visible
    amplitude.

    `curve`: wavelengths and smallest visible amplitudes (m), see `wall.visibility.visibility_curve`.
    """
    low, high = (edge / UM for edge in visible_between(curve[0], viewing))
    length, limit = (part / unit for part, unit in zip(curve, (MM, UM), strict=True))
    axes.fill_between(
        length, low, high, color="0.5", alpha=0.25, linewidth=0, label="borderline: studies differ"
    )
    axes.plot(length, limit, color="0.45", linewidth=2, label="smallest visible amplitude")
    for i, (label, spectrum) in enumerate(spectra.items()):
        line = style.series(i, marked=False)
        amplitude = np.maximum(spectrum.amplitude / UM, 1e-6)
        axes.plot(spectrum.wavelength / MM, amplitude, label=style.wrapped(label), **line)
        for s in sightings.get(label, ()):
            if np.isfinite(s.ratio):
                x, y = s.band.seen_wavelength / MM, s.band.amplitude / UM
                axes.plot(x, y, _MARKS[s.verdict], color=line["color"], markersize=7, markeredgecolor="white")
    for name, mark in _MARKS.items():
        axes.plot([], [], mark, color="0.35", label=name)
    _log_axes(axes, spectra, float(length[0]), float(length[-1]))
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))


def _log_axes(axes: Axes, spectra: Mapping[str, Spectrum], shortest: float, longest: float) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    shown = [min(longest, 1.3 * s.wavelength[0] / MM) for s in spectra.values() if s.wavelength.size]
    longest = max(shown, default=longest)
    axes.set_xlim(shortest, max(longest, 2 * shortest))
    axes.set_ylim(1e-2, 1e3)
    axes.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.xaxis.set_minor_locator(NullLocator())
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.set_xlabel("wavelength on the wall (mm)")
    axes.set_ylabel("amplitude (µm)")
    axes.grid(alpha=0.3, which="major")


def draw_shares(axes: Axes, shares: Sequence[Share]) -> None:
    """Draw the share of every corner and every cause in a wall as bars (percent of the relief's variance)."""
    corners, causes = shares_by_corner(shares), shares_by_cause(shares)
    names = [*corners, *causes]
    values = [100.0 * v for v in (*corners.values(), *causes.values())]
    place = np.arange(len(names)) + 0.6 * (np.arange(len(names)) >= len(corners))
    first = len(corners)
    axes.barh(
        place[:first], values[:first], color=style.BLUE, hatch="//", edgecolor="white", label="by screw"
    )
    axes.barh(place[first:], values[first:], color=style.ORANGE, edgecolor="white", label="by cause")
    for y, value in zip(place, values, strict=True):
        left = value < 0
        text = f" {round(value) + 0:d} % "
        axes.text(value, y, text, va="center", ha="right" if left else "left", fontsize="small")
    axes.set_yticks(place, ["no single screw" if n == "all" else n for n in names])
    axes.invert_yaxis()
    axes.axvline(0.0, color="0.5", linewidth=0.8)
    axes.set_xlabel("share of the relief's variance (%)")
    axes.margins(x=0.2)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))


def draw_sums(axes: Axes, wall: Wall, shares: Sequence[Share]) -> None:
    """Draw the relief that every source makes alone over the height (µm, outwards to the right), and the
    whole, which is their sum at every layer."""
    ordered = sorted(shares, key=lambda s: -float(np.ptp(s.relief)))
    shown, rest = ordered[:MOST_SOURCES], ordered[MOST_SOURCES:]
    lines = {_source(s): s.relief for s in shown if np.ptp(s.relief) > LEAST_RELIEF}
    others = np.sum([s.relief for s in rest], axis=0) if rest else np.zeros_like(wall.relief)
    if np.ptp(others) > LEAST_RELIEF:
        lines["all else"] = others
    kept = wall.height <= wall.height[0] + SUMMED
    height = wall.height[kept] / MM
    for i, (name, relief) in enumerate(lines.items()):
        axes.plot(relief[kept] / UM, height, label=style.wrapped(name, 24), **style.series(i, marked=False))
    axes.plot(wall.relief[kept] / UM, height, color=style.INK, linewidth=2.6, label="the wall: their sum")
    axes.axvline(0.0, color="0.5", linewidth=0.8)
    axes.set_xlabel("relief of each alone (µm), outwards to the right")
    axes.set_ylabel("height of the print (mm)")
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0))


def _source(share: Share) -> str:
    cause, corner = share.source
    return cause if corner == "all" else f"{cause}, {corner}"
