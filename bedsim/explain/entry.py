"""What is told of one word: what it is, and facts under labels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Shape = Literal["sentence", "formula", "verbatim"]
Sort = Literal[
    "key", "table", "kind", "quantity", "figure", "row of size", "grade", "recipe", "term", "message"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing told under a label: a sentence, a formula, or text that keeps its lines."""

    label: str
    text: str
    shape: Shape = "sentence"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One word with all that is told of it; `other_names` are found, too; `see` names other entries; `read`
    gives facts for which the program's text must be read."""

    name: str
    sort: Sort
    what: str
    facts: tuple[Fact, ...] = ()
    other_names: tuple[str, ...] = ()
    see: tuple[str, ...] = ()
    read: Callable[[], tuple[Fact, ...]] = tuple

    @property
    def all_facts(self) -> tuple[Fact, ...]:
        """Everything that is told."""
        return (*self.facts, *self.read())


def facts(**told: str) -> tuple[Fact, ...]:
    """Facts under labels, an underscore standing for a space; what says nothing is left out."""
    return tuple(
        Fact(label=label.replace("_", " "), text=text, shape="formula" if label == "formula" else "sentence")
        for label, text in told.items()
        if text
    )
