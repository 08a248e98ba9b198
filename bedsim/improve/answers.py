"""What a machine does at the worst place of its bed over its whole travel, frictionless and at rest, and what
that costs elsewhere.

A few ten milliseconds a machine: the tallest print that its screws allow, told by some of its layers.
Friction, stops and play are left out: what lives by them goes to `checks.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis import linear_machine
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.analysis.travel import whole_travel
from bedsim.analysis.worst_place import worst_places
from bedsim.model.assembly import nut_position
from bedsim.model.convert import make_screw
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, relative_errors
from bedsim.sizing.buckling import critical_load

NO_LOAD = 1e-6  # N; a screw that carries none does not buckle


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstAnswer:
    """Errors of the worst place and what else is to be kept, SI.

    `lateral`, `height`: peak to valley, m; `side_force` N: largest on a guide, heat growth included;
    `load_angle` electrical rad; `travel`: largest part of a joint's travel used; `seat` N: least force that
    keeps a mount seated (infinite where all are bolted).
    """

    lateral: float
    height: float
    side_force: float
    load_angle: float
    travel: float
    seat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """`buckling`: least buckling load of a screw over its nut's travel, over its load; `mode` Hz: lowest
    natural frequency, contacts stuck, at both ends of the travel."""

    buckling: float
    mode: float


def answer(loaded: LoadedScenario, layers: int | None = None) -> WorstAnswer:
    """Work the machine out, over its whole travel or over the first layers of its print.  Raises ModelError
    or InputError where it cannot be."""
    fitted = linear_machine.without_play(loaded)
    fitted = whole_travel(fitted) if layers is None else fitted
    job = replace(make_job(fitted), probes=worst_places(fitted)[1])
    job = job if layers is None else linear_machine.shortened(job, layers)
    linear = linear_machine.linear_machine(job, linear_machine.sampled_layers(job.program.layers))
    imposed = linear_machine.own_imposed(linear)
    q = linear_machine.motions(linear, imposed)
    chunk = linear_machine.chunk_at_rest(linear.layers, linear.observer, q, imposed, job.machine.joint_travel)
    errors = relative_errors(job, linear.layers, chunk.pose[0])
    seat = chunk.mount_force[np.isfinite(chunk.mount_force)]
    return WorstAnswer(
        lateral=float(lateral_peak_to_valley(errors["lateral_error"]).max()),
        height=float(peak_to_valley(errors["height_error"]).max()),
        side_force=float(chunk.side_force.max()),
        load_angle=float(chunk.load_angle.max()),
        travel=float((chunk.joint_excursion / job.machine.joint_travel).max()),
        seat=float(seat.min()) if seat.size else math.inf,
    )


def standing(loaded: LoadedScenario) -> Standing:
    """How far the screws are from buckling and how low the machine swings.  Raises as `answer` does."""
    job = make_job(whole_travel(linear_machine.without_play(loaded)))
    ends = np.unique([1, job.program.layers])
    system = job.machine.system(ends)
    low, high = nut_position(job.machine, ends[[-1, 0]])
    margins = [
        critical_load(make_screw(corner), low[c], high[c])[0] / max(system.corner_load[:, c].max(), NO_LOAD)
        for c, corner in enumerate(loaded.scenario.corner)
    ]
    return Standing(buckling=float(np.min(margins)), mode=float(system.frequency.min() / (2 * math.pi)))
