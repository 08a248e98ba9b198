"""A scenario file in, a checked scenario out: defaults filled in, ranges kept beside it, tables read.

A file holds `title`, the tables of `bedsim.scenario.schema.Scenario`, common part tables ([screw], [guide],
...) that hold for every corner, and [[corner]] entries whose own part tables win over the common ones key by
key.
"""

from __future__ import annotations

import copy
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError
from pydantic_core import ErrorDetails

from bedsim import registry
from bedsim.errors import InputError
from bedsim.scenario.checks import check_machine
from bedsim.scenario.defaults import default_ranges, kind_of, known_kinds
from bedsim.scenario.derived_defaults import RULES, thread_of
from bedsim.scenario.faults import MISSING, Faults, rule_and_hint
from bedsim.scenario.fill import Filler
from bedsim.scenario.idle import choices, find_idle
from bedsim.scenario.keys import nearest, sentence_of, table_at
from bedsim.scenario.kinds_of_parts import without_others
from bedsim.scenario.knowledge import Knowledge, read_knowledge
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.scenario.part_program import Stage, program_in, untold
from bedsim.scenario.ranges import Range
from bedsim.scenario.renumbered import renumbered
from bedsim.scenario.schema import Scenario
from bedsim.scenario.tables import LAYOUTS, read_table
from bedsim.scenario.toml_file import parse_toml, read_toml
from bedsim.scenario.toml_text import RESOLVED, resolved_text
from bedsim.scenario.tree import Tree, corners_of, key_of, listed_corners, lookup, parsed_value, set_key
from bedsim.shown import Shown

Tables = Mapping[str, NDArray[np.float64]]
TEXT = "scenario"
"""What messages call a scenario that was given as text."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class LoadedScenario(Shown):
    """A checked scenario with everything that stands beside the plain numbers.

    `scenario` holds likely values; `ranges` the uncertain ones among them; `tables` the CSV tables by the
    path as written, (row, column) in the file's units; `defaulted` the keys that were filled in by the kind
    of a part, with where the value comes from; `tree` the file as written with overrides set.  `overridden`:
    keys set over the file so far; `resting`: keys that do nothing since a choice was, with the words that
    tell so; `knowledge`: what readings have taught, its likeliest numbers among the likely values.
    """

    scenario: Scenario
    ranges: tuple[Range, ...]
    tables: Tables
    defaulted: Mapping[str, str]
    source_text: str
    name: str
    path: Path
    folder: Path
    tree: Mapping[str, Any]
    overridden: frozenset[str] = frozenset()
    resting: Mapping[str, str] = field(default_factory=dict)
    knowledge: Knowledge | None = None

    def with_values(self, values: Mapping[str, Any]) -> LoadedScenario:
        """Give the same scenario with some keys set to plain values, defaults and checks gone through again.

        A common key (`guide.radial_n_per_um`) applies to every corner that inherits it;
        `corner.<name>.guide...` to one.  Raises InputError for a key or value that cannot be used.
        """
        tree = copy.deepcopy(dict(self.tree))
        overridden = dict.fromkeys(values, "--set")
        faults = Faults(self.name, overridden)
        for key, value in values.items():
            set_key(tree, key, value, faults)
        faults.raise_if_any()
        found = self._renumbered(tree, values, faults) or _load_tree(
            tree,
            self.folder,
            self.source_text,
            self.name,
            overridden,
            self.tables,
            before=self.overridden,
        )
        return replace(found, knowledge=self.knowledge and self.knowledge.without(values))

    def _renumbered(self, tree: Tree, values: Mapping[str, Any], faults: Faults) -> LoadedScenario | None:
        """The same with `values` in a `tree` that has them, where nothing but they can be different."""
        scenario = renumbered(self.scenario, self.ranges, tree, values, faults)
        if scenario is None:
            return None
        faults.raise_if_any()
        return replace(
            self,
            scenario=scenario,
            ranges=tuple(r for r in self.ranges if r.key not in values),
            defaulted={key: source for key, source in self.defaulted.items() if key not in values},
            tree=tree,
            overridden=self.overridden | values.keys(),
        )

    def resolved_toml(self) -> str:
        """Write the complete scenario, each default marked, as a file that loads to the same."""
        return resolved_text(self.scenario, self.ranges, self.defaulted, self.tree, self.resting)


def load_scenario(
    path: str | Path,
    overrides: Sequence[str] = (),
    *,
    varied: Sequence[str] = (),
    varied_by: str = "--vary",
    taught: bool = True,
    stage: Stage = untold,
) -> LoadedScenario:
    """Read and check a scenario, from a file or from a text of more than one line; `overrides` and then
    `varied` are `key=value` texts that win over it, told as --set and as `varied_by` where they cannot be
    used.  What readings have `taught` is put in where the scenario names it; `stage` hears how far the
    reading of a long program is.

    Raises InputError listing every fault: file, key, value, rule, hint.
    """
    file, text, tree = _read(path)
    _refuse_plan(tree, str(file))
    given = [(o, "--set") for o in overrides] + [(o, varied_by) for o in varied]
    pairs = [(o, *(part.strip() for part in o.partition("="))) for o, _ in given]
    keys = {key or o: option for (o, option), (_, key, _, _) in zip(given, pairs, strict=True)}
    faults = Faults(str(file), keys)
    for override, key, equals, value in pairs:
        if not equals or not key:
            hint = "For example print.layers=80."
            faults.add(key or override, "an override is written key=value", hint=hint)
            continue
        set_key(tree, key, parsed_value(value), faults)
    notes = "".join(f"# set on the command line: {o}\n" for o, _ in given)
    source = text if not notes else text.rstrip("\n") + "\n" + notes
    found = _load_tree(
        tree, file.parent, source, str(file), keys, None, faults, before=_made_over(text), stage=stage
    )
    wanted = taught and not text.startswith(RESOLVED)  # a resolved scenario has it already
    return _taught(found, keys) if wanted and found.scenario.learnt is not None else found


def _read(source: str | Path) -> tuple[Path, str, Tree]:
    """What messages call it, its text and its tree."""
    if isinstance(source, str) and "\n" in source:
        return Path(TEXT), source, parse_toml(source, TEXT)
    return Path(source), *read_toml(Path(source))


def _taught(loaded: LoadedScenario, given: Mapping[str, str]) -> LoadedScenario:
    """The scenario with the likeliest numbers of its knowledge, but for keys `given` on the command line."""
    assert loaded.scenario.learnt is not None
    file = _knowledge_file(loaded.scenario.learnt.file, loaded)
    knowledge = read_knowledge(file, loaded.scenario, loaded.ranges, loaded.name).without(given)
    ranges = {key.key: key for key in loaded.ranges}
    tree, faults = copy.deepcopy(dict(loaded.tree)), Faults(loaded.name, {})
    for key, value in knowledge.likely.items():
        own = ranges.get(key)
        set_key(tree, key, value if own is None else _about(own, value), faults)
    faults.raise_if_any()
    found = _load_tree(
        tree, loaded.folder, loaded.source_text, loaded.name, {}, loaded.tables, before=loaded.overridden
    )
    return replace(found, knowledge=knowledge)


def _knowledge_file(written: str, loaded: LoadedScenario) -> Path:
    try:
        return named_file(written, loaded.folder)
    except NamedFileError as fault:
        faults = Faults(loaded.name, {})
        faults.add("learnt.file", fault.rule, value=written, hint=fault.hint)
        faults.raise_if_any()
        raise


def _about(key: Range, likely: float) -> Tree:
    """An uncertain number with another likeliest value; a screw may be beyond what was thought of it."""
    low, high = min(key.low, likely), max(key.high, likely)
    return {"low": low, "likely": likely, "high": high, "basis": key.basis}


def scenario_from_tree(tree: Mapping[str, Any], *, folder: Path, source: str, name: str) -> LoadedScenario:
    """Check a scenario given as a tree of tables, as `tomllib` reads it; messages call it `name`.

    Raises InputError listing every fault.
    """
    own = copy.deepcopy(dict(tree))
    return _load_tree(own, folder, source, name, {}, None, before=_made_over(source))


def scenario_from_text(text: str, *, name: str, tables: Tables) -> LoadedScenario:
    """Check a scenario given as text with its CSV tables beside it, by the path as written; nothing is read.

    For a scenario that comes out of another file, called `name` in messages: a table that is not in `tables`
    is refused.  Raises InputError listing every fault.
    """
    return _load_tree(parse_toml(text, name), Path(name), text, name, {}, tables, before=_made_over(text))


def _made_over(text: str) -> Collection[str]:
    """Choices that may have been made over a file: all, in a resolved scenario, which records a run."""
    return choices() if text.startswith(RESOLVED) else ()


def _refuse_plan(tree: Tree, name: str) -> None:
    """A plan of a sweep names its scenario and has no corners: one message, not one for every key."""
    if isinstance(tree.get("scenario"), str) and "corner" not in tree:
        raise InputError(f"{name}: is the plan of a sweep, not a scenario: use bedsim sweep {name}.")


def _load_tree(
    tree: Tree,
    folder: Path,
    source: str,
    name: str,
    overridden: Mapping[str, str],
    tables: Tables | None,
    faults: Faults | None = None,
    *,
    before: Collection[str] = (),
    stage: Stage = untold,
) -> LoadedScenario:
    faults = faults if faults is not None else Faults(name, overridden)
    filler = Filler(tree, faults, Path(name).name)
    full = filler.filled()
    laid, of_program = program_in(full, folder, faults, tables, filler.ranges, stage)
    scenario = _validated(full, filler, faults)
    found = of_program | _tables(full, tree, folder, faults, tables)
    if scenario is not None and laid is not None:
        scenario.print.lay(laid)
    made_over = frozenset({*before, *overridden})
    resting: dict[str, str] = {}
    if scenario is not None:
        resting = find_idle(full, tree, made_over, faults)
        check_machine(scenario, tree, faults)
    faults.raise_if_any()
    assert scenario is not None
    return LoadedScenario(
        scenario=scenario,
        ranges=tuple(r for key, r in filler.ranges.items() if key not in resting),
        tables=found,
        defaulted=filler.defaulted,
        source_text=source,
        name=name,
        path=folder / Path(name).name,
        folder=folder,
        tree=tree,
        overridden=made_over,
        resting=resting,
    )


def _validated(full: Tree, filler: Filler, faults: Faults) -> Scenario | None:
    tree = filler.tree
    listed = tree.get("corner", [])
    if not isinstance(listed, list) or len(corners_of(tree)) < len(listed):
        faults.add(
            "corner", "must be a list of tables", value=listed, hint="Write [[corner]] for each corner."
        )
    elif len(listed) < 3:
        hint = "A bed hangs on three screws or more: one [[corner]] table for each."
        faults.add("corner", f"{len(listed)} given, at least 3 needed", hint=hint)
    try:
        return Scenario.model_validate(without_others(full), strict=True)
    except ValidationError as error:
        items = error.errors()
        meant = _meant(items)
        for item in items:
            loc = tuple(item["loc"])
            if loc not in meant.values():
                _tell(item, full, filler, faults, meant.get(loc))
        return None


def _meant(items: Sequence[ErrorDetails]) -> dict[tuple[str | int, ...], tuple[str | int, ...]]:
    """Unknown keys that are near a missing one of the same table, and which: one fault, not two."""
    places = {
        kind: [tuple(x["loc"]) for x in items if x["type"] == kind] for kind in ("extra_forbidden", "missing")
    }
    found = {}
    for loc in places["extra_forbidden"]:
        near = nearest(str(loc[-1]), [str(x[-1]) for x in places["missing"] if x[:-1] == loc[:-1]])
        if near is not None:
            found[loc] = (*loc[:-1], near)
    return found


def _tell(
    item: ErrorDetails, full: Tree, filler: Filler, faults: Faults, meant: tuple[str | int, ...] | None
) -> None:
    loc = tuple(s for s in item["loc"])
    tree = filler.tree
    if any(loc[: len(told)] == told for told in filler.told) or _is_consequence(item, full):
        return
    if loc[:1] == ("corner",) and (len(loc) == 1 or (len(loc) == 2 and item["type"] == "model_type")):
        return
    key = key_of(loc, tree)
    rule, hint = rule_and_hint(item, key)
    if item["type"] == "missing":
        rule, hint = _missing(loc, full, hint)
    if meant is not None:
        hint = f"Did you mean {meant[-1]}?"
    value = MISSING if item["type"] in ("missing", "value_error", "too_short", "too_long") else item["input"]
    faults.add(key, rule, value=value, hint=hint)


def _is_consequence(item: ErrorDetails, full: Tree) -> bool:
    """Whether a key is only missing because what would give its default is missing or wrong."""
    loc = item["loc"]
    if item["type"] != "missing" or len(loc) != 4 or loc[0] != "corner":
        return False
    corner, part, key = full["corner"][loc[1]], str(loc[2]), str(loc[3])
    kind = kind_of(part, corner)
    if key in RULES.get(part, {}):  # a good thread may leave no core: that is a fault of its own
        return key != "root_diameter_mm" or kind is None or thread_of(corner["screw"]) is None
    return kind is None and any(key in default_ranges(part, k) for k in known_kinds(part))


def _missing(loc: Sequence[str | int], full: Tree, hint: str) -> tuple[str, str]:
    steps = tuple(loc)
    if len(steps) == 4 and steps[0] == "corner" and steps[3] == "root_diameter_mm":
        screw = full["corner"][steps[1]]["screw"]
        diameter, lead, starts = screw["diameter_mm"], screw["lead_mm"], screw.get("starts", 1)
        thread = f"diameter {diameter:g} with lead {lead:g} and starts {starts}"
        rule = f"cannot be worked out: {thread} leaves no core"
        return rule, "Give starts (lead = starts x pitch), or root_diameter_mm as measured."
    if len(steps) == 4 and steps[0] == "corner" and (told := _needed(full["corner"][steps[1]], *steps[2:])):
        return "is missing", told
    table = table_at(steps)
    if table is not None:
        needed = [name for name, inner in table.model_fields.items() if inner.is_required()]
        return "is missing", f"Write a table [{steps[-1]}] with {', '.join(needed)}."
    owner = table_at(steps[:-1])
    return "is missing", hint or (sentence_of(owner, str(steps[-1])) if owner is not None else "")


def _needed(corner: Tree, part: str | int, key: str | int) -> str:
    """What the kind of a part says of a key that it has no default for."""
    kind = kind_of(str(part), corner)
    needed = registry.find(str(part), kind).needed if kind in registry.names(str(part)) else {}
    return needed[str(key)].hint if key in needed else ""


def _tables(full: Tree, tree: Tree, folder: Path, faults: Faults, known: Tables | None) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for index, corner in listed_corners(full):
        for steps, layouts in LAYOUTS.items():
            written = lookup(corner, steps)[1]
            if not isinstance(written, str):
                continue
            key = key_of(("corner", index, *steps), tree)
            if (
                known is not None
                and written in known
                and known[written].shape[1] == (2 if "travel" in steps else 3)
            ):
                found[written] = known[written]
                continue
            table = read_table(written, key, layouts, folder, faults)
            if table is not None and written in found and found[written].shape != table.shape:
                faults.add(key, "the same table cannot hold offsets and travel deviation", value=written)
            if table is not None:
                found[written] = table
    return found
