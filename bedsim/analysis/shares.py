"""What each cause and each corner contributes to a run, and what is left to friction and vibration."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bedsim.analysis import response
from bedsim.analysis.bands import REMAINDER, Source
from bedsim.analysis.linear_machine import has_play, without_play
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.analysis.summary import Shares
from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario

WHOLE_MACHINE = "all"

Sources = dict[Source, tuple[Array, Array]]
"""Lateral (n, p, 2) and height (n, p) errors (m) that every (cause, corner) makes alone."""


def source_layers(loaded: LoadedScenario) -> Sources:
    """Lateral (n, p, 2) and height (n, p) errors (m) that every (cause, corner) makes alone, layer by layer.

    Those of `response.source_errors`, with nuts that have play taken as fitting: without that they would
    pass nothing on.  They add up to the machine without friction, stops and play.
    """
    return response.source_errors(without_play(loaded))


def share_note(loaded: LoadedScenario) -> str:
    """A sentence on what the shares are shares of."""
    text = (
        "Shares: each cause alone in the machine without friction and vibration; layer by layer they add up, "
        "their peak-to-valleys do not"
    )
    if any(has_play(c.screw.kind, c.nut.clearance_um) for c in loaded.scenario.corner):
        text += "; the nuts' radial play is left out: shares of the machine without play"
    return text + "."


def shares_of(run: Run, sources: Mapping[Source, tuple[Array, Array]]) -> Shares:
    """Peak-to-valley of height and lateral error (m, worst probe) that each (cause, corner) makes alone.

    What the run has beyond the sum of all is the entry "friction and vibration"; it holds stops and play too.
    Corner "" stands for the whole machine.
    """
    found = {
        (cause, "" if corner == WHOLE_MACHINE else corner): _extents(lateral, height)
        for (cause, corner), (lateral, height) in sources.items()
    }
    lateral = run.layers.lateral_error - sum(parts[0] for parts in sources.values())
    height = run.layers.height_error - sum(parts[1] for parts in sources.values())
    found[REMAINDER[0], ""] = _extents(lateral, height)
    return found


def _extents(lateral: Array, height: Array) -> tuple[float, float]:
    return float(np.max(peak_to_valley(height))), float(np.max(lateral_peak_to_valley(lateral)))
