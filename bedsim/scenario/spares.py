"""Screws that lie on the shelf: run-out and travel, from TOML files or tables written by the gauge.

A TOML file holds [[screw]] entries with `name`, [screw.run_out] and [screw.travel] as in a scenario, or, as
`bedsim gauge` writes it, one [screw] without a name, which then has the file's.  A CSV file is one screw's
measured centreline.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from bedsim.errors import InputError
from bedsim.files import read_text
from bedsim.scenario.faults import MISSING, Faults, rule_and_hint
from bedsim.scenario.keys import Loc, field_at, is_number, nearest
from bedsim.scenario.load import Tables
from bedsim.scenario.ranges import read_range
from bedsim.scenario.schema import RunOutKeys, TravelKeys
from bedsim.scenario.section import Name, Section
from bedsim.scenario.tables import LAYOUTS, read_table
from bedsim.scenario.tree import toml_tree

_PLACE: Loc = ("corner", 0, "screw")


class SpareEntry(Section):
    """One [[screw]] of a file of spare screws."""

    name: Name
    """Name written on the screw."""
    run_out: RunOutKeys = RunOutKeys()
    """The bent centreline, as it will be mounted."""
    travel: TravelKeys = TravelKeys()
    """The imperfect lead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spare:
    """A spare screw; `tables` are its CSV tables by the names in `run_out` and `travel`."""

    name: str
    run_out: RunOutKeys
    travel: TravelKeys
    tables: Tables


def read_spares(files: Sequence[Path]) -> tuple[Spare, ...]:
    """Read spare screws.  Raises InputError listing every fault of a file."""
    found = [spare for file in files for spare in _read(Path(file))]
    names = [s.name for s in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"spares: screw.name = {twice[0]!r}: is given twice. Every screw needs its own.")
    return tuple(found)


def _read(file: Path) -> list[Spare]:
    faults = Faults(str(file))
    entries = [{"run_out": {"table": file.name}}] if file.suffix.lower() == ".csv" else _entries(file, faults)
    spares = [_spare(entry, number, file, faults) for number, entry in enumerate(entries, start=1)]
    faults.raise_if_any()
    return [s for s in spares if s is not None]


def _entries(file: Path, faults: Faults) -> list[dict[str, Any]]:
    try:
        tree = toml_tree(read_text(file))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{file}: is not TOML: {error}.") from None
    if "corner" in tree or "scenario" in tree:
        raise InputError(
            f"{file}: is a scenario or a plan, not a file of spare screws: [[screw]] tables with name, "
            "run_out and travel, or what bedsim gauge writes."
        )
    for key in tree:
        if key != "screw":
            faults.add(key, "unknown key", hint="Known: [[screw]], one for each screw.")
    written = tree.get("screw", [])
    listed = [written] if isinstance(written, dict) else written
    if not isinstance(listed, list) or not listed or not all(isinstance(e, dict) for e in listed):
        faults.add("screw", "must be a list of tables", hint="Write [[screw]] for each screw.")
        return []
    return listed


def _spare(entry: Mapping[str, Any], number: int, file: Path, faults: Faults) -> Spare | None:
    label = f"screw.{entry.get('name', number)}"
    plain = {"name": file.stem} | {
        k: _likely(v, (*_PLACE, k), f"{label}.{k}", file, faults) for k, v in entry.items()
    }
    try:
        checked = SpareEntry.model_validate(plain, strict=True)
    except ValidationError as error:
        for item in error.errors():
            key = ".".join((label, *map(str, item["loc"])))
            rule, hint = rule_and_hint(item, key)
            if item["type"] == "extra_forbidden":
                hint = _unknown_hint(item["loc"])
            faults.add(key, rule, value=MISSING if item["type"] == "missing" else item["input"], hint=hint)
        return None
    tables = {}
    for steps, layouts in LAYOUTS.items():
        if steps[0] == "screw":
            part = checked.run_out if steps[1] == "run_out" else checked.travel
            if part.table is not None:
                table = read_table(part.table, f"{label}.{steps[1]}.table", layouts, file.parent, faults)
                if table is not None:
                    tables[part.table] = table
    return Spare(name=checked.name, run_out=checked.run_out, travel=checked.travel, tables=tables)


def _unknown_hint(loc: tuple[str | int, ...]) -> str:
    inner: dict[str, type[Section]] = {"run_out": RunOutKeys, "travel": TravelKeys}
    table: type[Section] = inner.get(str(loc[0]), SpareEntry) if len(loc) > 1 else SpareEntry
    near = nearest(str(loc[-1]), table.model_fields)
    if near:
        return f"Did you mean {near}?"
    return f"A spare screw has {', '.join(table.model_fields)}; all else is that of the scenario's screws."


def _likely(value: Any, loc: Loc, key: str, file: Path, faults: Faults) -> Any:
    """Put likely values in the place of uncertain ones."""
    if not isinstance(value, dict):
        return value
    if is_number(field_at(loc)):
        found = read_range(value, loc, key, file.name, faults)
        return None if found is None else found.likely
    return {k: _likely(inner, (*loc, k), f"{key}.{k}", file, faults) for k, inner in value.items()}
