"""Resting layers with friction in coarse steps, for differences between many machines in a short time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.linear_machine import chunk_at_rest
from bedsim.components.row import Path, resting_path
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, Job
from bedsim.engines.equilibrium import layer_path
from bedsim.model.assembly import System
from bedsim.model.nonlinear import elastic
from bedsim.results.layers import Array

TURN_PER_STEP = math.pi / 6
"""Turn of the fastest screw in one step, rad."""


def coarse_chunk(job: Job) -> Chunk:
    """Resting layers with friction in coarse steps, run-in included.

    The same slow steps as the equilibrium engine, up to six times fewer.  Without vibration, which rubs
    friction down: made from the propagator instead, the ranges of the shipped machines moved by less than
    0.1 % when that was measured.
    """
    return coarse_chunks([job])[0]


def coarse_chunks(jobs: Sequence[Job], least: int = 1) -> list[Chunk]:
    """Likewise of machines of one `likeness`, side by side, with `least` steps or more on every straight way.

    Raises SolverError if one of them finds no equilibrium.
    """
    first = jobs[0]
    layers = np.arange(1, first.program.layers + 1)
    made = {id(job.machine): job.machine.system(layers) for job in {id(j.machine): j for j in jobs}.values()}
    systems = [made[id(job.machine)] for job in jobs]
    for job, system in zip(jobs, systems, strict=True):
        job.machine.tell_side_force(job.machine, system)
    here = np.zeros(first.program.corners)
    paths = [_layer_path(first, int(layer), here, least) for layer in layers]
    imposed = [_imposed(job, paths) for job in jobs]
    now = state.join(
        [state.loaded(job, s, resting_path(0.0, here)) for job, s in zip(jobs, systems, strict=True)]
    )
    rest = []
    for k, path in enumerate(paths):
        layer = _side_by_side([state.slow_layer(job, s, k) for job, s in zip(jobs, systems, strict=True)])
        limits = np.stack([s.friction_limit[k] for s in systems])
        now = now.within_limit(first.machine, limits)
        slip = np.diff(path.height, axis=0, prepend=path.move_start[:1]) @ first.machine.contact_command.T
        own = np.stack([x[k] for x in imposed])
        force = np.stack([x @ s.imposed_force[k].T + s.weight[k] for x, s in zip(own, systems, strict=True)])
        now = state.slow_steps(layer, now, force, own, slip[:, None])
        rest.append(now.q)
    q = np.stack(rest, axis=1)
    return [_chunk(job, s, layers, own) for job, s, own in zip(jobs, systems, q[:, None], strict=True)]


def likeness(job: Job) -> tuple[Any, ...]:
    """What machines that differ in numbers alone have in common: contacts and elastic elements between the
    same parts, and the motion."""
    machine = job.machine
    system = machine.system(np.array([1])) if machine.flanks else None
    parts = elastic(machine, system, 0, motor_sine=False)
    arrays = [machine.contact_rows, machine.contact_groups, machine.contact_command]
    arrays += [getattr(parts, f.name) for f in fields(parts)]
    return job.program, *((x.shape, x.tobytes()) for x in arrays)


def _side_by_side(layers: Sequence[state.SlowLayer]) -> state.SlowLayer:
    many: dict[str, Any] = {
        key: np.stack([getattr(x, key) for x in layers]) for key in ("K", "scale", "limit", "breakaway")
    }
    return replace(layers[0], **many)


def _layer_path(job: Job, layer: int, here: Array, least: int) -> Path:
    """Coarse instants on the way to a layer; to the first by the run-in, where it ends at `here`."""
    motion = job.program.start_up() if layer == 1 else job.program.layer_change(layer)
    heights = job.program.turning_points(motion)
    if layer == 1:
        heights = np.concatenate([heights, here[None]])
    time = job.program.start_time(layer)
    return state.slow_path(job, heights, time=time, turn=TURN_PER_STEP, least=least)


def _imposed(job: Job, paths: Sequence[Path]) -> list[Array]:
    """Imposed extensions (t, rows) of one machine along each path."""
    whole = Path(**{f.name: np.concatenate([getattr(p, f.name) for p in paths]) for f in fields(Path)})
    cuts = np.cumsum([p.time.size for p in paths])[:-1]
    return np.split(job.machine.imposed(whole, job.amounts[0]), cuts)


def _chunk(job: Job, system: System, layers: NDArray[np.int64], q: Array) -> Chunk:
    """Resting motions (1, l, n) as a chunk."""
    imposed = job.machine.imposed(layer_path(job, layers), job.amounts)
    observer = base.make_observer(job.machine, system, job.probes)
    return chunk_at_rest(layers, observer, q, imposed, job.machine.joint_travel)
