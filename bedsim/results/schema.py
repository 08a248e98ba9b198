"""The result file, stated once: every dataset with its axes, unit, meaning, type and the field it comes from.

The writer, the reader and `results/README.md` are all made from `DATASETS`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from bedsim.scenario.tables import DEVIATION, OFFSETS

FILE_TYPE = "bedsim run"
FORMAT_VERSION = (1, 1)  # 1.1: the scenario's tables
SOLVER_STATUS = "finished"  # kept for readers of 1.0

ROOT_ATTRIBUTES: tuple[tuple[str, str], ...] = (
    ("file_type", f"always '{FILE_TYPE}'"),
    ("format_version", "two integers, major and minor"),
    ("program_version", "version of bedsim that wrote the file"),
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
STATISTICS_GROUP = "statistics"

README = Path(__file__).parents[2] / "results" / "README.md"
"""Written by `python -m bedsim.results.schema`."""

Kind = Literal["float64", "int64", "bool", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dataset:
    """One dataset of the file.

    `dims`: names of its axes; a dataset whose only axis carries its own name is the dimension scale of that
    axis.
    `field`: attribute of Run, LayerResult or Trace it is taken from; empty for fixed labels.
    """

    group: str
    name: str
    dims: tuple[str, ...]
    unit: str
    long_name: str
    kind: Kind = "float64"
    field: str = ""

    @property
    def is_scale(self) -> bool:
        """Whether this dataset is the dimension scale of its own axis."""
        return self.dims == (self.name,)


def _layers(
    name: str, dims: str, unit: str, long_name: str, kind: Kind = "float64", field: str = "="
) -> Dataset:
    return _dataset(LAYERS_GROUP, name, dims, unit, long_name, kind, field)


def _trace(
    name: str, dims: str, unit: str, long_name: str, kind: Kind = "float64", field: str = "="
) -> Dataset:
    return _dataset(TRACE_GROUP, name, dims, unit, long_name, kind, field)


def _dataset(group: str, name: str, dims: str, unit: str, long_name: str, kind: Kind, field: str) -> Dataset:
    source = name if field == "=" else field
    return Dataset(
        group=group,
        name=name,
        dims=tuple(dims.split()),
        unit=unit,
        long_name=long_name,
        kind=kind,
        field=source,
    )


DATASETS: tuple[Dataset, ...] = (
    _dataset(SCENARIO_GROUP, "source", "", "", "scenario as written", "text", "scenario_source"),
    _dataset(
        SCENARIO_GROUP,
        "resolved",
        "",
        "",
        "scenario with every default filled in",
        "text",
        "scenario_resolved",
    ),
    _layers("layer", "layer", "1", "layer number, from 1", "int64"),
    _layers("probe", "probe", "", "name of the probe", "text", "probe_name"),
    _layers("corner", "corner", "", "name of the corner", "text", "corner_name"),
    _layers("axis", "axis", "", "horizontal axis", "text", ""),
    _layers("rotation", "rotation", "", "axis of rotation", "text", ""),
    _layers("bed_coordinate", "bed_coordinate", "", "shift, rotation or twist shape of the bed", "text", ""),
    _layers("print_height", "layer", "m", "top of the part after the layer"),
    _layers("commanded_height", "layer", "m", "commanded height of the bed against layer 1"),
    _layers("nut_position", "layer corner", "m", "nut above the lower end of the screw's free length"),
    _layers("probe_position", "probe axis", "m", "place of the probe"),
    _layers("corner_position", "corner axis", "m", "place of the screw axis"),
    _layers("height_error", "layer probe", "m", "height error against layer 1, positive nearer the nozzle"),
    _layers("lateral_error", "layer probe axis", "m", "lateral error against layer 1 at the top of the part"),
    _layers("height_raw", "layer probe", "m", "height error, not referred to layer 1"),
    _layers(
        "lateral_raw",
        "layer probe axis",
        "m",
        "lateral error at the top of the part, not referred to layer 1",
    ),
    _layers(
        "pose_raw", "layer bed_coordinate", "m, rad", "bed against its commanded pose: t and twist m, w rad"
    ),
    _layers("tilt", "layer rotation", "rad", "rotation of the bed against layer 1"),
    _layers("thickness_error", "layer probe", "m", "layer thickness minus the commanded one, 0 for layer 1"),
    _layers(
        "residual_height",
        "layer probe",
        "m",
        "peak height vibration when printing starts; not a number from an engine without inertia",
    ),
    _layers(
        "residual_lateral",
        "layer probe",
        "m",
        "peak lateral vibration when printing starts; likewise",
    ),
    _layers(
        "settle_time",
        "layer",
        "s",
        "from the end of the motion until all probes stay within 0.1 um; likewise",
    ),
    _layers(
        "joint_excursion",
        "layer corner",
        "m",
        "largest way of any of the joint's elements from its middle",
    ),
    _layers("side_force", "layer corner", "N", "largest lateral force between carriage and guide"),
    _layers("load_angle", "layer corner", "rad", "largest load angle of the motor, electrical"),
    _layers(
        "mount_force",
        "layer corner",
        "N",
        "smallest vertical force in the mount, negative: lift-off; not a number where it is bolted: nothing "
        "lifts off there, and no force of its own is known",
    ),
    _layers("axial_force", "layer corner", "N", "smallest load hanging on the screw"),
    _layers("stop_hit", "layer corner", "1", "joint travel used up", "bool"),
    _layers("tail_bound", "layer", "m", "bound of the motion neglected after the last computed instant"),
    _trace("time", "time", "s", "time from the start of the layer change"),
    _trace("probe", "probe", "", "name of the probe", "text", ""),
    _trace("corner", "corner", "", "name of the corner", "text", ""),
    _trace("axis", "axis", "", "horizontal axis", "text", ""),
    _trace("bed_coordinate", "bed_coordinate", "", "shift, rotation or twist shape of the bed", "text", ""),
    _trace("pose", "time bed_coordinate", "m, rad", "bed against its commanded pose: t and twist m, w rad"),
    _trace("height", "time probe", "m", "height error, not referred to layer 1"),
    _trace(
        "lateral", "time probe axis", "m", "lateral error at the top of the part, not referred to layer 1"
    ),
    _trace("joint", "time corner axis", "m", "nut minus carriage at the joint, turning left out"),
    _trace("load_angle", "time corner", "rad", "load angle of the motor, electrical"),
    _trace("commanded_height", "time", "m", "commanded height of the bed"),
)

TABLE_COLUMNS = (OFFSETS, DEVIATION)
"""Columns that a table of the scenario may have, each a dataset of its own; the first one is the scale."""


def columns_of(width: int) -> tuple[tuple[str, str], ...]:
    """Names and units of the columns of a table with `width` columns."""
    names = next(columns for columns in TABLE_COLUMNS if len(columns) == width)
    return tuple((name, name.rpartition("_")[2]) for name in names)


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
    }


def check_shapes(group: str, shapes: Mapping[str, tuple[int, ...]], sizes: Mapping[str, int]) -> None:
    """Compare the shapes of a group's arrays with the sizes of their axes.

    Raises ValueError naming the first array that does not fit: an engine's fault, not the user's.
    """
    for d in of_group(group):
        expected = tuple(sizes[axis] for axis in d.dims)
        if d.name in shapes and shapes[d.name] != expected:
            raise ValueError(f"{group}/{d.name} has shape {shapes[d.name]}, but {d.dims} ask for {expected}")


_README_HEAD = """\
# Result files

`bedsim run` writes one HDF5 file per run, here unless `--output` says otherwise. This page is generated from
`bedsim/results/schema.py`; a test keeps the two in step.

Everything is in SI but for the scenario's texts and tables, which keep their own units. Every array carries
the attributes `units` and `long_name` and HDF5 dimension scales, so

    xarray.open_dataset("results/first.h5", group="layers", engine="h5netcdf")

gives labelled arrays, and `bedsim.open_result("results/first.h5")` gives the same names as a frozen object.
The file is complete or absent: it is written beside its target and renamed when it is whole. Nothing
outside the file is needed to read it.

**Promise.** Minor versions only add; a name, unit or meaning changes only with the major version. bedsim
reads every older minor version of its own major version and refuses any other file with one sentence.

X points right, Y back, Z up; angles count about +Z as seen from above. A positive height error means that
the bed is nearer the nozzle than commanded.
"""


def _rows(header: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = ["| " + " | ".join(header) + " |", "|" + "---|" * len(header)]
    return "\n".join(lines + ["| " + " | ".join(row) + " |" for row in rows]) + "\n"


def _group_table(group: str) -> str:
    header = ("dataset", "dimensions", "unit", "type", "meaning")
    rows = [
        (
            f"`{d.name}`",
            ", ".join(d.dims),
            d.unit,
            "0 or 1 (int8)" if d.kind == "bool" else d.kind,
            d.long_name,
        )
        for d in of_group(group)
    ]
    return _rows(header, rows)


def readme() -> str:
    """Text of `results/README.md`."""
    version = ".".join(map(str, FORMAT_VERSION))
    attributes = _rows(("attribute", "meaning"), [(f"`{n}`", m) for n, m in ROOT_ATTRIBUTES])
    return "\n".join(
        [
            _README_HEAD,
            f"Format version: {version}\n",
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
        ]
    )


def source_of(dataset: Dataset, owner: Any, names: Mapping[str, tuple[str, ...]]) -> Any:
    """Value of a dataset: the owner's field, or the labels of its axis."""
    return getattr(owner, dataset.field) if dataset.field else names[dataset.name]


if __name__ == "__main__":
    README.write_text(readme(), encoding="utf-8")
