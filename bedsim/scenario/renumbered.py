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
from bedsim.scenario.tree import Tree, corners_of, lookup

FOLLOWERS: Mapping[str, tuple[str, ...]] = {
    "motor.holding_torque_n_m": ("motor.detent_torque_n_m",),
    "nut.axial_n_per_um": ("nut.radial_n_per_um", "nut.tilt_nm_per_rad"),
    "screw.diameter_mm": (),
    "screw.lead_mm": (),
    "nut.active_length_mm": (),
    "frame.free_length_mm": (),
    "bed.size_x_mm": (),
    "bed.size_y_mm": (),
}
"""Numbers that defaults follow from (`derived_defaults.py`; places of probes) and what follows from each, so
that it does not where that is given too; nothing where more hangs on them."""


def renumbered(
    scenario: Scenario, ranges: Sequence[Range], tree: Tree, values: Mapping[str, Any], faults: Faults
) -> Scenario | None:
    """The scenario with `values` by key, which are set in `tree` already; None where it has to be read again:
    a key is not one of `ranges`, something hangs on it, or its table refuses the value.  What the whole is
    refused for goes into `faults`.
    """
    uncertain = {one.key for one in ranges if not _one_of_several(one)}
    changed: dict[str | int, Any] = {}
    for key, value in values.items():
        if key not in uncertain or isinstance(value, bool) or not isinstance(value, int | float):
            return None
        placed = _places(key, tree)
        if placed is None or (placed[0][0] == "print" and scenario.print.laid is not None):
            return None
        for *outer, last in placed:
            table = changed
            for step in outer:
                table = table.setdefault(step, {})
            table[last] = value
    try:
        found: Scenario = _with(scenario, changed)
    except (ValidationError, AttributeError):
        return None
    check_machine(found, tree, faults)
    return found


def _places(key: str, tree: Tree) -> list[Sequence[str | int]] | None:
    """Where the schema has a key; None where more than its own value may change."""
    steps = key.split(".")
    of_corner = steps[0] == "corner"
    own = steps[2:] if of_corner else steps
    bare = ".".join(own)
    if bare in choices():
        return None
    corners = corners_of(tree)
    if bare in FOLLOWERS and not (FOLLOWERS[bare] and all(_given(k, tree) for k in FOLLOWERS[bare])):
        return None
    if of_corner:
        index = next((i for i, c in enumerate(corners) if c.get("name") == steps[1]), None)
        return None if index is None else [("corner", index, *own)]
    if own[0] in PARTS:
        return [("corner", i, *own) for i, c in enumerate(corners) if not lookup(c, own)[0]] or None
    return [tuple(own)]


def _one_of_several(one: Range) -> bool:
    """Whether corners differ in a default: with one of them given the others may share a name."""
    return one.basis == "default" and one.key.startswith("corner.")


def _given(key: str, tree: Tree) -> bool:
    """Whether a part's key is written for all corners."""
    steps = key.split(".")
    return lookup(tree, steps)[0] or all(lookup(corner, steps)[0] for corner in corners_of(tree))


def _with(table: Any, changed: Mapping[Any, Any]) -> Any:
    """A table, or a list of them, with numbers changed.  Raises ValidationError where a table refuses its
    own, AttributeError where it has none."""
    if isinstance(table, tuple):
        if not all(isinstance(k, int) for k in changed):
            raise AttributeError("entries of lists go by name or number: the reader finds them")
        return tuple(_with(one, changed[k]) if k in changed else one for k, one in enumerate(table))
    inner = {key: _with(getattr(table, key), own) for key, own in changed.items() if isinstance(own, dict)}
    numbers = {key: value for key, value in changed.items() if key not in inner}
    if numbers:
        fields = {name: getattr(table, name) for name in type(table).model_fields}
        checked = type(table).model_validate({**fields, **numbers}, strict=True)
        inner |= {key: getattr(checked, key) for key in numbers}
    return table.model_copy(update=inner)
