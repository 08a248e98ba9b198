"""What is unusual in this machine and costs it: each part returned to what is usual.

A general remedy often gains more than the repair of what is wrong, so gain alone does not find a fault.  Here
nothing is bettered: a part becomes what such parts usually are, and what that gains is what its being unusual
costs.  Usual is, at a corner whose number stands apart from the others', the median of the others; else the
likely value of the default; what a sound machine has none of (a screw out of line, a bent guide, a bore off
its place) becomes nothing.  What lies outside its usual range comes before what lies in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from bedsim.errors import BedsimError
from bedsim.improve.answers import WorstAnswer, answer
from bedsim.improve.ranking import SMALLEST, Progress
from bedsim.improve.steps import present
from bedsim.improve.usual import usual_values
from bedsim.ranges.alone import NOTHING_WITHOUT_FRICTION
from bedsim.scenario.defaults import Default
from bedsim.scenario.keys import PARTS
from bedsim.scenario.load import LoadedScenario

NONE_IN_A_SOUND_MACHINE = (
    "screw.alignment.offset_x_um",
    "screw.alignment.offset_y_um",
    "screw.alignment.slope_x_um_per_100mm",
    "screw.alignment.slope_y_um_per_100mm",
    "guide.straightness_mm_per_m",
    "nut.bore_offset_x_um",
    "nut.bore_offset_y_um",
)
OF_THE_LOT = (
    "screw.run_out.bow_tir_um",
    "screw.run_out.eccentricity_tir_um",
    "screw.run_out.tilt_tir_um_per_100mm",
    "screw.travel.slope_um_per_300mm",
    "screw.travel.variation_pv_um",
    "screw.travel.once_per_turn_pv_um",
)
"""Of these a screw is measured by the others of its lot."""
NO_FAULT = (
    "joint.elements",
    "joint.magnet_force_n",
    "motor.holding_torque_n_m",
    "motor.shaft_diameter_mm",
    "screw.root_diameter_mm",
)
"""Choices rather than conditions of a part."""
APART = 1.25
"""Factor from the others by which a number stands apart.  Our choice."""
OUTSIDE_LOT = 2.0
"""Factor above the median of the others from which a screw is unusual in its lot.  Our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Return:
    """A key taken back to what is usual: where (no corner: all corners or the machine), from what to what;
    `outside`: whether it is outside what is usual."""

    key: str
    corners: tuple[str, ...]
    now: float
    usual: float
    outside: bool

    @property
    def values(self) -> dict[str, float]:
        """Full keys and values."""
        return {f"corner.{c}.{self.key}": self.usual for c in self.corners} or {self.key: self.usual}

    @property
    def place(self) -> str:
        """At which corner, or where."""
        return self.corners[0] if len(self.corners) == 1 else "all corners" if self.corners else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unusual:
    """What a return gains: `lateral` and `height` error before over after."""

    back: Return
    after: WorstAnswer
    lateral: float
    height: float

    @property
    def cost(self) -> float:
        """The larger of both gains."""
        return max(self.lateral, self.height)


COSTS = 1.02
"""Gain from which on a return is told."""


def unusual(
    loaded: LoadedScenario, before: WorstAnswer, progress: Progress = lambda done: None
) -> list[Unusual]:
    """What costs the machine by being unusual, what lies outside its usual range first, then by what it
    costs."""
    found = []
    for done, back in enumerate(returns(loaded)):
        try:
            after = answer(loaded.with_values(back.values))
        except BedsimError:  # a part alone at its usual value may make no machine
            continue
        finally:
            progress(done + 1)
        found.append(
            Unusual(
                back=back,
                after=after,
                lateral=_over(before.lateral, after.lateral),
                height=_over(before.height, after.height),
            )
        )
    told = [one for one in found if one.cost > COSTS]
    return sorted(told, key=lambda one: (not one.back.outside, -one.cost))


def _over(before: float, after: float) -> float:
    return max(before, SMALLEST) / max(after, SMALLEST)


def returns(loaded: LoadedScenario) -> list[Return]:
    """Every return to what is usual that there is."""
    return [*_of_parts(loaded), *_of_lot(loaded), *_to_nothing(loaded)]


def _of_parts(loaded: LoadedScenario) -> Iterator[Return]:
    """Numbers with a default: at a corner apart from the others, and at all corners together."""
    corners = loaded.scenario.corner
    names = tuple(c.name for c in corners)
    usual = [{p: usual_values(c, p) for p in PARTS} for c in corners]
    for part, key in ((p, k) for p in PARTS for k in usual[0][p]):
        name = f"{part}.{key}"
        if key in NOTHING_WITHOUT_FRICTION or name in NO_FAULT or not _in_use(loaded, name):
            continue
        defaults = [u[part].get(key) for u in usual]
        values = [float(present(loaded, f"corner.{n}.{name}")) for n in names]
        apart = [k for k in range(len(values)) if _stands_apart(values, k)]
        for k in apart:
            middle = median(v for i, v in enumerate(values) if i != k)
            yield Return(
                key=name,
                corners=(names[k],),
                now=values[k],
                usual=middle,
                outside=_is_outside(values[k], defaults[k]),
            )
        first = defaults[0]
        if not apart and first is not None and first.is_guess and _differs(values[0], first.likely):
            yield Return(
                key=name,
                corners=names,
                now=median(values),
                usual=first.likely,
                outside=_is_outside(values[0], first),
            )


def _in_use(loaded: LoadedScenario, name: str) -> bool:
    """Whether a key of a part does anything: those that rest have neither range nor say."""
    if name in loaded.resting or any(k.endswith(f".{name}") for k in loaded.resting):
        return False
    kept = any(r.key == name or r.key.endswith(f".{name}") for r in loaded.ranges)
    filled = any(k == name or k.endswith(f".{name}") for k in loaded.defaulted)
    return kept or not filled


def _of_lot(loaded: LoadedScenario) -> Iterator[Return]:
    for key in OF_THE_LOT:
        yield from _against_others(loaded, key)


def _against_others(loaded: LoadedScenario, key: str) -> Iterator[Return]:
    """A screw against the median of the others, where it is the worse."""
    names = tuple(c.name for c in loaded.scenario.corner)
    values = [float(present(loaded, f"corner.{n}.{key}")) for n in names]
    for k, name in enumerate(names):
        middle = median(v for i, v in enumerate(values) if i != k)
        if abs(values[k]) > APART * abs(middle):
            outside = abs(values[k]) > OUTSIDE_LOT * abs(middle)
            yield Return(key=key, corners=(name,), now=values[k], usual=middle, outside=outside)


def _to_nothing(loaded: LoadedScenario) -> Iterator[Return]:
    for key in NONE_IN_A_SOUND_MACHINE:
        for corner in loaded.scenario.corner:
            value = float(present(loaded, f"corner.{corner.name}.{key}"))
            if value:
                yield Return(key=key, corners=(corner.name,), now=value, usual=0.0, outside=True)


def _stands_apart(values: Sequence[float], k: int) -> bool:
    """Whether a number is further from the others than they are from each other."""
    others = [v for i, v in enumerate(values) if i != k]
    spread = max(others) - min(others)
    return _differs(values[k], median(others)) and abs(values[k] - median(others)) > 2 * spread


def _differs(value: float, other: float) -> bool:
    if value > 0 and other > 0:
        return abs(math.log(value / other)) > math.log(APART)
    return abs(value - other) > (APART - 1) * max(abs(value), abs(other))


def _is_outside(value: float, default: Default | None) -> bool:
    return default is not None and default.is_guess and not default.low <= value <= default.high
