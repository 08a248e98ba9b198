"""CSV tables beside a scenario: measured run-out, travel deviation, guide straightness."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import UnreadableError
from bedsim.scenario.faults import Faults
from bedsim.scenario.keys import nearest
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.table_text import TableText, as_number, in_units, read_table_text
from bedsim.units import LENGTHS

Array = NDArray[np.float64]

OFFSETS = ("position_mm", "offset_x_um", "offset_y_um")
DEVIATION = ("position_mm", "deviation_um")
READINGS = ("position_mm", "angle_deg", "reading_um")

LAYOUTS: dict[tuple[str, ...], tuple[tuple[str, ...], ...]] = {
    ("screw", "run_out", "table"): (OFFSETS, READINGS),
    ("screw", "travel", "table"): (DEVIATION,),
    ("guide", "table"): (OFFSETS,),
}
"""Where a table may be named, and the columns it may have there."""

# Notes on gauge readings that leave the offsets as they are, and those that may say the usual way only.
_NO_MATTER = {"ends", "test"} | {
    f"{what}_{unit}"
    for what in ("length", "diameter", "resolution", "repeatability", "support_uncertainty")
    for unit in LENGTHS
}
_USUAL_WAY = {"setup": ("nut", "bearings"), "gauge_deg": ("0", "0.0"), "angles": ("turned",)}


def read_table(
    written: str, key: str, layouts: Sequence[tuple[str, ...]], folder: Path, faults: Faults
) -> Array | None:
    """Read one CSV table named in a scenario.

    Gives an array (row, column) in the file's units: position_mm, offset_x_um, offset_y_um or position_mm,
    deviation_um, sorted by position.  Gauge readings around the screw are turned into offsets.  What is wrong
    goes into `faults` and gives None.
    """
    try:
        text = read_table_text(named_file(written, folder), written)
    except NamedFileError as fault:
        faults.add(key, fault.rule, value=written, hint=fault.hint)
        return None
    except UnreadableError as fault:
        faults.add(key, fault.why, value=written)
        return None
    reader = _Reader(written, key, faults)
    rows = reader.rows(in_units(text, (name for layout in layouts for name in layout)), layouts)
    if rows is None:
        return None
    columns, lines, values = rows
    if columns == READINGS and (note := _other_way(text.notes)) is not None:
        hint = "Let bedsim gauge turn the readings into a table of offsets, and name that table."
        faults.add(key, f"{written}: the note {note} on how it was read is not taken here", hint=hint)
        return None
    return reader.offsets(lines, values) if columns == READINGS else reader.sorted(lines, values)


def _other_way(notes: dict[str, str]) -> str | None:
    """The first note `# key = value` of readings that were not taken in the one way understood here."""
    found = (k for k, v in notes.items() if k not in _NO_MATTER and v not in _USUAL_WAY.get(k, ()))
    return next(found, None)


class _Reader:
    """Checks of one table; every message names the key, the file and the line."""

    def __init__(self, written: str, key: str, faults: Faults) -> None:
        self._written, self._key, self._faults = written, key, faults

    def _fault(self, rule: str, line: int | None = None, hint: str = "") -> None:
        place = f"{self._written} line {line}: " if line else f"{self._written}: "
        self._faults.add(self._key, place + rule, hint=hint)

    def rows(
        self, text: TableText, layouts: Sequence[tuple[str, ...]]
    ) -> tuple[tuple[str, ...], list[int], list[list[float]]] | None:
        """Give the columns found, line numbers and values of the rows; None if the table is no good."""
        lines: list[int] = []
        values: list[list[float]] = []
        columns = self._columns(text.header, layouts) if text.rows else layouts[0]
        if columns is None:
            return None
        for line, cells in text.rows[1:]:
            numbers = self._numbers(text, cells, columns, line)
            if numbers is not None:
                lines.append(line)
                values.append(numbers)
        sound = len(values) == len(text.rows[1:])
        if sound and len(values) < 2:
            self._fault("has fewer than 2 rows of numbers")
            return None
        return (columns, lines, values) if sound else None

    def _columns(self, header: list[str], layouts: Sequence[tuple[str, ...]]) -> tuple[str, ...] | None:
        for layout in layouts:
            if sorted(header) == sorted(layout):
                return layout
        wanted = " or ".join(", ".join(layout) for layout in layouts)
        hint = ""
        known = {column for layout in layouts for column in layout}
        for name in header:
            near = nearest(name, known - set(header))
            if not hint and name not in known and near:
                hint = f"{name}: did you mean {near}?"
        self._fault(f"must have the columns {wanted}; it has {', '.join(header)}", hint=hint)
        return None

    def _numbers(
        self, text: TableText, cells: list[str], columns: tuple[str, ...], line: int
    ) -> list[float] | None:
        if (wrong := text.wrong_count(cells)) is not None:
            self._fault(wrong, line)
            return None
        row = dict(zip(text.header, cells, strict=True))
        numbers = []
        for column in columns:
            number = as_number(row[column])
            if math.isnan(number):
                self._fault(f"{column} = {row[column]!r} is not a number", line)
                return None
            numbers.append(number)
        return numbers

    def sorted(self, lines: list[int], values: list[list[float]]) -> Array | None:
        """Check that positions grow from row to row."""
        for line, before, row in zip(lines[1:], values, values[1:], strict=False):
            if row[0] <= before[0]:
                word = "repeats" if row[0] == before[0] else "is below"
                self._fault(f"position_mm = {row[0]:g} {word} the one before; positions must grow", line)
                return None
        return np.array(values)

    def offsets(self, lines: list[int], values: list[list[float]]) -> Array | None:
        """Turn dial gauge readings around the screw into offsets of its centreline.

        The gauge stands on the +X side of the screw and its reading grows outwards; angle is how far the
        screw is turned from its clocking zero, counter-clockwise seen from above. By least squares at
        each position reading = mean + x cos(angle) - y sin(angle): (x, y) is the offset in the screw's
        own frame, and for a round screw the span of the readings (TIR) is twice its length.
        """
        data = np.array(values)
        steps = np.diff(data[:, 0])
        if np.any(steps < 0):
            self._fault("position_mm goes back; positions must grow", lines[int(np.argmax(steps < 0)) + 1])
            return None
        positions = np.unique(data[:, 0])
        if len(positions) < 2:
            self._fault("has readings at one position only, at least 2 needed")
            return None
        result = np.empty((len(positions), 3))
        for row, position in enumerate(positions):
            chosen = data[data[:, 0] == position]
            angles, reading = np.radians(chosen[:, 1]), chosen[:, 2]
            directions = np.unique(np.round(np.mod(chosen[:, 1], 360.0), 6))
            waves = np.column_stack([np.ones_like(angles), np.cos(angles), -np.sin(angles)])
            if len(directions) < 4 or np.linalg.cond(waves) > 10:
                self._fault(f"position_mm = {position:g} needs at least 4 readings spread around the screw")
                return None
            _, x, y = np.linalg.lstsq(waves, reading, rcond=None)[0]
            result[row] = position, x, y
        return result
