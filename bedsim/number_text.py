"""Numbers as people write them: decimals without an exponent, and words where there is no number."""

from __future__ import annotations

import math

PLAIN_FROM, PLAIN_TO = 1e-6, 1e9
"""Sizes between which no number is written with an exponent."""


def number(value: float, digits: int = 3) -> str:
    """A number with so many digits; unknown for one that is none, unlimited for one without end."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "unlimited" if value > 0 else "-unlimited"
    text = f"{value:.{digits}g}"
    if "e" not in text or not PLAIN_FROM <= abs(float(text)) <= PLAIN_TO:
        return text
    places = digits - 1 - int(text.partition("e")[2])
    plain = f"{float(text):.{max(0, places)}f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain
