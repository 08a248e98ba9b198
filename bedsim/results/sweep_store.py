"""A finished sweep on disk: one file that appears at once; its parts are taken away after it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from bedsim.quantities import FIGURES
from bedsim.results.store import add_array, add_text, create_atomically, get_array, mark_file, open_checked
from bedsim.results.sweep import CellResult, Doubt, SweepResult
from bedsim.results.sweep_parts import FORMAT_VERSION

Group = Any  # a group of an open file: h5py itself stays in `store`

FILE_TYPE = "bedsim sweep"
_TEXT_ATTRIBUTES = (
    "title",
    "fingerprint",
    "engine",
    "program_version",
    "program",
    "created",
    "currency",
    "sensitivity_of",
)
_NUMBER_ATTRIBUTES = ("lateral_target", "height_target", "wanted_probability", "confidence")
_PLAN_TEXTS = {
    "plan_source": "plan as written",
    "scenario_source": "scenario as written",
    "scenario_resolved": "scenario with every default filled in, before the axes set their keys",
}
_PAIRS = {
    "wilson": (("wilson_low", "wilson_high"), "Wilson's interval for the number drawn, {} end", "1"),
    "lot_interval": (("lot_low", "lot_high"), "interval for what is not known of the lot, {} end", "1"),
    "machine_interval": (
        ("machine_low", "machine_high"),
        "interval for what is not known of the machine, {} end",
        "1",
    ),
    "whole_interval": (
        ("whole_low", "whole_high"),
        "interval for luck, lot and machine together, {} end",
        "1",
    ),
    "engine_error": (
        ("engine_error_height", "engine_error_lateral"),
        "{} error of the engine, largest among printers that were stepped in full besides",
        "m",
    ),
    "travel_height": (
        ("travel_height_plan", "travel_height_tallest"),
        "height of the print: the plan's, or the tallest that the screws allow ({})",
        "m",
    ),
    "travel_lateral": (
        ("travel_lateral_plan", "travel_lateral_tallest"),
        "median lateral error, peak to valley, of the first printers over that print, without friction ({})",
        "m",
    ),
    "travel_share": (
        ("travel_share_plan", "travel_share_tallest"),
        "share of those that meet the target ({})",
        "1",
    ),
}
"""Two numbers of every cell: names in the file, sentence, unit."""
_UNITS = {q.name: q.unit for q in FIGURES}


def made_by(path: Path) -> tuple[str, str]:
    """Fingerprint of the plan, and identity of the program, of a finished file.

    Raises ResultFileError for any other file.
    """
    with open_checked(path, FILE_TYPE, FORMAT_VERSION) as file:
        return str(file.attrs["fingerprint"]), str(file.attrs.get("program", "unknown"))


def write_sweep(result: SweepResult, path: Path) -> None:
    """Write a finished sweep, complete or not at all. Raises ResultFileError when it cannot be written."""
    with create_atomically(path) as file:
        mark_file(file, FILE_TYPE, FORMAT_VERSION)
        for name in _TEXT_ATTRIBUTES:
            file.attrs[name] = getattr(result, name)
        for name in _NUMBER_ATTRIBUTES:
            file.attrs[name] = np.float64(getattr(result, name))
        file.attrs["seed"] = np.int64(result.seed)
        plan = file.create_group("plan")
        for name, meaning in _PLAN_TEXTS.items():
            add_text(plan, name, getattr(result, name), meaning)
        add_array(plan, "note", result.notes, ("note",), unit="", long_name="remarks", kind="text")
        _write_axes(file.create_group("axes"), result)
        _write_cells(file.create_group("cells"), result)
        _write_members(file.create_group("members"), result)
        for cell in result.cells:
            _write_envelope(file.create_group(f"envelopes/{_cell_name(cell)}"), cell, result.levels)
        _write_sensitivity(file.create_group("sensitivity"), result)
        _write_machines(file.create_group("machines"), result)
        _write_doubt(file.create_group("doubt"), result.doubt)


def _cell_name(cell: CellResult) -> str:
    return f"cell_{cell.index:05d}"


def _unit(metric: str) -> str:
    return _UNITS.get(metric, "m")


def _write_axes(group: Group, result: SweepResult) -> None:
    for k, (name, labels) in enumerate(zip(result.axis_names, result.axis_labels, strict=True)):
        add_array(group, f"axis_{k}", labels, (f"axis_{k}",), unit="", long_name=name, kind="text")


def _write_cells(group: Group, result: SweepResult) -> None:
    cells = result.cells

    def column(
        name: str, values: Sequence[Any], meaning: str, kind: str = "float64", unit: str = "1"
    ) -> None:
        add_array(group, name, values, ("cell",), unit=unit, long_name=meaning, kind=kind)

    column("cell", [c.index for c in cells], "number of the cell, from 0", "int64")
    add_array(
        group, "metric", result.metrics, ("metric",), unit="", long_name="figure of a printer", kind="text"
    )
    add_array(
        group,
        "quantile",
        result.levels,
        ("quantile",),
        unit="1",
        long_name="share at or below",
        kind="float64",
    )
    column("label", [c.label for c in cells], "what the cell is", "text", "")
    column("settings", [c.settings for c in cells], "keys and values of the cell, JSON", "text", "")
    column("place", [json.dumps(list(c.place)) for c in cells], "index on every axis, JSON", "text", "")
    column(
        "group", [c.group for c in cells], "cells of one number share a machine but for the screws", "int64"
    )
    column("members", [c.members for c in cells], "printers drawn", "int64")
    column("probability", [c.probability for c in cells], "share of printers that meet the target")
    for field, (names, meaning, unit) in _PAIRS.items():
        for side, name in enumerate(names):
            values = [getattr(c, field)[side] for c in cells]
            column(name, values, meaning.format(name.rpartition("_")[2]), unit=unit)
    column("price", [c.price for c in cells], "price of the machine's parts", unit=result.currency)
    column(
        "reject_price",
        [c.reject_price for c in cells],
        "price of screws bought and not used",
        unit=result.currency,
    )
    quantiles = np.stack([c.quantiles for c in cells])
    dims = ("cell", "quantile", "metric")
    add_array(
        group,
        "quantiles",
        quantiles,
        dims,
        unit="m, N, rad",
        long_name="quantiles of figures",
        kind="float64",
    )


def _write_members(group: Group, result: SweepResult) -> None:
    cells = result.cells
    rows = np.arange(sum(c.members for c in cells))
    add_array(group, "printer", rows, ("printer",), unit="1", long_name="row of the table", kind="int64")

    def column(name: str, parts: Sequence[Any], meaning: str, kind: str = "float64", unit: str = "1") -> None:
        add_array(group, name, np.concatenate(parts), ("printer",), unit=unit, long_name=meaning, kind=kind)

    column("cell", [np.full(c.members, c.index) for c in cells], "number of the cell", "int64")
    column("member", [np.arange(c.members) for c in cells], "number of the printer in its cell", "int64")
    for k, name in enumerate(result.metrics):
        column(name, [c.figures[:, k] for c in cells], name.replace("_", " "), unit=_unit(name))
    column("stopped", [c.stopped for c in cells], "a joint used up its travel, or a motor lost steps", "bool")
    column("meets", [c.meets for c in cells], "meets the target", "bool")


def _write_envelope(group: Group, cell: CellResult, levels: np.ndarray) -> None:
    layers = np.arange(1, cell.print_height.size + 1)
    add_array(group, "layer", layers, ("layer",), unit="1", long_name="layer number, from 1", kind="int64")
    add_array(
        group, "quantile", levels, ("quantile",), unit="1", long_name="share at or below", kind="float64"
    )
    height = "top of the part after the layer"
    add_array(
        group, "print_height", cell.print_height, ("layer",), unit="m", long_name=height, kind="float64"
    )
    for k, name in enumerate(("lateral", "height")):
        meaning = f"largest {name} error over the probes against layer 1, quantiles over the first printers"
        add_array(
            group,
            name,
            cell.envelope[:, :, k],
            ("layer", "quantile"),
            unit="m",
            long_name=meaning,
            kind="float64",
        )


def _write_sensitivity(group: Group, result: SweepResult) -> None:
    names = result.sensitivity_names
    if not names:
        return
    add_array(
        group, "input", names, ("input",), unit="", long_name="axis, or the luck of the draw", kind="text"
    )
    meaning = {
        "first_order": "share of the variance by itself",
        "total_order": "share with all that it acts together with",
    }
    for name, text in meaning.items():
        add_array(group, name, getattr(result, name), ("input",), unit="1", long_name=text, kind="float64")


_OF_MACHINE = {
    "share": ("share of printers that meet the target", "1"),
    "lot_share": ("the same with a lot drawn for this machine", "1"),
    "lateral": ("median lateral error, peak to valley", "m"),
    "height": ("median height error, peak to valley", "m"),
}


def _write_machines(group: Group, result: SweepResult) -> None:
    """Every cell in every machine, the likely one first; nothing where none were drawn."""
    cells = [c for c in result.cells if c.machines.size]
    if not cells:
        return
    rows = np.arange(sum(len(c.machines) for c in cells))
    of_cell = np.concatenate([np.full(len(c.machines), c.index) for c in cells])
    number = np.concatenate([np.arange(len(c.machines)) for c in cells])
    names = {
        "row": "row of the table",
        "cell": "number of the cell",
        "machine": "number drawn, 0: the likely one",
    }
    for (name, meaning), values in zip(names.items(), (rows, of_cell, number), strict=True):
        add_array(group, name, values, ("row",), unit="1", long_name=meaning, kind="int64")
    for k, (name, (meaning, unit)) in enumerate(_OF_MACHINE.items()):
        values = np.concatenate([c.machines[:, k] for c in cells])
        add_array(group, name, values, ("row",), unit=unit, long_name=meaning, kind="float64")


_OF_KEY = {
    "part": "share of the variance of the errors' logarithm over machines",
    "surer": "share of machines in which the choice would be right with the key known",
}


def _write_doubt(group: Group, doubt: Doubt | None) -> None:
    if doubt is None:
        return
    group.attrs["cell"] = np.int64(doubt.cell)
    group.attrs["now"], group.attrs["foretold"] = np.float64(doubt.now), np.float64(doubt.foretold)
    names = {"key": "uncertain key, most worth measuring first", "basis": "what its range rests on"}
    for (name, meaning), values in zip(names.items(), (doubt.keys, doubt.basis), strict=True):
        add_array(group, name, values, ("key",), unit="", long_name=meaning, kind="text")
    for name, meaning in _OF_KEY.items():
        add_array(group, name, getattr(doubt, name), ("key",), unit="1", long_name=meaning, kind="float64")


def _read_doubt(file: Group) -> Doubt | None:
    if "doubt/key" not in file:
        return None
    group = file["doubt"]
    return Doubt(
        cell=int(group.attrs["cell"]),
        now=float(group.attrs["now"]),
        foretold=float(group.attrs["foretold"]),
        keys=get_array(group["key"], "text"),
        basis=get_array(group["basis"], "text"),
        part=get_array(group["part"], "float64"),
        surer=get_array(group["surer"], "float64"),
    )


def _read_machines(file: Group, cell: int) -> np.ndarray:
    if "machines/row" not in file:
        return np.zeros((0, len(_OF_MACHINE)))
    own = file["machines/cell"][()] == cell
    return np.stack([file[f"machines/{name}"][()][own] for name in _OF_MACHINE], axis=1)


def read_sweep(path: Path) -> SweepResult:
    """Read a finished sweep into memory. Raises ResultFileError, one sentence, for any other file."""
    with open_checked(path, FILE_TYPE, FORMAT_VERSION) as file:
        axes = [file["axes"][name] for name in sorted(file["axes"], key=lambda n: int(n.rsplit("_", 1)[1]))]
        sensitivity = file["sensitivity"]
        has_inputs = "input" in sensitivity
        metrics = get_array(file["cells/metric"], "text")
        plain: dict[str, Any] = {name: str(file.attrs[name]) for name in _TEXT_ATTRIBUTES}
        plain |= {name: float(file.attrs[name]) for name in _NUMBER_ATTRIBUTES}
        plain |= {name: str(file["plan"][name].asstr()[()]) for name in _PLAN_TEXTS}
        return SweepResult(
            **plain,
            seed=int(file.attrs["seed"]),
            notes=get_array(file["plan/note"], "text"),
            metrics=metrics,
            levels=get_array(file["cells/quantile"], "float64"),
            axis_names=tuple(str(a.attrs["long_name"]) for a in axes),
            axis_labels=tuple(get_array(a, "text") for a in axes),
            cells=tuple(_read_cells(file, metrics)),
            sensitivity_names=get_array(sensitivity["input"], "text") if has_inputs else (),
            first_order=get_array(sensitivity["first_order"], "float64") if has_inputs else np.zeros(0),
            total_order=get_array(sensitivity["total_order"], "float64") if has_inputs else np.zeros(0),
            doubt=_read_doubt(file),
        )


def _pair(first: float, second: float) -> tuple[float, float]:
    return float(first), float(second)


def _read_cells(file: Group, metrics: Sequence[str]) -> Iterator[CellResult]:
    cells, members = file["cells"], file["members"]
    texts = {name: get_array(cells[name], "text") for name in ("label", "settings", "place")}
    numbers = {
        n: cells[n][()]
        for n in cells
        if cells[n].dtype.kind in "fi" and cells[n].shape == cells["cell"].shape
    }
    figures = np.stack([members[name][()] for name in metrics], axis=1)
    stopped, meets = members["stopped"][()].astype(bool), members["meets"][()].astype(bool)
    ends = np.cumsum(numbers["members"])
    for k, end in enumerate(ends):
        rows = slice(int(end - numbers["members"][k]), int(end))
        envelope = file[f"envelopes/cell_{int(numbers['cell'][k]):05d}"]
        yield CellResult(
            index=int(numbers["cell"][k]),
            label=texts["label"][k],
            place=tuple(json.loads(texts["place"][k])),
            settings=texts["settings"][k],
            group=int(numbers["group"][k]),
            figures=figures[rows],
            stopped=stopped[rows],
            meets=meets[rows],
            quantiles=cells["quantiles"][k],
            probability=float(numbers["probability"][k]),
            price=float(numbers["price"][k]),
            reject_price=float(numbers["reject_price"][k]),
            envelope=np.stack([envelope["lateral"][()], envelope["height"][()]], axis=-1),
            print_height=envelope["print_height"][()],
            **{
                field: _pair(*(numbers[n][k] if n in numbers else np.nan for n in names))
                for field, (names, _, _) in _PAIRS.items()
            },
            machines=_read_machines(file, int(numbers["cell"][k])),
        )
