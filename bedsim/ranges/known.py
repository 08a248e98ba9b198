"""The answer as a range where readings have told of the machine: of machines that agree with them all."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from bedsim.analysis.figures import metric_values
from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.summary import Ranges
from bedsim.errors import BedsimError
from bedsim.ranges.alone import (
    RANGED,
    Seen,
    as_they_are,
    figures_of,
    half_differences,
    leads_of,
    linear_layers,
    spread_moments,
)
from bedsim.ranges.draws import draws
from bedsim.ranges.swings import SIGNED, Found
from bedsim.results.layers import Array, LayerResult, Run
from bedsim.scenario.load import LoadedScenario

ENDS = (0.05, 0.95)
NORMAL_END = 1.645
"""Standard deviations from the middle of a normal law to its 95 %."""

Values = Mapping[str, float]
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Figures of the likeliest machine, then of those that agree with the readings; `spread` as in
    `results.layers.Open`."""

    values: tuple[Values, ...]
    spread: Array


def drawn_values(
    loaded: LoadedScenario, count: int, progress: Progress = lambda done: None, seen: Seen = as_they_are
) -> list[Values | None]:
    """Figures of the likeliest machine, then of `count` machines that agree with what is known, without
    friction; None for one that cannot be built.

    A key has the same luck in the n-th machine of every scenario, and a scenario with knowledge takes the
    n-th machine that agrees with its readings: machines of one number can be compared.
    """
    leads = leads_of(loaded)
    drawn = _drawn_layers(loaded, count, progress)
    return [None if one is None else figures_of(seen(one), leads) for one in drawn]


def _drawn_layers(loaded: LoadedScenario, count: int, progress: Progress) -> Iterator[LayerResult | None]:
    """The same machines layer by layer."""
    yield linear_layers(without_play(loaded))
    for number, draw in enumerate(draws(count, knowledge=loaded.knowledge), start=1):
        try:
            found = linear_layers(without_play(loaded.with_values(draw.values(loaded.ranges))))
        except BedsimError:
            found = None
        progress(number)
        yield found


def known_machines(loaded: LoadedScenario, progress: Progress = lambda done: None) -> Known:
    """The likeliest machine and every one that the scenario's knowledge holds, what it does not tell drawn
    besides; those that cannot be built are left out.

    The spread is the mean over the machines of products of what they differ by from the likeliest one, times
    `NORMAL_END` squared: where differences are normal, the half range from 5 to 95 % of anything linear in
    the errors.  Source: [GUM] 5.2.2 for the products; 1.645 is the normal law's 95 % point.
    """
    assert loaded.knowledge is not None
    layers = _drawn_layers(loaded, len(loaded.knowledge.machines), progress)
    likeliest, leads = next(layers), leads_of(loaded)
    assert likeliest is not None
    values, spread = [figures_of(likeliest, leads)], spread_moments(half_differences(likeliest, likeliest))
    for one in layers:
        if one is not None:
            values.append(figures_of(one, leads))
            half = half_differences(likeliest, one)
            spread = spread + 4.0 * spread_moments(half)  # of whole differences, not of half ones
    return Known(values=tuple(values), spread=NORMAL_END**2 * spread / max(len(values) - 1, 1))


def with_none(ends: Array) -> Array:
    """Ends (2,) of what machines add to the likeliest one, reaching to nothing."""
    return np.array([min(ends[0], 0.0), max(ends[1], 0.0)])


def known_ranges(run: Run, loaded: LoadedScenario, known: Known) -> Found:
    """Ranges about the run's answer: what 5 and 95 % of the machines have of the likeliest one's figure.

    By ranks i/(n + 1); where causes cancel in the likeliest machine it may lie beyond both, and the range
    reaches to it.  Figures that can pass zero join differences.  Friction's own keys are not varied.
    """
    assert loaded.knowledge is not None
    answer = metric_values(run.layers, leads_of(loaded))
    middle, *machines = known.values
    low, high = {}, {}
    for name in RANGED:
        if math.isnan(answer[name]):
            continue
        own = np.array([one[name] for one in machines])
        ends = np.quantile(own[~np.isnan(own)], ENDS, method="weibull")
        low[name], high[name] = answer[name] + with_none(ends - middle[name])
        if name not in SIGNED and middle[name] > 0:
            low[name], high[name] = answer[name] * (1.0 + with_none(ends / middle[name] - 1.0))
    method = (
        f"Ranges: {len(machines)} machines that agree with the readings in {loaded.knowledge.name}, 5 to 95 "
        "% of them, layer by layer 1.64 times the root mean square of what they differ by; without friction, "
        "whose keys are not varied."
    )
    return Found(ranges=Ranges(low=low, high=high, influences=()), method=method, spread=known.spread)
