"""The propagator: the same equations as the reference engine, advanced exactly in the natural modes.

The modes are those of the machine with its bristles stuck, so that what rings down after a move is carried
exactly and only the slip of the bristles is left over.  Imperfections are forcing alone, so a layer's modes
serve every member of a batch.  What is not linear - bristles, stops, plain nuts, explicit dampers - acts
through a few rows whose forces are polygons in time; `window.py` solves for them.  Errors are of second order
in the polygon's spacing or better, and the spacing follows an estimate of the error of the bristles' path
(`Pace`); tests/agreement shows both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, lanes, state
from bedsim.engines.base import Chunk, Handles, History, Job, Observer
from bedsim.engines.course import mixed
from bedsim.engines.modes import LayerModes, layer_modes
from bedsim.engines.reference import ReferenceEngine
from bedsim.engines.state import State
from bedsim.engines.track import Pace, Track, Work, begin, drive, leave, ring_down
from bedsim.model.assembly import System

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64
BLOCK = 256  # members side by side

__all__ = ["Pace", "PropagatorEngine"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact motion in the natural modes between corners as close as `pace` says."""

    name: str = "propagator"
    handles: Handles = Handles.FRICTION | Handles.STOPS | Handles.PLAY | Handles.INERTIA | Handles.MEMBERS
    pace: Pace = field(default_factory=Pace)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members. A layer past the motors' linear range is done by the reference
        engine.

        Raises SolverError if contacts find no solution.
        """
        count = lanes.lanes_for(job)
        if count > 1:
            yield lanes.run(job, count, self.layers)
            return
        carried = state.start(job)
        layers = np.arange(1, job.program.layers + 1)
        for first in range(0, layers.size, LAYERS_AT_ONCE):
            system = job.machine.system(layers[first : first + LAYERS_AT_ONCE])
            observer = base.make_observer(job.machine, system, job.probes)
            for index, layer in enumerate(system.layers):
                carried, chunk = self.layer(job, system, observer, index, int(layer), carried)
                yield chunk
                job.progress(int(layer))

    def layer(
        self, job: Job, system: System, observer: Observer, index: int, layer: int, before: State
    ) -> tuple[State, Chunk]:
        """One layer of all members: the state at its end and what is reported of it."""
        return self.layers(job, system, observer, np.array([index]), np.array([layer]), before)

    def layers(
        self,
        job: Job,
        system: System,
        observer: Observer,
        index: NDArray[np.int64],
        layers: NDArray[np.int64],
        before: State,
    ) -> tuple[State, Chunk]:
        """One layer for all members, or of a job of one member a layer for each state: the states at its end
        and what is reported, an axis of one layer."""
        before = before.within_limit(job.machine, system.friction_limit[index])
        modes = layer_modes(job, system, index)
        work = Work(
            plan=course.course(job, layers),
            layer=modes,
            pace=self.pace,
            probes=probe_modes(observer, index, modes),
            view=base.view(observer, index) @ modes.modes,
        )
        members = before.q.shape[0]
        block = BLOCK if layers.size == 1 else members
        ends, chunks = [], []
        for first in range(0, members, block):
            here = slice(first, first + block)
            mix = None if work.plan.mix is None else np.ascontiguousarray(work.plan.mix[:, here])
            track = begin(work, mix, before.part(here))
            for piece in range(work.plan.motion.time.size - 1):
                drive(track, piece)
            bound, mean = ring_down(track)
            ends.append(leave(modes, track.now))
            chunks.append(report(track, observer, index, layers, mean, bound))
        after, chunk = state.join(ends), base.join_members(chunks)
        return self._past_linear(job, system, observer, index, layers, before, after, chunk)

    def _past_linear(
        self,
        job: Job,
        system: System,
        observer: Observer,
        index: NDArray[np.int64],
        layers: NDArray[np.int64],
        before: State,
        after: State,
        chunk: Chunk,
    ) -> tuple[State, Chunk]:
        """Members whose load angle left the linear range are computed again by the reference engine, sine
        and all."""
        over = np.flatnonzero(np.any(chunk.load_angle[:, 0] > base.LINEAR_LOAD_ANGLE, axis=1))
        if over.size == 0:
            return after, chunk
        exact = ReferenceEngine(motor_sine=True)
        q, v, f = after.q.copy(), after.v.copy(), after.f.copy()
        fields = {key: getattr(chunk, key).copy() for key in base.REPORTED}
        histories = {history.layer: history for history in chunk.histories}
        for k in over:
            lane, member = (int(k), 0) if layers.size > 1 else (0, int(k))
            start = before.member(int(k))
            end, one = exact.layer(
                job, system, observer, int(index[lane]), int(layers[lane]), start, member
            )
            q[k], v[k], f[k] = end.q[0], end.v[0], end.f[0]
            for key, values in fields.items():
                values[k] = getattr(one, key)[0]
            if member == 0:
                histories |= {history.layer: history for history in one.histories}
        note = "layers past the linear range of a motor's load angle were computed by the reference engine."
        return State(q=q, v=v, f=f), Chunk(
            layers=chunk.layers,
            histories=tuple(histories.values()),
            notes=(note,),
            statistics=chunk.statistics | {"layers by reference": float(over.size)},
            **fields,
        )


def probe_modes(observer: Observer, index: NDArray[np.int64], modes: LayerModes) -> Array:
    """How far probes move per mode (s, p, n): heights, then both lateral directions."""
    n = observer.height.shape[1]
    lateral = observer.lateral[index].reshape(index.size, -1, n)
    height = np.broadcast_to(observer.height, (index.size, *observer.height.shape))
    return np.concatenate([height, lateral], axis=1) @ modes.modes


def report(
    track: Track,
    observer: Observer,
    index: NDArray[np.int64],
    layers: NDArray[np.int64],
    mean: Array,
    bound: Array,
) -> Chunk:
    """What is reported of the members of a track, who share a layer or have one each; `mean` (m, n) of eta in
    print."""
    plan, modes = track.work.plan, track.work.layer
    job, motion = plan.job, plan.motion
    time = np.array(track.times)
    back = np.swapaxes(modes.modes, 1, 2)
    seen = np.transpose(np.concatenate(track.seen), (2, 0, 1))  # (m, t, v)
    rows, joint, height, lateral = base.parts(observer, seen)
    watched = np.concatenate(track.imposed, axis=1)[..., observer.watched]
    watched = np.moveaxis(mixed(np.moveaxis(watched, 0, -1), track.mix), -1, 0)
    moving = watched.shape[1]
    at = index if layers.size > 1 else int(index[0])
    fields: dict[str, Any] = base.seen_extremes(observer, at, rows[:, :moving], joint[:, :moving], watched)
    still = base.seen_extremes(observer, at, rows[:, moving - 1 :], joint[:, moving - 1 :], watched[:, -1:])
    for key, largest in still.items():
        least = key in ("mount_force", "axial_force")
        fields[key] = (np.minimum if least else np.maximum)(fields[key], largest)
    printing = motion.duration + job.program.settle
    away = height - height[:, -1:], lateral - lateral[:, -1:]
    fields |= base.seen_residual(time, *away, printing, motion.duration)
    return Chunk(
        layers=layers,
        pose=((mean[:, None] @ back) @ observer.bed.T),
        stop_hit=(fields["joint_excursion"] >= job.machine.joint_travel)[:, None],
        tail_bound=bound[:, None],
        histories=tuple(
            _history(track, k, int(layer), time) for k, layer in enumerate(layers) if layer in job.trace_layers
        ),
        statistics={"steps": float(track.taken), "tries": float(track.tries)},
        **{key: value[:, None] for key, value in fields.items()},
    )


def _history(track: Track, k: int, layer: int, time: Array) -> History:
    """The motion of the first member, or of the one at the k-th layer."""
    job, motion = track.work.plan.job, track.work.plan.motion
    modes = track.work.layer.modes
    profile = job.program.layer_change(layer)
    path = profile.path(np.minimum(time, motion.duration), job.program.start_time(layer))
    q = np.array([place[:, k] for place in track.places]) @ modes[min(k, modes.shape[0] - 1)].T
    imposed = job.machine.imposed(path, job.amounts[0])
    return History(layer=layer, member=0, time=time, q=q, imposed=imposed, commanded=path.height.mean(axis=1))
