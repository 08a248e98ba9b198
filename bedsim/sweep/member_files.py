"""One printer of a sweep as files: a scenario with its screws, and tables of what no key can say."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.files import write_files
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.tables import DEVIATION, OFFSETS
from bedsim.screws.drawn import travel_table_rows
from bedsim.sweep.member import Member

Array = NDArray[np.float64]

_HEAD = (
    "# Printer {member} of cell {cell} of a sweep: {label}.  Its slow travel variation stands in the tables "
    "beside it.\n"
)
_WITHOUT = (
    "# The sweep's engine, equilibrium, leaves out friction, play and vibration, which bedsim run counts:\n"
    "# its figures come back with bedsim run --engine equilibrium and every friction set to 0.\n"
)
_DIGITS = 5  # of a micrometre: a hundredth of a nanometre


def write_member(found: Member, path: Path, engine: str) -> tuple[Path, ...]:
    """Write a printer as the scenario `path` (.toml) and one CSV beside it per table; gives all files.

    Raises InputError for another ending or a file that exists, ResultFileError for one that cannot be
    written; nothing is half-written then.
    """
    if path.suffix.lower() != ".toml":
        raise InputError(
            f"--write {path}: a scenario ends in .toml, for example {path.stem or 'printer'}.toml."
        )
    texts = {path.parent / name: text for name, text in _texts(found, path, engine)}
    for file in texts:
        if file.exists():
            raise InputError(f"--write {path}: {file} exists already. Give another name.")
    write_files(texts, folder_too=True)
    return tuple(texts)


def _texts(found: Member, path: Path, engine: str) -> Iterator[tuple[str, str]]:
    loaded = member_scenario(found, path.stem)
    head = _HEAD.format(member=found.member, cell=found.cell.index, label=found.cell.label)
    yield path.name, head + (_WITHOUT if engine == "equilibrium" else "") + loaded.resolved_toml()
    for name in _named(loaded):
        yield name, _csv(loaded.tables[name])


def member_scenario(found: Member, stem: str) -> LoadedScenario:
    """The machine of the cell with the printer's screws; its tables are called after `stem`."""
    tables: dict[str, Array] = {}
    keys: dict[str, Any] = {}
    for number, placed in enumerate(found.screws, start=1):
        name = f"{stem}_{_word(placed.corner, number)}_travel.csv"
        position, slow = travel_table_rows(placed.screw)
        tables[name] = np.column_stack([position, np.round(slow, _DIGITS)])
        keys |= placed.keys(name)
    for number, corner in enumerate(found.cell.loaded.scenario.corner, start=1):
        if corner.guide.table is not None:
            name = f"{stem}_{_word(corner.name, number)}_guide.csv"
            tables[name] = found.cell.loaded.tables[corner.guide.table]
            keys[f"corner.{corner.name}.guide.table"] = name
    return replace(found.cell.loaded, tables=tables).with_values(keys)


def _named(loaded: LoadedScenario) -> Iterator[str]:
    for corner in loaded.scenario.corner:
        yield from (t for t in (corner.screw.travel.table, corner.guide.table) if t is not None)


def _word(corner: str, number: int) -> str:
    """A corner's name as part of a file's; its number tells it from names that read alike there."""
    return "_".join((str(number), re.sub(r"\W+", "_", corner))).strip("_")


def _csv(table: Array) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(DEVIATION if table.shape[1] == len(DEVIATION) else OFFSETS)
    rows.writerows([f"{value:.10g}" for value in row] for row in table)
    return text.getvalue()
