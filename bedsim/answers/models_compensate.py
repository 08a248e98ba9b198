"""Models of what `bedsim compensate` answers."""

from __future__ import annotations

from pydantic import JsonValue

from bedsim.answers.says import Number, Says


class CauseLeftSays(Says):
    """A cause of what is left, alone, peak to valley."""

    name: str
    lateral_m: Number
    height_m: Number


class WaySays(Says):
    """A way to take errors off, and what it leaves; null where this machine has no such way (`refused`)."""

    name: str
    words: str
    refused: str
    lateral_m: Number
    lateral_in_steps_m: Number
    lateral_in_steps_worst_m: Number
    height_m: Number
    thickness_m: Number
    causes: list[CauseLeftSays]


class CompensateSays(Says):
    """`bedsim compensate`; `refused`: why it is not to be done; `worth`, `phase` and `height_map`:
    numbers in SI; `table`: columns in SI (m, rad), layer by layer."""

    title: str
    worst_place: str
    refused: list[str]
    ways: list[WaySays]
    shift_leaves: list[CauseLeftSays]
    worth: dict[str, JsonValue]
    phase: dict[str, JsonValue]
    height_map: dict[str, JsonValue]
    table: dict[str, list[float]]
    cautions: list[str]
