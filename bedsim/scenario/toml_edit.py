"""Keys put into the text of a scenario, with its comments and layout kept.

The text is cut into statements (a header, or a key with all lines of its value), each read by tomllib itself;
what came out is read again as a whole and must be the old tree with just those keys changed.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from bedsim.errors import InputError
from bedsim.scenario.tree import Tree, corners_of, lookup, toml_tree

Steps = tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """A key and the TOML of its new value; None: the key is turned into a comment.

    `corner`: number from 0 of the corner whose own key it is, None for the common tables.
    """

    corner: int | None
    key: Steps
    value: str | None


@dataclass(frozen=True, slots=True)
class _Statement:
    """Lines `first` to `last` (not included): the header of a `table`, or a key in it.

    `corner`: number of the corner it belongs to; `steps` of a key below its header; `braced`: a value in
    braces, or the header of one of a list.
    """

    first: int
    last: int
    corner: int | None
    table: Steps
    steps: Steps
    is_header: bool
    braced: bool

    @property
    def path(self) -> Steps:
        """From the corner, or the top, down to the key; of a header: to its table."""
        return (*self.table, *self.steps)


def edited(text: str, edits: Sequence[Edit], name: str) -> str:
    """The text of a scenario with keys put in, replaced or made comments; messages call it `name`.

    A new key stands below those of its table, a new table below those of its corner, or before the first
    corner.  Raises InputError where the layout does not allow it: nothing is guessed.
    """
    line_end = "\r\n" if "\r\n" in text else "\n"
    text = text.replace("\r\n", "\n")
    tree = toml_tree(text)
    if "corner" in tree and not _headed_corners(text):
        raise InputError(f"{name}: corner: keys are put into [[corner]] tables, one header for each.")
    for edit in edits:
        text = _put(text, edit, name)
    found = _parsed(text)
    if found is None or found != _expected(tree, edits):
        raise InputError(f"{name}: its layout is not understood well enough to put keys in: do it by hand.")
    return text.replace("\n", line_end)


def _headed_corners(text: str) -> bool:
    """Whether corners stand below headers, not in one list in brackets."""
    return any(line.replace(" ", "").replace("\t", "").startswith("[[corner]]") for line in text.splitlines())


def _expected(tree: Tree, edits: Sequence[Edit]) -> Tree:
    found = copy.deepcopy(tree)
    for edit in edits:
        table: Any = found
        if edit.corner is not None:
            table = corners_of(found)[edit.corner]
        for step in edit.key[:-1]:
            table = table.setdefault(step, {}) if edit.value is not None else table.get(step, {})
        if edit.value is None:
            table.pop(edit.key[-1], None)
        else:
            table[edit.key[-1]] = tomllib.loads(f"x = {edit.value}")["x"]
    return found


def _put(text: str, edit: Edit, name: str) -> str:
    lines = text.split("\n")
    statements = list(_statements(lines))
    here = [s for s in statements if s.corner == edit.corner]
    keys = [s for s in here if not s.is_header]
    own = next((s for s in keys if s.path == edit.key), None)
    braced = next((s for s in keys if s.braced and edit.key[: len(s.path)] == s.path != edit.key), None)
    if braced is not None:
        whole = _parsed("\n".join(lines[braced.first : braced.last]))
        if edit.value is None and not lookup(whole, (*braced.steps, *edit.key[len(braced.path) :]))[0]:
            return text
        raise InputError(
            f"{name}: line {braced.first + 1}: {'.'.join(braced.path)} stands in braces: write a table of "
            "its own, one key a line, to have keys put in."
        )
    if edit.value is None:
        if own is not None:
            lines[own.first : own.last] = [f"# {line}" for line in lines[own.first : own.last]]
        return "\n".join(lines)
    if own is not None:
        lines[own.first : own.last] = [_replaced(lines[own.first : own.last], edit.value)]
        return "\n".join(lines)
    table = edit.key[:-1]
    at, new = _place(statements, here, table, f"{edit.key[-1]} = {edit.value}")
    lines[at:at] = new
    return "\n".join(lines)


def _place(
    statements: Sequence[_Statement], here: Sequence[_Statement], table: Steps, line: str
) -> tuple[int, list[str]]:
    """Before which line a new key of `table` goes, and the lines to put there."""
    beside = [s for s in here if (s.path if s.is_header else s.path[:-1]) == table]
    if beside:
        after = beside[-1]
        dotted = "" if after.is_header else "".join(f"{step}." for step in after.steps[:-1])
        return after.last, [dotted + line]
    if here and here[0].corner is not None:
        return here[-1].last, [f"[{'.'.join(('corner', *table))}]", line]
    lists = [s.first for s in statements if s.corner is not None or (s.is_header and s.braced)]
    before = [s.last for s in statements if not lists or s.first < lists[0]]
    return (before[-1] if before else 0), ["", f"[{'.'.join(table)}]", line, *([] if before else [""])]


def _statements(lines: Sequence[str]) -> Iterator[_Statement]:
    """Headers and keys in order; comments and blank lines belong to none."""
    corner: int | None = None
    table: Steps = ()
    number, corners = 0, 0
    while number < len(lines):
        last = number + 1
        while (found := _parsed("\n".join(lines[number:last]))) is None:
            last += 1
        start = lines[number].lstrip()
        if found and start.startswith("["):
            listed, steps = start.startswith("[["), _steps(found)
            corners += listed and steps == ("corner",)
            in_corner = steps[0] == "corner"
            corner, table = (corners - 1, steps[1:]) if in_corner else (None, steps)
            yield _Statement(number, last, corner, table, (), True, listed)
        elif found:
            steps = _steps(_parsed(_key_text(lines[number]) + "= 0") or {})
            braced = isinstance(lookup(found, steps)[1], Mapping)
            yield _Statement(number, last, corner, table, steps, False, braced)
        number = last


def _parsed(text: str) -> Tree | None:
    """The tree in a text; None where it is no TOML by itself."""
    try:
        return toml_tree(text)
    except tomllib.TOMLDecodeError:
        return None


def _steps(tree: Any) -> Steps:
    """Down through tables that hold one thing each."""
    while isinstance(tree, list):
        tree = tree[0]
    if not isinstance(tree, Mapping) or not tree:
        return ()
    key = next(iter(tree))
    return (key, *_steps(tree[key]))


def _key_text(line: str) -> str:
    """What stands before the = that ends a key: there may be others in a quoted one."""
    cuts = (k for k, letter in enumerate(line) if letter == "=")
    return next(line[:k] for k in cuts if _parsed(line[:k] + "= 0"))


def _replaced(lines: Sequence[str], value: str) -> str:
    """A key with another value; the comment behind it stays."""
    whole, key = "\n".join(lines), _key_text(lines[0])
    old = _parsed(whole)
    cuts = (k for k, letter in enumerate(whole) if letter == "#" and k > len(key))
    comment = next((whole[k:] for k in cuts if _parsed(whole[:k]) == old), None)
    return f"{key}= {value}" if comment is None else f"{key}= {value}  {comment}"
