"""Models of all answers: SI units, named at a field's end; null: not known.  Names stay, new ones come."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, JsonValue


def _known(value: Any) -> Any:
    """Null for what is no number or has no end."""
    return None if value is None or not math.isfinite(value) else float(value)


Number = Annotated[float | None, BeforeValidator(_known)]


class Says(BaseModel):
    """Nothing but what is stated."""

    model_config = ConfigDict(extra="forbid")


class FigureSays(Says):
    """A figure that sums up a run, in `unit`; `low`, `high`: what uncertain keys leave open."""

    name: str
    text: str
    unit: str
    value: Number
    low: Number = None
    high: Number = None
    where: str = ""


class SourceSays(Says):
    """What a cause at a corner ("": of the whole machine) makes alone, peak to valley."""

    cause: str
    corner: str
    height_m: Number
    lateral_m: Number


class KeySays(Says):
    """An uncertain key and how far it alone moves the lateral error, peak to valley."""

    key: str
    basis: str
    swing_m: Number


class RunSays(Says):
    """`bedsim run`; `verdict` is empty and lists are where nothing was worked out."""

    title: str
    engine: str
    layers: int
    verdict: str = ""
    figures: list[FigureSays]
    sources: list[SourceSays] = []
    keys: list[KeySays] = []
    targets: list[str] = []
    warnings: list[str] = []
    cautions: list[str] = []
    notes: list[str] = []


class DifferenceSays(Says):
    """A figure against that of the first run; ratio: over the first."""

    name: str
    change: Number
    low: Number
    high: Number
    ratio: Number


class ComparedSays(Says):
    """One run beside the others; `differences` and `changed` are against the first, whose own are empty."""

    label: str
    engine: str
    figures: list[FigureSays]
    differences: list[DifferenceSays]
    changed: dict[str, list[JsonValue]]


class CompareSays(Says):
    """`bedsim compare`; `break_even` in words, where that was asked."""

    runs: list[ComparedSays] = []
    verdicts: list[str] = []
    break_even: list[str] = []
    cautions: list[str] = []
    notes: list[str] = []


class IntervalSays(Says):
    """Ends of an interval, shares."""

    low: Number
    high: Number


class CellSays(Says):
    """A cell of a sweep."""

    cell: int
    label: str
    place: dict[str, str]
    settings: dict[str, JsonValue]
    printers: int
    probability: Number
    by_number: IntervalSays
    by_lot: IntervalSays
    by_machine: IntervalSays
    by_all: IntervalSays
    good_enough: bool
    price: Number
    medians: dict[str, Number]


class SweepSays(Says):
    """`bedsim sweep`; medians in SI; `--member` answers in words alone, with no cells."""

    title: str
    engine: str = ""
    currency: str = ""
    wanted_probability: Number = None
    lateral_target_m: Number = None
    height_target_m: Number = None
    axes: dict[str, list[str]] = {}
    cells: list[CellSays] = []
    cheapest: int | None = None
    measure_next: list[str] = []
    notes: list[str] = []


class RowSays(Says):
    """A row of `bedsim size`, in `unit`; margin 1: just reached."""

    key: str
    subject: str
    name: str
    corner: str
    value: Number
    limit: Number
    margin: Number
    unit: str
    formula: str
    source: str
    note: str
    missing: str
    machine: Number


class SizeSays(Says):
    """`bedsim size`; `events`: reports of what was asked instead of the table, by name, SI;
    courses over time are left out."""

    title: str
    rows: list[RowSays] = []
    exceeded: list[str] = []
    missing: list[str] = []
    assumptions: list[str] = []
    cautions: list[str] = []
    events: dict[str, dict[str, JsonValue]] = {}


class MeasuredSays(Says):
    """A key in its own unit: a number with its standard uncertainty, or a word."""

    key: str
    value: float | str
    uncertainty: Number = None


class GaugeSays(Says):
    """`bedsim gauge`; a recipe or a blank table has no keys."""

    test: str = ""
    keys: list[MeasuredSays] = []
    remarks: list[str] = []


class SpreadSays(Says):
    """5, 50 and 95 % of the machines that agree with the readings, and before them."""

    low_m: Number
    middle_m: Number
    high_m: Number
    before_low_m: Number
    before_high_m: Number


class ScrewSays(Says):
    """A screw's share of the sideways motion (1: all), 5, 50 and 95 %."""

    corner: str
    low: Number
    middle: Number
    high: Number


class ReadingSays(Says):
    """A reading that could be taken: factor on the spread of the answer, and minutes of work."""

    name: str
    narrows: Number
    minutes: Number


class TugSays(Says):
    """One place of a tug of war: `predicted` S beside what was read D, and the parts of u_val; `part`: with
    the bend, or across it."""

    height_m: Number
    gauge: str
    part: str
    predicted_m: Number
    read_m: Number
    u_data_m: Number
    u_input_m: Number
    u_num_m: Number
    agrees: bool


class LearnSays(Says):
    """`bedsim learn`; a recipe or a blank table has nothing but null and empty lists, a tug of war `tug`."""

    lateral: SpreadSays | None = None
    height: SpreadSays | None = None
    screws: list[ScrewSays] = []
    contradictions: list[str] = []
    next: list[ReadingSays] = []
    tug: list[TugSays] = []


class EstimateSays(Says):
    """A source as the readings tell it."""

    cause: str
    corner: str
    amplitude_m: Number
    uncertainty_m: Number
    direction_rad: Number
    share: Number
    told: bool


class DiagnosedSays(Says):
    """Bands of one kind, or a jog, back to their sources."""

    bands: str
    estimates: list[EstimateSays]
    chance: Number
    can_tell: bool


class DiagnoseSays(Says):
    """`bedsim diagnose`."""

    found: list[DiagnosedSays] = []


class PlacementSays(Says):
    """What to do at a corner."""

    corner: str
    screw: str
    moved: bool
    turn_rad: Number
    clocking_rad: Number


class SettingSays(Says):
    """RMS of the lateral error as placed, expected and at worst after levelling."""

    placed_m: Number
    expected_m: Number
    worst_m: Number


class ClockSays(Says):
    """`bedsim clock`; `leave`: it is not worth the work."""

    title: str
    aim: str
    leave: bool
    now: SettingSays
    best: SettingSays
    placements: list[PlacementSays]


class CompensateSays(Says):
    """`bedsim compensate`, in m and rad; `refused`: why it is not to be done; `ways`: what each leaves (null
    where there is none here) and by which cause; `travel`: over the whole travel, as `improve` ranks it."""

    title: str
    worst_place: str
    refused: list[str]
    ways: list[dict[str, JsonValue]]
    shift_leaves: list[dict[str, JsonValue]]
    worth: dict[str, JsonValue]
    travel: dict[str, JsonValue] | None
    phase: dict[str, JsonValue]
    height_map: dict[str, JsonValue]
    table: dict[str, list[float]]
    cautions: list[str]


class ImproveSays(Says):
    """`bedsim improve`; every gain is the error before over after; `software` as `travel` of compensate."""

    title: str
    aim: str
    worst_place: str
    error_m: Number
    lateral_m: Number
    height_m: Number
    split: dict[str, JsonValue] | None
    software: dict[str, Number] | None
    gains: list[dict[str, JsonValue]]
    set: dict[str, JsonValue] | None
    unusual: list[dict[str, JsonValue]]
    with_friction: list[dict[str, JsonValue]]
    with_friction_together: list[dict[str, JsonValue]]
    target_m: Number
    probability: Number
    cheapest: dict[str, JsonValue] | None
    notes: list[str]


class FactSays(Says):
    """One thing told under a label."""

    label: str
    text: str


class EntrySays(Says):
    """A word and what is told of it; `sort`: key, figure, grade, term and others."""

    name: str
    sort: str
    what: str
    facts: list[FactSays]


class ExplainSays(Says):
    """`bedsim explain`: what the words may mean, and what the first of it does in the scenario."""

    entries: list[EntrySays]
    here: list[FactSays]


class NewSays(Says):
    """`bedsim new`."""

    scenario: str


class ReportSays(Says):
    """`bedsim report`."""

    page: str
    results: list[str]


class Document(Says):
    """What `--json` prints: `text` is what the command says without it, `files` are those that it wrote or
    names."""

    bedsim: str
    command: str
    exit_code: int
    answer: BaseModel | None
    text: list[str]
    files: list[str]


MODELS: dict[str, type[Says]] = {
    "clock": ClockSays,
    "compare": CompareSays,
    "compensate": CompensateSays,
    "diagnose": DiagnoseSays,
    "explain": ExplainSays,
    "gauge": GaugeSays,
    "improve": ImproveSays,
    "learn": LearnSays,
    "new": NewSays,
    "report": ReportSays,
    "run": RunSays,
    "size": SizeSays,
    "sweep": SweepSays,
}
"""Command -> the model of its answer."""
