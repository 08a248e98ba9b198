"""How a row of `bedsim size` is described, and how checks are made of descriptions.

A row is data: its words, unit, formula, source and the side of its limit, and one function from what it is
told of (a corner in its machine) to numbers.  Subjects list their rows in the order of the report.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass, field
from typing import Generic, Literal, TypeVar

from bedsim.sizing.numbers import CornerNumbers, Duty, MachineNumbers
from bedsim.sizing.table import Check
from bedsim.sizing.unit import Unit

Of = TypeVar("Of")


@dataclass(frozen=True, slots=True)
class AtCorner:
    """A corner by its number, in the machine it stands in."""

    machine: MachineNumbers
    index: int

    @property
    def corner(self) -> CornerNumbers:
        """The corner's own numbers."""
        return self.machine.corners[self.index]

    @property
    def duty(self) -> Duty:
        """What the print asks for."""
        return self.machine.duty


@dataclass(frozen=True, slots=True)
class RowValue:
    """What a row says, in SI: value, limit if there is one, a note, what is missing.

    `words` fill the braces in the row's name, formula and source.
    """

    value: float
    limit: float | None = None
    _: KW_ONLY
    note: str = ""
    missing: str = ""
    words: Mapping[str, str] = field(default_factory=dict)


def everywhere(_: object) -> bool:
    """A row that every machine has."""
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Row(Generic[Of]):
    """One row: what it is called, what it computes, and on whose authority.

    key: its name in the program; no two rows that a machine has share one.
    stays: the side of its limit on which a value is good.
    tell: numbers of what it is asked of; several where it has several parts (the balls of a joint).
    where: the machines that have it.
    note: said of it wherever `tell` has nothing of its own to say.
    low_is_worse: of values without a limit, whether the smallest is the one to look at.
    """

    key: str
    name: str
    unit: Unit
    tell: Callable[[Of], RowValue | list[RowValue]]
    formula: str
    source: str
    stays: Literal["", "below", "above"] = ""
    where: Callable[[Of], bool] = everywhere
    note: str = ""
    low_is_worse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject(Generic[Of]):
    """Rows under one title, in the order of the report."""

    title: str
    rows: tuple[Row[Of], ...]

    def checks(self, of: Of, corner: str) -> Iterator[Check]:
        """Yield the checks of one corner (or of what is told of it), named `corner`."""
        for row in self.rows:
            if row.where(of):
                told = row.tell(of)
                for one in told if isinstance(told, list) else [told]:
                    yield _check(self.title, row, one, corner)


NOTHING = 1e-9
"""In a row's unit; what is smaller is the rounding of a sum that cancels, and no number of its own."""


def _check(title: str, row: Row[Of], told: RowValue, corner: str) -> Check:
    value = told.value / row.unit.si
    value = 0.0 if abs(value) < NOTHING else value
    limit = None if told.limit is None else told.limit / row.unit.si
    return Check(
        key=row.key,
        subject=title,
        name=row.name.format_map(told.words),
        value=value,
        limit=limit,
        margin=None if limit is None else _margin(value, limit, row.stays),
        measured=row.unit,
        formula=row.formula.format_map(told.words),
        source=row.source.format_map(told.words),
        note=told.note or row.note,
        missing=told.missing,
        corner=corner,
        low_is_worse=row.low_is_worse,
    )


def _margin(value: float, limit: float, stays: str) -> float:
    """How many times a limit is kept: limit/value of what stays below, value/limit of what stays above."""
    part, whole = (limit, value) if stays == "below" else (value, limit)
    return part / whole if whole > 0 else math.inf
