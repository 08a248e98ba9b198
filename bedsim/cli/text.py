"""How commands write long lines: as wide as the terminal, at most `LINE_WIDTH`."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence

LINE_WIDTH = 100
NARROWEST = 40


def line_width() -> int:
    """Letters of a line: those of the terminal, in a pipe `LINE_WIDTH`."""
    if not sys.stdout.isatty():
        return LINE_WIDTH
    return max(NARROWEST, min(LINE_WIDTH, shutil.get_terminal_size((LINE_WIDTH, 24)).columns))


def fitted(lines: Iterable[str], width: int | None = None) -> Iterator[str]:
    """Lines broken where they are longer than the width; the rows of a table stay as they are."""
    room = width or line_width()
    for line in lines:
        indent = line[: len(line) - len(line.lstrip())]
        if len(line) <= room or "  " in line.strip():
            yield line
        else:
            more = indent and f"{indent}  "
            yield from textwrap.wrap(line, room, subsequent_indent=more, break_on_hyphens=False)


def listed(head: str, lines: Sequence[str]) -> Iterator[str]:
    """Give a headed list."""
    yield ""
    yield f"{head}:"
    for line in lines:
        yield from wrapped(line, "  - ", "    ")


def wrapped(text: str, first: str = " " * 6, others: str = " " * 8) -> list[str]:
    """Break a text into lines of the report's width."""
    return textwrap.wrap(
        text, line_width(), initial_indent=first, subsequent_indent=others, break_on_hyphens=False
    )
