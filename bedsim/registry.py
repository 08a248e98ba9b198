"""Kinds of parts: what every kind says of itself, and which there are.

A kind of a part (a rolling joint, a groove under the bed) is one file: its name, keys, defaults and what it
adds to the machine.  Those of bedsim are in `bedsim/kinds/`; one from outside is a file of its user.  Both
register here, and whoever needs a kind asks by name: this module knows none of them and no physics.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from bedsim.errors import InputError

ASSUMED = "assumed"
BUILT_IN = ("bedsim.kinds",)
"""Imported when a kind is first asked for; they register themselves, as a user's file does."""


@dataclass(frozen=True, slots=True)
class Default:
    """A value to fall back on, in the unit of its key, with the range it stands for."""

    low: float
    likely: float
    high: float
    source: str = ASSUMED

    @property
    def is_guess(self) -> bool:
        """Whether the value stands for a range."""
        return self.high > self.low


def fixed(value: float, source: str = "convention: not used by this kind, or none present") -> Default:
    """A value that stands for no range."""
    return Default(value, value, value, source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """A key that has no default beside a kind: what `new` writes for it, and what is told where it lacks."""

    suggested: Default
    remark: str
    hint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AsChange:
    """What it is to a builder to change to a kind: words; the class of its price where it is not that of
    other kinds; whether only a run with friction tells what it gains; keys of the part that are set with it,
    and those that come down to so much."""

    words: str
    price: int | None = None
    by_run: bool = False
    beside: Mapping[str, float] = field(default_factory=dict)
    at_most: Mapping[str, float] = field(default_factory=dict)


def _no_fault(_: Any) -> str:
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What every kind of a part says of itself; a part's own class adds what it does in the machine.

    `sentence` tells what it is.  `keys`: the part's class of keys with the kind's own added, a sentence under
    each and its unit in its name, or None where it has none.  `defaults`, in the units of the keys; `idle`:
    why -> keys that do nothing beside it, the part's own by name, others as `table.key`; `needed`: keys of
    the part that have no default.  `refused` gives the rule that the part's keys break, "" for none.
    `change`: how `improve` may change to it, None where it does not.  `suggested`: what `new` takes where
    nothing else is said.
    """

    part: ClassVar[str] = ""
    functions: ClassVar[tuple[str, ...]] = ("refused",)
    may_add_keys: ClassVar[bool] = True
    from_outside: ClassVar[bool] = True
    name: str
    sentence: str
    keys: type[Any] | None = None
    defaults: Mapping[str, Default] = field(default_factory=dict)
    idle: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    needed: Mapping[str, Needed] = field(default_factory=dict)
    refused: Callable[[Any], str] = _no_fault
    change: AsChange | None = None
    suggested: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideKind(Kind):
    """A kind of guide: its numbers are all that tells it from others, so it has no keys of its own.

    `greased`: balls or slides that want grease, else wheels that run dry; `rated`: its maker tells a load
    that gives its life.
    """

    part: ClassVar[str] = "guide"
    may_add_keys: ClassVar[bool] = False
    greased: bool = True
    rated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewKind(Kind):
    """A kind of screw with its nut.

    `rolls`: balls run in its thread, else flanks slide and may have play.  `nut`: defaults of its nut.
    `root(diameter_mm, lead_mm, starts)`: default of the root diameter, None if no core is left; `words` name
    it in a table.  None comes from outside: lots, wear and the choice in `size` know balls and flanks only.
    """

    part: ClassVar[str] = "screw"
    may_add_keys: ClassVar[bool] = False
    from_outside: ClassVar[bool] = False
    words: str
    rolls: bool
    nut: Mapping[str, Default]
    root: Callable[[float, float, int], Default | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class CouplingKind(Kind):
    """A kind of coupling: numbers only; `twist` is the default of screw.coupling_nm_per_rad beside it, None
    for the screw's own."""

    part: ClassVar[str] = "coupling"
    may_add_keys: ClassVar[bool] = False
    from_outside: ClassVar[bool] = False
    twist: Default | None = None


@dataclass(frozen=True, slots=True)
class OutsideFile:
    """A file that kinds come from: the name of its module, where it is, its text when it was read."""

    module: str
    path: Path
    text: str


_KINDS: dict[tuple[str, str], Kind] = {}
_OUTSIDE: dict[str, OutsideFile] = {}
_LOADED: list[str] = []


def names(part: str) -> tuple[str, ...]:
    """The kinds of a part, in the order in which they were registered."""
    _load_built_in()
    return tuple(name for of, name in _KINDS if of == part)


def kinds(part: str) -> tuple[Kind, ...]:
    """The kinds of a part themselves."""
    return tuple(_KINDS[part, name] for name in names(part))


def suggested(part: str) -> str:
    """The kind of a part that is taken where nothing else is said."""
    return next(kind.name for kind in kinds(part) if kind.suggested)


def parts() -> tuple[str, ...]:
    """The parts that have kinds here."""
    _load_built_in()
    return tuple(dict.fromkeys(part for part, _ in _KINDS))


def open_parts() -> tuple[str, ...]:
    """Those whose kinds may come from outside."""
    return tuple(part for part in parts() if all(kind.from_outside for kind in kinds(part)))


def guide_kind(name: str) -> GuideKind:
    """The kind of guide of a name. Raises InputError where there is none."""
    kind = find("guide", name)
    assert isinstance(kind, GuideKind)
    return kind


def screw_kind(name: str) -> ScrewKind:
    """The kind of screw of a name. Raises InputError where there is none."""
    kind = find("screw", name)
    assert isinstance(kind, ScrewKind)
    return kind


def find(part: str, name: str) -> Kind:
    """The kind of a name. Raises InputError where there is none."""
    _load_built_in()
    if (part, name) not in _KINDS:
        raise InputError(f"{part}.kind = {name}: there is no such kind; there are {', '.join(names(part))}.")
    return _KINDS[part, name]


def add(kind: Kind) -> None:
    """Register a kind. Raises InputError where its part has one of this name."""
    if (kind.part, kind.name) in _KINDS:
        raise InputError(f"{kind.part}.kind = {kind.name}: there is a kind of this name already.")
    _KINDS[kind.part, kind.name] = kind


def remove(kind: Kind) -> None:
    """Take a kind back."""
    _KINDS.pop((kind.part, kind.name), None)


def outside_files() -> tuple[OutsideFile, ...]:
    """The files from outside that kinds came from, in order."""
    return tuple(_OUTSIDE.values())


def note_file(file: OutsideFile) -> None:
    """Note that kinds come from a file."""
    _OUTSIDE[file.module] = file


def forget_file(module: str) -> None:
    """Take a file back."""
    _OUTSIDE.pop(module, None)
    sys.modules.pop(module, None)


def _load_built_in() -> None:
    for module in BUILT_IN:
        if module not in _LOADED:
            _LOADED.append(module)  # before it is imported: it may ask for kinds itself
            importlib.import_module(module)
