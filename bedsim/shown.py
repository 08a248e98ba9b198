"""How an answer shows itself: a short table in a terminal, the same as HTML in a notebook.

What stands in the table is made by `bedsim.api.tables`, which knows all answers and is asked for by name: the
classes themselves stay plain data.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, fields
from html import escape
from types import ModuleType
from typing import Any

TABLES, DOORS = "bedsim.api.tables", "bedsim.api"
MOST_TEXT = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownTable:
    """A title, a head, rows of texts, and sentences below."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    below: tuple[str, ...] = ()

    def text(self) -> str:
        """Columns below each other."""
        lines = [self.head, *self.rows]
        widths = [max(len(line[k]) for line in lines) for k in range(len(self.head))]
        told = [
            "  " + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
            for line in lines
        ]
        return "\n".join([self.title, *told, *self.below])

    def html(self) -> str:
        """The same for a notebook; names and titles come from files of anybody."""
        head = "".join(f"<th style='text-align:left'>{escape(cell)}</th>" for cell in self.head)
        rows = "".join(
            "<tr>" + "".join(f"<td style='text-align:left'>{escape(cell)}</td>" for cell in row) + "</tr>"
            for row in self.rows
        )
        below = "".join(f"<p>{escape(text)}</p>" for text in self.below)
        return f"<p><b>{escape(self.title)}</b></p><table><tr>{head}</tr>{rows}</table>{below}"


class Shown:
    """What shows itself as a table where there is one, else as a line."""

    __slots__ = ()

    def __repr__(self) -> str:
        table = _table_of(self)
        return brief(self) if table is None else table.text()

    def _repr_html_(self) -> str | None:
        table = _table_of(self)
        return None if table is None else table.html()


def _table_of(answer: Any) -> ShownTable | None:
    found: Callable[[Any], ShownTable | None] = importlib.import_module(TABLES).table_of
    return found(answer)


def brief(answer: Any) -> str:
    """A dataclass on one line: arrays by their shape, collections by their length."""
    parts = [f"{f.name}={_short(getattr(answer, f.name))}" for f in fields(answer)]
    return f"{type(answer).__name__}({', '.join(parts)})"


def _short(value: Any) -> str:
    shape = getattr(value, "shape", None)
    if shape is not None and shape != ():
        return f"<{' x '.join(map(str, shape))}>"
    if isinstance(value, tuple | list | dict | set | frozenset) and value:
        return f"<{len(value)} entries>"
    text = repr(value)
    return text if len(text) <= MOST_TEXT else f"{text[: MOST_TEXT - 1]}…"


class Door(ModuleType):
    """A package that is called like the function it is there for: `bedsim.sweep(plan)`."""

    def __call__(self, *given: Any, **named: Any) -> Any:
        """Do it."""
        return getattr(importlib.import_module(DOORS), self.__name__.rpartition(".")[2])(*given, **named)
