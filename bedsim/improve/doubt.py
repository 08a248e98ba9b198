"""Whether a gain holds for every machine that agrees with what is known, or hopes for the likely one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from bedsim.background import each
from bedsim.compensate.software import OwnTable
from bedsim.errors import BedsimError
from bedsim.improve.answers import WorstAnswer, answer
from bedsim.improve.ranking import SMALLEST, Aim, Progress, Trial
from bedsim.improve.steps import LeverStep, changed, present, values_of
from bedsim.improve.taken import answer_of, by_software, own_table_of, table_of
from bedsim.ranges.draws import Draw, draws
from bedsim.scenario.load import LoadedScenario
from bedsim.units import DEG

DRAWS = 20
"""Machines that every told lever is tried on."""
BY_CHANCE = 1e-3
"""Gain above 1 that counts as none."""
REACH = {"mm": 32.0, "°": 90.0}
"""How far off a cancelling number is followed."""
HALVINGS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Holds:
    """Gain of steps over drawn machines, each with and without: at 10, 50 and 90 %; `harms`: share of the
    machines that they make worse; `impossible`: share that cannot be built then."""

    low: float
    middle: float
    high: float
    harms: float
    impossible: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A drawn machine as it is."""

    draw: Draw
    before: WorstAnswer


def drawn_machines(loaded: LoadedScenario, count: int, progress: Progress = lambda done: None) -> list[Drawn]:
    """Draw machines and work them out as they are."""
    every = draws(count, knowledge=loaded.knowledge)
    found = each([partial(_answer_or_none, loaded, (), draw) for draw in every], progress)
    return [
        Drawn(draw=draw, before=before)
        for draw, before in zip(every, found, strict=True)
        if before is not None
    ]


def _answer_or_none(
    loaded: LoadedScenario, steps: Sequence[LeverStep], draw: Draw, table: OwnTable | None = None
) -> WorstAnswer | None:
    try:
        return answer_of(loaded, steps, table, draw)
    except BedsimError:
        return None


def holds(loaded: LoadedScenario, steps: Sequence[LeverStep], machines: Sequence[Drawn], aim: Aim) -> Holds:
    """Try steps on drawn machines."""
    gains, table = [], own_table_of(loaded, steps)
    for machine in machines:
        after = _answer_or_none(loaded, steps, machine.draw, table)
        if after is not None:
            gains.append(max(getattr(machine.before, aim), SMALLEST) / max(getattr(after, aim), SMALLEST))
    return summed(gains, len(machines))


def summed(gains: Sequence[float], machines: int) -> Holds:
    """Gains over those of so many machines that can be built."""
    if not gains:
        return Holds(low=np.nan, middle=np.nan, high=np.nan, harms=np.nan, impossible=1.0)
    low, middle, high = (float(v) for v in np.quantile(gains, (0.1, 0.5, 0.9)))
    return Holds(
        low=low,
        middle=middle,
        high=high,
        harms=float(np.mean(np.array(gains) < 1.0 - BY_CHANCE)),
        impossible=1.0 - len(gains) / machines,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far off a number that cancels may be, mm or degrees, and the gain left there: the square root of
    the whole (half of it as a logarithm)."""

    off: float
    unit: str
    gain: float


def tolerance(loaded: LoadedScenario, one: Trial, aim: Aim) -> Tolerance | None:
    """Move what a cancelling step sets, to both sides, until half of the gain is gone (of software the angle
    of the screws); None where nothing within reach takes it, or the step sets no height and no angle."""
    if by_software(one.steps):
        return _late(loaded, one) if aim == "lateral" else None
    keys = [k for k in values_of(one.steps, loaded) if k.endswith(("height_mm", "_deg", "nut_mm"))]
    if not keys or not any(step.cancels for step in one.steps):
        return None
    unit = "°" if keys[0].endswith("_deg") else "mm"
    left = max(one.gain(aim), 1.0) ** 0.5

    def lost(off: float) -> bool:
        found = [_moved(loaded, one, keys, side * off) for side in (1.0, -1.0)]
        gains = [getattr(one.before, aim) / max(getattr(a, aim), SMALLEST) for a in found if a is not None]
        return bool(gains) and min(gains) < left

    off = _first(lost, REACH[unit])
    return None if off is None else Tolerance(off=off, unit=unit, gain=left)


def _late(loaded: LoadedScenario, one: Trial) -> Tolerance | None:
    """How far the screws may stand off the angle that a table was made for."""
    table, left = table_of(loaded, one.steps), max(one.gain("lateral"), 1.0) ** 0.5

    def lost(off: float) -> bool:
        worst = max(table.late(side * off * DEG) for side in (1.0, -1.0))
        return one.before.lateral / max(worst, SMALLEST) < left

    off = _first(lost, REACH["°"])
    return None if off is None else Tolerance(off=off, unit="°", gain=left)


def _moved(loaded: LoadedScenario, one: Trial, keys: Sequence[str], by: float) -> WorstAnswer | None:
    found = changed(loaded, one.steps)
    try:
        return answer(found.with_values({k: float(present(found, k)) + by for k in keys}))
    except BedsimError:
        return None


def _first(lost: Callable[[float], bool], reach: float) -> float | None:
    """Smallest distance at which it is lost, within an eighth of itself; None where it is beyond reach."""
    far = reach / 2**HALVINGS
    while far <= reach and not lost(far):
        far *= 2.0
    if far > reach:
        return None
    near = far / 2.0
    for _ in range(3):
        middle = (near + far) / 2.0
        near, far = (near, middle) if lost(middle) else (middle, far)
    return far
