"""The equilibrium engine: no inertia, one factorisation per height.

Without friction, stops and plain nuts every layer is one solve and a million printers are one matrix product
over the precomputed responses; with them, bristles are carried along the path by their exact increments.

What it leaves out with friction is vibration: the ring-down of every layer change rubs the bristles down, and
the bed comes to rest elsewhere.  `OFF_BY` tells by how much (tests/agreement).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, History, Job, Observer
from bedsim.engines.static import at_rest
from bedsim.model.assembly import Machine, System

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64

OFF_BY = (
    "nothing rubs friction down, so it is up to 0.1 µm sideways and 0.5 µm in height off the propagator on "
    "the shipped machines, 1 and 3 µm where rolling joints have a friction coefficient of 0.02"
)
"""Largest difference of the errors of any layer and probe, measured."""
REMARK = f"Engine equilibrium, with friction but without vibration: {OFF_BY}"


@dataclass(frozen=True, slots=True, kw_only=True)
class EquilibriumEngine:
    """Quasi-static layers; residual vibration and settle time are not computed: not a number.

    With friction a remark says how far off that is: `OFF_BY`.
    """

    name: str = "equilibrium"

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members. Raises SolverError if a step finds no equilibrium."""
        layers = np.arange(1, job.program.layers + 1)
        carried = None if is_linear(job.machine) else state.start(job)
        for first in range(0, layers.size, LAYERS_AT_ONCE):
            system = job.machine.system(layers[first : first + LAYERS_AT_ONCE])
            observer = base.make_observer(job.machine, system, job.probes)
            if carried is None:
                yield linear_chunk(job, system, observer)
            else:
                carried, chunk = _friction_chunk(job, system, observer, carried)
                yield chunk if not job.machine.frictions else replace(chunk, remarks=(f"{REMARK}.",))
            job.progress(int(system.layers[-1]))


def is_linear(machine: Machine) -> bool:
    """Whether nothing in the machine depends on its path.

    Stops count as linear while they are not reached.
    """
    return not machine.frictions and not machine.flanks


def layer_path(job: Job, layers: NDArray[np.int64]) -> Path:
    """The path of resting places of some layers, one instant each, at the end of the layer's motion."""
    height = job.program.height(layers)[:, None] * np.ones(job.program.corners)
    before = job.program.height(layers - 1)[:, None] * np.ones(job.program.corners)
    return Path(time=job.program.start_time(layers), height=height, move_start=before, move_end=height)


def linear_poses(job: Job, system: System) -> tuple[Array, Array]:
    """Frictionless motions (m, l, n) of all members at the resting places of a system's layers, and imposed
    (m, l, r)."""
    if job.sums:
        q, imposed = responses(job, system, job.used)
        mix = job.mix(job.used)
        return _sums(mix, q), _sums(mix[:, :-1], imposed[:-1])
    imposed = job.machine.imposed(layer_path(job, system.layers), job.amounts)
    return _solved(system, imposed, 1.0), imposed


def responses(job: Job, system: System, sources: NDArray[np.int64]) -> tuple[Array, Array]:
    """What layers answer to each of `sources` (s,) of unit strength and, last, to weight alone.

    Motions (s+1, l, n) and imposed extensions (s+1, l, r): any number of machines that differ in strengths
    are sums.
    """
    imposed = job.machine.imposed(layer_path(job, system.layers), job.units(sources))
    return _solved(system, imposed, np.append(np.zeros(sources.size), 1.0)), imposed


def _solved(system: System, imposed: Array, weighted: Array | float) -> Array:
    """Motions (m, l, n) under imposed extensions (m, l, r)."""
    return np.transpose(at_rest(system, np.transpose(imposed, (1, 2, 0)), weighted), (2, 0, 1))


def _sums(mix: Array, answers: Array) -> Array:
    return (mix @ answers.reshape(answers.shape[0], -1)).reshape(mix.shape[0], *answers.shape[1:])


def linear_chunk(job: Job, system: System, observer: Observer) -> Chunk:
    """Layers without friction; layers in which a stop is reached are solved again with it."""
    q, imposed = linear_poses(job, system)
    every = np.arange(system.layers.size)
    fields = base.watched_extremes(observer, every, q[:, :, None], imposed[:, :, None, observer.watched])
    touching = np.any(fields["joint_excursion"] > job.machine.joint_travel, axis=(0, 2))
    for k in np.flatnonzero(touching):
        layer = state.slow_layer(job, system, int(k))
        empty = np.zeros((job.members, 0))
        start = state.State(q=q[:, k], v=np.zeros_like(q[:, k]), f=empty)
        force = imposed[:, k] @ system.imposed_force[k].T + system.weight[k]
        q[:, k] = state.slow_step(layer, start, force, imposed[:, k], empty).q
        again = base.extremes(observer, int(k), q[:, k, None], imposed[:, k, None])
        for key, values in again.items():
            fields[key][:, k] = values
    return _chunk(job, system, observer, q, imposed, fields)


def _friction_chunk(
    job: Job, system: System, observer: Observer, carried: state.State
) -> tuple[state.State, Chunk]:
    """Layers one after the other, bristles carried along."""
    motions, reports = [], []
    resting = layer_path(job, system.layers)
    imposed = job.machine.imposed(resting, job.amounts)
    for k, layer in enumerate(system.layers):
        carried = carried.within_limit(job.machine, system.friction_limit[k])
        before = np.full(job.program.corners, float(job.program.height(layer - 1)))
        motion, begin = job.program.layer_change(int(layer)), job.program.start_time(int(layer))
        path = state.slow_path(job, job.program.turning_points(motion), time=begin)
        carried = state.follow(job, system, k, path, before, carried)
        motions.append(carried.q)
        reports.append(base.extremes(observer, k, carried.q[:, None], imposed[:, k, None]))
    fields = {key: np.stack([report[key] for report in reports], axis=1) for key in reports[0]}
    return carried, _chunk(job, system, observer, np.stack(motions, axis=1), imposed, fields)


def _chunk(
    job: Job, system: System, observer: Observer, q: Array, imposed: Array, fields: dict[str, Any]
) -> Chunk:
    members, layers = q.shape[:2]
    unknown = np.full((members, layers, observer.height.shape[0]), np.nan)
    histories = tuple(
        History(
            layer=int(layer),
            member=0,
            time=np.zeros(1),
            q=q[0, k, None],
            imposed=imposed[0, k, None],
            commanded=job.program.height(layer)[None],
        )
        for k, layer in enumerate(system.layers)
        if layer in job.trace_layers
    )
    return Chunk(
        layers=system.layers,
        pose=q @ observer.bed.T,
        residual_height=unknown,
        residual_lateral=unknown,
        settle_time=np.full((members, layers), np.nan),
        stop_hit=fields["joint_excursion"] >= job.machine.joint_travel,
        tail_bound=np.zeros((members, layers)),
        histories=histories,
        **fields,
    )
