"""One row of the answer: what was computed, what is allowed, the margin, and on whose authority."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

#: Share by which formula and machine may differ without a reason.
AGREES = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A computed value, in a workshop `unit`, and the limit it is held against.

    margin: how many times the limit is kept (1: just reached, below 1: passed); None where there is no limit.
    missing: what would have to be added, in words with a number; empty when nothing is.
    low_is_worse: of rows without a limit, whether the smallest value is the one to look at.
    key: what the row tells, where the assembled machine can tell it too; empty elsewhere.
    machine: what the assembled machine says, in the same unit; None where it does not know.
    why: the reason where that differs by more than `AGREES`.
    """

    subject: str
    name: str
    value: float
    limit: float | None = None
    margin: float | None = None
    unit: str = ""
    formula: str = ""
    source: str = ""
    note: str = ""
    missing: str = ""
    corner: str = ""
    low_is_worse: bool = False
    key: str = ""
    machine: float | None = None
    why: str = ""

    @property
    def within(self) -> bool | None:
        """Whether the limit is kept; None without a limit.  Says nothing about safety."""
        return None if self.margin is None else bool(self.margin >= 1.0)


def below(
    subject: str,
    name: str,
    value: float,
    limit: float,
    unit: str,
    *,
    formula: str,
    source: str,
    corner: str = "",
    note: str = "",
    missing: str = "",
) -> Check:
    """Make the row of a value that must stay below its limit; the margin is limit/value."""
    margin = limit / value if value > 0 else math.inf
    return Check(
        subject=subject,
        name=name,
        value=value,
        limit=limit,
        margin=margin,
        unit=unit,
        formula=formula,
        source=source,
        corner=corner,
        note=note,
        missing=missing,
    )


def above(
    subject: str,
    name: str,
    value: float,
    limit: float,
    unit: str,
    *,
    formula: str,
    source: str,
    corner: str = "",
    note: str = "",
    missing: str = "",
) -> Check:
    """Make the row of a value that must stay above its limit; the margin is value/limit."""
    row = below(subject, name, value, limit, unit, formula=formula, source=source, corner=corner, note=note)
    return replace(row, margin=value / limit if limit > 0 else math.inf, missing=missing)


def shown(
    subject: str,
    name: str,
    value: float,
    unit: str,
    *,
    formula: str,
    source: str,
    corner: str = "",
    note: str = "",
    missing: str = "",
    low_is_worse: bool = False,
    key: str = "",
) -> Check:
    """Make the row of a value without a limit."""
    return Check(
        subject=subject,
        name=name,
        value=value,
        unit=unit,
        formula=formula,
        source=source,
        corner=corner,
        note=note,
        missing=missing,
        low_is_worse=low_is_worse,
        key=key,
    )


def worst_by_name(checks: Iterable[Check]) -> list[Check]:
    """Keep of each (subject, name) the row with the smallest margin, in order of first appearance.

    Rows without a limit keep the largest absolute value, or the smallest value where that is worse; beside
    rows that have one (a ball whose plate's strength is given) they stand back.
    """
    kept: dict[tuple[str, str], Check] = {}
    for check in checks:
        key = (check.subject, check.name)
        if key not in kept or _severity(check) > _severity(kept[key]):
            kept[key] = check
    return list(kept.values())


def _severity(check: Check) -> tuple[bool, float, float]:
    if check.margin is None:
        return (False, 0.0, -check.value if check.low_is_worse else abs(check.value))
    return (True, -check.margin, abs(check.value))
