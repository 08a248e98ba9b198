"""A plan made ready: every cell with its scenario, its lots and the cells that share its machine."""

from __future__ import annotations

import hashlib
import itertools
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from bedsim.errors import BedsimError, InputError
from bedsim.files import read_text
from bedsim.scenario.faults import Faults, shown
from bedsim.scenario.keys import nearest, unit_of
from bedsim.scenario.load import LoadedScenario, load_scenario
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.scenario.sections import refuse_objects
from bedsim.scenario.sweep_plan import SPECIAL_KEYS, AxisTable, PlanFile, Value, read_plan_file
from bedsim.screws.drawing import typical_screw
from bedsim.screws.lots import Lot
from bedsim.simulation import make_job
from bedsim.sweep import lots as lot_tables
from bedsim.units import UM

MOST_CELLS = 10_000
CLOCKINGS = ("random", "best")

# First number of the spawn key of every kind of draw, so that none shares its stream with another.
SCREWS, OTHER_LOTS, RANDOM_CELLS, SENSITIVITY, DOUBT = range(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis: its name, the name of every place on it, and the keys each place sets."""

    name: str
    labels: tuple[str, ...]
    settings: tuple[Mapping[str, Value], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell: what is bought and built.

    `place`: index on every axis (grid), else empty; `group`: cells of one number have the same machine but
    for the screws; `lots`: one per corner; `others`: alternatives of them; `buy` screws are bought, the best
    are kept.
    """

    index: int
    label: str
    place: tuple[int, ...]
    settings: Mapping[str, Value]
    loaded: LoadedScenario
    group: int
    lot_name: str
    lots: tuple[Lot, ...]
    others: tuple[tuple[Lot, ...], ...]
    buy: int
    clocking: str

    @property
    def sorted_out(self) -> int:
        """Screws bought and not used."""
        return self.buy - len(self.lots)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan with its cells; targets in m, None where nothing is asked."""

    file: PlanFile
    path: Path
    source: str
    scenario_source: str
    scenario_resolved: str
    axes: tuple[Axis, ...]
    cells: tuple[Cell, ...]
    lateral_target: float | None
    height_target: float | None
    fingerprint: str
    notes: tuple[str, ...] = field(default=())


def by_group(cells: Sequence[Cell]) -> list[list[Cell]]:
    """Cells that have one machine together."""
    groups: dict[int, list[Cell]] = defaultdict(list)
    for cell in cells:
        groups[cell.group].append(cell)
    return list(groups.values())


def load_plan(path: str | Path) -> Plan:
    """Read a plan and everything it names.

    Raises InputError listing what is wrong: file, key, value, rule, hint.
    """
    file_path = Path(path)
    file = read_plan_file(file_path)
    loaded = load_scenario(_scenario(file_path, file.scenario))
    axes = tuple(_axis(a) for a in file.axis)
    faults = Faults(str(file_path))
    _check_special(file, axes, faults)
    faults.raise_if_any()
    cells = _cells(file, file_path, loaded, axes, faults)
    faults.raise_if_any()
    target = loaded.scenario.target
    lateral = file.target.lateral_pv_um or target.lateral_pv_um
    height = file.target.height_pv_um or target.height_pv_um
    return Plan(
        file=file,
        path=file_path,
        source=read_text(file_path),
        scenario_source=loaded.source_text,
        scenario_resolved=loaded.resolved_toml(),
        axes=axes,
        cells=cells,
        lateral_target=None if lateral is None else lateral * UM,
        height_target=None if height is None else height * UM,
        fingerprint=_fingerprint(file, loaded, cells),
        notes=(*_notes(file, cells), *(loaded.knowledge.sentences if loaded.knowledge else ())),
    )


def _axis(table: AxisTable) -> Axis:
    if table.choice:
        return Axis(
            name=str(table.name),
            labels=tuple(c.label for c in table.choice),
            settings=tuple(dict(c.set) for c in table.choice),
        )
    key = str(table.key)
    labels = tuple(value_label(key, v) for v in table.values)
    return Axis(name=table.name or key, labels=labels, settings=tuple({key: v} for v in table.values))


def value_label(key: str, value: Value) -> str:
    """A value as named in tables: text alone, numbers with what they are and their unit."""
    if isinstance(value, str) and key != "clocking":
        return value
    unit = unit_of(key)
    name = key.rsplit(".", 1)[-1]
    suffix = unit.lower().replace("/", "_per_").replace(" ", "_")
    stem = name.removesuffix("_" + suffix).replace("_", " ")
    if key.split(".")[0] in ("frame", "guide", "joint", "screw", "nut", "mount"):
        stem = f"{key.split('.')[0]} {stem}"
    number = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{stem} {number} {unit}".strip()


def _check_special(file: PlanFile, axes: Sequence[Axis], faults: Faults) -> None:
    settings = [*itertools.chain.from_iterable(a.settings for a in axes), *file.cell]
    for one in settings:
        for key, value in one.items():
            if key == "clocking" and value not in CLOCKINGS:
                near = nearest(str(value), CLOCKINGS)
                hint = f'Did you mean "{near}"?' if near else ""
                faults.add("clocking", "must be one of random, best", value=value, hint=hint)
            if key == "buy" and (isinstance(value, bool) or not isinstance(value, int)):
                faults.add("buy", "must be a whole number of screws", value=value)
            if key == "grade" and not isinstance(value, str):
                faults.add("grade", "must be text in quotes", value=value, hint='For example "C7".')
            if key == "lot" and value not in file.lots:
                near = nearest(str(value), file.lots)
                hint = f'Did you mean "{near}"?' if near else "Write a table [lots.NAME]."
                faults.add("lot", "there is no such lot in this plan", value=value, hint=hint)
            if "." not in key and key not in SPECIAL_KEYS:
                near = nearest(key, SPECIAL_KEYS)
                hint = (
                    f"Did you mean {near}?"
                    if near
                    else f"Known: {', '.join(SPECIAL_KEYS)} and keys of the scenario."
                )
                faults.add(f"axis.key = {shown(key)}", "unknown key", hint=hint)
    names = [a.name for a in axes]
    for name in {n for n in names if names.count(n) > 1}:
        faults.add("axis", f"two axes are called {name!r}", hint="Give one of them a name.")


def _combinations(
    file: PlanFile, axes: Sequence[Axis]
) -> list[tuple[tuple[int, ...], str, dict[str, Value]]]:
    """Place, label and settings of every cell."""
    if file.mode == "list":
        labels = [", ".join(value_label(k, v) for k, v in one.items()) for one in file.cell]
        return [((), label, dict(one)) for label, one in zip(labels, file.cell, strict=True)]
    if file.mode == "random":
        return [_random_cell(file, axes, k) for k in range(file.cells)]
    found = []
    for place in itertools.product(*(range(len(a.labels)) for a in axes)):
        settings: dict[str, Value] = {}
        for axis, i in zip(axes, place, strict=True):
            settings |= axis.settings[i]
        label = ", ".join(axis.labels[i] for axis, i in zip(axes, place, strict=True)) or "as the scenario"
        found.append((place, label, settings))
    return found


def _random_cell(
    file: PlanFile, axes: Sequence[Axis], k: int
) -> tuple[tuple[int, ...], str, dict[str, Value]]:
    rng = np.random.default_rng(np.random.SeedSequence(file.seed, spawn_key=(RANDOM_CELLS, k)))
    settings: dict[str, Value] = {}
    labels = []
    for table, axis in zip(file.axis, axes, strict=True):
        if table.low is not None and table.high is not None:
            value = float(f"{rng.uniform(table.low, table.high):.4g}")
            settings[str(table.key)] = value
            labels.append(value_label(str(table.key), value))
        else:
            i = int(rng.integers(len(axis.labels)))
            settings |= axis.settings[i]
            labels.append(axis.labels[i])
    return (), ", ".join(labels), settings


def _cells(
    file: PlanFile, path: Path, loaded: LoadedScenario, axes: Sequence[Axis], faults: Faults
) -> tuple[Cell, ...]:
    combinations = _combinations(file, axes)
    if len(combinations) > MOST_CELLS:
        faults.add("axis", f"{len(combinations)} cells, at most {MOST_CELLS} allowed")
        return ()
    groups: dict[str, tuple[int, LoadedScenario]] = {}
    cells = []
    for index, (place, label, settings) in enumerate(combinations):
        machine = {k: v for k, v in settings.items() if k not in SPECIAL_KEYS}
        key = json.dumps(machine, sort_keys=True)
        try:
            if key not in groups:
                groups[key] = (len(groups), _machine(file, loaded, machine))
            group, own = groups[key]
            cells.append(_cell(file, path.parent, index, label, place, settings, own, group))
        except BedsimError as fault:
            for line in str(fault).splitlines():
                faults.add("", _told(line, label))
    return tuple(cells)


def _told(line: str, label: str) -> str:
    text = line.removeprefix("--set: ").rstrip(".")
    return text if line.startswith("--set: ") else f"cell {label!r}: {text}"


def _machine(file: PlanFile, loaded: LoadedScenario, settings: Mapping[str, Value]) -> LoadedScenario:
    """The scenario of a cell; bows are drawn as those of free screws, however its own were measured."""
    mounted = [c.name for c in loaded.scenario.corner if c.screw.run_out.bow_measured == "mounted"]
    drawn = {f"corner.{name}.screw.run_out.bow_measured": "free" for name in mounted}
    own = loaded.with_values({**settings, **drawn}) if settings or drawn else loaded
    refuse_objects(own.scenario.print, own.name, "bedsim sweep", "its bands are those of one part")
    for corner in own.scenario.corner:
        if corner.screw.run_out.table is not None or corner.screw.travel.table is not None:
            raise InputError(
                f"corner.{corner.name}.screw: a measured table of one screw stands in for no "
                "lot; take it out of the scenario."
            )
    machine = make_job(own).machine
    if file.engine != "propagator" and machine.flanks:
        raise InputError(
            f'engine = "{file.engine}": leaves play out, but the nuts have some (nut.clearance_um > 0); '
            'use "propagator".'
        )
    return own


def _cell(
    file: PlanFile,
    folder: Path,
    index: int,
    label: str,
    place: tuple[int, ...],
    settings: Mapping[str, Value],
    loaded: LoadedScenario,
    group: int,
) -> Cell:
    name = str(settings["lot"]) if "lot" in settings else ""
    table = file.lots[name] if name else file.lot
    grade = str(settings["grade"]) if "grade" in settings else None
    sizes = lot_tables.dimensions_of(loaded.scenario)
    made = tuple(
        lot_tables.make_lot(name or grade or table.grade or "lot", table, grade, d, folder) for d in sizes
    )
    buy = int(settings.get("buy", len(sizes)))
    if buy < len(sizes):
        raise InputError(f"buy = {buy}: must be at least {len(sizes)}, one screw for each corner")
    if buy > len(sizes) and len(set(sizes)) > 1:
        raise InputError(
            f"buy = {buy}: only screws of one size can be sorted, and the corners have different ones"
        )
    seed = np.random.SeedSequence(file.seed, spawn_key=(OTHER_LOTS,))
    return Cell(
        index=index,
        label=label,
        place=place,
        settings=dict(settings),
        loaded=loaded,
        group=group,
        lot_name=name or grade or table.grade or "lot",
        lots=made,
        others=lot_tables.alternatives(table, made, folder, file.lot_doubt.draws, seed),
        buy=buy,
        clocking=str(settings.get("clocking", "random")),
    )


def _scenario(plan: Path, written: str) -> Path:
    try:
        named_file(written, plan.parent, of="plan", above=1)
    except NamedFileError as fault:
        raise InputError(f"{plan}: scenario = {shown(written)}: {fault}") from None
    return plan.parent / written


def _fingerprint(file: PlanFile, loaded: LoadedScenario, cells: Sequence[Cell]) -> str:
    """Changes with anything of the plan that may change a number: plan, scenario, tables, lots.

    What the program may change is its identity, kept beside it.
    """
    digest = hashlib.sha256()
    parts: list[Any] = [file.model_dump_json(), loaded.resolved_toml()]
    parts += [repr((cell.lots, cell.others)) for cell in cells]
    if loaded.knowledge is not None:
        parts.append(repr((loaded.knowledge.likely, loaded.knowledge.machines)))
    for part in parts:
        digest.update(part.encode() + b"\0")
    for name in sorted(loaded.tables):
        digest.update(name.encode() + b"\0" + loaded.tables[name].tobytes())
    return digest.hexdigest()


def _notes(file: PlanFile, cells: Sequence[Cell]) -> tuple[str, ...]:
    notes = [
        "Run-out and travel of every screw are drawn from its lot; the scenario's own are not used.",
        {
            "equilibrium": "Engine: equilibrium, every layer at rest without friction, play and vibration. "
            "The propagator is within 4 % or 0.2 µm of that on the shipped machines, and shows 5 to 9 µm "
            "more sideways where they have sliding joints.",
            "propagator": "Engine: propagator, friction and vibration included.",
            "deviations": "Engine: deviations, friction and vibration included: some printers are stepped "
            "in full, the others deviate slowly from them.",
        }[file.engine],
        "A printer whose joint uses up its travel counts as not meeting the target.",
    ]
    if any(cell.clocking == "best" for cell in cells):
        notes.append(
            "Clocked screws: turned to the least RMS lateral error over all probes, run-out gauged without "
            "error: a best case, of which the worst probe may see little."
        )
    if any(cell.sorted_out for cell in cells):
        notes.append(
            "Sorted screws: those with the least run-out over the travel used, gauged without error."
        )
    said: dict[str, dict[str, None]] = {}
    for cell in cells:
        for text in typical_screw(cell.lots[0]).assumptions:
            said.setdefault(text, {})[cell.lots[0].name] = None
    return (*notes, *(f"{', '.join(names)}: {text}" for text, names in said.items()))
