"""Makes a file's tree complete: likely values for uncertain numbers, defaults by the kind of each part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from bedsim.registry import Default
from bedsim.scenario.defaults import default_ranges, kind_of
from bedsim.scenario.derived_defaults import RULES, derived_defaults
from bedsim.scenario.faults import Faults
from bedsim.scenario.idle import range_in_use
from bedsim.scenario.keys import PARTS, Loc, field_at, is_count, is_number, unit_of
from bedsim.scenario.ranges import Range, read_range
from bedsim.scenario.tree import Tree, expanded, key_of, listed_corners

_PLAIN_SECTIONS = ("bed", "print", "damping", "drive")


class Filler:
    """Replaces uncertain numbers by their likely values and fills in the defaults of each kind of part."""

    def __init__(self, tree: Tree, faults: Faults, source: str) -> None:
        self.tree, self._faults, self._source = tree, faults, source
        self.ranges: dict[str, Range] = {}
        self.defaulted: dict[str, str] = {}
        self.told: set[Loc] = set()
        self._filled: dict[tuple[str, str], list[tuple[int, Default, bool]]] = {}

    def filled(self) -> Tree:
        """Give the complete tree that the schema validates."""
        full = expanded(self.tree)
        for key in list(full):
            full[key] = self._likely(full[key], (key,))
        for section in _PLAIN_SECTIONS:
            self._fill_section(full, section)
        for index, corner in listed_corners(full):
            self._fill_corner(full, corner, index)
        self._record_parts(full)
        _fill_probes(full)
        return full

    def _likely(self, value: Any, loc: Loc) -> Any:
        if isinstance(value, dict):
            field = field_at(loc)
            if is_number(field) or is_count(field):
                return self._from_range(value, loc)
            return {key: self._likely(inner, (*loc, key)) for key, inner in value.items()}
        if isinstance(value, list):
            return tuple(self._likely(inner, (*loc, index)) for index, inner in enumerate(value))
        return value

    def _from_range(self, table: dict[str, Any], loc: Loc) -> Any:
        key = key_of(loc, self.tree)
        if is_count(field_at(loc)):
            self._faults.add(key, "must be a whole number", value=table, hint="A count has no range.")
        else:
            found = read_range(table, loc, key, self._source, self._faults)
            if found is not None:
                if found.high > found.low:
                    self.ranges[key] = found
                return found.likely
        self.told.add(loc)
        return table.get("likely")

    def _fill_section(self, full: Tree, section: str) -> None:
        table = full.setdefault(section, {}) if section not in ("bed", "print") else full.get(section)
        if not isinstance(table, dict):
            return
        for key, default in default_ranges(section).items():
            name = f"{section}.{key}"
            if key in table:
                self._keep_source(name, default)
                continue
            table[key] = default.likely
            self._note(name, default, range_in_use(full, name))

    def _fill_corner(self, full: Tree, corner: Tree, index: int) -> None:
        for part in PARTS:
            if not isinstance(corner.get(part), dict):
                continue
            kind, ruled = kind_of(part, corner), RULES.get(part, {})
            plain = {k: d for k, d in default_ranges(part, kind or "any").items() if k not in ruled}
            self._fill_part(full, index, part, plain)
            self._fill_part(full, index, part, derived_defaults(part, kind, corner))

    def _fill_part(self, full: Tree, index: int, part: str, defaults: Mapping[str, Default]) -> None:
        table = full["corner"][index][part]
        for key, default in defaults.items():
            if key in table:
                self._keep_source(key_of(("corner", index, part, key), self.tree), default)
                continue
            is_whole = is_count(field_at(("corner", index, part, key)))
            table[key] = int(default.likely) if is_whole else default.likely
            in_use = range_in_use(full, f"{part}.{key}", index)
            self._filled.setdefault((part, key), []).append((index, default, in_use))

    def _record_parts(self, full: Tree) -> None:
        """Note what was filled in under the common key if it is the same everywhere, else by corner."""
        names = {index: corner.get("name") for index, corner in listed_corners(full)}
        for (part, key), entries in self._filled.items():
            if len({(default, in_use) for _, default, in_use in entries}) == 1:
                self._note(f"{part}.{key}", entries[0][1], entries[0][2])
                continue
            for index, default, in_use in entries:
                self._note(f"corner.{names[index]}.{part}.{key}", default, in_use)

    def _keep_source(self, key: str, default: Default) -> None:
        """Give a default that is written out in the file (a resolved scenario) its source back."""
        found = self.ranges.get(key)
        if (
            found is not None
            and found.basis == "default"
            and (found.low, found.high) == (default.low, default.high)
        ):
            self.ranges[key] = replace(found, source=default.source)

    def _note(self, key: str, default: Default, in_use: bool) -> None:
        self.defaulted[key] = default.source
        if default.is_guess and in_use:
            self.ranges[key] = Range(
                key=key,
                low=default.low,
                likely=default.likely,
                high=default.high,
                basis="default",
                source=default.source,
                unit=unit_of(key),
            )


def _fill_probes(full: Tree) -> None:
    bed = full.get("bed")
    if full.get("probe") or not isinstance(bed, dict):
        return
    sizes = [bed.get("size_x_mm"), bed.get("size_y_mm")]
    if not all(_is_plain_number(size) for size in sizes):
        return
    x, y = (float(s) / 2 for s in sizes)  # type: ignore[arg-type]
    points = [
        ("centre", 0.0, 0.0),
        ("front left", -x, -y),
        ("front right", x, -y),
        ("back right", x, y),
        ("back left", -x, y),
    ]
    full["probe"] = tuple({"name": name, "x_mm": px, "y_mm": py} for name, px, py in points)


def _is_plain_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
