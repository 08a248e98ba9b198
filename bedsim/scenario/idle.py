"""Keys that do nothing beside a choice: where that is, who is told, and when it is refused.

The rule, the same for every key: a key that a file or an option gives, and that does nothing beside the
machine's choices (a kind, the ends of a screw, the drive), is refused with the choice that puts it to rest.
Three things are let through.  A value that is taken anyway claims nothing: `nut.clearance_um = 0` on a ball
screw.  And where the choice itself was made over the file, by --set, --vary, a sweep or a comparison, the
keys of the other kind stay in the file for its sake: they rest, have no range, and are named as not used.  So
are those of a resolved scenario, which records a run as it was.  A
strength of nothing (a bow of 0 um with a direction) is a value like others and no choice, and what only leads
to a default (the section of a post) gives way to the number where both are given.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from bedsim import registry
from bedsim.scenario.defaults import default_ranges, kind_of
from bedsim.scenario.derived_defaults import derived_defaults
from bedsim.scenario.faults import Faults, shown
from bedsim.scenario.idle_rules import IDLE, Idle, one_of, three
from bedsim.scenario.keys import PARTS, Loc, field_at
from bedsim.scenario.kinds_of_parts import own_keys
from bedsim.scenario.tree import Tree, corners_of, key_of, listed_corners, lookup


def rules() -> tuple[Idle, ...]:
    """All rules: what each kind of a part says of the keys that do nothing beside it, and those above."""
    return (*(rule for part in registry.parts() for rule in _of_kinds(part)), *IDLE)


def _of_kinds(part: str) -> Iterator[Idle]:
    choice = f"{part}.kind"
    beside: dict[tuple[tuple[str, ...], str], list[str]] = {}  # corners may differ in kinds that rest alike
    for kind in registry.kinds(part):
        for why, keys in kind.idle.items():
            beside.setdefault((keys, why), []).append(kind.name)
    for (keys, why), names in beside.items():
        yield Idle(keys=keys, beside={choice: one_of(*names)}, why=why)
    for key, (owner, _) in own_keys(part).items():
        others = {choice: lambda name, owner=owner: name != owner}
        yield Idle(keys=(f"{part}.{key}",), beside=others, why=f"only {owner} has it")


@cache
def choices() -> frozenset[str]:
    """The keys that put others to rest."""
    return frozenset(choice for rule in rules() for choice in rule.beside)


def range_in_use(full: Tree, key: str, index: int | None = None) -> bool:
    """Whether the range of a default can matter: on three screws the plate's thickness changes an inertia
    only."""
    small = key == "bed.thickness_mm" and three(full.get("corner", ()))
    return not small and idle_rule(full, key, index) is None


def idle_rule(full: Tree, key: str, index: int | None = None) -> Idle | None:
    """The rule by which a key of a complete tree does nothing, at the corner `index` if it is a part's."""
    return next((r for r in _by_key().get(key, ()) if _holds(r, full, index)), None)


def find_idle(full: Tree, tree: Tree, overridden: Collection[str], faults: Faults) -> dict[str, str]:
    """Note every key that `tree`, the file as written, gives and that does nothing beside its choices.

    Gives those that rest because a choice was `overridden`, with the words that tell so.
    """
    resting: dict[str, str] = {}
    for key in _by_key():
        for loc, corners in _written(tree, key):
            found = [idle_rule(full, key, i) for i in corners]
            if not found or found[0] is None or None in found or _says_nothing(full, loc, tree, corners[0]):
                continue
            name, words = key_of(loc, tree), _beside(found[0], full, corners[0])
            if any(_is_of(o, choice) for o in overridden for choice in found[0].beside):
                resting[name] = words
                continue
            value = lookup(tree, loc)[1]
            faults.add(name, f"does nothing{words}: {found[0].why}", value=_bare(value), hint="Leave it out.")
    return resting


def resting_lines(resting: Mapping[str, str]) -> list[str]:
    """Tell which keys rest, one sentence for each choice that puts them to rest."""
    return [
        f"Not used{words}: {', '.join(key for key, why in resting.items() if why == words)}."
        for words in dict.fromkeys(resting.values())
    ]


@cache
def _by_key() -> dict[str, tuple[Idle, ...]]:
    found: dict[str, list[Idle]] = {}
    for rule in rules():
        for key in rule.keys:
            found.setdefault(key, []).append(rule)
    return {key: tuple(of) for key, of in found.items()}


def forget_kinds() -> None:
    """Ask for the kinds anew: there are others now."""
    _by_key.cache_clear()
    choices.cache_clear()


def _holds(rule: Idle, full: Tree, index: int | None) -> bool:
    if rule.followers and index == 0:
        return False
    return all(
        all(test(value) for value in _values(full, choice, index)) for choice, test in rule.beside.items()
    )


def _values(full: Tree, choice: str, index: int | None) -> list[Any]:
    """What a choice is at a corner, or at all of them; a choice that is not given takes the schema's."""
    steps = tuple(choice.split("."))
    if steps[0] not in PARTS:
        return [_value(full, steps)]
    places = [i for i, _ in listed_corners(full)] if index is None else [index]
    return [_value(full, ("corner", i, *steps)) for i in places]


def _value(full: Tree, loc: Loc) -> Any:
    found, value = lookup(full, loc)
    field = field_at(loc)
    if found or field is None:
        return value
    return None if field.is_required() else field.default


def _written(tree: Tree, key: str) -> Iterator[tuple[Loc, Sequence[int | None]]]:
    """Where the file gives a key, and for which corners that counts; [None] if it is no part's."""
    steps: Loc = tuple(key.split("."))
    if steps[0] not in PARTS:
        yield from ((loc, [None]) for loc in _places(tree, steps))
        return
    own = [list(_places(corner, steps)) for corner in corners_of(tree)]
    heirs = [i for i, places in enumerate(own) if not places]
    yield from ((loc, heirs) for loc in _places(tree, steps))
    yield from ((("corner", i, *loc), [i]) for i, places in enumerate(own) for loc in places)


def _places(table: Tree, steps: Loc) -> Iterator[Loc]:
    """Where a key stands in a table as written: in every entry of a list on the way."""
    for depth in range(1, len(steps)):
        value = lookup(table, steps[:depth])[1]
        if isinstance(value, list | tuple) and not isinstance(steps[depth], int):
            for n in range(len(value)):
                yield from _places(table, (*steps[:depth], n, *steps[depth:]))
            return
    if lookup(table, steps)[0]:
        yield steps


def _says_nothing(full: Tree, loc: Loc, tree: Tree, index: int | None) -> bool:
    """Whether a key is given the value that it would have if it were left out."""
    steps = loc[2:] if loc[0] == "corner" else loc
    field = field_at(steps if index is None else ("corner", index, *steps))
    part = str(steps[0])
    kind = "any" if index is None else kind_of(part, full["corner"][index])
    defaults = dict(default_ranges(part, kind or "any"))
    if index is not None:
        defaults |= derived_defaults(part, kind, full["corner"][index])
    default = defaults.get(str(steps[-1])) if len(steps) == 2 else None
    taken = default.likely if default is not None else None if field is None else field.default
    value = lookup(tree, loc)[1]
    return bool(value == taken or (not value and taken == ()))


def _beside(rule: Idle, full: Tree, index: int | None) -> str:
    choice = next(iter(rule.beside))
    value = _values(full, choice, index)[0]
    return f" beside {choice} = {shown(value)}" if isinstance(value, str) else " here"


def _bare(value: Any) -> Any:
    return [] if isinstance(value, list) and value and isinstance(value[0], dict) else value


def _is_of(overridden: str, choice: str) -> bool:
    return overridden == choice or (overridden.startswith("corner.") and overridden.endswith(f".{choice}"))
