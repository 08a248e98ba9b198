"""The answer as a range where readings have told of the machine: of machines that agree with them all."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from bedsim.analysis.figures import metric_values
from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.summary import Ranges
from bedsim.errors import BedsimError
from bedsim.ranges.draws import draws
from bedsim.ranges.swings import RANGED, SIGNED, Found, leads_of, linear_values
from bedsim.results.layers import SPREAD_MOMENTS, Array, Run
from bedsim.scenario.load import LoadedScenario

ENDS = (0.05, 0.95)

Values = Mapping[str, float]
Progress = Callable[[int], None]


def drawn_values(
    loaded: LoadedScenario, count: int, progress: Progress = lambda done: None
) -> list[Values | None]:
    """Figures of the likeliest machine, then of `count` machines that agree with what is known, without
    friction; None for one that cannot be built.

    A key has the same luck in the n-th machine of every scenario, and a scenario with knowledge takes the
    n-th machine that agrees with its readings: machines of one number can be compared.
    """
    found: list[Values | None] = [linear_values(without_play(loaded))]
    for draw in draws(count, knowledge=loaded.knowledge):
        try:
            drawn = loaded.with_values(draw.values(loaded.ranges))
            found.append(linear_values(without_play(drawn)))
        except BedsimError:
            found.append(None)
        progress(len(found) - 1)
    return found


def known_values(loaded: LoadedScenario, progress: Progress = lambda done: None) -> list[Values]:
    """Figures of the likeliest machine, then of every machine that the scenario's knowledge holds, what it
    does not tell drawn besides; those that cannot be built are left out."""
    assert loaded.knowledge is not None
    found = drawn_values(loaded, len(loaded.knowledge.machines), progress)
    return [one for one in found if one is not None]


def with_none(ends: Array) -> Array:
    """Ends (2,) of what machines add to the likeliest one, reaching to nothing."""
    return np.array([min(ends[0], 0.0), max(ends[1], 0.0)])


def known_ranges(run: Run, loaded: LoadedScenario, values: Sequence[Values]) -> Found:
    """Ranges about the run's answer: what 5 and 95 % of the machines have of the likeliest one's figure.

    By ranks i/(n + 1); where causes cancel in the likeliest machine it may lie beyond both, and the range
    reaches to it.  Figures that can pass zero join differences.  Friction's own keys are not varied.
    """
    assert loaded.knowledge is not None
    answer = metric_values(run.layers, leads_of(loaded))
    middle, machines = values[0], values[1:]
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
        "% of them; without friction, whose keys are not varied."
    )
    unknown = np.full((*run.layers.height_error.shape, len(SPREAD_MOMENTS)), np.nan)
    return Found(ranges=Ranges(low=low, high=high, influences=()), method=method, spread=unknown)
