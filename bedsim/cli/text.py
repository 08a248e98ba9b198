"""How reports of `bedsim size` write numbers, lists and long lines."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence

LINE_WIDTH = 100


def listed(head: str, lines: Sequence[str]) -> Iterator[str]:
    """Give a headed list."""
    yield ""
    yield f"{head}:"
    for line in lines:
        yield from wrapped(line, "  - ", "    ")


def wrapped(text: str, first: str = " " * 6, others: str = " " * 8) -> list[str]:
    """Break a text into lines of the report's width."""
    return textwrap.wrap(
        text, LINE_WIDTH, initial_indent=first, subsequent_indent=others, break_on_hyphens=False
    )


def number(value: float, digits: int = 3) -> str:
    """Write a number with so many digits, without an exponent up to a million."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "unlimited" if value > 0 else "-unlimited"
    text = f"{value:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text and abs(value) < 1e6 else text
