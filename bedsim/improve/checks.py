"""The propagator's word on a machine: friction, stops, play and vibration included.

Where things slide, the frictionless machine tells the wrong gain by factors; what lives by friction is tried
here, alone and on top of what won there, and what won is checked.  Some turns of the slowest screw are
followed where the frictionless machine's band is largest on its travel: bands repeat.  The print begins
there, so that its height above the bed, over which a tilt acts, is missing from both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.analysis.travel import printed_between, travel_bands, whole_travel
from bedsim.analysis.worst_place import worst_places
from bedsim.background import each
from bedsim.compensate.correction import sideways, stepped_extents
from bedsim.compensate.software import own_table, plane_step
from bedsim.engines.base import LOST_STEP, Job
from bedsim.engines.propagator import PropagatorEngine
from bedsim.errors import BedsimError
from bedsim.improve.answers import answer
from bedsim.improve.doubt import Drawn, Holds, summed
from bedsim.improve.ranking import SMALLEST, WORTH_TELLING, Aim, Progress
from bedsim.improve.steps import LeverStep, changed
from bedsim.improve.taken import by_software
from bedsim.model.convert import stations_of
from bedsim.ranges.draws import Draw
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, relative_errors
from bedsim.units import MM

TURNS = 1.5
"""Turns of the slowest screw that are followed."""
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
    is no run; `holds`: the gain over drawn machines, run too."""

    steps: tuple[LeverStep, ...]
    run: FrictionRun | None
    told: float = math.nan
    found: float = math.nan
    refused: str = ""
    holds: Holds | None = None

    @property
    def moves(self) -> bool:
        """Whether the error changes by as much as is told of a lever."""
        return self.run is not None and abs(math.log(max(self.found, 1e-9))) > math.log(WORTH_TELLING)


def where_worst(loaded: LoadedScenario) -> LoadedScenario:
    """The same machine with a print of some turns where the band at the lead is largest on its travel."""
    lead, tall = max(c.screw.lead_mm for c in loaded.scenario.corner), whole_travel(without_play(loaded))
    laid = stations_of(tall.scenario).laid / MM
    turns = int(np.searchsorted(laid, TURNS * lead * (1 - 1e-9))) + 1
    layers = min(MOST_LAYERS, laid.size, max(2, turns))
    if loaded.scenario.print.laid is not None:  # of a program there is no more than it has
        layers = min(layers, loaded.scenario.print.layers)
    bands = travel_bands(tall)
    top = printed_between(loaded)[1] / MM
    start = min(top, float(bands.nut[bands.worst]) / MM + float(laid[layers - 1]) / 2)
    return loaded.with_values({"print.first_layer_nut_mm": start, "print.layers": layers})


def run(loaded: LoadedScenario, software: bool = False) -> FrictionRun:
    """Run the machine where its band is largest, with `software` by a table of that run.  Raises BedsimError
    where it cannot be computed or loses steps."""
    loaded = where_worst(loaded)
    layers = loaded.scenario.print.layers
    job = replace(make_job(loaded), probes=worst_places(loaded)[1], trace_layers=())
    chunks = [*PropagatorEngine().run(job)]
    if any(bool((chunk.load_angle > LOST_STEP).any()) for chunk in chunks):
        raise BedsimError("a motor loses steps")
    pose = np.concatenate([chunk.pose[0] for chunk in chunks])
    errors = relative_errors(job, np.arange(1, layers + 1), pose)
    told = answer(loaded, layers)
    lateral, told_lateral = float(lateral_peak_to_valley(errors["lateral_error"]).max()), told.lateral
    if software:
        lateral = _software(job, pose, errors["lateral_error"], plane_step(loaded))
        told_lateral = own_table(loaded, plane_step(loaded)).left()[0]
    return FrictionRun(
        lateral=lateral,
        height=float(peak_to_valley(errors["height_error"]).max()),
        told_lateral=told_lateral,
        told_height=told.height,
        layers=layers,
    )


def _software(job: Job, pose: Array, lateral: Array, step: float) -> float:
    """What shift and turn of the very run leave of it, X and Y in steps."""
    stations, layers = job.program.stations, np.arange(1, len(pose) + 1)
    top = stations.top(layers)
    moves = sideways(pose, top, stations.positions(layers)).moves(job.probes)
    return stepped_extents(top, moves, lateral - moves, step)[0]


def check(loaded: LoadedScenario, now: FrictionRun, steps: Sequence[LeverStep], aim: Aim) -> Checked:
    """Run the machine with some steps taken, against the machine as it is (`now`)."""
    try:
        then = run(changed(loaded, steps), by_software(steps))
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


def doubts(
    loaded: LoadedScenario,
    wanted: Sequence[Checked],
    machines: Sequence[Drawn],
    aim: Aim,
    progress: Progress = lambda done: None,
) -> list[Checked]:
    """The same checks with their gains over drawn machines, each run with and without."""
    every = [(), *(one.steps for one in wanted)]
    works = [partial(_error, loaded, steps, m.draw, aim) for steps in every for m in machines]
    found = np.array(each(works, progress)).reshape(len(every), len(machines))
    before = found[0]
    return [
        replace(
            one,
            holds=summed(
                [_over(b, a) for b, a in zip(before, after, strict=True) if b > 0 and a > 0], len(machines)
            ),
        )
        for one, after in zip(wanted, found[1:], strict=True)
    ]


def _error(loaded: LoadedScenario, steps: Sequence[LeverStep], draw: Draw, aim: Aim) -> float:
    """Error of a drawn machine (m); below zero where there is no such machine."""
    try:
        return float(getattr(run(changed(loaded, steps, draw), by_software(steps)), aim))
    except BedsimError:
        return -1.0
