"""Where uncertain numbers stand in a checked scenario, so that they are set without reading it again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.scenario.section import Section

Place = tuple[str | int, ...]
"""Steps from the scenario to one number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settable:
    """A scenario whose uncertain keys (`keys`, by name) can all be set in place; no places: where a number
    follows from one of them in a way of its own, and the scenario is read again for every set of values."""

    loaded: LoadedScenario
    keys: Mapping[str, Range]
    places: Mapping[str, tuple[Place, ...]] | None

    def at(self, values: Mapping[str, float]) -> LoadedScenario:
        """The scenario with all its uncertain keys set: those of `values` within their low and high, the rest
        likely.

        Ends of ranges were checked when they were read: nothing is checked again here.
        """
        every = {name: values.get(name, key.likely) for name, key in self.keys.items()}
        if self.places is None:
            return self.loaded.with_values(every)
        found = {place: every[name] for name, places in self.places.items() for place in places}
        return replace(self.loaded, scenario=_with_places(self.loaded.scenario, found))


def settable(loaded: LoadedScenario) -> Settable:
    """Find where each uncertain key stands: the scenario is read once with every key at a value of its own.

    Defaults that follow from one key and are uncertain themselves are set beside it.  Raises InputError where
    the ranges' middles do not make a machine together.
    """
    keys = {key.key: key for key in loaded.ranges if key.low < key.high}
    own = {name: _own_value(key, k / len(keys)) for k, (name, key) in enumerate(keys.items())}
    before = dict(_numbers(loaded.scenario, ()))
    after = dict(_numbers(loaded.with_values(own).scenario, ()))
    moved = {place: value for place, value in after.items() if before.get(place) != value}
    names = {value: name for name, value in own.items()}
    if len(names) < len(own) or any(value not in names for value in moved.values()):
        return Settable(loaded=loaded, keys=keys, places=None)
    places: dict[str, list[Place]] = {name: [] for name in keys}
    for place, value in moved.items():
        places[names[value]].append(place)
    return Settable(loaded=loaded, keys=keys, places={name: tuple(found) for name, found in places.items()})


def _own_value(key: Range, share: float) -> float:
    """A value that no other key has: near the likely one."""
    end = key.high if key.high > key.likely else key.low
    return key.likely + (0.01 + 0.02 * share) * (end - key.likely)


def _numbers(part: Any, here: Place) -> Iterator[tuple[Place, Any]]:
    """All values of a scenario with their places."""
    if isinstance(part, Section):
        for name in type(part).model_fields:
            yield from _numbers(getattr(part, name), (*here, name))
    elif isinstance(part, tuple):
        for k, one in enumerate(part):
            yield from _numbers(one, (*here, k))
    else:
        yield here, part


def _with_places(part: Any, values: Mapping[Place, float]) -> Any:
    """The same tables with some numbers replaced."""
    if not values:
        return part
    if () in values:
        return values[()]
    inside: dict[str | int, dict[Place, float]] = {}
    for (step, *rest), value in values.items():
        inside.setdefault(step, {})[tuple(rest)] = value
    if isinstance(part, tuple):
        return tuple(_with_places(one, inside.get(k, {})) for k, one in enumerate(part))
    return part.model_copy(
        update={str(step): _with_places(getattr(part, str(step)), found) for step, found in inside.items()}
    )
