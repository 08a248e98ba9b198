"""One long print, its parts computed side by side.

Layers follow from each other only through what bristles carry over, and they forget: every layer's travel and
vibration relaxes them.  So lanes begin all over the print at once from a guess.  A lane that comes to its end
goes on into the next one's part and replaces what it finds there, until its state at the end of a layer agrees
with the one found before; from there on both would be the same.  The first lane begins at the true start, so
what remains has been reached from there, seam by seam.  Where nothing is forgotten a lane goes on to the end of
the print: slow, but right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, History, Job, Observer
from bedsim.engines.state import State
from bedsim.model.assembly import System

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Advance = Callable[[Job, System, Observer, Layers, Layers, State], tuple[State, Chunk]]

MOST = 32
SHORTEST = 12  # layers in a lane
SEAM = 1e-10  # m: probes agree this well where a lane ends


@dataclass(slots=True, kw_only=True)
class Found:
    """What has been found of all layers so far, the best of each."""

    seams: Array  # (layers, s) what `_seams` says of the state at the end of each layer
    fields: dict[str, Array] = field(default_factory=dict)  # (layers, ...)
    histories: dict[int, History] = field(default_factory=dict)
    notes: dict[str, None] = field(default_factory=dict)
    statistics: dict[str, float] = field(default_factory=dict)

    def put(self, layers: Layers, chunk: Chunk, seams: Array) -> None:
        """Store what was found of some layers (k,), members (k,) of the chunk."""
        for key in base.REPORTED:
            values = getattr(chunk, key)[:, 0]
            if key not in self.fields:
                self.fields[key] = np.zeros((self.seams.shape[0], *values.shape[1:]), dtype=values.dtype)
            self.fields[key][layers - 1] = values
        self.seams[layers - 1] = seams
        self.histories |= {history.layer: history for history in chunk.histories}
        self.notes |= dict.fromkeys(chunk.notes)
        for key, value in chunk.statistics.items():
            self.statistics[key] = self.statistics.get(key, 0.0) + value

    def chunk(self) -> Chunk:
        """All layers of one machine."""
        fields: dict[str, Any] = {key: values[None] for key, values in self.fields.items()}
        return Chunk(
            layers=np.arange(1, self.seams.shape[0] + 1),
            histories=tuple(self.histories[layer] for layer in sorted(self.histories)),
            notes=tuple(self.notes),
            statistics=self.statistics,
            **fields,
        )


def lanes_for(job: Job) -> int:
    """How many lanes a job is worth: one where members share layers, or where elements differ by layer."""
    if job.members > 1 or job.machine.flanks or not job.machine.frictions:
        return 1
    return max(1, min(MOST, job.program.layers // SHORTEST))


def run(job: Job, count: int, advance: Advance) -> Chunk:
    """All layers of one machine in so many lanes."""
    last = job.program.layers
    ends = np.linspace(0, last, count + 1).astype(int)[1:]
    at = np.concatenate([[0], ends[:-1]])  # the layer each lane has done last
    now = _guess(job, at + 1)
    found = Found(seams=np.full((last, job.probes.shape[0] * 3 + job.machine.breakaway.size), np.nan))
    end = ends
    while at.size:
        layers = at + 1
        system = job.machine.system(layers)
        observer = base.make_observer(job.machine, system, job.probes)
        now, chunk = advance(job, system, observer, np.arange(layers.size), layers, now)
        seams = _seams(job, system, observer, now)
        agree = np.abs(seams - found.seams[layers - 1]).max(axis=1) < SEAM  # not where nothing was found yet
        found.put(layers, chunk, seams)
        on = (layers < last) & ((layers <= end) | ~agree)
        at, end, now = layers[on], end[on], now.part(on)
        job.progress(int(np.count_nonzero(~np.isnan(found.seams[:, 0]))))
    return found.chunk()


def _guess(job: Job, layers: Layers) -> State:
    """States (k, ...) before some layers: bristles as before layer 1, and the equilibrium that goes with them."""
    first = state.start(job)
    if layers.size == 1:
        return first
    system = job.machine.system(layers)
    height = job.program.height(layers - 1)[:, None] * np.ones(job.program.corners)
    time = np.array([job.program.start_time(int(layer)) for layer in layers])
    resting = Path(time=time, height=height, move_start=height, move_end=height)
    imposed = job.machine.imposed(resting, job.amounts[0])
    force = (system.imposed_force @ imposed[:, :, None])[..., 0] + system.weight
    f = np.repeat(first.f, layers.size, axis=0)
    q = np.linalg.solve(system.K, (force - f @ job.machine.contact_rows)[:, :, None])[..., 0]
    q[0] = first.q[0]
    return State(q=q, v=np.zeros_like(q), f=f)


def _seams(job: Job, system: System, observer: Observer, now: State) -> Array:
    """The state (k, s) in metres: where the probes are, and how far each bristle's force moves them at most."""
    n = now.q.shape[1]
    lateral = observer.lateral.reshape(now.q.shape[0], -1, n)
    height = np.broadcast_to(observer.height, (now.q.shape[0], *observer.height.shape))
    probes = np.concatenate([height, lateral], axis=1)
    contact = np.broadcast_to(job.machine.contact_rows.T, (now.q.shape[0], n, now.f.shape[1]))
    answer = np.abs(probes @ np.linalg.solve(system.K, contact)).max(axis=1)
    return np.concatenate([(probes @ now.q[:, :, None])[..., 0], now.f * answer], axis=1)
