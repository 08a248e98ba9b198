"""An entry as lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from bedsim.explain.entry import Entry, Fact

WIDTH = 100
LABEL = 14


def entry_lines(entry: Entry) -> Iterator[str]:
    """Name, what it is, then every fact under its label."""
    yield f"{entry.name} ({entry.sort})" if entry.sort != "message" else "A message of bedsim"
    yield from textwrap.wrap(entry.what, WIDTH, initial_indent="  ", subsequent_indent="  ")
    for fact in entry.all_facts:
        yield from fact_lines(fact)
    if entry.see:
        yield from fact_lines(Fact(label="see", text=", ".join(entry.see)))


def fact_lines(fact: Fact) -> Iterator[str]:
    """A label beside its text, or above what keeps its lines."""
    if fact.shape == "verbatim":
        yield f"  {fact.label}:"
        yield from (f"    {line}".rstrip() for line in fact.text.splitlines())
        return
    lead = f"  {fact.label}: ".ljust(LABEL + 3)
    yield from textwrap.wrap(
        fact.text,
        WIDTH,
        initial_indent=lead,
        subsequent_indent=" " * (LABEL + 3),
        break_on_hyphens=False,
        break_long_words=False,
    )


def list_lines(entries: Sequence[Entry]) -> Iterator[str]:
    """Entries that share a name, one line each."""
    for entry in entries:
        yield f"  {entry.name}: {textwrap.shorten(entry.what, WIDTH - len(entry.name), placeholder=' ...')}"
