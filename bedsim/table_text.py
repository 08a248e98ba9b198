"""Tables as people and spreadsheets write them (CSV): the one reader of every table.

Columns are separated by commas, semicolons or tabs, whichever the header has most of; decimals stand behind a
point or a comma, one of the two in a table.  Text is UTF-8 or UTF-16, with or without a mark at its start
(UTF-16: with); lines end as on any system.  A first line `sep=;` is taken, `# key = value` lines are notes.
"""

from __future__ import annotations

import codecs
import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from bedsim.errors import UnreadableError
from bedsim.files import as_text, read_bytes
from bedsim.units import LENGTHS

SEPARATORS = ",;\t"
LARGEST_NUMBER = 1e9
"""Of the numbers in a table, in their own unit: far beyond any reading, far within what can be computed."""

_NOTE = re.compile(r"#\s*([a-z][a-z0-9_]*)\s*=\s*([^#]*)")
_COMMA = re.compile(r"[-+]?\d*,\d+([eE][-+]?\d+)?")
_POINT = re.compile(r"[-+]?\d*\.\d+([eE][-+]?\d+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableText:
    """Rows by line number, the header first, cells without blanks around them and decimals behind a point;
    empty rows are left out.  `notes`: what `# key = value` lines say.  `separator` of the columns."""

    rows: tuple[tuple[int, list[str]], ...]
    notes: dict[str, str]
    separator: str

    @property
    def header(self) -> list[str]:
        """Names of the columns; none in an empty table."""
        return self.rows[0][1] if self.rows else []

    def wrong_count(self, cells: Sequence[str]) -> str | None:
        """What to say of a row that has not one cell for each column; None where it has."""
        if len(cells) == len(self.header):
            return None
        told = f"has {len(cells)} cells, the header has {len(self.header)}"
        if self.separator == "," and len(cells) > len(self.header):
            told += " (decimal commas need semicolons between the columns)"
        return told


def read_table_text(path: Path, name: object = None) -> TableText:
    """Read a table; messages call it `name`, by default its path.  Raises UnreadableError."""
    return table_text(read_bytes(path), path if name is None else name)


def table_text(data: bytes, name: object) -> TableText:
    """Take bytes for a table.  Raises UnreadableError that names the line."""
    text = _decoded(data, name).replace("\r\n", "\n").replace("\r", "\n")
    separator, skipped = _separator(text)
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    try:
        lines = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader]
    except csv.Error as fault:
        raise UnreadableError(name, f"line {reader.line_num}: {fault}") from None
    filled = [(line, cells) for line, cells in lines if any(cells) and line > skipped]
    rows = [(line, cells) for line, cells in filled if not cells[0].startswith("#")]
    remarks = [cells for _, cells in filled if cells[0].startswith("#")]
    return TableText(
        rows=(*rows[:1], *_with_points(rows[1:], name)), notes=_notes(remarks, separator), separator=separator
    )


def in_units(table: TableText, columns: Iterable[str]) -> TableText:
    """The table with lengths in the units that `columns` are named by: a column reading_thou becomes
    reading_um where that is wanted and not there.  What is no number stays as it is."""
    wanted = {name.rpartition("_")[0]: name for name in columns if name.rpartition("_")[2] in LENGTHS}
    given = set(table.header)
    factors: dict[int, float] = {}
    header = list(table.header)
    for k, name in enumerate(table.header):
        stem, _, unit = name.rpartition("_")
        meant = wanted.get(stem, name)
        if unit in LENGTHS and meant not in given:
            factors[k] = LENGTHS[unit] / LENGTHS[meant.rpartition("_")[2]]
            header[k] = meant
    if not factors or len(set(header)) < len(header):
        return table
    rows = [
        (line, [_scaled(c, factors[k]) if k in factors else c for k, c in enumerate(cells)])
        for line, cells in table.rows[1:]
    ]
    return TableText(rows=((table.rows[0][0], header), *rows), notes=table.notes, separator=table.separator)


def as_number(text: str) -> float:
    """A number of a table; not a number where it is none, infinite or larger than any reading can be."""
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if abs(value) <= LARGEST_NUMBER and "_" not in text else math.nan


def _scaled(cell: str, factor: float) -> str:
    value = as_number(cell)
    return cell if math.isnan(value) else repr(float(f"{value * factor:.15g}"))


def _decoded(data: bytes, name: object) -> str:
    if not data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return as_text(data, name)
    try:
        return data.decode("utf-16")
    except UnicodeDecodeError:
        raise UnreadableError(name, "begins as text in UTF-16 and is none") from None


def _separator(text: str) -> tuple[str, int]:
    """What separates columns, told by a line `sep=` or by the header, and how many lines to skip."""
    for number, line in enumerate(text.split("\n"), start=1):
        stated = re.fullmatch(r'"?sep=([,;\t])"?\s*', line)
        if stated and number == 1:
            return stated[1], 1
        if line.strip(' ";,\t') and not line.lstrip(' "').startswith("#"):
            bare = re.sub(r'"[^"]*"', "", line)
            return max(SEPARATORS, key=bare.count), 0
    return ",", 0


def _with_points(rows: Sequence[tuple[int, list[str]]], name: object) -> list[tuple[int, list[str]]]:
    """Decimal commas as points.  Both in one table would leave 1,234 in doubt: refused."""
    with_comma = next(((n, c) for n, cells in rows for c in cells if _COMMA.fullmatch(c)), None)
    if with_comma is None:
        return list(rows)
    with_point = next(((n, c) for n, cells in rows for c in cells if _POINT.fullmatch(c)), None)
    if with_point is not None:
        why = (
            f"line {with_comma[0]}: {with_comma[1]} beside {with_point[1]} in line {with_point[0]}: decimals "
            "stand behind a comma or a point, not both in one table, and thousands are not separated"
        )
        raise UnreadableError(name, why)
    return [(n, [c.replace(",", ".") if _COMMA.fullmatch(c) else c for c in cells]) for n, cells in rows]


def _notes(remarks: Sequence[Sequence[str]], separator: str) -> dict[str, str]:
    """What `# key = value` lines say.  A spreadsheet splits them at its separator as it does the rest."""
    notes = {}
    for cells in remarks:
        found = _NOTE.match(", ".join(cell for cell in cells if cell))
        if found:
            value = found[2].strip()
            # in a table of semicolons a comma without a blank is a decimal one, as in 400,5
            notes[found[1]] = value if separator == "," else re.sub(r"(\d),(?=\d)", r"\1.", value)
    return notes
