"""The plan of a sweep: every key of its file, its meaning and its limits; all faults in one list.

A plan names a scenario, the keys that vary over it (axes), how many virtual printers are drawn for each cell,
what the print must meet and what the parts cost.  Nothing is known here of screws or machines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from bedsim.errors import InputError
from bedsim.scenario.faults import MISSING, Faults, rule_and_hint
from bedsim.scenario.keys import bare, list_section_of, nearest, section_of
from bedsim.scenario.section import NonNegative, Positive, Section, json_schema
from bedsim.scenario.toml_file import read_toml

Value = str | bool | int | float
Label = Annotated[str, Field(min_length=1, max_length=60)]
Share = Annotated[float, Field(gt=0, lt=1)]

SPECIAL_KEYS = ("grade", "lot", "buy", "clocking")
"""Keys of an axis that are not keys of the scenario."""


class Assumed(Section):
    """A number that nobody has measured, with the range it may lie in."""

    low: NonNegative
    """Smallest value thought possible."""
    likely: NonNegative
    """Value used."""
    high: NonNegative
    """Largest value thought possible."""
    basis: Annotated[str, Field(min_length=1)] = "assumed"
    """What it rests on, in words."""

    @model_validator(mode="after")
    def _in_order(self) -> Assumed:
        if not self.low <= self.likely <= self.high:
            raise ValueError("must have low <= likely <= high")
        return self


class LotTable(Section):
    """What is known of a lot of screws."""

    grade: str | None = None
    """Tolerance grade, for example "C7" or "ISO 5"; an axis `grade` wins over it."""
    measured: str | None = None
    """CSV in the plan's folder or below with one measured screw per line, instead of a grade."""
    law: Literal["normal", "uniform", "sorted"] = "normal"
    """How the lot fills its grade; no standard says."""
    inside: Assumed = Assumed(low=0.95, likely=0.997, high=0.9999)
    """Share of the screws that meet every limit of their grade together."""
    once_per_turn_rms_um: Assumed | None = None
    """Once-per-turn travel error, root mean square over the lot; needed where the grade does not limit it."""
    variation_share: Assumed = Assumed(low=0.25, likely=0.5, high=0.75)
    """Part of the travel limit over 300 mm that goes to slow variation (grades C7, C8, C10)."""
    mount_tilt_tir_um_per_100mm: Assumed = Assumed(low=0.0, likely=0.0, high=0.0)
    """Growth of run-out from the mounting of a screw with a free upper end."""
    straightness_grade: str | None = None
    """ISO grade whose straightness is taken where the grade's own table is missing."""
    thread_run_out_um: Positive | None = None
    """Run-out of the thread at a held end, where no table gives it."""
    straightness_um: Positive | None = None
    """Straightness over the whole length, where no table gives it."""
    basis: str = "stated by the plan"
    """What the stated limits rest on."""


class Choice(Section):
    """One place on an axis that sets several keys together."""

    label: Label
    """Name in tables and pictures."""
    set: dict[str, Value]
    """Keys and their values."""


class AxisTable(Section):
    """One axis: a key with its values, or named choices of several keys."""

    key: str | None = None
    """Key of the scenario, or grade, lot, buy, clocking."""
    values: tuple[Value, ...] = ()
    """Values of that key."""
    low: float | None = None
    """Random plans: lower end of the key's range, instead of values."""
    high: float | None = None
    """Random plans: upper end."""
    name: Label | None = None
    """Name in tables and pictures; default: the key."""
    choice: tuple[Choice, ...] = ()
    """Choices, instead of key and values."""

    @model_validator(mode="after")
    def _one_way(self) -> AxisTable:
        ways = [bool(self.values), bool(self.choice), self.low is not None or self.high is not None]
        if sum(ways) != 1:
            raise ValueError("needs either values, or choice, or low and high")
        if ways[2] and (self.low is None or self.high is None or not self.low < self.high):
            raise ValueError("must have low < high")
        if self.choice and (self.key is not None or self.name is None):
            raise ValueError("choices go with a name and without a key")
        if not self.choice and self.key is None:
            raise ValueError("needs a key")
        return self


class TargetTable(Section):
    """What the print must meet and how sure that must be."""

    lateral_pv_um: Positive | None = None
    """Largest allowed peak-to-valley lateral error; default: the scenario's target."""
    height_pv_um: Positive | None = None
    """Largest allowed peak-to-valley height error; default: the scenario's target."""
    probability: Share = 0.9
    """Share of printers that must meet it."""
    confidence: Share = 0.95
    """Confidence of all intervals."""


class StopTable(Section):
    """When to stop drawing printers for a cell; `members` is then the most."""

    interval_below: Annotated[float, Field(gt=0, lt=1)]
    """Width of Wilson's interval of the probability that is narrow enough."""
    step: Annotated[int, Field(ge=64, le=100_000, multiple_of=64)] = 256
    """Printers drawn between two looks."""


class LotDoubtTable(Section):
    """How the second interval, for what is not known of the lot, is worked out."""

    draws: Annotated[int, Field(ge=0, le=1000)] = 16
    """Alternative lots, from the assumed ranges or the measured screws resampled; 0: no second interval."""
    members: Annotated[int, Field(ge=16, le=10_000)] = 64
    """Printers computed for each of them."""


class MachineDoubtTable(Section):
    """How the third interval, for what is not known of the machine, is worked out."""

    machines: Annotated[int, Field(ge=1, le=1000)] = 32
    """Machines drawn from the ranges of the scenario's uncertain keys; 1: the likely machine alone."""
    printers: Annotated[int, Field(ge=16, le=10_000)] = 200
    """Printers of every cell for each of them, without friction."""
    rubbing: Annotated[int, Field(ge=8, le=1000)] = 12
    """Of these, printers with friction and vibration as well, over the first layers."""


class PriceTable(Section):
    """Prices, in one currency; cells whose price is not complete stay out of the price answers."""

    currency: Annotated[str, Field(min_length=1, max_length=8)] = "EUR"
    """Currency."""
    screw: Mapping[str, NonNegative] = Field(default_factory=dict)
    """Price of one screw with nut, by grade or lot: {C5 = 120, C7 = 45}."""
    gauging_per_screw: NonNegative = 0.0
    """Cost of gauging one screw, when screws are sorted or clocked."""
    per_corner: Mapping[str, Mapping[str, NonNegative]] = Field(default_factory=dict)
    """Price of a value of an axis at each corner: {"joint.kind" = {rigid = 0, rolling = 25}}."""
    per_machine: Mapping[str, Mapping[str, NonNegative]] = Field(default_factory=dict)
    """The same once for the machine: {"frame.radial_n_per_um" = {"1" = 0, "3" = 60}}."""
    rest: NonNegative = 0.0
    """What every machine costs besides."""


class PlanFile(Section):
    """A plan of a sweep."""

    title: Annotated[str, Field(min_length=1, max_length=200)]
    """What is asked."""
    scenario: Annotated[str, Field(min_length=1)]
    """Scenario file, in the plan's folder, below it or one folder above."""
    members: Annotated[int, Field(ge=1, le=1_000_000)] = 500
    """Virtual printers per cell."""
    seed: Annotated[int, Field(ge=0)] = 1
    """Seed of all draws."""
    engine: Literal["deviations", "equilibrium", "propagator"] = "deviations"
    """deviations: friction and vibration, most printers as slow deviations from a few that are stepped in
    full, with the error measured and told; no play of plain nuts; equilibrium: every layer at rest, without
    friction, play, stops and vibration: within 4 % or 0.2 um of the propagator on the shipped machines, but
    with sliding joints 5 to 9 um too good; propagator: everything, slowest."""
    mode: Literal["grid", "list", "random"] = "grid"
    """All combinations of the axes, the cells listed, or `cells` random combinations."""
    cells: Annotated[int, Field(ge=1, le=10_000)] = 32
    """Random plans: number of cells."""
    axis: tuple[AxisTable, ...] = ()
    """Axes."""
    cell: tuple[dict[str, Value], ...] = ()
    """List plans: keys and values of each cell."""
    lot: LotTable = LotTable()
    """The lot, where no axis picks another."""
    lots: Mapping[str, LotTable] = Field(default_factory=dict)
    """Lots by name, for an axis `lot`."""
    target: TargetTable = TargetTable()
    """What the print must meet."""
    stop: StopTable | None = None
    """Stop early when sure enough."""
    lot_doubt: LotDoubtTable = LotDoubtTable()
    """The second interval."""
    machine_doubt: MachineDoubtTable = MachineDoubtTable()
    """The third interval."""
    prices: PriceTable | None = None
    """Prices."""

    @model_validator(mode="after")
    def _mode_fits(self) -> PlanFile:
        if self.mode == "list" and (self.axis or not self.cell):
            raise ValueError('mode = "list" needs [[cell]] tables and no [[axis]]')
        if self.mode != "list" and self.cell:
            raise ValueError('[[cell]] tables go with mode = "list"')
        if self.mode == "random" and not self.axis:
            raise ValueError('mode = "random" needs [[axis]] tables')
        if self.mode == "grid" and any(a.low is not None for a in self.axis):
            raise ValueError('an axis with low and high goes with mode = "random"')
        return self


def read_plan_file(path: Path) -> PlanFile:
    """Read and check a plan file by itself; a plain number stands where a range may.

    Raises InputError listing every fault: file, key, value, rule, hint.
    """
    tree = read_toml(path)[1]
    if "corner" in tree and "scenario" not in tree:
        raise InputError(
            f"{path}: is a scenario, not the plan of a sweep: use bedsim run {path}, or name it in a plan: "
            f'scenario = "{path.name}".'
        )
    faults = Faults(str(path))
    for table in _lot_tables(tree):
        _widen(table)
    try:
        return PlanFile.model_validate(_tuples(tree), strict=True)
    except ValidationError as error:
        for item in error.errors():
            _tell(item, faults)
    faults.raise_if_any()
    raise InputError(f"{path}: cannot be used.")  # pragma: no cover


def plan_schema() -> dict[str, Any]:
    """JSON Schema of plan files, for editors."""
    return json_schema(PlanFile)


def _lot_tables(tree: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    named = tree.get("lots", {})
    found = [tree.get("lot"), *(named.values() if isinstance(named, dict) else ())]
    return [table for table in found if isinstance(table, dict)]


def _widen(lot: dict[str, Any]) -> None:
    """A plain number stands for a range without width."""
    for key in ("inside", "once_per_turn_rms_um", "variation_share", "mount_tilt_tir_um_per_100mm"):
        value = lot.get(key)
        if isinstance(value, int | float) and not isinstance(value, bool):
            lot[key] = {"low": value, "likely": value, "high": value, "basis": "stated by the plan"}


def _tuples(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _tuples(inner) for key, inner in value.items()}
    return tuple(_tuples(inner) for inner in value) if isinstance(value, list) else value


def _tell(item: ErrorDetails, faults: Faults) -> None:
    steps = [s for s in item["loc"] if not (isinstance(s, str) and s in ("str", "bool", "int", "float"))]
    key = ".".join(str(s + 1) if isinstance(s, int) else s for s in steps)
    rule, hint = rule_and_hint(item, key)
    if item["type"] == "multiple_of":
        rule = f"must be a multiple of {item['ctx']['multiple_of']}"
    if item["type"] == "extra_forbidden":
        known = _known(steps[:-1])
        near = nearest(str(steps[-1]), known)
        hint = f"Did you mean {near}?" if near else f"Known here: {', '.join(known)}."
    shown = MISSING if item["type"] in ("missing", "value_error") else item["input"]
    faults.add(key, rule.replace("{low, likely, high, basis}", "of them"), value=shown, hint=hint)


def _known(steps: list[str | int]) -> list[str]:
    table: type[BaseModel] | None = PlanFile
    for step in steps:
        if table is None or isinstance(step, int):
            continue
        field = table.model_fields.get(step)
        if field is None:  # a name chosen by the user, as in lots.NAME
            continue
        kind = bare(field.annotation)
        table = section_of(field) or list_section_of(field) or (LotTable if step == "lots" else None)
        table = kind if table is None and isinstance(kind, type) and issubclass(kind, BaseModel) else table
    return list(table.model_fields) if table is not None else []
