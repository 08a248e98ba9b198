"""Resting layers with friction in coarse steps, for differences between many machines in a short time."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from bedsim.analysis.linear_machine import chunk_at_rest
from bedsim.components.row import Path
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, Job
from bedsim.engines.equilibrium import layer_path
from bedsim.model.assembly import System
from bedsim.results.layers import Array

TURN_PER_STEP = math.pi / 6
"""Turn of the fastest screw in one step, rad."""


def coarse_chunk(job: Job) -> Chunk:
    """Resting layers with friction in coarse steps, run-in included.

    The same slow steps as the equilibrium engine, up to six times fewer.
    """
    layers = np.arange(1, job.program.layers + 1)
    system = job.machine.system(layers)
    imposed = job.machine.imposed(layer_path(job, layers), job.amounts)
    here = np.zeros(job.program.corners)
    carried = _untouched(job, system, here)
    found = []
    for k, layer in enumerate(layers):
        carried = carried.within_limit(job.machine, system.friction_limit[k])
        motion = job.program.start_up() if layer == 1 else job.program.layer_change(int(layer))
        turns = job.program.turning_points(motion)
        path = _coarse_path(job, turns, job.program.start_time(int(layer)))
        carried = state.follow(job, system, k, path, turns[0], carried)
        if layer == 1:
            carried = state.follow(job, system, k, state.resting_path(0.0, here), here, carried)
        found.append(carried.q)
    q = np.stack(found, axis=1)
    observer = base.make_observer(job.machine, system, job.probes)
    return chunk_at_rest(layers, observer, q, imposed, job.machine.joint_travel)


def _untouched(job: Job, system: System, height: Array) -> state.State:
    """The loaded equilibrium at a height with all bristles at zero."""
    n, d = system.K.shape[-1], job.machine.breakaway.size
    nothing = np.zeros((job.members, 0))
    layer = replace(
        state.slow_layer(job, system, 0),
        contact=np.zeros((0, n)),
        groups=np.zeros((0, 0)),
        limit=np.zeros(0),
        breakaway=np.zeros(0),
    )
    imposed = job.machine.imposed(state.resting_path(0.0, height), job.amounts)[:, 0]
    still = np.zeros((job.members, n))
    force = imposed @ system.imposed_force[0].T + system.weight[0]
    loaded = state.slow_step(layer, state.State(q=still, v=still, f=nothing), force, imposed, nothing)
    return state.State(q=loaded.q, v=still, f=np.zeros((job.members, d)))


def _coarse_path(job: Job, heights: Array, time: float) -> Path:
    """Instants on the straight ways between turning points (k, c) m."""
    places, starts, ends = [], [], []
    for a, b in pairwise(heights):
        turn = float(np.max(np.abs(job.machine.command @ (b - a))))
        count = max(1, math.ceil(turn / TURN_PER_STEP))
        places.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
        starts.append(np.repeat(a[None], count, axis=0))
        ends.append(np.repeat(b[None], count, axis=0))
    height = np.concatenate(places)
    return Path(
        time=np.full(height.shape[0], time),
        height=height,
        move_start=np.concatenate(starts),
        move_end=np.concatenate(ends),
    )
