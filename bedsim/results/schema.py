"""The result file: every dataset with its axes, unit, meaning, type and the field it comes from.

They are stated where the fields are, in `bedsim.quantities` and `bedsim.results.layers`.  The writer, the
reader and `results/README.md` are all made from `DATASETS`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from bedsim.program.laid import FIRST_COLUMNS, OUTLINE_COLUMNS, STATION_COLUMNS
from bedsim.quantities import REPORTED, Quantity, quantities_of
from bedsim.results.answer import RunAnswer
from bedsim.results.dataset import Dataset
from bedsim.results.layers import SPREAD_MOMENTS, LayerResult, Open, Trace
from bedsim.results.sweep_schema import (
    SWEEP_GROUPS,
    SWEEP_NUMBERS,
    SWEEP_TEXTS,
    SWEEP_TYPE,
    SWEEP_VERSION,
    of_sweep,
)
from bedsim.scenario.tables import DEVIATION, OFFSETS

FILE_TYPE = "bedsim run"
SOLVER_STATUS = "finished"  # kept for readers of 1.0

ROOT_ATTRIBUTES: tuple[tuple[str, str], ...] = (
    ("file_type", f"always '{FILE_TYPE}'"),
    ("format_version", "two integers, major and minor"),
    ("program_version", "version of bedsim that wrote the file"),
    ("program", "identity of the program: code, libraries, matrix kernels; the same one gives the same bits"),
    ("engine", "name of the engine"),
    ("solver_status", f"always '{SOLVER_STATUS}': a run that did not finish leaves no file"),
    ("solver_message", "the solver's own message"),
    ("seed", "seed of random draws"),
    ("created", "date and time, ISO 8601, UTC"),
    ("notes", "remarks of the run, a list of texts"),
)

SCENARIO_GROUP = "scenario"
TABLES_GROUP = "scenario/tables/table_<n>"
LAYERS_GROUP = "layers"
TRACE_GROUP = "trace/layer_<n>"
OPEN_GROUP = "open"
ANSWER_GROUP = "answer"
STATISTICS_GROUP = "statistics"

README = Path(__file__).parents[2] / "results" / "README.md"
"""Written by `python -m bedsim.results.schema`."""


def _datasets(group: str, quantities: Iterable[Quantity]) -> Iterator[Dataset]:
    for q in quantities:
        yield Dataset(
            group=group,
            name=q.name,
            dims=q.dims,
            unit=q.unit,
            long_name=q.meaning,
            kind=q.kind,
            field=q.field,
            since=q.since,
        )


def _labels(group: str, **meaning: str) -> Iterator[Dataset]:
    """Fixed names of what stands along an axis."""
    for name, text in meaning.items():
        yield Dataset(group=group, name=name, dims=(name,), unit="", long_name=text, kind="text")


def _text(name: str, long_name: str) -> Dataset:
    field = f"scenario_{name}"
    return Dataset(
        group=SCENARIO_GROUP, name=name, dims=(), unit="", long_name=long_name, kind="text", field=field
    )


_AXES = {"axis": "horizontal axis", "bed_coordinate": "shift, rotation or twist shape of the bed"}
_REPORTED = {q.field for q in REPORTED}

DATASETS: tuple[Dataset, ...] = (
    _text("source", "scenario as written"),
    _text("resolved", "scenario with every default filled in"),
    *_labels(LAYERS_GROUP, **_AXES, rotation="axis of rotation"),
    *_datasets(LAYERS_GROUP, (q for q in quantities_of(LayerResult) if q.field not in _REPORTED)),
    *_datasets(LAYERS_GROUP, REPORTED),
    *_labels(TRACE_GROUP, **_AXES, probe="name of the probe", corner="name of the corner"),
    *_datasets(TRACE_GROUP, quantities_of(Trace)),
    *_labels(OPEN_GROUP, probe="name of the probe", moment="product of two half ranges"),
    *_datasets(OPEN_GROUP, quantities_of(Open)),
    *_datasets(ANSWER_GROUP, quantities_of(RunAnswer)),
)

FORMAT_VERSION = max(((1, 2), *(d.since for d in DATASETS)))  # 1.1: the scenario's tables, 1.2: what is open

TABLE_COLUMNS = (
    OFFSETS,
    DEVIATION,
    *(tuple(name for name, _ in columns) for columns in (STATION_COLUMNS, OUTLINE_COLUMNS)),
    tuple(name for name, _ in STATION_COLUMNS[:FIRST_COLUMNS]),
)
"""Columns that a table of the scenario may have, each a dataset of its own; the first one is the scale."""


def columns_of(width: int) -> tuple[tuple[str, str], ...]:
    """Names and units of the columns of a table with `width` columns."""
    names = next(columns for columns in TABLE_COLUMNS if len(columns) == width)
    own = dict((*STATION_COLUMNS, *OUTLINE_COLUMNS))
    return tuple((name, own.get(name) or name.rpartition("_")[2]) for name in names)


# Named in the group's `coordinates` attribute: readers that know the CF conventions treat them as
# coordinates.
AUXILIARY_COORDINATES = ("print_height", "commanded_height", "probe_position", "corner_position")


def of_group(group: str) -> tuple[Dataset, ...]:
    """Datasets of one group, in the order of the list."""
    return tuple(d for d in DATASETS if d.group == group)


def bed_coordinates(count: int) -> tuple[str, ...]:
    """Names of the bed's `count` coordinates: three shifts, three rotations, then twist shapes."""
    return ("tx", "ty", "tz", "wx", "wy", "wz", *(f"twist{i + 1}" for i in range(count - 6)))


def labels(
    probe_name: tuple[str, ...], corner_name: tuple[str, ...], bed_count: int
) -> Mapping[str, tuple[str, ...]]:
    """Labels of every axis that is counted by name."""
    return {
        "probe": probe_name,
        "corner": corner_name,
        "axis": ("x", "y"),
        "rotation": ("x", "y", "z"),
        "bed_coordinate": bed_coordinates(bed_count),
        "moment": SPREAD_MOMENTS,
    }


def check_shapes(group: str, shapes: Mapping[str, tuple[int, ...]], sizes: Mapping[str, int]) -> None:
    """Compare the shapes of a group's arrays with the sizes of their axes.

    Raises ValueError naming the first array that does not fit: an engine's fault, not the user's.
    """
    for d in of_group(group):
        expected = tuple(sizes[axis] for axis in d.dims)
        if d.name in shapes and shapes[d.name] != expected:
            raise ValueError(f"{group}/{d.name} has shape {shapes[d.name]}, but {d.dims} ask for {expected}")


def unknown(dataset: Dataset, sizes: Mapping[str, int]) -> Any:
    """What a file from before `dataset` came up tells of it: nothing, as not a number (a flag: not set)."""
    empty = np.nan if dataset.kind == "float64" else 0
    return np.full([sizes[axis] for axis in dataset.dims], empty, dtype=dataset.kind)


_README_HEAD = """\
# Result files

`bedsim run` writes one HDF5 file per run and `bedsim sweep` one per sweep, here unless `--output` says
otherwise. This page is generated from `bedsim/results/schema.py` and `sweep_schema.py`; a test keeps them in
step.

Everything is in SI but for the scenario's texts and tables, which keep their own units.

    bedsim.open("results/first.h5")               # either kind as one labelled Dataset of xarray
    bedsim.open("results/grades.h5", chunks={})   # its arrays dask's: read as they are worked out

(`pip install 'bedsim[xarray]'`.) A run's Dataset holds the group `layers` with the group `answer` beside it;
a sweep's stands over the axes of its plan (over `cell` where the cells are no full grid), with `printer`,
`quantile`, `metric`, `layer` and `machine` as further axes. Units, long names and coordinates are named as
the CF conventions have them.

Every array carries the attributes `units` and `long_name` and HDF5 dimension scales, so plain readers do
as well:

    h5py.File("results/first.h5")["layers/height_error"][:]        # (layer, probe), metres
    xarray.open_dataset("results/first.h5", group="layers", engine="h5netcdf")

`bedsim.open_result` and `bedsim.open_sweep` give the same names as frozen objects, `bedsim.to_csv` and
`to_json` tables and texts for other programs.

The file is complete or absent: it is written beside its target and renamed when it is whole. Nothing
outside the file is needed to read it.

**Promise.** Minor versions only add; a name, unit or meaning changes only with the major version. bedsim
reads every older minor version of its own major version and refuses any other file with one sentence.

X points right, Y back, Z up; angles count about +Z as seen from above. A positive height error means that
the bed is nearer the nozzle than commanded.
"""


_README_KNOWLEDGE = """\
## What was learnt of a machine

`bedsim learn --keep FILE.json` writes one JSON file, complete or not at all, best beside the scenario, which
names it: `[learnt] file = "FILE.json"`. `run`, `compare`, `sweep`, `improve` and `size` then take the
likeliest numbers, and the first four the machines too: what is learnt lies in numbers together, and ranges of
single keys would lose most of it. Keys that were changed in the scenario since drop out by name and are drawn
from their ranges again; a file of another machine (bed, drive, corners with screws and guides) is refused.
"""
_KNOWLEDGE = (
    ("format", "`bedsim knowledge 1`"),
    ("title, machine", "title of the scenario; lines that say which machine it is"),
    ("readings", "files of readings by name, each with the first 16 digits of its SHA-256"),
    ("keys", "numbers that were open (k): key; low, likely and high as the scenario had them, in its unit"),
    ("likely", "likeliest values (k) under all readings"),
    ("machines", "values (machines, k) of machines that agree with all readings, one as likely as another"),
    ("columns", "unknowns (n) of the fit: keys, and vectors of screws by corner and part"),
    ("directions", "orthonormal directions D (r, n) that the readings narrow by 3 % or more"),
    (
        "left",
        "part (r) of its spread that each is left with: covariance 1 - D^T diag(1 - left^2) D, every unknown "
        "in standard deviations of its own distribution",
    ),
)


def _rows(header: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(header) + " |", "|" + "---|" * len(header)]
    return "\n".join(lines + ["| " + " | ".join(row) + " |" for row in rows]) + "\n"


def _group_table(group: str) -> str:
    return _table_of(of_group(group))


def _table_of(datasets: Sequence[Dataset]) -> str:
    header = ("dataset", "dimensions", "unit", "type", "meaning")
    rows = [
        (
            f"`{d.name}`",
            ", ".join(d.dims),
            d.unit,
            "0 or 1 (int8)" if d.kind == "bool" else d.kind,
            d.long_name,
        )
        for d in datasets
    ]
    return _rows(header, rows)


def readme() -> str:
    """Text of `results/README.md`."""
    attributes = _rows(("attribute", "meaning"), [(f"`{n}`", m) for n, m in ROOT_ATTRIBUTES])
    return "\n".join(
        [
            _README_HEAD,
            f"# A run\n\nFormat version: {_version(FORMAT_VERSION)}\n",
            "## Root attributes\n",
            attributes,
            f"The group `{STATISTICS_GROUP}` carries the solver's counts and times as attributes.\n",
            f"## Group `{SCENARIO_GROUP}`\n",
            _group_table(SCENARIO_GROUP),
            f"## Group `{TABLES_GROUP}`\n",
            "One group for each CSV table that the scenario names; its attribute `written` is the path as "
            "written there.\nGauge readings are kept as the offsets they gave. A table has the columns\n",
            *(f"- {', '.join(f'`{name}`' for name in columns)}" for columns in TABLE_COLUMNS),
            "",
            f"## Group `{LAYERS_GROUP}`\n",
            _group_table(LAYERS_GROUP),
            f"## Group `{TRACE_GROUP}`\n",
            "One group for each layer whose time history was asked for; its attribute `layer` says which.\n",
            _group_table(TRACE_GROUP),
            f"## Group `{OPEN_GROUP}`\n",
            "What the scenario's uncertain numbers leave open of every layer, where `bedsim run` varied "
            "them; its attribute `method` says how.\nx, y: sideways; h: height; s: height less that of the "
            "layer before.\n",
            _group_table(OPEN_GROUP),
            f"## Group `{ANSWER_GROUP}`\n",
            "What the summary says; its attribute `verdict` is the sentence on top. Absent where it was not "
            "worked out.\n",
            _group_table(ANSWER_GROUP),
            _README_KNOWLEDGE,
            _rows(("name", "meaning"), [(f"`{name}`", meaning) for name, meaning in _KNOWLEDGE]),
            *_sweep_part(),
        ]
    )


def _sweep_part() -> list[str]:
    about = {"file_type": f"always '{SWEEP_TYPE}'", "format_version": "two integers, major and minor"}
    about |= {**SWEEP_TEXTS, **SWEEP_NUMBERS, "seed": "seed of random draws"}
    tables = [part for g in SWEEP_GROUPS for part in (f"## Group `{g}`\n", _table_of(of_sweep(g)))]
    return [
        f"# A sweep\n\nFormat version: {_version(SWEEP_VERSION)}\n",
        "## Root attributes of a sweep\n",
        _rows(("attribute", "meaning"), [(f"`{n}`", m) for n, m in about.items()]),
        "`<n>` counts from 0. The groups `sensitivity`, `machines` and `doubt` are empty where nothing was "
        "worked out;\nthe attributes of `doubt` are `cell`, `now` and `foretold` (share with no key "
        "known, and how well keys one by\none foretell the machines).\n",
        *tables,
    ]


def _version(version: tuple[int, int]) -> str:
    return ".".join(map(str, version))


def source_of(dataset: Dataset, owner: Any, names: Mapping[str, tuple[str, ...]]) -> Any:
    """Value of a dataset: the owner's field, or the labels of its axis."""
    return getattr(owner, dataset.field) if dataset.field else names[dataset.name]


if __name__ == "__main__":
    README.write_text(readme(), encoding="utf-8")
