"""A finished sweep on disk: one file that appears at once; its parts are taken away after it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from bedsim.quantities import FIGURES
from bedsim.results.store import add_array, add_text, create_atomically, get_array, mark_file, open_checked
from bedsim.results.sweep import CellResult, Doubt, SweepResult
from bedsim.results.sweep_schema import (
    OF_MACHINE,
    PAIRS,
    PLAN_TEXTS,
    SWEEP_NUMBERS,
    SWEEP_TEXTS,
    SWEEP_TYPE,
    SWEEP_VERSION,
    of_sweep,
)

Group = Any  # a group of an open file: h5py itself stays in `store`
_UNITS = {q.name: q.unit for q in FIGURES}


def made_by(path: Path) -> tuple[str, str]:
    """Fingerprint of the plan, and identity of the program, of a finished file.

    Raises ResultFileError for any other file.
    """
    with open_checked(path, SWEEP_TYPE, SWEEP_VERSION) as file:
        return str(file.attrs["fingerprint"]), str(file.attrs.get("program", "unknown"))


def write_sweep(result: SweepResult, path: Path) -> None:
    """Write a finished sweep, complete or not at all. Raises ResultFileError when it cannot be written."""
    with create_atomically(path) as file:
        mark_file(file, SWEEP_TYPE, SWEEP_VERSION)
        for name in SWEEP_TEXTS:
            file.attrs[name] = getattr(result, name)
        for name in SWEEP_NUMBERS:
            file.attrs[name] = np.float64(getattr(result, name))
        file.attrs["seed"] = np.int64(result.seed)
        plan = file.create_group("plan")
        for name, meaning in PLAN_TEXTS.items():
            add_text(plan, name, getattr(result, name), meaning)
        _fill(plan, "plan", {"note": result.notes})
        axes = file.create_group("axes")
        for k, (name, labels) in enumerate(zip(result.axis_names, result.axis_labels, strict=True)):
            add_array(axes, f"axis_{k}", labels, (f"axis_{k}",), unit="", long_name=name, kind="text")
        _write_cells(file.create_group("cells"), result)
        _write_members(file.create_group("members"), result)
        for cell in result.cells:
            group = file.create_group(f"envelopes/{_cell_name(cell)}")
            _fill(group, "envelopes/cell_<n>", _envelope(cell, result.levels))
        sensitivity = file.create_group("sensitivity")
        if result.sensitivity_names:
            orders = {name: getattr(result, name) for name in ("first_order", "total_order")}
            _fill(sensitivity, "sensitivity", {"input": result.sensitivity_names, **orders})
        _write_machines(file.create_group("machines"), result)
        _write_doubt(file.create_group("doubt"), result.doubt)


def _fill(
    group: Group, pattern: str, values: Mapping[str, Any], units: Mapping[str, str] | None = None
) -> None:
    """Write what is given of a group's datasets, as `sweep_schema` states them; `<n>` stands for a number."""
    for stated in of_sweep(pattern):
        for name in [n for n in values if _is_named(n, stated.name)]:
            d = replace(stated, name=name)
            unit = (units or {}).get(name, d.unit)
            add_array(group, name, values[name], d.dims, unit=unit, long_name=d.long_name, kind=d.kind)


def _is_named(name: str, stated: str) -> bool:
    return name == stated or (stated.endswith("<n>") and name.startswith(stated.removesuffix("<n>")))


def _cell_name(cell: CellResult) -> str:
    return f"cell_{cell.index:05d}"


def _write_cells(group: Group, result: SweepResult) -> None:
    cells = result.cells
    columns = ("label", "settings", "group", "members", "probability", "price", "reject_price")
    values: dict[str, Any] = {
        "cell": [c.index for c in cells],
        "metric": result.metrics,
        "quantile": result.levels,
        **{name: [getattr(c, name) for c in cells] for name in columns},
        "place": [json.dumps(list(c.place)) for c in cells],
        "quantiles": np.stack([c.quantiles for c in cells]),
    }
    if all(len(c.place) == len(result.axis_names) for c in cells):
        values |= {f"on_axis_{k}": [c.place[k] for c in cells] for k in range(len(result.axis_names))}
    for field, names in PAIRS.items():
        values |= {name: [getattr(c, field)[side] for c in cells] for side, name in enumerate(names)}
    money = dict.fromkeys(("price", "reject_price"), result.currency)
    _fill(group, "cells", values, money)


def _write_members(group: Group, result: SweepResult) -> None:
    cells = result.cells
    values: dict[str, Any] = {
        "printer": np.arange(sum(c.members for c in cells)),
        "cell": np.concatenate([np.full(c.members, c.index) for c in cells]),
        "member": np.concatenate([np.arange(c.members) for c in cells]),
    }
    values |= {name: np.concatenate([getattr(c, name) for c in cells]) for name in ("stopped", "meets")}
    _fill(group, "members", values)
    for k, name in enumerate(result.metrics):
        column, unit = np.concatenate([c.figures[:, k] for c in cells]), _UNITS.get(name, "m")
        meaning = name.replace("_", " ")
        add_array(group, name, column, ("printer",), unit=unit, long_name=meaning, kind="float64")


def _envelope(cell: CellResult, levels: np.ndarray) -> dict[str, Any]:
    return {
        "layer": np.arange(1, cell.print_height.size + 1),
        "quantile": levels,
        "print_height": cell.print_height,
        "lateral": cell.envelope[:, :, 0],
        "height": cell.envelope[:, :, 1],
    }


def _write_machines(group: Group, result: SweepResult) -> None:
    """Every cell in every machine, the likely one first; nothing where none were drawn."""
    cells = [c for c in result.cells if c.machines.size]
    if not cells:
        return
    values = {
        "row": np.arange(sum(len(c.machines) for c in cells)),
        "cell": np.concatenate([np.full(len(c.machines), c.index) for c in cells]),
        "machine": np.concatenate([np.arange(len(c.machines)) for c in cells]),
        **{name: np.concatenate([c.machines[:, k] for c in cells]) for k, name in enumerate(OF_MACHINE)},
    }
    _fill(group, "machines", values)


def _write_doubt(group: Group, doubt: Doubt | None) -> None:
    if doubt is None:
        return
    group.attrs["cell"] = np.int64(doubt.cell)
    group.attrs["now"], group.attrs["foretold"] = np.float64(doubt.now), np.float64(doubt.foretold)
    columns = {"key": doubt.keys, "basis": doubt.basis, "part": doubt.part, "surer": doubt.surer}
    _fill(group, "doubt", columns)


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
        return np.zeros((0, len(OF_MACHINE)))
    own = file["machines/cell"][()] == cell
    return np.stack([file[f"machines/{name}"][()][own] for name in OF_MACHINE], axis=1)


def read_sweep(path: Path) -> SweepResult:
    """Read a finished sweep into memory. Raises ResultFileError, one sentence, for any other file."""
    with open_checked(path, SWEEP_TYPE, SWEEP_VERSION) as file:
        axes = [file["axes"][name] for name in sorted(file["axes"], key=lambda n: int(n.rsplit("_", 1)[1]))]
        sensitivity = file["sensitivity"]
        has_inputs = "input" in sensitivity
        metrics = get_array(file["cells/metric"], "text")
        plain: dict[str, Any] = {name: str(file.attrs[name]) for name in SWEEP_TEXTS}
        plain |= {name: float(file.attrs[name]) for name in SWEEP_NUMBERS}
        plain |= {name: str(file["plan"][name].asstr()[()]) for name in PLAN_TEXTS}
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
                for field, names in PAIRS.items()
            },
            machines=_read_machines(file, int(numbers["cell"][k])),
        )
