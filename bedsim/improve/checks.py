"""The propagator's word on a machine: friction, stops, play and vibration included.

Where things slide, the frictionless machine tells the wrong gain by factors; what lives by friction is tried
here alone, and what won there is checked.  The first turns of the slowest screw are followed: bands repeat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.linear_machine import shortened
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.analysis.worst_place import worst_places
from bedsim.engines.base import LOST_STEP
from bedsim.engines.propagator import PropagatorEngine
from bedsim.errors import BedsimError
from bedsim.improve.answers import answer
from bedsim.improve.ranking import SMALLEST, Aim
from bedsim.improve.steps import LeverStep, changed
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, relative_errors

TURNS = 1.5
"""Turns of the slowest screw that are followed at most."""
MOST_LAYERS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionRun:
    """Errors (m, peak to valley, worst place) over the layers that were followed: with friction and
    vibration (`lateral`, `height`), and as the frictionless machine tells them."""

    lateral: float
    height: float
    told_lateral: float
    told_height: float
    layers: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """Steps run with the propagator: gains as `told` without friction and as `found`; `refused`: why there
    is no run."""

    steps: tuple[LeverStep, ...]
    run: FrictionRun | None
    told: float = math.nan
    found: float = math.nan
    refused: str = ""


def layers_followed(loaded: LoadedScenario) -> int:
    """Layers of `TURNS` turns of the slowest screw, at most `MOST_LAYERS` and those of the print."""
    lead = max(c.screw.lead_mm for c in loaded.scenario.corner)
    turns = math.ceil(TURNS * lead / loaded.scenario.print.layer_mm)
    return min(loaded.scenario.print.layers, MOST_LAYERS, max(2, turns))


def run(loaded: LoadedScenario) -> FrictionRun:
    """Run the machine's first turns.  Raises BedsimError where it cannot be computed or loses steps."""
    layers = layers_followed(loaded)
    job = shortened(replace(make_job(loaded), probes=worst_places(loaded)[1], trace_layers=()), layers)
    chunks = [*PropagatorEngine().run(job)]
    if any(bool((chunk.load_angle > LOST_STEP).any()) for chunk in chunks):
        raise BedsimError("a motor loses steps")
    pose = np.concatenate([chunk.pose[0] for chunk in chunks])
    errors = relative_errors(job, np.arange(1, layers + 1), pose)
    told = answer(loaded, layers)
    return FrictionRun(
        lateral=float(lateral_peak_to_valley(errors["lateral_error"]).max()),
        height=float(peak_to_valley(errors["height_error"]).max()),
        told_lateral=told.lateral,
        told_height=told.height,
        layers=layers,
    )


def check(loaded: LoadedScenario, now: FrictionRun, steps: Sequence[LeverStep], aim: Aim) -> Checked:
    """Run the machine with some steps taken, against the machine as it is (`now`)."""
    try:
        then = run(changed(loaded, steps))
    except BedsimError as fault:
        return Checked(steps=tuple(steps), run=None, refused=str(fault))
    return Checked(
        steps=tuple(steps),
        run=then,
        told=_over(getattr(now, f"told_{aim}"), getattr(then, f"told_{aim}")),
        found=_over(getattr(now, aim), getattr(then, aim)),
    )


def _over(before: float, after: float) -> float:
    return max(before, SMALLEST) / max(after, SMALLEST)
