"""Which keys of two scenarios differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from bedsim.scenario.keys import PARTS
from bedsim.scenario.schema import Scenario

_SILENT = {("title",), ("output", "trace_layers")}  # what a run is called and stored with changes no answer


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedKey:
    """A key with its value in the first and in the other scenario; None where one has no such key."""

    key: str
    first: Any
    other: Any


def changed_keys(first: Scenario, other: Scenario) -> tuple[ChangedKey, ...]:
    """Keys that differ, in the order of the schema; one that changes alike at every corner is named once."""
    a, b = dict(_leaves(first.model_dump())), dict(_leaves(other.model_dump()))
    found = [(steps, a.get(steps), b.get(steps)) for steps in dict.fromkeys([*a, *b])]
    found = [item for item in found if item[1] != item[2] and item[0] not in _SILENT]
    corners = {c.name for c in first.corner} | {c.name for c in other.corner}
    told: dict[str, ChangedKey] = {}
    for steps, before, after in found:
        inner = steps[2:]
        alike = [
            s for s in found if s[0][:1] == ("corner",) and s[0][2:] == inner and s[1:] == (before, after)
        ]
        common = steps[0] == "corner" and len(inner) > 1 and inner[0] in PARTS and len(alike) == len(corners)
        key = ".".join(inner if common else steps)
        told.setdefault(key, ChangedKey(key=key, first=before, other=after))
    return tuple(told.values())


def _leaves(table: Mapping[str, Any], steps: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Plain values with their way through tables; entries of a list go by name, else by number from 1."""
    for key, value in table.items():
        entries: Mapping[str, Any] = {}
        if isinstance(value, Mapping):
            entries = value
        elif isinstance(value, list | tuple) and value and isinstance(value[0], Mapping):
            entries = {str(v.get("name", n)): v for n, v in enumerate(value, start=1)}
        if entries:
            yield from _leaves(entries, (*steps, key))
        elif value not in (None, ()) and key != "name":
            yield (*steps, key), value
