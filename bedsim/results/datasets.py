"""Result files as labelled arrays of xarray: a run over its layers, a sweep over its axes.

With `chunks` the arrays are dask's and the file is read as they are worked out; without, it is read at once.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bedsim.errors import InputError
from bedsim.results import schema
from bedsim.results.store import get_array, open_checked
from bedsim.results.sweep_schema import OF_MACHINE, SWEEP_TYPE, SWEEP_VERSION

if TYPE_CHECKING:
    from xarray import Dataset

CONVENTIONS = "CF-1.11"
"""Of what is opened: units, long names and coordinates as the conventions name them.  Source: CF Metadata
Conventions 1.11 (from memory).  The file itself does not claim it: a few of its arrays hold numbers of two
units, which stand here under `units_by_label` instead."""
NOT_OF_CELLS = ("metric", "quantile", "cell", "place", "quantiles")


def open_run(path: Path, chunks: Any = None) -> Dataset:
    """Layers of a run with its answer beside them; traces stay in the file.  Raises ResultFileError for any
    other file, InputError where xarray is not installed."""
    xarray = _xarray()
    with open_checked(path, schema.FILE_TYPE, schema.FORMAT_VERSION) as file:
        about = {name: str(file.attrs[name]) for name in ("engine", "created", "program_version")}
        about["program"] = str(file.attrs.get("program", "unknown"))
        about["scenario"] = str(file["scenario/resolved"].asstr()[()])
        told = schema.ANSWER_GROUP in file
        about["verdict"] = str(file[schema.ANSWER_GROUP].attrs["verdict"]) if told else ""
        notes = "\n".join(str(note) for note in file.attrs["notes"])
    parts = [_group(xarray, path, schema.LAYERS_GROUP, chunks)]
    if told:
        parts.append(_group(xarray, path, schema.ANSWER_GROUP, chunks))
    made: Dataset = xarray.merge(parts)
    made = made.set_coords([name for name in schema.AUXILIARY_COORDINATES if name in made])
    made.attrs = {**_conventions(about), **about, "notes": notes}
    return _one_unit_each(made)


def open_sweep(path: Path, chunks: Any = None) -> Dataset:
    """A sweep over its axes, or over its cells where these are no full grid; printers, quantiles, layers and
    drawn machines are axes of their own.  Where cells hold fewer printers or layers than others the rest is
    not a number.  Raises as `open_run` does."""
    xarray = _xarray()
    with open_checked(path, SWEEP_TYPE, SWEEP_VERSION) as file:
        names = sorted(file["axes"], key=lambda name: int(name.rpartition("_")[2]))
        axes = {str(file["axes"][n].attrs["long_name"]): get_array(file["axes"][n], "text") for n in names}
        places = [tuple(json.loads(text)) for text in get_array(file["cells/place"], "text")]
        about = {
            name: str(file.attrs[name])
            for name in ("title", "engine", "created", "program_version", "program", "currency")
            if name in file.attrs
        }
        notes = "\n".join(get_array(file["plan/note"], "text"))
        own = {name: name in file and len(file[name]) > 0 for name in ("sensitivity", "machines", "doubt")}
        envelopes = sorted(file["envelopes"])
    grid = _Grid(axes, places)
    cells, members = (_group(xarray, path, name, chunks) for name in ("cells", "members"))
    made: dict[str, Any] = {**grid.coordinates}
    made |= {name: (grid.dims, grid.shaped(v.data), v.attrs) for name, v in _of_cells(cells).items()}
    dims = (*grid.dims, "quantile", "metric")
    made["quantiles"] = (dims, grid.shaped(cells["quantiles"].data), cells["quantiles"].attrs)
    made |= {name: (name, cells[name].values, cells[name].attrs) for name in ("quantile", "metric")}
    made |= _of_printers(grid, members, [int(n) for n in cells["members"].values])
    made |= _of_layers(grid, [_group(xarray, path, f"envelopes/{name}", chunks) for name in envelopes])
    if own["machines"]:
        made |= _of_machines(grid, _group(xarray, path, "machines", chunks))
    found = [_group(xarray, path, name, chunks) for name in ("sensitivity", "doubt") if own[name]]
    whole: Dataset = xarray.merge([xarray.Dataset(made), *found])
    whole.attrs = {**_conventions(about), **about, "notes": notes}
    return _one_unit_each(whole)


class _Grid:
    """Where the cells stand: on the axes where they fill them, else in a row."""

    def __init__(self, axes: Mapping[str, Sequence[str]], places: Sequence[tuple[int, ...]]) -> None:
        lengths = tuple(len(labels) for labels in axes.values())
        full = [tuple(int(i) for i in place) for place in np.ndindex(*lengths)]
        fills = bool(axes) and sorted(places) == full
        self.dims = tuple(axes) if fills else ("cell",)
        self.lengths = lengths if fills else (len(places),)
        self.order = [places.index(p) for p in full] if fills else list(range(len(places)))
        named: Mapping[str, Any] = axes if fills else {"cell": np.arange(len(places))}
        self.coordinates = {name: ((name,), np.asarray(labels)) for name, labels in named.items()}

    def shaped(self, values: Any) -> Any:
        """Values with the cells along their first axis, on the axes."""
        ordered = values[np.array(self.order)]
        return ordered.reshape(self.lengths + ordered.shape[1:])


def _of_cells(cells: Dataset) -> dict[str, Any]:
    return {
        str(name): v
        for name, v in cells.variables.items()
        if v.dims == ("cell",) and name not in NOT_OF_CELLS and not str(name).startswith("on_axis_")
    }


def _of_printers(grid: _Grid, members: Dataset, counts: Sequence[int]) -> dict[str, Any]:
    ends = np.cumsum(counts)
    most = max(counts)
    found: dict[str, Any] = {"printer": ("printer", np.arange(most), {"long_name": "printer of its cell"})}
    for name, v in members.variables.items():
        if v.dims == ("printer",) and name not in ("printer", "cell", "member"):
            rows = [_padded(v.data[end - n : end], most) for end, n in zip(ends, counts, strict=True)]
            found[str(name)] = ((*grid.dims, "printer"), grid.shaped(np.stack(rows)), v.attrs)
    return found


def _of_layers(grid: _Grid, envelopes: Sequence[Dataset]) -> dict[str, Any]:
    most = max(e.sizes["layer"] for e in envelopes)
    found: dict[str, Any] = {
        "layer": ("layer", np.arange(1, most + 1), {"long_name": "layer number, from 1"})
    }
    for name, more in {"print_height": (), "lateral": ("quantile",), "height": ("quantile",)}.items():
        rows = np.stack([_padded(e[name].data, most) for e in envelopes])
        told = name if name == "print_height" else f"envelope_{name}"
        found[told] = ((*grid.dims, "layer", *more), grid.shaped(rows), envelopes[0][name].attrs)
    return found


def _of_machines(grid: _Grid, machines: Dataset) -> dict[str, Any]:
    owner = machines["cell"].values
    drawn = {int(cell): np.flatnonzero(owner == cell) for cell in range(len(grid.order))}
    most = max(rows.size for rows in drawn.values())
    found: dict[str, Any] = {"machine": ("machine", np.arange(most), {"long_name": "0: the likely one"})}
    for name in OF_MACHINE:
        rows = np.stack([_padded(machines[name].data[rows], most) for rows in drawn.values()])
        found[f"machine_{name}"] = ((*grid.dims, "machine"), grid.shaped(rows), machines[name].attrs)
    return found


def _padded(values: Any, most: int) -> Any:
    """Values along a longer first axis; what is not there is not a number."""
    missing = most - values.shape[0]
    if not missing:
        return values
    return np.pad(values.astype(float), [(0, missing), *[(0, 0)] * (values.ndim - 1)], constant_values=np.nan)


def _group(xarray: Any, path: Path, group: str, chunks: Any) -> Dataset:
    opened: Dataset = xarray.open_dataset(path, group=group, engine="h5netcdf", chunks=chunks)
    if chunks is not None:
        return opened
    with opened:
        return opened.load()


def _conventions(about: Mapping[str, str]) -> dict[str, str]:
    return {
        "Conventions": CONVENTIONS,
        "source": f"bedsim {about['program_version']}, engine {about['engine']}",
        "history": f"{about['created']}: computed",
    }


def _one_unit_each(found: Dataset) -> Dataset:
    """Units as the conventions have them: one for an array, none for texts."""
    for v in found.variables.values():
        unit = str(v.attrs.pop("units", ""))
        if "," in unit:
            v.attrs["units_by_label"] = unit
        elif unit:
            v.attrs["units"] = unit
    return found


def _xarray() -> Any:
    try:
        import h5netcdf
        import xarray
    except ImportError:
        raise InputError("bedsim.open: needs xarray: pip install 'bedsim[xarray]'.") from None
    assert h5netcdf
    return xarray


OPENED: Mapping[str, Callable[..., Dataset]] = {schema.FILE_TYPE: open_run, SWEEP_TYPE: open_sweep}
"""What opens a file of each type."""
