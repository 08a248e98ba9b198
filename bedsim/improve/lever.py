"""What a lever is: a thing that a builder can change, its options, and for which machines there is one.

A lever sets keys of every corner, or of the machine, to one of its options.  Spans of numbers are those of
the defaults (low, likely, high of the part's kind).  Prices are classes per corner or per machine, in EUR,
and assumed, like all spans marked so: give your own (`--price`).

A lever works by *removing* a cause or by *cancelling*: a height that takes the arm from a tilt, an angle that
turns one screw against another, a stiffness at which two causes meet.  What cancels holds only as long as
its number does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal, overload

from bedsim import registry
from bedsim.model.joint_kind import joint_kind
from bedsim.model.mount_kind import mount_kind
from bedsim.scenario.defaults import default_ranges

Scope = Literal["corners", "corner", "machine"]
Value = str | float | int
Test = Callable[[str], bool]

PRICES = (0.0, 5.0, 15.0, 40.0, 150.0, 300.0)
"""EUR by class: 0 setting; 1 bracket or shim; 2 small part; 3 bought part; 4 screw or rail; 5 frame rebuilt.
Assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What becomes of one key: a value, a factor of what it is, its own plus something, the value of another
    key of the same corner, or a place in the span of its default."""

    key: str
    to: Value | None = None
    times: float | None = None
    plus: float | None = None
    level_with: str | None = None
    at: Literal["low", "likely", "high"] | None = None
    at_most: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way to pull a lever; `price` class instead of the lever's, `by_run`: only a run with friction can
    tell what it gains; `cancels` likewise instead of the lever's; `software`: it leaves the machine as it
    is and goes with it by a table of shift and turn (`bedsim compensate`)."""

    words: str
    changes: tuple[Change, ...]
    price: int | None = None
    by_run: bool = False
    cancels: bool | None = None
    software: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """A thing that can be changed.

    `scope`: at all corners alike, at one corner at a time, or once in the machine.  `only`: tests of other
    keys, all of which the values at every corner, or the machine's, must pass.
    """

    name: str
    price: int
    options: Sequence[Option]
    scope: Scope = "corners"
    cancels: bool = False
    only: Mapping[str, Test] | None = None


def kinds(key: str, **words: str) -> tuple[Option, ...]:
    """An option for each kind, with its words."""
    return tuple(Option(words=w, changes=(Change(key=key, to=kind),)) for kind, w in words.items())


@dataclass(frozen=True)
class OfKinds(Sequence[Option]):
    """An option for each kind of a part that a builder can change to, those from outside the package too."""

    part: str

    @overload
    def __getitem__(self, at: int) -> Option: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Option, ...]: ...

    def __getitem__(self, at: int | slice) -> Option | tuple[Option, ...]:
        """One option, or some."""
        return self._now()[at]

    def __len__(self) -> int:
        """How many there are now."""
        return len(self._now())

    def _now(self) -> tuple[Option, ...]:
        return tuple(
            Option(
                words=kind.change.words,
                changes=(
                    Change(key=f"{self.part}.kind", to=kind.name),
                    *(
                        Change(key=f"{self.part}.{key}", to=value)
                        for key, value in kind.change.beside.items()
                    ),
                    *(
                        Change(key=f"{self.part}.{key}", at_most=value)
                        for key, value in kind.change.at_most.items()
                    ),
                ),
                price=kind.change.price,
                by_run=kind.change.by_run,
            )
            for kind in registry.kinds(self.part)
            if kind.change is not None
        )


def span(words: str, *keys: str) -> tuple[Option, ...]:
    """Low, likely and high of the defaults of some keys together."""
    told = {"low": "soft", "likely": "usual", "high": "stiff"}
    return tuple(
        Option(words=f"{words}: {told[place]}", changes=tuple(Change(key=k, at=place) for k in keys))
        for place in ("low", "likely", "high")
    )


def places(key: str, words: str, unit: str, *values: float) -> tuple[Option, ...]:
    """An option for each value of a key."""
    return tuple(Option(words=f"{words} {v:g}{unit}", changes=(Change(key=key, to=v),)) for v in values)


def factors(key: str, *words: tuple[str, float]) -> tuple[Option, ...]:
    """An option for each factor of a key."""
    return tuple(Option(words=w, changes=(Change(key=key, times=f),)) for w, f in words)


def pairs(words: str, by_run: bool, *changes: Change, price: int | None = None) -> Option:
    """Several changes as one option."""
    return Option(words=words, changes=changes, by_run=by_run, price=price)


def one_of(*names: str) -> Test:
    """Whether a choice is one of some."""
    return names.__contains__


def gives_way(joint: str) -> bool:
    """Whether a kind of joint is one, and no bolted nut."""
    return not joint_kind(joint).bolted


def is_usual(part: str, key: str) -> Test:
    """Whether a kind of a part usually has more than nothing of a key."""
    return partial(_has, part, key)


def _has(part: str, key: str, kind: str) -> bool:
    default = default_ranges(part, kind).get(key)
    return default is not None and default.high > 0


def rolls(screw: str) -> bool:
    """Whether balls roll in a kind of screw."""
    return registry.screw_kind(screw).rolls


def slides(screw: str) -> bool:
    """Whether flanks slide in it."""
    return not rolls(screw)


def grooved(mount: str) -> bool:
    """Whether a kind of mount slides along a groove."""
    return mount_kind(mount).grooved


def springy(mount: str) -> bool:
    """Whether a kind of mount has springs."""
    return not mount_kind(mount).bolted


HELD = one_of("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")
