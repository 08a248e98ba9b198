"""The propagator: the same equations as the reference engine, advanced exactly in the natural modes.

The modes are those of the machine with its bristles stuck and the flanks of plain nuts seated, so that
what rings down after a move is carried exactly and only the slip of the bristles is left
over.  Imperfections are forcing alone, so a layer's modes serve every member of a batch.  What is not linear
- bristles, stops, plain nuts, the motors' sine - and explicit dampers act through a few rows, whose forces
are found node by node (`steps.py`).  Errors are of second order in the step, of third where nothing
reverses, and at rest the step length is controlled by an estimate of the error at the probes
(`StepControl`); tests/agreement shows both.  A long print of one machine is integrated parallel in time
(`parallel.py`).

A layer goes `layer.py` -> `driven.py` (commanded motion) -> `ring_down.py` -> `free_decay.py`; without
friction it is `linear_layer.py`.

Its parts: `course.py` (what is commanded), `modes.py`, `exponential.py` (exact steps), `step_tables.py` and
`steps.py` (contact forces node by node), `step_error.py` and `step_control.py`, `layer_integrator.py` (one
layer in time), `free.py` (no friction), `solved.py` (what is reported).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, fitted, parallel, state
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.layer import solve
from bedsim.engines.layer_problem import LayerProblem, Problems, layer_problem
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.engines.step_control import StepControl
from bedsim.model.assembly import System

Array = NDArray[np.float64]

BLOCK = 256  # members side by side

__all__ = ["PropagatorEngine", "StepControl"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact motion in the natural modes in steps of the lengths that `control` says."""

    name: str = "propagator"
    control: StepControl = field(default_factory=StepControl)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members.

        Raises SolverError if contacts find no solution.
        """
        carried, kept = state.start(job), Problems(job, self.control)
        full = partial(self.solved, kept=kept)
        rough = partial(replace(self, control=self.control.coarser).solved, kept=kept)
        for first, end in parallel.stretches(job.program.stations, 1):
            found = fitted.run(job, first, end, carried, full, rough)
            if found is None:
                found = parallel.run(job, first, end, carried, full, rough, kept)
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
        problem = self.problem(job, system, observer, np.array([index]))
        ends, chunks = [], []
        for first in range(0, job.members, BLOCK):
            here = slice(first, first + BLOCK)
            solved = solve(problem, here, before.part(here))
            ends.append(solved.after)
            chunks.append(report(solved))
        return state.join(ends), base.join_members(chunks)

    def solved(
        self,
        job: Job,
        layers: NDArray[np.int64],
        before: State,
        *,
        trailed: bool = False,
        kept: Problems | None = None,
    ) -> Solved:
        """A layer of one machine for each of the states `before`; `trailed`: with what contacts travel;
        `kept`: where what layers ask for may be known already."""
        problem = (Problems(job, self.control) if kept is None else kept).of(layers)
        problem = replace(problem, control=self.control, trailed=trailed)
        rows = problem.layer.rows
        limit = rows.limit[:, np.argsort(rows.order)]
        return solve(problem, slice(0, layers.size), before.within_limit(job.machine, limit))

    def problem(
        self,
        job: Job,
        system: System,
        observer: Observer,
        index: NDArray[np.int64],
        *,
        trailed: bool = False,
    ) -> LayerProblem:
        """What all members share in the layers `index` of a system; `trailed`: keep what contacts travel."""
        return layer_problem(job, system, observer, index, self.control, trailed=trailed)
