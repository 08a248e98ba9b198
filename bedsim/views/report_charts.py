"""Charts of the report as SVG text: numbers in, drawn shapes out.  The page's script redraws the same
shapes from the
same numbers; without it they stand as they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from bedsim.number_text import number
from bedsim.results.layers import Array

WIDE, TALL = 170.0, 400.0
LEFT, RIGHT, TOP, FOOT = 30.0, 163.0, 8.0, 352.0
"""Panel of a column: height upwards between FOOT and TOP."""
MOST_DRAWN = 700
"""Points of a line; of more, the least and the largest of every half unit are drawn."""
HATCHES = ("solid", "hatch-a", "hatch-b", "hatch-c", "hatch-d")


@dataclass(frozen=True, slots=True)
class Ruler:
    """A straight scale: `low` and `high` (any unit) lie at `start` and `end` of the drawing."""

    low: float
    high: float
    start: float
    end: float

    def at(self, values: Array) -> Array:
        """Places of values."""
        return self.start + (np.asarray(values, float) - self.low) * (
            (self.end - self.start) / (self.high - self.low)
        )

    def ticks(self, most: int = 5) -> list[float]:
        """Round places, no more than so many."""
        span = self.high - self.low
        step = 10.0 ** np.floor(np.log10(span / most))
        step = next(float(step * k) for k in (1, 2, 5, 10) if span / (step * k) <= most)
        first = np.ceil(self.low / step - 1e-9)
        return [float(k * step) + 0.0 for k in np.arange(first, np.floor(self.high / step + 1e-9) + 1)]


def points(x: Array, y: Array) -> str:
    """Path data of a line through points."""
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True)) if len(x) else ""


def thinned(x: Array, y: Array) -> tuple[Array, Array]:
    """A line of many points by the least and the largest x of every half unit of y, in their order."""
    if len(x) <= MOST_DRAWN:
        return x, y
    bins = np.floor(2.0 * y)
    starts = np.flatnonzero(np.diff(bins, prepend=np.nan) != 0)
    kept = []
    for a, b in zip(starts, [*starts[1:], len(x)], strict=True):
        kept += sorted({int(a + np.argmin(x[a:b])), int(a + np.argmax(x[a:b]))})
    return x[kept], y[kept]


def area(low: Array, high: Array, y: Array) -> str:
    """Path data of the area between two lines."""
    if not len(y):
        return ""
    if len(y) > MOST_DRAWN:
        bins = np.floor(2.0 * y)
        starts = np.flatnonzero(np.diff(bins, prepend=np.nan) != 0)
        low, high = np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)
        y = y[starts]
    return points(np.append(low, high[::-1]), np.append(y, y[::-1])) + "Z"


def sign(value: float) -> str:
    """A number with a true minus."""
    return f"{value + 0.0:g}".replace("-", "−")


def height_axis(z: Ruler) -> str:
    """Lines of the common height axis."""
    parts = []
    for tick in z.ticks(7):
        y = float(z.at(np.array(tick)))
        parts.append(f'<path class="grid" d="M{LEFT} {y:.1f}H{RIGHT}"/>')
        parts.append(f'<text class="tick end" x="{LEFT - 4}" y="{y + 3.5:.1f}">{sign(tick)}</text>')
    return f'<g class="z">{"".join(parts)}</g>'


def across_axis(x: Ruler, unit: str) -> str:
    """Ticks below a column, a line at zero."""
    parts = [
        f'<text class="tick mid" x="{float(x.at(np.array(t))):.1f}" y="{FOOT + 15}">{sign(t)}</text>'
        f'<path class="grid" d="M{float(x.at(np.array(t))):.1f} {FOOT}v4"/>'
        for t in x.ticks(5)
    ]
    zero = float(x.at(np.array(0.0)))
    unit_text = f'<text class="tick mid" x="{(LEFT + RIGHT) / 2}" y="{FOOT + 32}">{escape(unit)}</text>'
    return f'{"".join(parts)}<path class="zero" d="M{zero:.1f} {TOP}V{FOOT}"/>{unit_text}'


def column(name: str, label: str, inside: str, extra: str = "") -> str:
    """One column: an SVG of its own with a cursor; `name` its id."""
    return (
        f'<svg id="{name}" viewBox="0 0 {WIDE:g} {TALL - 8:g}" role="img" '
        f'aria-label="{escape(label, quote=True)}">'
        f"{inside}{extra}"
        f'<path class="cursor" d="M{LEFT} {FOOT}H{RIGHT}"/><circle class="dot" r="4" cx="{LEFT}" '
        f'cy="{FOOT}"/></svg>'
    )


def stacked(parts: Sequence[Array]) -> list[tuple[Array, Array]]:
    """Lower and upper edges of signed parts side by side: of each, one shape left of zero and one right, so
    that none
    crosses zero."""
    found = []
    left, right = np.zeros_like(parts[0]), np.zeros_like(parts[0])
    for part in parts:
        down, up = np.minimum(part, 0.0), np.maximum(part, 0.0)
        found += [(left + down, left), (right, right + up)]
        left, right = left + down, right + up
    return found


def envelope(values: Array, z: Array, turn: float) -> tuple[Array, Array]:
    """Least and largest of values within half a turn to either side of every layer."""
    first = np.searchsorted(z, z - turn / 2.0)
    last = np.searchsorted(z, z + turn / 2.0, side="right")
    low = np.array([values[a:b].min() for a, b in zip(first, last, strict=True)])
    return low, np.array([values[a:b].max() for a, b in zip(first, last, strict=True)])


LOG_X, LOG_Y = Ruler(np.log10(0.4), 2.0, 44.0, 410.0), Ruler(-2.0, 3.0, 232.0, 10.0)
"""Scales of the chart of wavelengths: logarithms of mm and of um."""


def log_chart(
    name: str,
    title: str,
    wavelength: Array,
    amplitude: Array,
    curve: tuple[Array, Array, Array, Array],
    mark: tuple[float, float, str],
) -> str:
    """Amplitude (um) over wavelength (mm), both logarithmic, over the least that is seen (`curve`:
    wavelength, least, and the range of studies); `mark`: the band that stands out most, no numbers where
    there is none; `name`: its id."""
    x, y = LOG_X, LOG_Y

    def at(a: Array, b: Array) -> tuple[Array, Array]:
        return x.at(np.log10(np.clip(a, 0.4, 100.0))), y.at(np.log10(np.clip(b, 1e-2, 1e3)))

    parts = []
    for t in (0.5, 1, 2, 5, 10, 20, 50, 100):
        px = float(x.at(np.log10(np.array(float(t)))))
        parts.append(f'<path class="grid" d="M{px:.1f} 10V232"/>')
        parts.append(f'<text class="tick mid" x="{px:.1f}" y="247">{t:g}</text>')
    for k in range(-2, 4):
        py = float(y.at(np.array(float(k))))
        parts.append(f'<path class="grid" d="M44 {py:.1f}H410"/>')
        parts.append(f'<text class="tick end" x="39" y="{py + 3.5:.1f}">{10.0**k:g}</text>')
    length, least, low, high = curve
    along, lower = at(length, low)
    _, upper = at(length, high)
    _, middle = at(length, least)
    parts.append(
        f'<path class="doubt" d="{points(np.append(along, along[::-1]), np.append(lower, upper[::-1]))}Z"/>'
    )
    parts.append(f'<path class="least" d="{points(along, middle)}"/>')
    shown = (wavelength >= 0.4) & (wavelength <= 100.0)
    parts.append(f'<path class="strong" d="{points(*at(wavelength[shown], amplitude[shown]))}"/>')
    mx, my = (float(v) for v in at(np.array(mark[0]), np.array(mark[1]))) if mark[2] else (0.0, 0.0)
    hidden = "" if mark[2] else ' display="none"'
    parts.append(
        f'<g class="mark"{hidden} transform="translate({mx:.1f} {my:.1f})"><circle class="dot" r="4"/>'
        f'<text class="tick mid" y="-8">{escape(mark[2])}</text></g>'
    )
    names = (
        '<text class="tick mid" x="227" y="266">wavelength on the wall, mm</text>'
        '<text class="tick mid" transform="translate(12 121) rotate(-90)">amplitude, µm</text>'
    )
    opened = f'<svg id="{name}" viewBox="0 0 420 272" role="img" aria-label="{escape(title, quote=True)}">'
    return f"{opened}{''.join(parts)}{names}</svg>"


def bars(rows: Sequence[tuple[str, float, str]]) -> str:
    """A list of bars as a table: name, size (um), what it rests on."""
    most = max((size for _, size, _ in rows), default=1.0)
    told = "".join(
        f'<tr><th scope="row"><code>{escape(name)}</code></th><td class="number">{number(size, 2)} µm</td>'
        f'<td><svg class="bar" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true">'
        f'<rect width="{100 * size / most:.1f}" height="10"/></svg></td><td>{escape(basis)}</td></tr>'
        for name, size, basis in rows
    )
    return f"<tbody>{told}</tbody>"
