"""All entries together, and how a word finds its own."""

from __future__ import annotations

import difflib
from functools import cache

from bedsim.errors import InputError
from bedsim.explain.answer_entries import answer_entries
from bedsim.explain.entry import Entry, Fact, Sort
from bedsim.explain.scenario_entries import scenario_entries
from bedsim.explain.source_text import module_text, said_by
from bedsim.explain.terms import term_entries
from bedsim.explain.workshop_entries import workshop_entries
from bedsim.scenario.faults import shown
from bedsim.scenario.keys import nearest

MESSAGE_WORDS = 4
"""Words from which on something asked may be a message."""
MOST_TOLD = 12
"""Entries of one name that are listed."""


@cache
def book() -> dict[str, tuple[Entry, ...]]:
    """Every entry by the names it is found under, in lower case."""
    found: dict[str, tuple[Entry, ...]] = {}
    for entry in every_entry():
        for name in dict.fromkeys(n.lower() for n in (entry.name, *entry.other_names)):
            found[name] = (*found.get(name, ()), entry)
    return found


@cache
def every_entry() -> tuple[Entry, ...]:
    """Every entry, in the order of the page."""
    return (*term_entries(), *scenario_entries(), *answer_entries(), *workshop_entries())


def of_sort(sort: Sort) -> tuple[Entry, ...]:
    """Every entry of one sort."""
    return tuple(entry for entry in every_entry() if entry.sort == sort)


def find(what: str) -> tuple[Entry, ...]:
    """What a word, a key or a message means; several where several parts have a key of that name.

    Raises InputError that names the nearest.
    """
    asked = " ".join(what.split()).lower()
    entries = book().get(asked) or book().get(asked.replace(" ", "_").replace("-", "_")) or ()
    named = tuple(e for e in entries if e.name.lower() == asked)
    if entries:
        return named or entries
    if len(asked.split()) >= MESSAGE_WORDS and (told := _message(asked)) is not None:
        return (told,)
    raise InputError(f"WHAT = {shown(what)}: nothing here has this name. {_hint(asked)}")


def _hint(asked: str) -> str:
    names = list(book())
    near = dict.fromkeys(difflib.get_close_matches(asked, names, n=3, cutoff=0.6))
    first = nearest(asked, names)
    told = list(dict.fromkeys([*([first] if first else []), *near]))[:3]
    if told:
        return f"Did you mean {' or '.join(book()[name][0].name for name in told)}?"
    return "Allowed: a key, a figure, a row of `size`, a grade, a term, or the words of a message."


def _message(asked: str) -> Entry | None:
    """The sentence of the program that was met, with what the function behind it says of itself."""
    found = said_by(asked)
    if not found:
        return None
    _, sentence, function = found[0]
    module = module_text(function.module)
    told = "\n\n".join(dict.fromkeys(doc for doc in (function.doc, module.doc) if doc))
    return Entry(
        name="message",
        sort="message",
        what=sentence,
        facts=(Fact(label=f"said by bedsim/{function.module}", text=told, shape="verbatim"),),
    )
