"""The answer as a range where readings have told of the machine: of machines that agree with them all."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from bedsim.analysis.figures import metric_values
from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.summary import Ranges
from bedsim.errors import BedsimError
from bedsim.ranges.swings import RANGED, SIGNED, Found, leads_of, linear_values
from bedsim.results.layers import SPREAD_MOMENTS, Run
from bedsim.scenario.load import LoadedScenario

ENDS = (0.05, 0.95)

Values = Mapping[str, float]
Progress = Callable[[int], None]


def known_values(loaded: LoadedScenario, progress: Progress = lambda done: None) -> list[Values]:
    """Figures of the likeliest machine, then of every machine that the scenario's knowledge holds, without
    friction; those that cannot be built are left out."""
    assert loaded.knowledge is not None
    found = [linear_values(without_play(loaded))]
    for number, values in enumerate(loaded.knowledge.machines):
        with contextlib.suppress(BedsimError):
            found.append(linear_values(without_play(loaded.with_values(values))))
        progress(number + 1)
    return found


def known_ranges(run: Run, loaded: LoadedScenario, values: Sequence[Values]) -> Found:
    """Ranges about the run's answer: what 5 and 95 % of the machines have of the likeliest one's figure.

    By ranks i/(n + 1).  Figures that can pass zero join differences.  Friction's own keys are not varied.
    """
    assert loaded.knowledge is not None
    answer = metric_values(run.layers, leads_of(loaded))
    middle, machines = values[0], values[1:]
    low, high = {}, {}
    for name in RANGED:
        if math.isnan(answer[name]):
            continue
        own = np.array([one[name] for one in machines])
        least, most = np.quantile(own[~np.isnan(own)], ENDS, method="weibull")
        if name in SIGNED or not middle[name] > 0:
            low[name], high[name] = answer[name] + least - middle[name], answer[name] + most - middle[name]
        else:
            low[name], high[name] = answer[name] * least / middle[name], answer[name] * most / middle[name]
    method = (
        f"Ranges: {len(machines)} machines that agree with the readings in {loaded.knowledge.name}, 5 to 95 "
        "% of them; without friction, whose keys are not varied."
    )
    unknown = np.full((*run.layers.height_error.shape, len(SPREAD_MOMENTS)), np.nan)
    return Found(ranges=Ranges(low=low, high=high, influences=()), method=method, spread=unknown)
