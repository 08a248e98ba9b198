"""Prints that a correction is tried on: the machine as it is, turned out of phase, reached from the other
side, or with its motors at other heights.  All by the propagator: friction, hop and vibration are in
them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis import linear_machine
from bedsim.components.row import Path, Source
from bedsim.engines.base import LOST_STEP, Job
from bedsim.engines.equilibrium import layer_path
from bedsim.engines.propagator import PropagatorEngine
from bedsim.errors import SolverError
from bedsim.model.stations import Stations
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import layer_result, make_job, relative_errors
from bedsim.units import MM

HOP = 1.0 * MM
"""From so far below a layer is reached where its other side is asked for: several leads of a contact's
breakaway.  Our choice."""
HEIGHTS = "compensation"
"""Cause of what motors do beside their own program."""

Progress = Callable[[int], None]


def silent(done: int) -> None:
    """Tell nobody."""


def printed(loaded: LoadedScenario, job: Job, progress: Progress = silent) -> LayerResult:
    """Run a job of a scenario.  Raises BedsimError where it cannot be computed or loses steps."""
    chunks = [*PropagatorEngine().run(replace(job, progress=progress, trace_layers=()))]
    if any(bool((chunk.load_angle > LOST_STEP).any()) for chunk in chunks):
        raise SolverError("a motor loses steps on the way: bedsim run tells where")
    return layer_result(loaded, job, chunks)


def turned(job: Job, by: Array) -> Job:
    """The machine whose screws stand `by` (c,) m of nut travel further up than its program takes them to
    be.

    Everything that repeats with a screw (run-out, lead, its motor's place error) is met that much later;
    the bed stays where it is commanded.  A homing error moves all corners alike, levelling turns them one
    by one.
    """
    sources = tuple(replace(s, values=partial(_moved, values=s.values, by=by)) for s in job.machine.sources)
    return replace(job, machine=replace(job.machine, sources=sources))


def _moved(path: Path, values: Callable[[Path], Array], by: Array) -> Array:
    return values(path_moved(path, by))


def other_side(job: Job) -> Job:
    """The same print with every layer reached from the other side: after a hop where there is none, without
    where there is one."""
    return _with_stations(job, lambda s: replace(s, hop=np.where(s.hop > 0, 0.0, HOP)))


def _with_stations(job: Job, change: Callable[[Stations], Stations]) -> Job:
    machine = replace(job.machine, stations=change(job.machine.stations))
    return replace(job, machine=machine, program=replace(job.program, stations=machine.stations))


def at_heights(job: Job, heights: Array) -> Job:
    """The print with its motors off their program by `heights` (l, c) m at the layers, on straight lines
    between them over the commanded height: what each adds stands on its screw as a wrong lead would.

    Of one object alone: only then height tells the layer.
    """
    here = job.program.height(np.arange(1, job.program.layers + 1))
    names = [job.machine.at_corner["axial", c].name for c in range(heights.shape[1])]
    more = tuple(
        Source(
            cause=HEIGHTS,
            corner=c,
            link=name,
            amount=1.0,
            values=partial(_added, corner=c, at=here[::-1], add=heights[::-1, c]),
            name="added height",
        )
        for c, name in enumerate(names)
    )
    machine = replace(job.machine, sources=(*job.machine.sources, *more))
    return replace(job, machine=machine, amounts=machine.amounts[None])


def _added(path: Path, corner: int, at: Array, add: Array) -> Array:
    return np.interp(path.height[:, corner], at, add)[:, None]


# ---- without friction -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestingMachine:
    """The frictionless machine at rest on its own print: what many machines and many phases are tried on;
    `at`: the layers (indices) that stand for a tall print."""

    job: Job
    linear: linear_machine.LinearMachine
    at: NDArray[np.intp]

    @property
    def top(self) -> Array:
        """Tops (l,) m."""
        return self.job.program.stations.top(self.linear.layers)

    @property
    def zero(self) -> NDArray[np.intp]:
        """Where the zero of each layer stands."""
        return self.job.program.stations.positions(self.linear.layers)

    def pose(self, by: Array | None = None) -> Array:
        """Raw poses (l, b), with screws that stand `by` (c,) m further up than taken."""
        path = layer_path(self.job, self.linear.layers)
        moved = path if by is None else path_moved(path, by)
        imposed = self.job.machine.imposed(moved, self.job.amounts)
        return np.asarray(linear_machine.poses(self.linear, imposed)[0])

    def errors(self, pose: Array) -> dict[str, Array]:
        """Errors that the part shows of poses (l, b)."""
        return relative_errors(self.job, self.linear.layers, pose)


def path_moved(path: Path, by: Array) -> Path:
    """A path at heights that differ by (c,) m."""
    moved: dict[str, Any] = {n: getattr(path, n) + by for n in ("height", "move_start", "move_end")}
    return replace(path, **moved)


def at_rest(loaded: LoadedScenario, layers: NDArray[np.int64] | None = None) -> RestingMachine:
    """The machine of a scenario without friction, stops and play, at `layers` (some that stand for all where
    none are named).  Raises as `make_job` does."""
    job = make_job(linear_machine.without_play(loaded))
    if layers is None:
        count, objects = job.program.layers, np.unique(job.program.stations.first).size
        layers = linear_machine.sampled_layers(count) if objects == 1 else np.arange(1, count + 1)
    return RestingMachine(job=job, linear=linear_machine.linear_machine(job, layers), at=layers - 1)
