"""Measured histories beside a scenario: what shakes the frame, over time."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError, UnreadableError
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.table_text import as_number, read_table_text

Array = NDArray[np.float64]

COLUMNS = {"acceleration_mm_s2": "acceleration of the frame", "force_n": "force on the frame"}
"""The second column of a history and what it means; the first is time_s."""


def read_history(folder: Path, written: str, where: str) -> tuple[str, Array]:
    """Read a history named in a scenario: the name of its second column, and rows (t, 2) in the file's units.

    `where` names file and key in messages.  Raises InputError listing every fault.
    """
    rows = _cells(_named(folder, written, where), where, written)
    header = rows[0][1] if rows else []
    if len(header) != 2 or header[0] != "time_s" or header[1] not in COLUMNS:
        wanted = " or ".join(f"time_s, {name}" for name in COLUMNS)
        raise InputError(f"{where}: {written}: must have the columns {wanted}; it has {', '.join(header)}.")
    faults: list[str] = []
    values: list[list[float]] = []
    for line, cells in rows[1:]:
        found = _numbers(cells)
        if found is None:
            faults.append(f"{where}: {written} line {line}: {', '.join(cells)!r} are not two numbers.")
        elif values and found[0] <= values[-1][0]:
            faults.append(f"{where}: {written} line {line}: time_s = {found[0]:g} does not grow.")
        else:
            values.append(found)
    if not faults and len(values) < 2:
        faults.append(f"{where}: {written}: has fewer than 2 rows of numbers.")
    if faults:
        raise InputError("\n".join(faults))
    return header[1], np.array(values)


def _named(folder: Path, written: str, where: str) -> Path:
    try:
        return named_file(written, folder)
    except NamedFileError as fault:
        raise InputError(f"{where}: {fault}") from None


def _cells(path: Path, where: str, written: str) -> tuple[tuple[int, list[str]], ...]:
    try:
        return read_table_text(path, written).rows
    except UnreadableError as fault:
        raise InputError(f"{where}: {fault}") from None


def _numbers(cells: list[str]) -> list[float] | None:
    found = [as_number(cell) for cell in cells]
    return found if len(found) == 2 and not any(map(math.isnan, found)) else None
