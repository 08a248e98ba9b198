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
from bedsim.engines.base import Chunk, Job
from bedsim.engines.contact_space import ContactSpace
from bedsim.engines.modes import Real, Working, mixed
from bedsim.engines.solved import Solved
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


def forced(job: Job, solved: Solved, space: ContactSpace, time: Array) -> Forced:
    """The answers of a layer at rest to every used source, at the instants of its nodes."""
    layer = int(solved.plan.layers[0])
    path = job.program.layer_change(layer).path(time, job.program.start_time(layer))
    imposed = job.machine.imposed(path, job.units(job.used)[:-1])
    eta = np.transpose(imposed @ solved.modes.imposed[0] / solved.modes.frequency[0] ** 2, (1, 2, 0))
    return Forced(
        eta=eta,
        places=np.ascontiguousarray(space.place.T @ eta, dtype=Real),
        imposed=np.transpose(imposed[..., solved.observer.watched], (1, 2, 0)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reporter:
    """Reports of one layer: `at` (i,) nodes whose instants are looked at, the last one again at rest."""

    solved: Solved
    full: Chunk
    space: ContactSpace
    forced: Forced
    at: NDArray[np.intp]
    time: Array  # (i,) s

    def pose(self, differ: Array, g: Array) -> Array:
        """Deviation (m, b) of the bed's mean in print: at rest."""
        solved = self.solved
        eta = self.forced.eta[-1] @ differ - self.space.give.T @ g
        return np.asarray((solved.observer.bed @ solved.modes.modes[0] @ eta).T)

    def extremes(self, k: int, differ: Array, g: list[Array]) -> dict[str, Array]:
        """Extremes (m, c) of members of the k-th nominal, which `differ` (r, m) from it, with g (b, m) at the
        nodes and at rest."""
        seen, imposed = self._nominal(k)
        own = self._extremes(seen[..., None], imposed[..., None])
        view = self.solved.view[0, : seen.shape[1]]
        which = [*self.at, self.at[-1]]
        moved = [view @ self.forced.eta[i] @ differ for i in which]
        for deviation, at in zip(moved, [*self.at, -1], strict=True):
            deviation -= view @ (self.space.give.T @ g[at])
        found = self._extremes(
            seen[..., None] + np.stack(moved),
            imposed[..., None] + np.stack([self.forced.imposed[i] @ differ for i in which]),
        )
        told = {name: found[name] + (getattr(self.full, name)[k] - own[name]) for name in SLOW}
        told["joint_excursion"] = np.maximum(told["joint_excursion"], 0.0)
        return told

    def _nominal(self, k: int) -> tuple[Array, Array]:
        """Seen (i+1, v) and imposed (i+1, w) of the k-th nominal at the instants and at rest."""
        solved, observer = self.solved, self.solved.observer
        count = observer.watched.size + 3 * observer.joint.shape[0]
        at = [int(np.argmin(np.abs(solved.time - t))) for t in self.time]
        seen = solved.seen[[*at, -1], :count, k].astype(float)
        known = np.moveaxis(solved.imposed[:, [*at, at[-1]]][..., observer.watched], 0, -1)
        return seen, np.asarray(mixed(known, solved.mix))[..., k]

    def _extremes(self, seen: Array, imposed: Array) -> dict[str, Array]:
        """Extremes (m, c) from seen (i, v, m) and imposed (i, w, m), members last in memory."""
        observer, w = self.solved.observer, self.solved.observer.watched.size
        rows, joint = np.moveaxis(seen[:, :w], -1, 0), np.moveaxis(seen[:, w:], -1, 0)
        joint = joint.reshape(*joint.shape[:-1], -1, 3)
        known = np.moveaxis(imposed, -1, 0)
        return base.seen_extremes(observer, int(self.solved.index[0]), rows, joint, known)


def empty(full: Chunk, members: int) -> dict[str, Any]:
    """Room for what is reported of so many members in a layer."""
    like = {key: getattr(full, key) for key in base.BY_MEMBER}
    return {key: np.empty((members, *x.shape[1:]), dtype=x.dtype) for key, x in like.items()}


def filled(full: Chunk, fields: dict[str, Any], travel: Array) -> Chunk:
    """The chunk of all members."""
    fields["stop_hit"] = fields["joint_excursion"] >= travel
    return replace(full, histories=(), **fields)
