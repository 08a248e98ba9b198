"""One row of the answer: what was computed, what is allowed, the margin, and on whose authority."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bedsim.sizing.unit import ONE, Unit

#: Share by which formula and machine may differ without a reason.
AGREES = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A computed value and the limit it is held against, both in the workshop unit `measured`.

    key: what the row tells, the same word everywhere.
    margin: how many times the limit is kept (1: just reached, below 1: passed); None where there is no limit.
    missing: what would have to be added, in words with a number; empty when nothing is.
    low_is_worse: of rows without a limit, whether the smallest value is the one to look at.
    machine: what the assembled machine says, in the same unit; None where it does not know.
    why: the reason where that differs by more than `AGREES`.
    """

    key: str
    subject: str
    name: str
    value: float
    limit: float | None = None
    margin: float | None = None
    measured: Unit = ONE
    formula: str = ""
    source: str = ""
    note: str = ""
    missing: str = ""
    corner: str = ""
    low_is_worse: bool = False
    machine: float | None = None
    why: str = ""

    @property
    def unit(self) -> str:
        """The unit's name as printed."""
        return self.measured.name

    @property
    def within(self) -> bool | None:
        """Whether the limit is kept; None without a limit.  Says nothing about safety."""
        return None if self.margin is None else bool(self.margin >= 1.0)


def worst_of_each(checks: Iterable[Check]) -> list[Check]:
    """Keep of each key the row with the smallest margin, in order of first appearance.

    Rows without a limit keep the largest absolute value, or the smallest value where that is worse; beside
    rows that have one (a ball whose plate's strength is given) they stand back.
    """
    kept: dict[str, Check] = {}
    for check in checks:
        if check.key not in kept or _severity(check) > _severity(kept[check.key]):
            kept[check.key] = check
    return list(kept.values())


def _severity(check: Check) -> tuple[bool, float, float]:
    if check.margin is None:
        return (False, 0.0, -check.value if check.low_is_worse else abs(check.value))
    return (True, -check.margin, abs(check.value))
