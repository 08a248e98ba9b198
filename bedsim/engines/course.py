"""The commanded motion of a layer, and the known forcing that it exerts on the modes.

Members share a layer and differ in the strengths of their imperfections, or they are one machine at layers
of their own.  Where there are more members than imperfections, the response to each imperfection of unit
strength is computed once and members are linear combinations of these.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines.base import Job
from bedsim.engines.known_forcing import KnownForcing
from bedsim.engines.modes import LayerModes, Real, Working
from bedsim.engines.motions import Motions, motions

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The commanded motion of a layer, or of one layer per member.

    `motion`: one of all `layers` if they are alike, else of each; `strengths` (r, sources) of what is
    computed; members are `mix` (r, m) times that, or the r themselves.  The last row of a mix is what all
    share: weight and inertia.  `rows` (u,): those on which anything is imposed.  Layers settle alike.
    """

    job: Job
    layers: NDArray[np.int64]
    motion: Motions
    strengths: Array
    mix: Array | None
    rows: NDArray[np.int64]

    @property
    def printing(self) -> float:
        """When printing begins, s after the motion does."""
        return self.motion.duration + self.job.program.settle(int(self.layers[0]))

    @property
    def finishes(self) -> Array:
        """When layers end (l,), likewise; one number if they are alike."""
        periods = self.job.program.stations.period[self.layers[: self.motion.own.shape[0]] - 1]
        return np.asarray(periods + (self.motion.duration - self.motion.own[:, -1]))

    @property
    def finish(self) -> float:
        """When the first of them does."""
        return float(self.finishes.min())

    def imposed(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Imposed extensions (r, t, rows) at instants of the motion."""
        motion, program = self.motion, self.job.program
        # layers that are alike have the same motion, each at its own height
        which = self.layers if motion.own.shape[0] == 1 else self.layers[:1]
        shift = program.height(which) - program.height(self.layers[0])

        def every(height: Array) -> Array:
            return (height + shift[:, None, None]).reshape(-1, height.shape[-1])

        path = Path(
            time=(program.start_time(self.layers)[:, None] + motion.own_time(time, piece)).ravel(),
            height=every(motion.height(time, piece)),
            move_start=every(motion.move_start[:, piece]),
            move_end=every(motion.move_end[:, piece]),
        )
        imposed = self.job.machine.imposed(path, self.strengths)
        if self.layers.size == 1:
            return imposed
        return imposed.reshape(self.layers.size, time.size, -1)

    def shared(self, values: Array) -> Array:
        """Put `values` (..., n), which all members share, beside computed ones (r, ..., n)."""
        if self.mix is None:
            return values
        found = np.zeros((self.strengths.shape[0], *values.shape[1:]))
        found[-1] = values[0]
        return found


def course(job: Job, layers: NDArray[np.int64]) -> Course:
    """The course of one layer for all members, or of one layer for each (a job of one member)."""
    many = job.sums and layers.size == 1
    each = layers[:1] if job.program.stations.alike(layers) else layers
    return Course(
        job=job,
        layers=layers,
        motion=motions([job.program.layer_change(int(layer)) for layer in each]),
        strengths=job.units(job.used) if many else job.amounts,
        mix=job.mix(job.used).T if many else None,
        rows=job.machine.imposed_rows(job.amounts),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MotionPart:
    """Part of one piece of the commanded motion, from `start` to `end` s of the common clock, in equal
    spaces."""

    piece: int
    start: float
    end: float
    spaces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Forcing:
    """The known forcing of part of a piece at t equally spaced nodes, for the r that are computed.

    `force` (t, n, r) modal, beyond that at the first node, under which modes stand at `rest` (n, r); `slip`
    of the bristles (t, b, 1), or (t, b, r), breakaways and its speed 1/s; `offset` (t, e, r): where elastic
    rows would stand at `rest`, less what is imposed on them, and its speed; `imposed` (r, t, rows).  Seconds
    are those of the common clock; `pace` of the layers' own.
    """

    spacing: float
    pace: Array | float
    force: Array
    rest: Array
    slip: Array
    slip_speed: Array
    offset: Array
    offset_speed: Array
    imposed: Array

    @property
    def spaces(self) -> int:
        """Number of spaces between the nodes."""
        return self.force.shape[0] - 1

    def stretch(self, first: int, count: int, mix: Array | None, answers: Working) -> KnownForcing:
        """Known forcing of `count` steps from the node `first` on; modes answer by `answers` (k+1, 2, n,
        s) to the forces at the k+1 nodes of a step."""
        stride = answers.shape[0] - 1
        last = first + count * stride
        force = self.force[first : last + 1, None].astype(Real)
        move = answers[stride] * force[stride::stride]
        for node in range(stride):
            move += answers[node] * force[node : last - first : stride]
        here = slice(first, last + 1, stride)
        return KnownForcing(
            move=move,
            slip=np.diff(self.slip[here], axis=0).astype(Real),
            slip_speed=(self.slip_speed[here] * (stride * self.spacing / 6)).astype(Real),
            offset=self.offset[here].astype(Real),
            offset_speed=(self.offset_speed[here] * (stride * self.spacing / 6)).astype(Real),
            mix=None if mix is None else mix.astype(Real),
            pace=self.pace,
        )


def forcings(plan: Course, layer: LayerModes, parts: Sequence[MotionPart]) -> list[Forcing]:
    """The known forcing of parts of the motion."""
    times = [np.linspace(part.start, part.end, part.spaces + 1) for part in parts]
    which = [np.full(time.size, part.piece) for time, part in zip(times, parts, strict=True)]
    imposed = plan.imposed(np.concatenate(times), np.concatenate(which))
    cuts = np.cumsum([time.size for time in times])[:-1]
    split = np.split(imposed, cuts, axis=1)
    return [_forcing(plan, layer, *x) for x in zip(parts, times, which, split, strict=True)]


def _forcing(
    plan: Course, layer: LayerModes, part: MotionPart, time: Array, which: NDArray[np.int64], imposed: Array
) -> Forcing:
    job, motion, rows = plan.job, plan.motion, layer.rows
    b, d = rows.bristles, rows.dampers
    known = imposed[..., plan.rows]
    force = known @ layer.imposed[:, plan.rows]
    force += plan.shared(layer.weight[:, None] + motion.acceleration(time, which) @ layer.command)
    rest = force[:, 0] / layer.frequency**2
    offset = (rest[:, None] @ rows.place[..., b + d :]) - known @ rows.parts.imposed.T[plan.rows]
    command = job.machine.contact_command[rows.order].T / rows.breakaway
    height = motion.height(time, which)
    spacing = (part.end - part.start) / part.spaces
    offset = np.ascontiguousarray(np.transpose(offset, (1, 2, 0)))
    return Forcing(
        spacing=spacing,
        pace=motion.pace_on(part.piece),
        force=np.ascontiguousarray(np.transpose(force - force[:, :1], (1, 2, 0))),
        rest=np.ascontiguousarray(rest.T),
        slip=np.transpose((height - height[:, :1]) @ command, (1, 2, 0)),
        slip_speed=np.transpose(motion.speed(time, which) @ command, (1, 2, 0)),
        offset=offset,
        offset_speed=_slopes(offset) / spacing,
        imposed=imposed,
    )


def _slopes(values: Array) -> Array:
    """Change of equally spaced values (t, ...) per space at each of them, from the quartic through five;
    of fewer, from what there is."""
    if values.shape[0] < 5 or values.shape[1] == 0:
        return np.gradient(values, axis=0) if values.size else np.zeros_like(values)
    found = np.empty_like(values)
    found[2:-2] = (values[:-4] - values[4:]) / 12 + (values[3:-1] - values[1:-3]) * (2 / 3)
    for at, weight in ((0, (-25, 48, -36, 16, -3)), (1, (-3, -10, 18, -6, 1))):
        found[at] = np.tensordot(np.array(weight) / 12, values[:5], 1)
        found[-1 - at] = -np.tensordot(np.array(weight) / 12, values[:-6:-1], 1)
    return found
