"""A machine's file as it stands, and the line of a hand sheet."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

COMMON = ("screw", "nut", "joint", "mount", "guide", "frame", "carriage", "motor")
INF, NAN = math.inf, math.nan


@dataclass(frozen=True)
class Row:
    """A line of the sheet; `numbers`: those in the row's note and in what it misses, in order, None: held
    elsewhere; `rel`: how close the row must come; `lacks`: whether something is said to be missing."""

    value: float
    unit: str
    limit: float | None = None
    margin: float | None = None
    numbers: tuple[float, ...] | None = ()
    rel: float = 1e-6
    lacks: bool = False


def shown(value: float, unit: str, *numbers: float, rel: float = 1e-6) -> Row:
    return Row(value, unit, numbers=numbers, rel=rel)


def most(value: float, limit: float, unit: str, *numbers: float, rel: float = 1e-6) -> Row:
    return Row(value, unit, limit, limit / value if value > 0 else INF, numbers, rel)


def least(value: float, limit: float, unit: str, *numbers: float, rel: float = 1e-6) -> Row:
    return Row(value, unit, limit, value / limit, numbers, rel)


def lacking(row: Row, when: bool) -> Row:
    """The row, with something missing in that case."""
    return replace(row, lacks=bool(when))


def held_elsewhere(unit: str) -> Row:
    """A row whose value another test holds against its own oracle."""
    return Row(NAN, unit, numbers=None)


def machine(file: Path) -> SimpleNamespace:
    """The file's tables with each corner's own keys over the common ones."""
    text = tomllib.loads(file.read_text("utf-8"))
    text["corner"] = [
        merged({name: text[name] for name in COMMON if name in text}, corner) for corner in text["corner"]
    ]
    return as_namespace({"sizing": {}, "drive": {}, "power_loss": {}} | text)


def merged(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    out = dict(below)
    for key, value in above.items():
        out[key] = merged(out.get(key, {}), value) if isinstance(value, dict) else value
    return out


def as_namespace(value: Any) -> Any:
    if isinstance(value, dict) and set(value) != {"low", "likely", "high"}:
        return SimpleNamespace(**{key: as_namespace(v) for key, v in value.items()})
    if isinstance(value, list):
        return [as_namespace(v) for v in value]
    return value


def bounds(value: Any) -> tuple[float, float, float]:
    return (value["low"], value["likely"], value["high"]) if isinstance(value, dict) else (value,) * 3


def optional(table: Any, key: str, otherwise: Any = None) -> Any:
    return getattr(table, key, otherwise)


def belted(m: SimpleNamespace) -> bool:
    return optional(m.drive, "topology") == "belt"
