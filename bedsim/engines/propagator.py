"""The propagator: the same equations as the reference engine, advanced exactly in the natural modes.

The modes are those of the machine with its bristles stuck, so that what rings down after a move is carried
exactly and only the slip of the bristles is left over.  Imperfections are forcing alone, so a layer's modes
serve every member of a batch.  What is not linear - bristles, stops, plain nuts, explicit dampers - acts
through a few rows; `steps.py` finds their forces corner by corner.  Errors are of second order in the step,
of third where nothing reverses, and at rest the step follows an estimate of what it misses at the probes
(`Pace`); tests/agreement shows both.  A long print of one machine is done in parts side by side (`lanes.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, lanes, state
from bedsim.engines.base import Chunk, Handles, Job, Observer
from bedsim.engines.modes import layer_modes
from bedsim.engines.reference import ReferenceEngine
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.engines.track import Pace, Work, solve
from bedsim.model.assembly import System

Array = NDArray[np.float64]

BLOCK = 256  # members side by side

__all__ = ["Pace", "PropagatorEngine"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact motion in the natural modes in steps as long as `pace` says."""

    name: str = "propagator"
    handles: Handles = Handles.FRICTION | Handles.STOPS | Handles.PLAY | Handles.INERTIA | Handles.MEMBERS
    pace: Pace = field(default_factory=Pace)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members. A layer past the motors' linear range is done by the reference
        engine.

        Raises SolverError if contacts find no solution.
        """
        carried, last = state.start(job), job.program.layers
        rough = replace(self, pace=self.pace.rough).solved
        head = lanes.HEAD if lanes.worth(job, last - lanes.HEAD) else last
        carried = yield from state.one_by_one(job, 1, head, carried, self.layer)
        for first in range(head + 1, last + 1, lanes.TOGETHER):
            end = min(first + lanes.TOGETHER - 1, last)
            found = lanes.run(job, first, end, carried, self.solved, rough)
            if found is None:
                carried = yield from state.one_by_one(job, first, end, carried, self.layer)
            else:
                carried, chunk = found
                yield chunk

    def layer(
        self, job: Job, system: System, observer: Observer, index: int, layer: int, before: State
    ) -> tuple[State, Chunk]:
        """One layer of all members: the state at its end and what is reported of it."""
        before = before.within_limit(job.machine, system.friction_limit[index])
        work = self._work(job, system, observer, np.array([index]))
        ends, chunks = [], []
        for first in range(0, job.members, BLOCK):
            here = slice(first, first + BLOCK)
            solved = solve(work, here, before.part(here))
            ends.append(solved.after)
            chunks.append(report(solved))
        after, chunk = state.join(ends), base.join_members(chunks)
        return self._past_linear(job, system, observer, index, layer, before, after, chunk)

    def solved(self, job: Job, layers: NDArray[np.int64], before: State) -> Solved:
        """A layer of one machine for each of the states `before`; motors are taken as linear."""
        system = job.machine.system(layers)
        observer = base.make_observer(job.machine, system, job.probes)
        work = self._work(job, system, observer, np.arange(layers.size))
        return solve(work, slice(0, layers.size), before.within_limit(job.machine, system.friction_limit))

    def _work(self, job: Job, system: System, observer: Observer, index: NDArray[np.int64]) -> Work:
        modes = layer_modes(job, system, index)
        return Work(
            plan=course.course(job, system.layers[index]),
            layer=modes,
            pace=self.pace,
            observer=observer,
            index=index,
            view=base.view(observer, index) @ modes.modes,
        )

    def _past_linear(
        self,
        job: Job,
        system: System,
        observer: Observer,
        index: int,
        layer: int,
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
        histories = list(chunk.histories)
        for member in over:
            end, one = exact.layer(
                job, system, observer, index, layer, before.member(int(member)), int(member)
            )
            q[member], v[member], f[member] = end.q[0], end.v[0], end.f[0]
            for key, values in fields.items():
                values[member] = getattr(one, key)[0]
            if member == 0 and one.histories:
                histories = list(one.histories)
        note = "layers past the linear range of a motor's load angle were computed by the reference engine."
        return State(q=q, v=v, f=f), Chunk(
            layers=chunk.layers,
            histories=tuple(histories),
            notes=(note,),
            statistics=chunk.statistics | {"layers by reference": float(over.size)},
            **fields,
        )
