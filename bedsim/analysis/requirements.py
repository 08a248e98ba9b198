"""Conditions on the figures of a run, written `lateral_pv_um<=10`."""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from bedsim.analysis.figures import METRICS
from bedsim.errors import InputError
from bedsim.units import DEG, UM

_SUFFIX = {"m": ("um", UM), "N": ("n", 1.0), "rad": ("deg", DEG)}
_OPERATORS = {"<=": operator.le, ">=": operator.ge, "<": operator.lt, ">": operator.gt}
_FORM = re.compile(r"\s*([a-z_]+)\s*(<=|>=|<|>)\s*(\S+)\s*")

NAMES: Mapping[str, tuple[str, float]] = {
    **{f"{m.name}_{_SUFFIX[m.unit][0]}": (m.name, _SUFFIX[m.unit][1]) for m in METRICS},
    **{f"{m.name}_ratio": (m.name, 0.0) for m in METRICS},
}
"""Name in a condition -> metric and its unit's factor; 0 for the value over that of the first run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One condition: a name of `NAMES`, how it compares, and the limit in the name's own unit."""

    name: str
    comparison: str
    limit: float

    @property
    def text(self) -> str:
        """The condition as it is written."""
        return f"{self.name}{self.comparison}{self.limit:g}"

    def value(self, values: Mapping[str, float], first: Mapping[str, float]) -> float:
        """What is compared with the limit, from the metrics (SI) of a run and of the first run."""
        metric, factor = NAMES[self.name]
        if factor:
            return values[metric] / factor
        return values[metric] / first[metric] if first[metric] else math.nan

    def holds(self, values: Mapping[str, float], first: Mapping[str, float]) -> bool:
        """Whether the condition is met; a value that is not known does not meet it."""
        return bool(_OPERATORS[self.comparison](self.value(values, first), self.limit))


def read_requirement(text: str) -> Requirement:
    """Read one condition.  Raises InputError naming what is allowed and the nearest name."""
    found = _FORM.fullmatch(text)
    if found is None:
        raise InputError(
            f"--require {text}: must be NAME<=NUMBER (or <, >=, >), for example lateral_pv_um<=10."
        )
    name, comparison, number = found.groups()
    if name not in NAMES:
        near = get_close_matches(name, NAMES, n=1)
        hint = f"Did you mean {near[0]}? " if near else ""
        plain = [n for n in NAMES if not n.endswith("_ratio")]
        listed = f"Known: {', '.join(plain)}; with _ratio in place of the unit: over the first run."
        raise InputError(f"--require {text}: there is no figure {name}. {hint}{listed}")
    try:
        limit = float(number)
    except ValueError:
        limit = math.nan
    if not math.isfinite(limit):
        raise InputError(f"--require {text}: {number} is not a number.")
    return Requirement(name=name, comparison=comparison, limit=limit)
