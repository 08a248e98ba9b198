"""The file of a sweep: every dataset with its axes, unit and meaning.

Writer and documentation are made from `SWEEP_DATASETS`.  `<n>` in a name counts what there is many of,
`<figure>` is the name of a figure.
"""

from __future__ import annotations

from bedsim.quantities import Kind
from bedsim.results.dataset import Dataset

SWEEP_TYPE = "bedsim sweep"
SWEEP_VERSION = (1, 1)  # 1.1: the place of a cell on every axis as a number

SWEEP_TEXTS: dict[str, str] = {
    "title": "title of the plan",
    "fingerprint": "of plan and scenario: the same one asks for the same printers",
    "engine": "name of the engine",
    "program_version": "version of bedsim that wrote the file",
    "program": "identity of the program: code, libraries, matrix kernels",
    "created": "date and time, ISO 8601, UTC",
    "currency": "of the prices",
    "sensitivity_of": "the figure that the sensitivities are of",
}
SWEEP_NUMBERS: dict[str, str] = {
    "lateral_target": "largest lateral error that is good enough, m, peak to valley; not a number: none",
    "height_target": "largest height error, likewise",
    "wanted_probability": "share of printers that must meet the target",
    "confidence": "of the intervals",
}
PLAN_TEXTS: dict[str, str] = {
    "plan_source": "plan as written",
    "scenario_source": "scenario as written",
    "scenario_resolved": "scenario with every default filled in, before the axes set their keys",
}
CURRENCY = "currency"

_ENDS = {
    "wilson": "Wilson's interval for the number drawn, {} end",
    "lot": "interval for what is not known of the lot, {} end",
    "machine": "interval for what is not known of the machine, {} end",
    "whole": "interval for luck, lot and machine together, {} end",
}
PAIRS: dict[str, tuple[str, str]] = {
    "wilson": ("wilson_low", "wilson_high"),
    "lot_interval": ("lot_low", "lot_high"),
    "machine_interval": ("machine_low", "machine_high"),
    "whole_interval": ("whole_low", "whole_high"),
    "engine_error": ("engine_error_height", "engine_error_lateral"),
}
"""Two numbers of every cell: field -> names in the file."""


def _row(group: str, name: str, dims: str, meaning: str, unit: str = "1", kind: Kind = "float64") -> Dataset:
    return Dataset(group=group, name=name, dims=tuple(dims.split()), unit=unit, long_name=meaning, kind=kind)


def _text(group: str, name: str, dims: str, meaning: str) -> Dataset:
    return _row(group, name, dims, meaning, "", "text")


def _count(group: str, name: str, dims: str, meaning: str) -> Dataset:
    return _row(group, name, dims, meaning, kind="int64")


SWEEP_DATASETS: tuple[Dataset, ...] = (
    *(_text("plan", name, "", meaning) for name, meaning in PLAN_TEXTS.items()),
    _text("plan", "note", "note", "remarks"),
    _text("axes", "axis_<n>", "axis_<n>", "labels of the axis; its long_name is the axis' name"),
    _count("cells", "cell", "cell", "number of the cell, from 0"),
    _text("cells", "metric", "metric", "figure of a printer"),
    _row("cells", "quantile", "quantile", "share at or below"),
    _text("cells", "label", "cell", "what the cell is"),
    _text("cells", "settings", "cell", "keys and values of the cell, JSON"),
    _text("cells", "place", "cell", "index on every axis, JSON"),
    _count("cells", "on_axis_<n>", "cell", "index on that axis; only where the cells are a full grid"),
    _count("cells", "group", "cell", "cells of one number share a machine but for the screws"),
    _count("cells", "members", "cell", "printers drawn"),
    _row("cells", "probability", "cell", "share of printers that meet the target"),
    *(
        _row("cells", f"{name}_{end}", "cell", meaning.format(end))
        for name, meaning in _ENDS.items()
        for end in ("low", "high")
    ),
    *(
        _row(
            "cells",
            f"engine_error_{way}",
            "cell",
            f"{way} error of the engine, largest among printers that were stepped in full besides",
            "m",
        )
        for way in ("height", "lateral")
    ),
    _row("cells", "price", "cell", "price of the machine's parts", CURRENCY),
    _row("cells", "reject_price", "cell", "price of screws bought and not used", CURRENCY),
    _row("cells", "quantiles", "cell quantile metric", "quantiles of figures", "m, N, rad"),
    _count("members", "printer", "printer", "row of the table"),
    _count("members", "cell", "printer", "number of the cell"),
    _count("members", "member", "printer", "number of the printer in its cell"),
    _row("members", "<figure>", "printer", "the figure's name in words", "m, N or rad"),
    _row("members", "stopped", "printer", "a joint used up its travel, or a motor lost steps", kind="bool"),
    _row("members", "meets", "printer", "meets the target", kind="bool"),
    _count("envelopes/cell_<n>", "layer", "layer", "layer number, from 1"),
    _row("envelopes/cell_<n>", "quantile", "quantile", "share at or below"),
    _row("envelopes/cell_<n>", "print_height", "layer", "top of the part after the layer", "m"),
    *(
        _row(
            "envelopes/cell_<n>",
            name,
            "layer quantile",
            f"largest {name} error over the probes against layer 1, quantiles over the first printers",
            "m",
        )
        for name in ("lateral", "height")
    ),
    _text("sensitivity", "input", "input", "axis, or the luck of the draw"),
    _row("sensitivity", "first_order", "input", "share of the variance by itself"),
    _row("sensitivity", "total_order", "input", "share with all that it acts together with"),
    _count("machines", "row", "row", "row of the table"),
    _count("machines", "cell", "row", "number of the cell"),
    _count("machines", "machine", "row", "number drawn, 0: the likely one"),
    _row("machines", "share", "row", "share of printers that meet the target"),
    _row("machines", "lot_share", "row", "the same with a lot drawn for this machine"),
    _row("machines", "lateral", "row", "median lateral error, peak to valley", "m"),
    _row("machines", "height", "row", "median height error, peak to valley", "m"),
    _text("doubt", "key", "key", "uncertain key, most worth measuring first"),
    _text("doubt", "basis", "key", "what its range rests on"),
    _row("doubt", "part", "key", "share of the variance of the errors' logarithm over machines"),
    _row("doubt", "surer", "key", "share of machines in which the choice would be right with the key known"),
)
SWEEP_GROUPS = tuple(dict.fromkeys(d.group for d in SWEEP_DATASETS))
OF_MACHINE = ("share", "lot_share", "lateral", "height")
"""Columns of a cell's `machines`."""


def of_sweep(group: str) -> tuple[Dataset, ...]:
    """Datasets of one group, in the order of the list."""
    return tuple(d for d in SWEEP_DATASETS if d.group == group)
