"""What was learnt of a machine from its readings: a file beside the scenario that `bedsim learn` writes.

The file holds, in the units of the keys, the likeliest value of every number that was open and some machines
that agree with all readings: single ranges would lose it, for what is learnt lies in numbers together.
A key whose range or value was changed in the scenario since is dropped by name; of another machine the whole
file is refused.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from bedsim.errors import InputError
from bedsim.files import read_text
from bedsim.scenario.ranges import Range
from bedsim.scenario.schema import Scenario

FORMAT: Literal["bedsim knowledge 1"] = "bedsim knowledge 1"

Finite = Annotated[float, Field(allow_inf_nan=False)]


class LearntKey(BaseModel):
    """A number that was open: its key, and what the scenario said of it then (three alike: one number)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str
    low: Finite
    likely: Finite
    high: Finite


class KnowledgeFile(BaseModel):
    """The file: `likely` (k,) and `machines` (d, k) values of `keys` (k,); `machine` says which machine it
    is, `readings` names the files with a hash of each.

    Covariance in standard deviations of each number's own distribution: 1 - D^T diag(1 - left^2) D with rows
    D (r, k) of `directions`, orthonormal, each left with `left` (r,) of its spread; `columns` names them.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["bedsim knowledge 1"]
    title: str
    machine: tuple[str, ...]
    readings: dict[str, str]
    keys: tuple[LearntKey, ...]
    likely: tuple[Finite, ...]
    machines: Annotated[tuple[tuple[Finite, ...], ...], Field(min_length=1)]
    columns: tuple[str, ...]
    left: tuple[Finite, ...]
    directions: tuple[tuple[Finite, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """What a scenario still may take from a file: `likely` values and those of every machine (d,), by key;
    `dropped`: keys that were changed since."""

    name: str
    likely: Mapping[str, float]
    machines: tuple[Mapping[str, float], ...]
    dropped: tuple[str, ...]

    @property
    def sentences(self) -> list[str]:
        """What a command that uses it tells."""
        used = f"What readings have told of the machine is taken from {self.name}."
        if not self.dropped:
            return [used]
        return [used, f"Changed since it was learnt, and not taken from it: {', '.join(self.dropped)}."]

    def without(self, keys: Collection[str]) -> Knowledge:
        """The same where some keys are set by other means."""

        def rest(values: Mapping[str, float]) -> dict[str, float]:
            return {key: value for key, value in values.items() if key not in keys}

        return Knowledge(
            name=self.name,
            likely=rest(self.likely),
            machines=tuple(rest(one) for one in self.machines),
            dropped=self.dropped,
        )


def machine_words(scenario: Scenario) -> tuple[str, ...]:
    """What makes a machine this one, whatever its joints and its print: corners with their screws and guides,
    the bed and the drive."""
    bed = scenario.bed
    corners = [
        f"corner {c.name} at {c.x_mm:g}, {c.y_mm:g} mm: {c.screw.kind} {c.screw.diameter_mm:g} x "
        f"{c.screw.lead_mm:g}, {c.screw.length_mm:g} mm, {c.screw.hand}, {c.screw.ends}; guide {c.guide.kind}"
        for c in scenario.corner
    ]
    return (
        f"bed {bed.size_x_mm:g} x {bed.size_y_mm:g} mm",
        f"drive {scenario.drive.topology}",
        *corners,
    )


def read_knowledge(path: Path, scenario: Scenario, ranges: Collection[Range], name: str) -> Knowledge:
    """Read a file for a scenario, called `name` in messages.

    Raises InputError: no such file, not one of ours, numbers missing, another machine.
    """
    found = _checked(path)
    for there, here in zip(found.machine, machine_words(scenario), strict=False):
        if there != here:
            raise InputError(f"{path}: is of another machine than {name}: {there}, there; {here}, here.")
    if len(found.machine) != len(machine_words(scenario)):
        raise InputError(f"{path}: is of another machine than {name}: it has other corners.")
    by_key = {key.key: key for key in ranges}
    kept, dropped = [], []
    for k, one in enumerate(found.keys):
        now = _now(one.key, scenario, by_key)
        if now is None or not all(map(_alike, now, (one.low, one.likely, one.high))):
            dropped.append(one.key)
        else:
            kept.append(k)
    return Knowledge(
        name=str(path),
        likely={found.keys[k].key: found.likely[k] for k in kept},
        machines=tuple({found.keys[k].key: row[k] for k in kept} for row in found.machines),
        dropped=tuple(dropped),
    )


def _checked(path: Path) -> KnowledgeFile:
    text = read_text(path)
    try:
        found = KnowledgeFile.model_validate_json(text)
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(step) for step in first["loc"]) or "file"
        raise InputError(
            f"{path}: is no knowledge that bedsim learn wrote: {where}: {first['msg']}. Allowed: the file as "
            "it was written; learn it again."
        ) from None
    count = len(found.keys)
    if len(found.likely) != count or any(len(row) != count for row in found.machines):
        raise InputError(f"{path}: likely and machines: must have as many numbers as keys ({count}).")
    return found


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= 1e-9 * max(abs(one), abs(other))


def _now(key: str, scenario: Scenario, by_key: Mapping[str, Range]) -> tuple[float, float, float] | None:
    """What a scenario says of a key; None where it has no such key any more."""
    if key in by_key:
        return by_key[key].low, by_key[key].likely, by_key[key].high
    value = single_number(scenario, key)
    return None if value is None else (value, value, value)


def single_number(scenario: Scenario, key: str) -> float | None:
    """A number of one corner by its full key; None where there is none."""
    steps = key.split(".")
    if steps[0] != "corner" or len(steps) < 3:
        return None
    value: object = next((c for c in scenario.corner if c.name == steps[1]), None)
    for step in steps[2:]:
        value = getattr(value, step, None)
    return float(value) if isinstance(value, int | float) else None
