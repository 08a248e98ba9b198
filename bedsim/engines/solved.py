"""The outcome of a layer, and what is reported of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.base import Chunk, History, Observer
from bedsim.engines.course import Course
from bedsim.engines.layer_integrator import Trail
from bedsim.engines.modes import LayerModes, Working, mixed
from bedsim.engines.state import State
from bedsim.quantities import REPORTED

Array = NDArray[np.float64]

EXTREME = {q.name: q.extreme for q in REPORTED}


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """The motion of some members over a layer that they share, or over a layer each."""

    plan: Course
    modes: LayerModes
    observer: Observer
    index: NDArray[np.int64]  # of the layers in the observer
    view: Array  # (s, v, n) all that is watched, per mode
    mix: Array | None  # (r, m)
    after: State
    time: Array  # (t,) s
    seen: Working  # (t, v, m) all that is watched
    imposed: Array  # (r, d, rows) at the first d instants, while driven
    places: Array  # (t, n, m) of eta, t = 0 where nothing is traced
    mean: Array  # (m, n) of eta in print
    bound: Array  # (m,) m, of what is left at the end
    path: Array  # (c, m) of the contacts, breakaways
    statistics: dict[str, float]
    trail: Trail | None = None  # where the problem asks for it

    @property
    def still(self) -> bool:
        """Whether all is at rest when the first layer ends, where layers end at unlike times: there what ends
        later only rests on."""
        return self.plan.finishes.size == 1 or bool(self.bound.max() < base.STILL)

    @property
    def probes(self) -> Array:
        """Motion of the probes per mode (s, p, n)."""
        return base.probes_of(self.observer, self.view)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What corrects the motion (m, n) of eta: at its start, evenly less or more until it ends, and from then
    on."""

    start: Array
    rest: Array

    def at(self, share: Array) -> Array:
        """By how much (m, t, n), at so much (t,) of the motion."""
        return np.asarray(self.start[:, None] + share[:, None] * (self.rest - self.start)[:, None])


def report(solved: Solved, shift: Shift | None = None) -> Chunk:
    """What is reported of a layer, an axis of one, `shift` added."""
    plan, modes, observer, index, time = solved.plan, solved.modes, solved.observer, solved.index, solved.time
    job, motion, layers = plan.job, plan.motion, plan.layers
    back = np.swapaxes(modes.modes, 1, 2)
    seen: NDArray[Any] = np.transpose(solved.seen, (2, 0, 1))  # (m, t, v)
    mean = solved.mean
    if shift is not None:
        share = np.minimum(1.0, time / motion.duration)
        seen = seen + shift.at(share) @ np.swapaxes(solved.view, 1, 2)
        mean = mean + shift.rest
    rows, joint, height, lateral = base.parts(observer, seen)
    watched = solved.imposed[..., observer.watched]
    watched = np.moveaxis(mixed(np.moveaxis(watched, 0, -1), solved.mix), -1, 0)
    moving = watched.shape[1]
    at = index if layers.size > 1 else int(index[0])
    fields: dict[str, Any] = base.seen_extremes(observer, at, rows[:, :moving], joint[:, :moving], watched)
    still = base.seen_extremes(observer, at, rows[:, moving - 1 :], joint[:, moving - 1 :], watched[:, -1:])
    for key, worst in still.items():
        fields[key] = EXTREME[key](fields[key], worst)
    away = height - height[:, -1:], lateral - lateral[:, -1:]
    fields |= base.seen_residual(time, *away, plan.printing, motion.duration)
    return Chunk(
        layers=layers,
        pose=((mean[:, None] @ back) @ observer.bed.T),
        stop_hit=(fields["joint_excursion"] >= job.machine.joint_travel)[:, None],
        tail_bound=solved.bound[:, None],
        histories=tuple(
            _history(solved, k, int(layer), shift)
            for k, layer in enumerate(layers)
            if layer in job.trace_layers
        ),
        statistics=solved.statistics,
        **{key: value[:, None] for key, value in fields.items()},
    )


def _history(solved: Solved, k: int, layer: int, shift: Shift | None) -> History:
    """The motion of the first member, or of the one at the k-th layer."""
    job, modes = solved.plan.job, solved.modes.modes
    profile, motion = job.program.layer_change(layer), solved.plan.motion
    eta = solved.places[:, :, k]
    if shift is not None:
        eta = eta + shift.at(np.minimum(1.0, solved.time / motion.duration))[k]
    own = motion.own[min(k, motion.own.shape[0] - 1)]
    time = np.interp(solved.time, motion.time, own) + np.maximum(0.0, solved.time - motion.duration)
    path = profile.path(np.minimum(time, profile.duration), job.program.start_time(layer))
    return History(
        layer=layer,
        member=0,
        time=time,
        q=eta @ modes[min(k, modes.shape[0] - 1)].T,
        imposed=job.machine.imposed(path, job.amounts[0]),
        commanded=path.height.mean(axis=1),
    )
