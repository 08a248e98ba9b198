"""The propagator: the same equations as the reference engine, advanced exactly in the natural modes.

The modes are those of the machine with its bristles stuck and the flanks of plain nuts seated, so that what
rings down after a move is carried exactly and only the slip of the bristles is left over.  Imperfections are
forcing alone, so a layer's modes serve every member of a batch.  What is not linear - bristles, stops, plain
nuts, motors past their linear range - and explicit dampers act through a few rows; `steps.py` finds their
forces corner by corner.  Errors are of second order in the step, of third where nothing reverses, and at rest
the step follows an estimate of what it misses at the probes (`Pace`); tests/agreement shows both.  A long
print of one machine is done in parts side by side (`lanes.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, lanes, state
from bedsim.engines.base import Chunk, Handles, Job, Observer
from bedsim.engines.modes import layer_modes
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.engines.track import Pace, Work, solve
from bedsim.model.assembly import System

Array = NDArray[np.float64]

BLOCK = 256  # members side by side
# electrical rad: a motor whose load angle stays below is a linear spring: its sine departs from that by
# 0.7 % there; what that does to the bed goes with the third power of the angle
NEARLY_LINEAR = 0.2

__all__ = ["Pace", "PropagatorEngine"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact motion in the natural modes in steps as long as `pace` says.

    Motors are linear springs as long as their load angle stays below `NEARLY_LINEAR`; a layer that leaves
    that is done again with their whole torque curve, `motor_sine`.
    """

    name: str = "propagator"
    handles: Handles = Handles.FRICTION | Handles.STOPS | Handles.PLAY | Handles.INERTIA | Handles.MEMBERS
    pace: Pace = field(default_factory=Pace)
    motor_sine: bool = False

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members.  Where a motor is not nearly linear in one of their layers, or of
        those before, lanes count with the whole sine.

        Raises SolverError if contacts find no solution.
        """
        carried, last, past = state.start(job), job.program.layers, []

        def layer(*given: Any) -> tuple[State, Chunk]:
            now, chunk = self.layer(*given)
            past.append(bool(_bent(chunk).any()))
            return now, chunk

        head = lanes.HEAD if lanes.worth(job, last - lanes.HEAD) else last
        carried = yield from state.one_by_one(job, 1, head, carried, layer)
        way = replace(self, motor_sine=True) if any(past) else self
        for first in range(head + 1, last + 1, lanes.TOGETHER):
            end = min(first + lanes.TOGETHER - 1, last)
            found = way.side_by_side(job, first, end, carried)
            if found is not None and not way.motor_sine and _bent(found[1]).any():
                way = replace(self, motor_sine=True)
                found = way.side_by_side(job, first, end, carried)
            if found is None:
                carried = yield from state.one_by_one(job, first, end, carried, self.layer)
            else:
                carried, chunk = found
                yield chunk

    def side_by_side(self, job: Job, first: int, last: int, begin: State) -> tuple[State, Chunk] | None:
        """Layers of one machine in lanes: the state at their end and what is reported; None if they find no
        agreement."""
        found = lanes.run(job, first, last, begin, self.solved, replace(self, pace=self.pace.rough).solved)
        return None if found is None else (found[0], _noted(found[1]))

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
        over = _bent(chunk)[:, 0]
        if self.motor_sine or not over.any():
            return after, chunk
        part = replace(job, amounts=job.amounts[over])
        way = replace(self, motor_sine=True)
        end, exact = way.layer(part, system, observer, index, layer, before.part(over))
        return _put(after, end, over), _noted(_put_chunk(chunk, exact, over))

    def solved(self, job: Job, layers: NDArray[np.int64], before: State) -> Solved:
        """A layer of one machine for each of the states `before`."""
        system = job.machine.system(layers)
        observer = base.make_observer(job.machine, system, job.probes)
        work = self._work(job, system, observer, np.arange(layers.size))
        return solve(work, slice(0, layers.size), before.within_limit(job.machine, system.friction_limit))

    def _work(self, job: Job, system: System, observer: Observer, index: NDArray[np.int64]) -> Work:
        modes = layer_modes(job, system, index, self.motor_sine)
        return Work(
            plan=course.course(job, system.layers[index]),
            layer=modes,
            pace=self.pace,
            observer=observer,
            index=index,
            view=base.view(observer, index) @ modes.modes,
        )


def _bent(chunk: Chunk) -> NDArray[np.bool_]:
    """Members and layers (m, k) in which a motor is not nearly linear."""
    return np.asarray(np.any(chunk.load_angle > NEARLY_LINEAR, axis=-1))


def _noted(chunk: Chunk) -> Chunk:
    """A chunk that says where layers have left the linear range of a motor."""
    if not np.any(chunk.load_angle > base.LINEAR_LOAD_ANGLE):
        return chunk
    note = "layers past the linear range of a motor's load angle count with its whole torque curve."
    return replace(chunk, notes=(note,))


def _put(state_of_all: State, some: State, where: NDArray[np.bool_]) -> State:
    """The states of all members, those of some put in."""
    q, v, f = state_of_all.q.copy(), state_of_all.v.copy(), state_of_all.f.copy()
    q[where], v[where], f[where] = some.q, some.v, some.f
    return State(q=q, v=v, f=f)


def _put_chunk(chunk: Chunk, some: Chunk, where: NDArray[np.bool_]) -> Chunk:
    """What is reported of all members, of some as put in; the history is that of the first member."""
    fields: dict[str, Any] = {key: getattr(chunk, key).copy() for key in base.REPORTED}
    for key, values in fields.items():
        values[where] = getattr(some, key)
    statistics = base.total([chunk, some])
    histories = some.histories if where[0] else chunk.histories
    return replace(chunk, histories=histories, statistics=statistics, **fields)
