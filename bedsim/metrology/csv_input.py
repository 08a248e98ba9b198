"""CSV files written by hand: columns with units in their names, `# key = value` lines on top, faults in one
list."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.number_text import number
from bedsim.table_text import LARGEST_NUMBER, TableText, as_number, read_table_text
from bedsim.units import DEG, GRAVITY, LENGTHS

Array = NDArray[np.float64]

ALONG = {unit: LENGTHS[unit] for unit in ("mm", "inch")}
"""Units of a place along a screw or a height: nobody writes these in micrometres."""
FORCES = {"n": 1.0, "kgf": GRAVITY, "lbf": 0.45359237 * GRAVITY}  # the avoirdupois pound, kg, by definition
MASSES = {"g": 1e-3, "kg": 1.0}
ANGLES = {"deg": DEG}
TIMES = {"s": 1.0}
NUMBERS = {"": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A file read: numbers in SI by quantity, words by column, line numbers, and the `# key = value`
    lines."""

    path: str
    numbers: dict[str, Array]
    words: dict[str, tuple[str, ...]]
    lines: tuple[int, ...]
    notes: dict[str, str]

    def fault(self, row: int, column: str, value: object, rule: str) -> InputError:
        """Make the message for one cell."""
        return InputError(f"{self.path}: line {self.lines[row]}, {column} = {value}: {rule}")


def read_header(path: Path) -> TableText:
    """Column names, `# key = value` notes and rows of a table; InputError if unreadable or empty."""
    if path.suffix.lower() == ".toml":
        raise InputError(
            f"{path}: is a file of keys (TOML), not a table of readings. `bedsim gauge --recipe NAME` tells "
            "how to take them, `bedsim gauge --blank NAME FILE` writes a table to fill in."
        )
    text = read_table_text(path)
    if not text.rows:
        raise InputError(f"{path}: holds no table. `bedsim gauge --blank NAME FILE` writes an empty one.")
    return text


def read_table(
    path: Path, quantities: Mapping[str, Mapping[str, float]], words: Mapping[str, tuple[str, ...]]
) -> Table:
    """Read a table.

    Parameters
    ----------
    quantities : per quantity its allowed units and their factors; the column is named quantity_unit
    words : per text column the words allowed

    Raises InputError with all faults of the file in one list: unknown column, two columns of one quantity in
    different units, empty cells, text in a number.
    """
    text = read_header(path)
    header, rows = text.header, text.rows[1:]
    columns, faults = _columns(path, header, quantities, words)
    if faults:
        raise InputError("\n".join(faults))
    if not rows:
        raise InputError(f"{path}: the table has no rows.")
    numbers: dict[str, list[float]] = {q: [] for q, _ in columns.values() if q in quantities}
    texts: dict[str, list[str]] = {q: [] for q, _ in columns.values() if q in words}
    faults += _empty(path, [name for name in header if columns[name][0] in numbers], header, rows)
    for line, cells in rows:
        if (wrong := text.wrong_count(cells)) is not None:
            faults.append(f"{path}: line {line} {wrong}.")
            continue
        for name, cell in zip(header, cells, strict=True):
            quantity, factor = columns[name]
            if quantity in numbers:
                numbers[quantity].append(_number(path, line, name, cell, faults) * factor)
            else:
                texts[quantity].append(_word(path, line, name, cell, words[quantity], faults))
    if faults:
        raise InputError("\n".join(faults))
    return Table(
        path=str(path),
        numbers={q: np.array(v) for q, v in numbers.items()},
        words={q: tuple(v) for q, v in texts.items()},
        lines=tuple(line for line, _ in rows),
        notes=text.notes,
    )


def note(table: Table, keys: Mapping[str, float], default: float) -> float:
    """A positive number from the file's `# key = value` notes, in SI; two of `keys` are one too many."""
    given = [key for key in keys if key in table.notes]
    if len(given) > 1:
        raise InputError(f"{table.path}: {' and '.join(given)}: keep one of them.")
    for key in given:
        value = as_number(table.notes[key])
        if not value > 0:
            raise InputError(f"{table.path}: {key} = {table.notes[key]}: must be a number > 0.")
        return value * keys[key]
    return default


def length_notes(name: str) -> dict[str, float]:
    """The notes that may give a length of this name, by unit, and their factors."""
    return {f"{name}_{unit}": factor for unit, factor in LENGTHS.items()}


def _columns(
    path: Path,
    header: list[str],
    quantities: Mapping[str, Mapping[str, float]],
    words: Mapping[str, tuple[str, ...]],
) -> tuple[dict[str, tuple[str, float]], list[str]]:
    known = {f"{q}_{u}" if u else q: (q, f) for q, units in quantities.items() for u, f in units.items()}
    known |= {w: (w, 1.0) for w in words}
    columns: dict[str, tuple[str, float]] = {}
    seen: dict[str, str] = {}
    faults = []
    for name in header:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"Did you mean {near[0]}?" if near else f"Columns: {', '.join(known)}."
            faults.append(f"{path}: column {name!r} is not known here. {hint}")
            continue
        quantity = known[name][0]
        if quantity in seen:
            faults.append(
                f"{path}: columns {seen[quantity]} and {name}: mixed units. Keep one column of a quantity."
            )
        seen[quantity] = name
        columns[name] = known[name]
    return columns, faults


def _empty(
    path: Path, names: list[str], header: list[str], rows: Sequence[tuple[int, list[str]]]
) -> list[str]:
    """One fault for each column of numbers with empty cells, whether one line or the whole table is blank."""
    faults = []
    for name in names:
        k = header.index(name)
        lines = [line for line, cells in rows if len(cells) == len(header) and not cells[k]]
        if len(lines) == len(rows) > 1:
            faults.append(f"{path}: {name} is empty in all {len(rows)} lines: fill the table in.")
        elif lines:
            where = f"line{'s' * (len(lines) > 1)} {_spans(lines)}"
            faults.append(f"{path}: {where}, {name}: is empty.")
    return faults


def _spans(lines: list[int]) -> str:
    """Line numbers with runs drawn together: 3, 7 to 12."""
    starts = [n for n in lines if n - 1 not in lines]
    ends = [n for n in lines if n + 1 not in lines]
    return ", ".join(f"{a}" if a == b else f"{a} to {b}" for a, b in zip(starts, ends, strict=True))


def _number(path: Path, line: int, name: str, cell: str, faults: list[str]) -> float:
    if not cell:
        return math.nan  # told for the column as a whole
    try:
        value = float(cell)
    except ValueError:
        rule = "must be a number; the unit stands in the column's name."
        faults.append(f"{path}: line {line}, {name} = {cell!r}: {rule}")
        return math.nan
    if math.isnan(as_number(cell)):
        rule = f"at most {number(LARGEST_NUMBER)} in size" if math.isfinite(value) else "finite"
        faults.append(f"{path}: line {line}, {name} = {cell}: must be {rule}.")
    return value


def _word(path: Path, line: int, name: str, cell: str, allowed: tuple[str, ...], faults: list[str]) -> str:
    if allowed and cell not in allowed:
        near = difflib.get_close_matches(cell, allowed, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        faults.append(f"{path}: line {line}, {name} = {cell!r}: must be one of {', '.join(allowed)}.{hint}")
    return cell
