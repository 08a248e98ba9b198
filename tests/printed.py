"""How sure the numbers are that a test takes from elsewhere: u_input and u_D of its comparisons, as shares.

A printed number stands for half a unit of its last digit to either side, rectangular: its standard
uncertainty is that half over the root of 3. Numbers that are exact by definition are given as numbers,
printed ones as the text that was read. ASME V&V 20, from memory: u_input^2 = sum (dS/dX u_X)^2, the slopes
by finite differences.
"""

from __future__ import annotations

import math
from collections.abc import Callable

ROOT = math.sqrt(3)


def half_unit(text: str) -> float:
    """Half a unit of the last printed digit: 0.05 of "12.5", 0.5 of "820", 0.005e5 of "2.06e5"."""
    mantissa, _, power = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 0.5 * 10.0 ** (int(power or 0) - decimals)


def digits(text: str) -> float:
    """Standard uncertainty of a printed number as a share of it."""
    return half_unit(text) / ROOT / abs(float(text))


def within(share: float) -> float:
    """Standard uncertainty of what is known to lie within so much to either side: rectangular, too."""
    return share / ROOT


def share(formula: Callable[..., float], **inputs: str | float | tuple[float, float]) -> float:
    """u_input of `formula` as a share of its value.

    Inputs by name: texts as printed, pairs of a value and its standard uncertainty, numbers that are exact.
    """
    sure: dict[str, float] = {}
    unsure: dict[str, float] = {}
    for name, given in inputs.items():
        if isinstance(given, str):
            sure[name], unsure[name] = float(given), half_unit(given) / ROOT
        elif isinstance(given, tuple):
            sure[name], unsure[name] = given
        else:
            sure[name] = given
    moved = [
        (formula(**{**sure, name: sure[name] + u}) - formula(**{**sure, name: sure[name] - u})) / 2
        for name, u in unsure.items()
    ]
    return math.hypot(*moved) / abs(formula(**sure)) if moved else 0.0
