"""Where one machine rests in every layer of a stretch, its bristles' forces left open.

    K q = weight + F imposed - J_c^T f        q = free - give f,  give = K^-1 J_c^T

What friction and vibration do to a layer stands in f alone; all else is solved, at all layers if they are
few, else at some heights, between which what one extension or force does is interpolated (`few_heights.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.base import Job, Observer
from bedsim.engines.equilibrium import layer_path
from bedsim.engines.few_heights import moved, nodes_among, weights_of
from bedsim.engines.state import State

Array = NDArray[np.float64]
Layers = NDArray[np.int64]

HEIGHTS = 24
"""Of many layers: over the whole of a screw with a free end motions depart by 2e-13 m from those of all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestOfLayers:
    """Layers (l,): `free` (l, n) without friction, `give` (l, n, d) per force of the bristles,
    whose `limit` (l, d) N is that of friction; `imposed` (l, w) on the rows that the `observer` watches."""

    free: Array
    give: Array
    limit: Array
    observer: Observer
    imposed: Array

    def motions(self, f: Array) -> Array:
        """Motions (l, n) under forces (l, d) of the bristles."""
        return np.asarray(self.free - (self.give @ f[:, :, None])[:, :, 0])

    def states(self, which: NDArray[np.intp], f: Array) -> State:
        """States (k, ...) at rest in some of the layers (k,) under forces (k, d)."""
        q = self.free[which] - (self.give[which] @ f[:, :, None])[:, :, 0]
        return State(q=q, v=np.zeros_like(q), f=f)

    def extremes(self, q: Array) -> dict[str, Array]:
        """What is reported of corners (l, c) while layers rest at q (l, n)."""
        every = np.arange(q.shape[0])
        return base.watched_extremes(self.observer, every, q[:, None], self.imposed[:, None])


def rest_of_layers(job: Job, layers: Layers) -> RestOfLayers:
    """Solve the layers (l,) of a job of one machine, at some heights if they are many."""
    machine = job.machine
    there, which = np.unique(np.maximum(layers, 1), return_inverse=True)  # before layer 1 it rests as in it
    place = machine.stations.middle[there - 1]
    nodes = nodes_among(place, HEIGHTS)
    weights = weights_of(place, nodes)[which]
    system = machine.system(there[nodes])
    contact = np.broadcast_to(machine.contact_rows.T, (nodes.size, *machine.contact_rows.T.shape))
    asked = [system.imposed_force, system.weight[:, :, None], contact]
    cuts = np.cumsum([part.shape[2] for part in asked])[:-1]
    gain, sag, give = np.split(np.linalg.solve(system.K, np.concatenate(asked, axis=2)), cuts, axis=2)
    imposed = machine.imposed(layer_path(job, layers), job.amounts[0])
    observer = base.make_observer(machine, system, job.probes)
    return RestOfLayers(
        free=moved(weights, gain, sag[:, :, 0], imposed[None])[0],
        give=np.tensordot(weights, give, 1),
        limit=machine.friction_limit(weights @ system.corner_load),
        observer=replace(observer, axial_stiffness=weights @ observer.axial_stiffness),
        imposed=imposed[:, observer.watched],
    )
