"""What is reported of members that deviate slowly from a machine in full.

Extremes of a layer are taken at the ends of the pieces of its motion and at rest; what those of the nominal
over all its instants exceed the same instants' by is added: vibration is the nominal's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.contact_space import ContactSpace
from bedsim.engines.modes import LayerModes, Real, Working
from bedsim.quantities import REPORTED

Array = NDArray[np.float64]

SLOW = tuple(q.name for q in REPORTED if q.axes == "layer corner" and q.kind == "float64")
"""Quantities that have an extreme of their own for every member."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forced:
    """What sources of unit strength do at the k+1 nodes of a layer: `eta` (k+1, n, r), `places` (k+1, b, r)
    of the bristle rows, `imposed` (k+1, w, r) on the watched rows."""

    eta: Array
    places: Working
    imposed: Array


def forced(
    job: Job, layer: int, modes: LayerModes, observer: Observer, space: ContactSpace, time: Array
) -> Forced:
    """The answers of a layer at rest to every used source, at the instants of its nodes."""
    path = job.program.layer_change(layer).path(time, job.program.start_time(layer))
    imposed = job.machine.imposed(path, job.units(job.used)[:-1])
    eta = np.transpose(imposed @ modes.imposed[0] / modes.frequency[0] ** 2, (1, 2, 0))
    return Forced(
        eta=eta,
        places=np.ascontiguousarray(space.place.T @ eta, dtype=Real),
        imposed=np.transpose(imposed[..., observer.watched], (1, 2, 0)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reporter:
    """Reports of one layer, the `index`-th of the observer: `at` (i,) nodes whose instants are looked at, the
    last one again at rest; `view` (v, n) of rows and joints and `bed` (b, n) per mode; what is reported of
    nominals, `full`, what is `seen` (i+1, v, k) of them, and their `amounts` (r, k) of the used sources."""

    observer: Observer
    index: int
    view: Array
    bed: Array
    full: Chunk
    seen: Array
    amounts: Array
    space: ContactSpace
    forced: Forced
    at: NDArray[np.intp]

    def pose(self, differ: Array, g: Array) -> Array:
        """Deviation (m, b) of the bed's mean in print: at rest."""
        return np.asarray((self.bed @ (self.forced.eta[-1] @ differ - self.space.give.T @ g)).T)

    def extremes(self, k: int, differ: Array, g: list[Array]) -> dict[str, Array]:
        """Extremes (m, c) of members of the k-th nominal, which `differ` (r, m) from it, with g (b, m) at the
        nodes and at rest."""
        which = [*self.at, self.at[-1]]
        seen, imposed = self.seen[..., k, None], self.forced.imposed[which] @ self.amounts[:, k, None]
        own = self._extremes(seen, imposed)
        moved = [self.view @ self.forced.eta[i] @ differ for i in which]
        give = self.view @ self.space.give.T
        for deviation, at in zip(moved, [*self.at, -1], strict=True):
            deviation -= give @ g[at]
        found = self._extremes(
            seen + np.stack(moved), imposed + np.stack([self.forced.imposed[i] @ differ for i in which])
        )
        told = {name: found[name] + (getattr(self.full, name)[k] - own[name]) for name in SLOW}
        told["joint_excursion"] = np.maximum(told["joint_excursion"], 0.0)
        return told

    def _extremes(self, seen: Array, imposed: Array) -> dict[str, Array]:
        """Extremes (m, c) from seen (i, v, m) and imposed (i, w, m), members last in memory."""
        w = self.observer.watched.size
        rows, joint = np.moveaxis(seen[:, :w], -1, 0), np.moveaxis(seen[:, w:], -1, 0)
        joint = joint.reshape(*joint.shape[:-1], -1, 3)
        known = np.moveaxis(imposed, -1, 0)
        return base.seen_extremes(self.observer, self.index, rows, joint, known)


def empty(full: Chunk, members: int) -> dict[str, Any]:
    """Room for what is reported of so many members in a layer."""
    like = {key: getattr(full, key) for key in base.BY_MEMBER}
    return {key: np.empty((members, *x.shape[1:]), dtype=x.dtype) for key, x in like.items()}


def filled(full: Chunk, fields: dict[str, Any], travel: Array) -> Chunk:
    """The chunk of all members."""
    fields["stop_hit"] = fields["joint_excursion"] >= travel
    return replace(full, histories=(), **fields)
