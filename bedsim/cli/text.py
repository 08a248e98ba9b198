"""How reports of `bedsim size` write lists and long lines."""

from __future__ import annotations

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
