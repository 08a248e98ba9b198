"""Where one machine rests in every layer of a stretch, its bristles' forces left open.

    K q = weight + F imposed - J_c^T f        q = free - give f,  give = K^-1 J_c^T

What friction and vibration do to a layer stands in f alone; all else is one solve per layer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.base import Job, Observer
from bedsim.engines.equilibrium import layer_path
from bedsim.engines.state import LAYERS_AT_ONCE, State

Array = NDArray[np.float64]
Layers = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerBlock:
    """Some layers (k,) that were assembled together: which they are, and how they are seen."""

    here: slice
    observer: Observer
    imposed: Array  # (k, w) on the watched rows


@dataclass(frozen=True, slots=True, kw_only=True)
class RestOfLayers:
    """Layers (l,): `free` (l, n) without friction, `give` (l, n, d) per force of the bristles,
    whose `limit` (l, d) N is that of friction."""

    free: Array
    give: Array
    limit: Array
    blocks: tuple[LayerBlock, ...]

    def motions(self, f: Array) -> Array:
        """Motions (l, n) under forces (l, d) of the bristles."""
        return np.asarray(self.free - (self.give @ f[:, :, None])[:, :, 0])

    def states(self, which: NDArray[np.intp], f: Array) -> State:
        """States (k, ...) at rest in some of the layers (k,) under forces (k, d)."""
        q = self.free[which] - (self.give[which] @ f[:, :, None])[:, :, 0]
        return State(q=q, v=np.zeros_like(q), f=f)

    def extremes(self, q: Array) -> dict[str, Array]:
        """What is reported of corners (l, c) while layers rest at q (l, n)."""
        found: dict[str, list[Array]] = {}
        for block in self.blocks:
            every = np.arange(block.imposed.shape[0])
            at = base.watched_extremes(block.observer, every, q[block.here, None], block.imposed[:, None])
            for key, values in at.items():
                found.setdefault(key, []).append(values)
        return {key: np.concatenate(values) for key, values in found.items()}


def rest_of_layers(job: Job, layers: Layers) -> RestOfLayers:
    """Solve the layers (l,) of a job of one machine."""
    contact = job.machine.contact_rows
    free, give, limit, blocks = [], [], [], []
    for first in range(0, layers.size, LAYERS_AT_ONCE):
        some = layers[first : first + LAYERS_AT_ONCE]
        system = job.machine.system(np.maximum(some, 1))
        observer = base.make_observer(job.machine, system, job.probes)
        imposed = job.machine.imposed(layer_path(job, some), job.amounts[0])
        force = (system.imposed_force @ imposed[:, :, None])[:, :, 0] + system.weight
        pushed = np.broadcast_to(contact.T, (some.size, *contact.T.shape))
        solved = np.linalg.solve(system.K, np.concatenate([force[:, :, None], pushed], axis=2))
        free.append(solved[:, :, 0])
        give.append(solved[:, :, 1:])
        limit.append(system.friction_limit)
        here = slice(first, first + some.size)
        blocks.append(LayerBlock(here=here, observer=observer, imposed=imposed[:, observer.watched]))
    return RestOfLayers(
        free=np.concatenate(free),
        give=np.concatenate(give),
        limit=np.concatenate(limit),
        blocks=tuple(blocks),
    )
