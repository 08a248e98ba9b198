"""The machines in full that members of a batch deviate from, layer by layer: all of them stepped in full.

What a layer of members asks of its nominals is a `NominalLayer`; `fitted_nominals.py` has another source of
them.  The error of the deviations is measured here too, on checked members that are stepped in full beside
the nominals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.contact_space import ContactSpace, limited
from bedsim.engines.deviation_steps import DrivenPath, driven_paths
from bedsim.engines.layer import solve
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.model.assembly import System

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class NominalLayer:
    """A layer of the k nominals: deflections `before` (b, k) that they bring, in the layer's friction limits
    but not yet within them, and `after` (b, k) it; the paths of their contacts; what is reported, `full`, of
    them first; what is `seen` (i+1, v, k) at the ends of the pieces of the motion and at rest."""

    before: Array
    after: Array
    paths: Sequence[DrivenPath]
    full: Chunk
    seen: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedMembers:
    """Members (c,) whose error is measured, after a layer: poses (c, b) in print, deflections `psi` (b, c)
    that they deviate by from their nominals, whose numbers are `of`."""

    pose: Array
    psi: Array
    of: NDArray[np.intp]


class Nominals(Protocol):
    """Where nominals come from."""

    @property
    def told(self) -> str:
        """How they and the error were found, in words."""

    def layer(
        self, system: System, observer: Observer, index: int, space: ContactSpace, before: State
    ) -> tuple[State, NominalLayer]:
        """The `index`-th layer of a system, from the states of those in full; theirs after it."""

    def compare(self, layer: int, checked: CheckedMembers, nominal: NominalLayer | None) -> None:
        """Hear what became of checked members; `nominal` None: after layer 1."""

    def error(self) -> tuple[float, float]:
        """Largest errors m of height and sideways measured."""


class SteppedNominals:
    """The nominals, and the checked members beside them, stepped in full: the first `count` of `job`."""

    def __init__(self, engine: PropagatorEngine, job: Job, count: int) -> None:
        self._engine, self._job, self._count = engine, job, count
        self._error = 0.0, 0.0

    @property
    def told(self) -> str:
        """How they and the error were found, in words."""
        return f"{self._job.members - self._count} of {{members}} machines were stepped in full besides"

    def layer(
        self, system: System, observer: Observer, index: int, space: ContactSpace, before: State
    ) -> tuple[State, NominalLayer]:
        """The `index`-th layer of a system, from the states of those in full; theirs after it."""
        job, count, rows = self._job, self._count, space.rows
        start = before.within_limit(job.machine, system.friction_limit[index])
        problem = self._engine.problem(job, system, observer, np.array([index]), trailed=True)
        solved = solve(problem, slice(0, job.members), start)
        assert solved.trail is not None
        breaks = problem.plan.motion.time
        bring, leave = ((f[:count, rows.order] / rows.limit).T for f in (before.f, solved.after.f))
        return solved.after, NominalLayer(
            before=bring,
            after=leave,
            paths=driven_paths(space, solved.trail, limited(rows, bring), breaks),
            full=report(solved),
            seen=seen_at(solved, breaks)[:, :, :count],
        )

    def compare(self, layer: int, checked: CheckedMembers, nominal: NominalLayer | None) -> None:
        """Hear what became of checked members; `nominal` None: after layer 1."""
        if nominal is not None:
            apart = checked.pose - nominal.full.pose[self._count :, 0]
            found = seen_apart(self._job, np.array(layer), apart)
            self._error = max(self._error[0], found[0]), max(self._error[1], found[1])

    def error(self) -> tuple[float, float]:
        """Largest errors m of height and sideways measured."""
        return self._error


def seen_at(solved: Solved, breaks: Array) -> Array:
    """What is seen (i+1, v, m) of rows and joints at some instants s and at rest."""
    count = solved.observer.watched.size + 3 * solved.observer.joint.shape[0]
    at = [int(np.argmin(np.abs(solved.time - t))) for t in breaks]
    return np.asarray(solved.seen[[*at, -1], :count], dtype=float)


def seen_apart(job: Job, layer: NDArray[np.int64], apart: Array) -> tuple[float, float]:
    """Largest height and lateral motion m at the probes of poses (m, b), at the top of the part."""
    height, flat, abbe = base.probe_maps(job.machine, job.probes)
    sideways = np.linalg.norm((flat + job.machine.stations.top(layer) * abbe) @ apart.T, axis=1)
    return float(np.abs(height @ apart.T).max(initial=0.0)), float(sideways.max(initial=0.0))
