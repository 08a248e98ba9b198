"""Numbers as a person reads them: no more digits than they are worth, in a unit that fits their size."""

from __future__ import annotations

import math

from bedsim.units import DEG, MM, UM

_UNITS = {"m": UM, "N": 1.0, "rad": DEG, "s": 1.0}
_NAMES = {"m": "µm", "N": "N", "rad": "°", "s": "s"}
FLOOR = 0.01 * UM  # the engines agree with each other to this length; less is not told


def rounded(value: float, relative_uncertainty: float | None = None) -> str:
    """Decimal text of a number, rounded at the first digit of its uncertainty; without one, two digits.

    At least one significant digit is kept.  The digits of a result should not go beyond those of its
    uncertainty: GUM (JCGM 100:2008), 7.2.6.  Not a number becomes "unknown".
    """
    if not math.isfinite(value):
        return "unknown" if math.isnan(value) else "unlimited"
    if value == 0.0:
        return "0"
    place = _place(value, relative_uncertainty)
    result = round(value, -place)
    if result:  # 9.96 becomes 10: one place less
        result = round(result, -max(place, _place(result, relative_uncertainty)))
        place = max(place, _place(result, relative_uncertainty))
    return f"{result:.{max(0, -place)}f}"


def _place(value: float, relative_uncertainty: float | None) -> int:
    """Power of ten of the last digit kept."""
    top = math.floor(math.log10(abs(value)))
    if not relative_uncertainty or relative_uncertainty < 0:
        return top - 1
    return min(top, math.floor(math.log10(abs(value) * relative_uncertainty) + 1e-9))


def quantity(value: float, unit: str, relative_uncertainty: float | None = None) -> str:
    """Number with unit for reading: `unit` is that of the value, one of m, N, rad, s.

    Lengths are told in µm, from 1000 µm in mm, and never below 0.01 µm.
    """
    if unit == "m" and abs(value) < FLOOR:
        return "less than 0.01 µm"
    factor, name = _scale(value, unit)
    return _joined(rounded(value / factor, relative_uncertainty), name)


def span(low: float, high: float, unit: str) -> str:
    """A range with unit, "14 to 31 µm"; one number when both ends read the same."""
    if math.isnan(low) or math.isnan(high) or (unit == "m" and abs(high) < FLOOR):
        return quantity(high if not math.isnan(low) else low, unit)
    factor, name = _scale(high, unit)
    ends = ["0" if unit == "m" and abs(v) < FLOOR else rounded(v / factor) for v in (low, high)]
    return _joined(ends[0] if ends[0] == ends[1] else " to ".join(ends), name)


def _scale(value: float, unit: str) -> tuple[float, str]:
    if unit == "m" and abs(value) >= 1000 * UM * (1 - 1e-9):
        return MM, "mm"
    return _UNITS[unit], _NAMES[unit]


def _joined(number: str, name: str) -> str:
    if number in ("unknown", "unlimited"):
        return number
    return number + name if name == "°" else f"{number} {name}"
