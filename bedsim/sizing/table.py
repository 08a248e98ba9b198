"""One row of the answer: what was computed, what is allowed, the margin, and on whose authority."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A computed value, in a workshop `unit`, and the limit it is held against.

    margin: how many times the limit is kept (1: just reached, below 1: passed); None where there is no limit.
    missing: what would have to be added, in words with a number; empty when nothing is.
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

    @property
    def within(self) -> bool | None:
        """Whether the limit is kept; None without a limit.  Says nothing about safety."""
        return None if self.margin is None else self.margin >= 1.0


def margin_below(value: float, limit: float) -> float:
    """Return limit/value for a value that must stay below its limit; infinite for a value of zero or less."""
    return limit / value if value > 0 else math.inf


def margin_above(value: float, limit: float) -> float:
    """Return value/limit for a value that must stay above its limit; infinite for a limit of zero or less."""
    return value / limit if limit > 0 else math.inf


def worst_by_name(checks: list[Check]) -> list[Check]:
    """Keep of each (subject, name) the row with the smallest margin, in order of first appearance.

    Rows without a limit keep the largest absolute value.
    """
    kept: dict[tuple[str, str], Check] = {}
    for check in checks:
        key = (check.subject, check.name)
        if key not in kept or _severity(check) > _severity(kept[key]):
            kept[key] = check
    return list(kept.values())


def _severity(check: Check) -> tuple[float, float]:
    if check.margin is None:
        return (0.0, abs(check.value))
    return (-check.margin, abs(check.value))
