"""A checked scenario with other numbers in place of uncertain ones, where nothing else hangs on them.

Reading a scenario again (`load.py`) goes through every default, rule and check of a machine.  Of an uncertain
number most of that cannot come out otherwise: it is in use (else it would have no range), it chooses nothing,
and no default follows from it.  Then its own tables and the checks of the whole are gone through again, and
the answer is the same (tests/scenario/test_renumbered.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from bedsim.scenario.checks import check_machine
from bedsim.scenario.faults import Faults
from bedsim.scenario.idle import choices
from bedsim.scenario.keys import PARTS
from bedsim.scenario.ranges import Range
from bedsim.scenario.schema import Scenario
from bedsim.scenario.section import Section
from bedsim.scenario.tree import Tree, corners_of, lookup

FOLLOWED = frozenset(
    {
        "bed.size_x_mm",
        "bed.size_y_mm",
        "screw.diameter_mm",
        "screw.lead_mm",
        "motor.holding_torque_n_m",
        "nut.axial_n_per_um",
        "nut.active_length_mm",
        "frame.free_length_mm",
    }
)
"""Numbers that defaults follow from (`derived_defaults.py`; places of probes), but for those of a program."""


def renumbered(
    scenario: Scenario, ranges: Sequence[Range], tree: Tree, values: Mapping[str, Any], faults: Faults
) -> Scenario | None:
    """The scenario with `values` by key, which are set in `tree` already; None where it has to be read again:
    a key is not one of `ranges`, something hangs on it, or its table refuses the value.  What the whole is
    refused for goes into `faults`.
    """
    uncertain = {one.key for one in ranges}
    for key, value in values.items():
        if key not in uncertain or isinstance(value, bool) or not isinstance(value, int | float):
            return None
        placed = _places(key, tree)
        if placed is None or (placed[0][0] == "print" and scenario.print.laid is not None):
            return None
        for steps in placed:
            try:
                scenario = _replaced(scenario, steps, value)
            except (ValidationError, AttributeError):
                return None
    check_machine(scenario, tree, faults)
    return scenario


def _places(key: str, tree: Tree) -> list[Sequence[str | int]] | None:
    """Where the schema has a key; None where more than its own value may change."""
    steps = key.split(".")
    of_corner = steps[0] == "corner"
    own = steps[2:] if of_corner else steps
    bare = ".".join(own)
    if bare in FOLLOWED or bare in choices() or (own[0] in ("probe", "print") and len(own) != 2):
        return None
    corners = corners_of(tree)
    if of_corner:
        index = next((i for i, c in enumerate(corners) if c.get("name") == steps[1]), None)
        return None if index is None else [("corner", index, *own)]
    if own[0] in PARTS:
        return [("corner", i, *own) for i, c in enumerate(corners) if not lookup(c, own)[0]] or None
    return [tuple(own)]


def _replaced(table: Any, steps: Sequence[str | int], value: float) -> Any:
    """A table with one number replaced.  Raises ValidationError where its own table refuses it, AttributeError
    where there is none."""
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        return (*table[:step], _replaced(table[step], rest, value), *table[step + 1 :])
    inner = _replaced(getattr(table, step), rest, value) if rest else _checked(table, step, value)
    return table.model_copy(update={step: inner})


def _checked(table: Section, key: str, value: float) -> Any:
    fields = {name: getattr(table, name) for name in type(table).model_fields}
    return getattr(type(table).model_validate({**fields, key: value}, strict=True), key)
