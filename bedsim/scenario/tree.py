"""The file's tree of tables: common parts merged into corners, overrides set, and the key of each value."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from bedsim.scenario.faults import Faults
from bedsim.scenario.keys import PARTS, Loc, field_at, known_keys, nearest, table_at, unknown_key_hint

Tree = dict[str, Any]


def merged(common: Any, own: Any) -> Any:
    """Merge two tables key by key, own values winning; an uncertain number is replaced whole."""
    if not isinstance(common, Mapping) or not isinstance(own, Mapping):
        return copy.deepcopy(own)
    if "likely" in common or "likely" in own:
        return copy.deepcopy(dict(own))
    result = copy.deepcopy(dict(common))
    for key, value in own.items():
        result[key] = merged(common[key], value) if key in common else copy.deepcopy(value)
    return result


def corners_of(tree: Tree) -> list[Tree]:
    """Give the corner tables as written; anything that is not a list of tables gives none."""
    listed = tree.get("corner", [])
    return [c for c in listed if isinstance(c, dict)] if isinstance(listed, list) else []


def listed_corners(full: Tree) -> Iterator[tuple[int, Tree]]:
    """Go through the corners of a complete tree with their index, leaving out what is not a table."""
    listed = full.get("corner", ())
    for index, corner in enumerate(listed if isinstance(listed, list | tuple) else ()):
        if isinstance(corner, dict):
            yield index, corner


def expanded(tree: Tree) -> Tree:
    """Give every corner all its parts: the common tables with the corner's own values on top."""
    full = {key: copy.deepcopy(value) for key, value in tree.items() if key not in PARTS}
    # A file without corners still has its common tables checked, in a corner that stands for all.
    listed = tree.get("corner", [{"name": "all", "x_mm": 0.0, "y_mm": 0.0}])
    if isinstance(listed, list):
        full["corner"] = [_with_parts(c, tree) if isinstance(c, dict) else c for c in listed]
    return full


def _with_parts(corner: Tree, tree: Tree) -> Tree:
    whole = copy.deepcopy(corner)
    for part in PARTS:
        common = tree.get(part, {})
        whole[part] = merged(common, corner[part]) if part in corner else copy.deepcopy(common)
    return whole


def lookup(table: Any, steps: Sequence[str | int]) -> tuple[bool, Any]:
    """Walk into nested tables and lists; (found, value)."""
    for step in steps:
        named = isinstance(step, str) and isinstance(table, Mapping) and step in table
        counted = isinstance(step, int) and isinstance(table, list | tuple) and 0 <= step < len(table)
        if not (named or counted):
            return False, None
        table = table[step]
    return True, table


def _joined(steps: Sequence[str | int], tree: Tree) -> str:
    names: list[str] = []
    for depth, step in enumerate(steps):
        if isinstance(step, str):
            names.append(step)
            continue
        entry = lookup(tree, steps[: depth + 1])[1]
        is_named = (
            len(steps) > 1 and depth == 1 and isinstance(entry, dict) and isinstance(entry.get("name"), str)
        )
        names.append(entry["name"] if is_named else str(step + 1))
    return ".".join(names)


def key_of(loc: Sequence[str | int], tree: Tree) -> str:
    """Name a place of the complete scenario as the user would: common if the value comes from a common table.

    Corners and probes go by name, other lists by number from 1.
    """
    steps = tuple(loc)
    if len(steps) < 3 or steps[0] != "corner" or steps[2] not in PARTS or not isinstance(steps[1], int):
        return _joined(steps, tree)
    inner = steps[2:]
    corners = tree.get("corner", [])
    own_found = lookup(tree, steps)[0]
    in_common = lookup(tree, inner)[0]
    elsewhere = any(lookup(c, inner)[0] for c in corners_of(tree))
    if own_found and not (in_common and table_at(steps) is not None and not lookup(tree, steps)[1]):
        return _joined(steps, tree)
    if not in_common and elsewhere and isinstance(corners, list):
        return _joined(steps, tree)
    return _joined(inner, {part: tree.get(part, {}) for part in PARTS})


DEEPEST = 16
"""Tables and lists within each other in a file; ours have six at most."""


class DeepTomlError(tomllib.TOMLDecodeError):
    """Tables within tables without end: whatever walks the tree would go down as far as it does."""

    def __init__(self) -> None:
        super().__init__("tables are nested too deeply")


def toml_tree(text: str) -> Tree:
    """The tree in a text.  Raises TOMLDecodeError, DeepTomlError among them."""
    try:
        tree = tomllib.loads(text)
    except RecursionError:
        raise DeepTomlError from None
    layer: list[Any] = [tree]
    for _ in range(DEEPEST):
        layer = [inner for outer in layer for inner in _within(outer)]
    if layer:
        raise DeepTomlError
    return tree


def _within(thing: Any) -> Iterable[Any]:
    return thing.values() if isinstance(thing, dict) else thing if isinstance(thing, list) else ()


def parsed_value(text: str) -> Any:
    """Read the value of an override as TOML; what is not TOML is taken as text."""
    try:
        table = toml_tree(f"v = {text}")
    except tomllib.TOMLDecodeError:
        return text
    return table["v"] if set(table) == {"v"} else text


def set_key(tree: Tree, key: str, value: Any, faults: Faults) -> None:
    """Set one dotted key in the tree as written, in place; what is wrong with the key goes into `faults`."""
    steps = key.split(".")
    place = _place(tree, steps, key, faults)
    if place is None:
        return
    if steps[0] in PARTS and not _is_inherited(tree, place):
        names = ", ".join(str(c.get("name")) for c in corners_of(tree))
        faults.add(key, "every corner has its own value", hint=f"Set corner.<name>.{key} (corners: {names}).")
        return
    table: Any = tree
    for step, following in pairwise(place):
        if isinstance(step, str) and not isinstance(
            table.get(step), list if isinstance(following, int) else dict
        ):
            table[step] = {}
        table = table[step]
    table[place[-1]] = value


def _is_inherited(tree: Tree, place: Loc) -> bool:
    corners = corners_of(tree)
    return not corners or not all(lookup(c, place)[0] for c in corners)


def _place(tree: Tree, steps: list[str], key: str, faults: Faults) -> Loc | None:
    """Turn a dotted key into steps of the tree as written, with list entries as indices."""
    place: list[str | int] = []
    typed: list[str | int] = ["corner", 0] if steps[0] in PARTS else []
    for name in steps:
        index = None
        if place and table_at(typed) is None:
            index = _entry(tree, place, typed, name, key, faults)
            if index is None:
                return None
        step: str | int = name if index is None else index
        if isinstance(step, str) and step not in known_keys(typed):
            hint = unknown_key_hint([*typed, step] if typed or place else [step])
            faults.add(key, "unknown key", hint=hint)
            return None
        place.append(step)
        typed.append(step)
    return tuple(place)


def _entry(
    tree: Tree, place: Sequence[str | int], typed: Sequence[str | int], name: str, key: str, faults: Faults
) -> int | None:
    """Find the entry of a list of tables by its name, or by its number from 1."""
    field = field_at(typed)
    if field is None or table_at([*typed, 0]) is None:
        faults.add(key, "unknown key", hint=f"{'.'.join(map(str, place))} is a value, not a table.")
        return None
    entries = lookup(tree, place)[1]
    entries = entries if isinstance(entries, list) else []
    names = [str(e.get("name")) for e in entries if isinstance(e, dict) and "name" in e]
    if name in names:
        return names.index(name)
    if not names and name.isdigit() and 1 <= int(name) <= len(entries):
        return int(name) - 1
    near = nearest(name, names)
    listed = ", ".join(names) or f"1 to {len(entries)}" if entries else "none in this scenario"
    faults.add(
        key,
        f"there is no {place[-1]} {name!r}",
        hint=f"Did you mean {near}?" if near else f"Known: {listed}.",
    )
    return None
