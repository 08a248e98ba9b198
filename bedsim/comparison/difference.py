"""What uncertain numbers leave open of the difference between two machines: common guesses move both."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis.figures import metric_values
from bedsim.analysis.linear_machine import shortened, without_play
from bedsim.engines.equilibrium import is_linear
from bedsim.errors import BedsimError
from bedsim.ranges.alone import RANGED, Seen, as_they_are, leads_of, linear_values
from bedsim.ranges.coarse_friction import coarse_chunk
from bedsim.ranges.known import ENDS, drawn_values, with_none
from bedsim.ranges.swings import CONTACT_KEYS, FRICTION_LAYERS, SMALLEST_FACTOR
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.simulation import layer_result, make_job

DRIVEN = ("load_angle", "mount_force")
"""Figures whose extremes come from the motion: what a key changes at rest says nothing of their range."""

FEWEST_PAIRS = 3
"""The likeliest machine and two drawn ones: with fewer there are no ends."""

Values = Mapping[str, float]
Progress = Callable[[int], None]
KeyRange = tuple[str, float, float, float]
"""Name, low, likely and high: what two machines must share for one guess to move both."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureSwings:
    """How every uncertain key alone changes the figures of one machine, at its low and its high end."""

    changes: Mapping[KeyRange, tuple[Values, Values]]
    left_out: tuple[tuple[str, str], ...]  # key and why it could not be varied


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureDraws:
    """Figures of the likeliest machine and of drawn ones that agree with what is known, None where one cannot
    be built; `told`: the file of what was learnt, "" where nothing was."""

    machines: tuple[Values | None, ...]
    told: str


Open = FigureSwings | FigureDraws
"""What is open of a machine, by keys one by one or by drawn machines; all that are compared alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A figure of one run against that of the first (SI); NaN bounds where no range is known."""

    name: str
    change: float
    low: float
    high: float
    ratio: float
    ratio_low: float
    ratio_high: float

    @property
    def is_open(self) -> bool:
        """Whether the uncertain numbers leave open which of the two is larger."""
        return self.low < 0.0 < self.high


def find_swings(
    loaded: LoadedScenario, progress: Progress = lambda done: None, seen: Seen = as_they_are
) -> FigureSwings:
    """Vary every uncertain key of a machine alone; keys of friction and play with friction as well.

    Without friction over all layers, with it over the first ones, at rest: what matters for a difference.
    `progress` is told the number of keys done.
    """
    middle = linear_values(without_play(loaded), seen=seen)
    rubbing = None if is_linear(make_job(loaded).machine) else _friction_part(loaded, seen)
    changes, left_out = {}, []
    for number, key in enumerate(loaded.ranges, start=1):
        try:
            low, high = (_change(loaded, key, value, middle, rubbing, seen) for value in (key.low, key.high))
            changes[key.key, key.low, key.likely, key.high] = (low, high)
        except BedsimError as fault:
            left_out.append((key.key, str(fault)))
        progress(number)
    return FigureSwings(changes=changes, left_out=tuple(left_out))


def find_draws(
    loaded: LoadedScenario, count: int, progress: Progress = lambda done: None, seen: Seen = as_they_are
) -> FigureDraws:
    """Figures of so many machines that agree with what is known; the n-th of two scenarios are a pair."""
    told = loaded.knowledge.name if loaded.knowledge is not None else ""
    return FigureDraws(machines=tuple(drawn_values(loaded, count, progress, seen)), told=told)


def _change(
    loaded: LoadedScenario, key: Range, value: float, middle: Values, rubbing: Values | None, seen: Seen
) -> Values:
    other = loaded.with_values({key.key: value})
    change = _minus(linear_values(without_play(other), seen=seen), middle)
    if rubbing is None or key.key.rpartition(".")[2] not in CONTACT_KEYS:
        return change
    more = _minus(_friction_part(other, seen), rubbing)
    return {name: _number(change[name]) + _number(more[name]) for name in RANGED}


def _friction_part(loaded: LoadedScenario, seen: Seen) -> Values:
    """What friction and play add to the figures of the first layers."""
    job = shortened(make_job(loaded), FRICTION_LAYERS)
    found = metric_values(seen(layer_result(loaded, job, [coarse_chunk(job)])), leads_of(loaded))
    return _minus(found, linear_values(without_play(loaded), FRICTION_LAYERS, seen))


def _minus(values: Values, others: Values) -> Values:
    return {name: values[name] - others[name] for name in RANGED}


def _number(value: float) -> float:
    return 0.0 if math.isnan(value) else value


def differences(first: Values, other: Values, swings: tuple[Open, Open] | None) -> tuple[Difference, ...]:
    """Every figure of a run against that of the first, with ranges for those in RANGED but not in DRIVEN.

    A key that both know alike is varied in both at once, so a common guess counts only with what it changes
    between them.  Change: root-sum-square of the one-sided changes, [GUM] 5.1.2; ratio: of their logarithms,
    [GUM] 5.1.6.  Limits: keys are taken as independent; two that matter only together are missed.
    Where readings have told of a machine, drawn machines in pairs stand in place of keys: 5 and 95 % of what
    they add to the likeliest pair's difference.
    """
    return tuple(
        Difference(
            name=name,
            change=other[name] - first[name],
            ratio=other[name] / first[name] if first[name] else math.nan,
            **_bounds(name, first[name], other[name], swings),
        )
        for name in other
    )


def _bounds(name: str, a: float, b: float, swings: tuple[Open, Open] | None) -> dict[str, float]:
    unknown = dict.fromkeys(("low", "high", "ratio_low", "ratio_high"), math.nan)
    if swings is None or name not in RANGED or name in DRIVEN or math.isnan(a) or math.isnan(b):
        return unknown
    one, other = swings
    if isinstance(one, FigureDraws) and isinstance(other, FigureDraws):
        return unknown | _bounds_of_pairs(name, a, b, one, other)
    assert isinstance(one, FigureSwings) and isinstance(other, FigureSwings)
    return unknown | _bounds_of_keys(name, a, b, (one, other))


def _bounds_of_pairs(name: str, a: float, b: float, one: FigureDraws, other: FigureDraws) -> dict[str, float]:
    """5 and 95 % of pairs by ranks i/(n + 1), about the difference and the ratio of the runs.

    Where causes cancel in the likeliest machine, it may lie beyond both: the range then reaches to it.
    """
    both = zip(one.machines, other.machines, strict=True)
    pairs = np.array([(x[name], y[name]) for x, y in both if x is not None and y is not None])
    known = ~np.isnan(pairs).any(axis=1)
    if not known[0] or known.sum() < FEWEST_PAIRS:
        return {}
    pairs = pairs[known]
    change = pairs[:, 1] - pairs[:, 0]
    low, high = b - a + with_none(np.quantile(change[1:] - change[0], ENDS, method="weibull"))
    if a <= 0.0 or b <= 0.0 or pairs.min() <= 0.0:
        return {"low": low, "high": high}
    factor = np.log(pairs[:, 1] / pairs[:, 0])
    least, most = b / a * np.exp(with_none(np.quantile(factor[1:] - factor[0], ENDS, method="weibull")))
    return {"low": low, "high": high, "ratio_low": least, "ratio_high": most}


def _bounds_of_keys(
    name: str, a: float, b: float, swings: tuple[FigureSwings, FigureSwings]
) -> dict[str, float]:
    pairs = [
        _moved(name, a, b, swings, key) for key in dict.fromkeys((*swings[0].changes, *swings[1].changes))
    ]
    changes = [[y - x - (b - a) for x, y in ends] for ends in pairs]
    low = b - a - math.hypot(*(min(0.0, *c) for c in changes))
    high = b - a + math.hypot(*(max(0.0, *c) for c in changes))
    if a <= 0.0 or b <= 0.0:
        return {"low": low, "high": high}
    factors = [[math.log(y / b) - math.log(x / a) for x, y in ends] for ends in pairs]
    down, up = (math.hypot(*(pick(0.0, *f) for f in factors)) for pick in (min, max))
    return {
        "low": low,
        "high": high,
        "ratio_low": b / a * math.exp(-down),
        "ratio_high": b / a * math.exp(up),
    }


def _moved(
    name: str, a: float, b: float, swings: tuple[FigureSwings, FigureSwings], key: KeyRange
) -> Sequence[tuple[float, float]]:
    """Both figures with one key at its low and at its high end."""
    return [tuple(_at(v, s, key, name, end) for v, s in zip((a, b), swings, strict=True)) for end in (0, 1)]  # type: ignore[misc]


def _at(value: float, swings: FigureSwings, key: KeyRange, name: str, end: int) -> float:
    if key not in swings.changes:
        return value
    changed = value + _number(swings.changes[key][end][name])
    return max(changed, SMALLEST_FACTOR * value) if value > 0.0 else changed


def shared_keys(first: FigureSwings, other: FigureSwings) -> tuple[int, int]:
    """How many uncertain keys move both machines, and how many only one."""
    both = len(first.changes.keys() & other.changes.keys())
    return both, len(first.changes.keys() ^ other.changes.keys())
