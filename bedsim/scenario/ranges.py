"""Numbers not known exactly: `{low, likely, high, basis}` in the file, a `Range` beside the scenario."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from bedsim.scenario.faults import Faults, rule_and_hint
from bedsim.scenario.keys import Loc, nearest, unit_of, value_adapter

BASES = ("measured", "datasheet", "estimated", "default")
_BOUNDS = ("low", "likely", "high")


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """One uncertain number in the unit of its key, with what it rests on.

    `key` is common (`guide.radial_n_per_um`: every corner that inherits it) or of one corner
    (`corner.<name>.guide.radial_n_per_um`).  `source` is the scenario or, for a default, where that comes
    from.
    """

    key: str
    low: float
    likely: float
    high: float
    basis: str
    source: str
    unit: str


def read_range(table: Mapping[str, Any], loc: Loc, key: str, source: str, faults: Faults) -> Range | None:
    """Read an uncertain number; note what is wrong with it and give None if it cannot be used.

    `loc` is its place in the complete scenario: low, likely and high must each keep the limits of that field.
    """
    sound, meant = True, set[str | None]()
    for name in table:
        if name not in (*_BOUNDS, "basis"):
            near = nearest(name, [x for x in (*_BOUNDS, "basis") if x not in table])
            meant.add(near)
            faults.add(
                f"{key}.{name}",
                "unknown key",
                hint=f"Did you mean {near}?" if near else "Known: low, likely, high, basis.",
            )
            sound = False
    for name in (x for x in _BOUNDS if x not in meant):
        sound &= _check_bound(table, name, loc, key, faults)
    basis = table.get("basis", "estimated")
    if basis not in BASES:
        near = nearest(str(basis), BASES)
        hint = f'Did you mean "{near}"?' if near else ""
        faults.add(f"{key}.basis", "must be one of " + ", ".join(BASES), value=basis, hint=hint)
        sound = False
    if not sound:
        return None
    low, likely, high = (float(table[name]) for name in _BOUNDS)
    if not low <= likely <= high:
        faults.add(key, "must have low <= likely <= high", value=dict(table))
        return None
    return Range(key=key, low=low, likely=likely, high=high, basis=basis, source=source, unit=unit_of(key))


def _check_bound(table: Mapping[str, Any], name: str, loc: Loc, key: str, faults: Faults) -> bool:
    if name not in table:
        faults.add(f"{key}.{name}", "is missing", hint="An uncertain number has low, likely and high.")
        return False
    try:
        value_adapter(loc).validate_python(table[name], strict=True)
    except ValidationError as error:
        rule, hint = rule_and_hint(error.errors()[0], key)
        faults.add(
            f"{key}.{name}",
            rule.replace(" or a table {low, likely, high, basis}", ""),
            value=table[name],
            hint=hint,
        )
        return False
    return True
