"""Writes TOML: strings, numbers, tables, and the resolved scenario with a remark at every default."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from bedsim.errors import InputError
from bedsim.scenario.keys import PARTS
from bedsim.scenario.ranges import Range
from bedsim.scenario.schema import Scenario
from bedsim.scenario.tree import corners_of, lookup

RESOLVED = "# Resolved by bedsim"
"""How a resolved scenario begins."""

_HEADER = (
    f"{RESOLVED}: every key that this run used.  '# default' marks what the scenario did not give;\n"
    "# '# not used' what does nothing beside its choices;\n"
    "# {low, likely, high, basis} marks what is not known exactly.\n"
)


def toml_value(value: Any) -> str:
    """Write one value on one line; floats keep every digit, None is not allowed."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {toml_value(v)}" for key, v in value.items() if v is not None) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    return repr(value)


def toml_lines(tree: Mapping[str, Any], name: str) -> Iterator[str]:
    """Write a tree of tables as `tomllib` reads it back: plain values first, then tables and lists of them.

    Raises InputError naming the key of a value that TOML has no words for.
    """
    yield from _tree_lines(tree, (), name)


def _tree_lines(tree: Mapping[str, Any], steps: tuple[str, ...], name: str) -> Iterator[str]:
    tables = {key: v for key, v in tree.items() if _is_table(v) or _is_list_of_tables(v)}
    for key, value in tree.items():
        if key not in tables:
            yield f"{_bare(key)} = {_checked(value, '.'.join((*steps, key)), name)}"
    for key, value in tables.items():
        where = (*steps, key)
        head = ".".join(_bare(step) for step in where)
        for entry in (value,) if _is_table(value) else value:
            yield f"[{head}]" if _is_table(value) else f"[[{head}]]"
            yield from _tree_lines(entry, where, name)


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) and "likely" not in value


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list | tuple) and bool(value) and all(_is_table(v) for v in value)


def _bare(key: Any) -> str:
    return str(key) if re.fullmatch(r"[A-Za-z0-9_-]+", str(key)) else toml_value(str(key))


def _checked(value: Any, key: str, name: str) -> str:
    """A value as TOML; numbers of numpy are numbers."""
    plain = value.item() if getattr(value, "shape", None) == () else value
    leaves = (
        plain.values() if isinstance(plain, Mapping) else plain if isinstance(plain, list | tuple) else ()
    )
    if isinstance(plain, str | bool | int | float):
        return toml_value(plain)
    if isinstance(plain, Mapping | list | tuple):
        for leaf in leaves:
            _checked(leaf, key, name)
        return toml_value(plain)
    raise InputError(f"{name}: {key} = {value!r}: must be text, a number, true or false, a list or a table.")


def _range_value(found: Range) -> dict[str, Any]:
    return {"low": found.low, "likely": found.likely, "high": found.high, "basis": found.basis}


def _leaves(table: Mapping[str, Any], steps: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _leaves(value, (*steps, key))
        elif value is not None:
            yield (*steps, key), value


class _Writer:
    """Knows, for every key, the range to write in place of the plain value and whether the file gave it."""

    def __init__(
        self,
        ranges: Sequence[Range],
        defaulted: Mapping[str, str],
        tree: Mapping[str, Any],
        resting: Mapping[str, str],
    ) -> None:
        self._ranges = {r.key: r for r in ranges}
        self._defaulted = defaulted
        self._tree = tree
        self._resting = resting
        self.lines: list[str] = []

    def cell(self, key: str, value: Any) -> Any:
        """Give what to write for a key: its range, or the value with ranges inside listed tables put back."""
        if key in self._ranges:
            return _range_value(self._ranges[key])
        if isinstance(value, list | tuple) and value and isinstance(value[0], dict):
            return tuple(
                {k: self.cell(f"{key}.{index}.{k}", v) for k, v in entry.items()}
                for index, entry in enumerate(value, start=1)
            )
        return value

    def _remark(self, key: str, is_given: bool) -> str:
        if key in self._resting:
            return f"  # not used{self._resting[key]}"
        if key in self._defaulted:
            return f"  # default: {self._defaulted[key]}"
        return "" if is_given else "  # default"

    def table(
        self, name: str, cells: Mapping[tuple[str, ...], Any], is_given: Callable[..., bool], prefix: str
    ) -> None:
        """Write a table and its sub-tables; `prefix` is the key of the table in ranges and remarks."""
        by_table: dict[tuple[str, ...], list[str]] = {}
        for steps, value in cells.items():
            remark = self._remark(".".join((prefix, *steps)), is_given(*steps))
            by_table.setdefault(steps[:-1], []).append(f"{steps[-1]} = {toml_value(value)}{remark}")
        for steps, lines in by_table.items():
            self.lines += ["", f"[{'.'.join((name, *steps))}]", *lines]


def resolved_text(
    scenario: Scenario,
    ranges: Sequence[Range],
    defaulted: Mapping[str, str],
    tree: Mapping[str, Any],
    resting: Mapping[str, str] = MappingProxyType({}),
) -> str:
    """Write a complete scenario as TOML; it loads again to the same scenario with the same ranges.

    What all corners share stands in common tables, the rest in each corner.  `resting`: keys that do nothing,
    with the words that tell so.
    """
    writer = _Writer(ranges, defaulted, tree, resting)
    dump = scenario.model_dump()
    writer.lines.append(f"title = {toml_value(dump['title'])}")
    for section in Scenario.model_fields:
        if isinstance(dump[section], dict):
            section_cells = {
                steps: writer.cell(".".join((section, *steps)), v) for steps, v in _leaves(dump[section])
            }
            writer.table(
                section, section_cells, lambda *s, section=section: lookup(tree, (section, *s))[0], section
            )
    own = _parts(writer, dump["corner"], tree)
    _corners(writer, dump["corner"], own, tree)
    for probe in dump["probe"]:
        remark = [] if lookup(tree, ("probe",))[1] else ["# default"]
        prefix = f"probe.{probe['name']}"
        cells = [f"{k} = {toml_value(writer.cell(f'{prefix}.{k}', v))}" for k, v in probe.items()]
        writer.lines += ["", "[[probe]]", *remark, *cells]
    return _HEADER + "\n".join(writer.lines) + "\n"


_Cells = dict[tuple[str, ...], Any]


def _parts(
    writer: _Writer, corners: Sequence[Mapping[str, Any]], tree: Mapping[str, Any]
) -> list[dict[str, _Cells]]:
    """Write the common part tables; give what remains for each corner."""
    own: list[dict[str, _Cells]] = [{part: {} for part in PARTS} for _ in corners]
    written = corners_of(dict(tree))
    for part in PARTS:
        common: _Cells = {}
        leaves = [dict(_leaves(corner[part])) for corner in corners]
        for steps in dict.fromkeys(s for corner in leaves for s in corner):
            cells = [
                _cell(writer, c["name"], part, steps, v, w)
                for c, v, w in zip(corners, leaves, written, strict=True)
            ]
            inherited = [i for i, w in enumerate(written) if not lookup(w, (part, *steps))[0]]
            shared = [cells[i] for i in inherited]
            is_common = bool(shared) and shared[0] is not None and all(c == shared[0] for c in shared)
            if is_common:
                common[steps] = shared[0]
            for i, cell in enumerate(cells):
                if cell is not None and not (is_common and i in inherited):
                    own[i][part][steps] = cell
        writer.table(part, common, lambda *s, part=part: lookup(tree, (part, *s))[0], part)
    return own


def _cell(
    writer: _Writer, name: str, part: str, steps: tuple[str, ...], leaves: _Cells, written: Mapping[str, Any]
) -> Any:
    if steps not in leaves:
        return None
    tail = ".".join((part, *steps))
    cell = writer.cell(f"corner.{name}.{tail}", leaves[steps])
    if lookup(written, (part, *steps))[0] or cell != leaves[steps]:
        return cell
    return writer.cell(tail, leaves[steps])


def _corners(
    writer: _Writer,
    corners: Sequence[Mapping[str, Any]],
    own: Sequence[dict[str, _Cells]],
    tree: Mapping[str, Any],
) -> None:
    for corner, parts, written in zip(corners, own, corners_of(dict(tree)), strict=True):
        name = corner["name"]
        writer.lines += ["", "[[corner]]"]
        for key in ("name", "x_mm", "y_mm"):
            writer.lines.append(f"{key} = {toml_value(writer.cell(f'corner.{name}.{key}', corner[key]))}")
        for part, cells in parts.items():
            given = lambda *s, part=part, written=written: lookup(written, (part, *s))[0]  # noqa: E731
            writer.table(f"corner.{part}", cells, given, f"corner.{name}.{part}")
