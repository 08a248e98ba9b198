"""What is reported of members that deviate slowly from a machine in full.

Extremes of a layer are taken at the ends of the pieces of its motion and at rest; what those of the nominal
over all its instants exceed the same instants' by is added: vibration is the nominal's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path, one_path
from bedsim.engines import base
from bedsim.engines.base import Chunk, Job, Observer
from bedsim.engines.contact_space import ContactSpace
from bedsim.engines.modes import LayerModes, Real, Working
from bedsim.quantities import REPORTED

Array = NDArray[np.float64]

AHEAD = 16  # layers
SLOW = tuple(q.name for q in REPORTED if q.axes == "layer corner" and q.kind == "float64")
"""Quantities that have an extreme of their own for every member."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forced:
    """What sources of unit strength do at the k+1 nodes of a layer: `eta` (k+1, n, r), `places` (k+1, b, r)
    of the bristle rows, `imposed` (k+1, w, r) on the watched rows."""

    eta: Array
    places: Working
    imposed: Array


class UnitsAhead:
    """What sources of unit strength impose at the nodes of a layer, worked out for some layers of the same
    motion ahead."""

    def __init__(self, job: Job, used: NDArray[np.int64]) -> None:
        self._job, self._used = job, used
        self._layers, self._time = range(0), np.zeros(0)
        self._imposed: NDArray[Any] = np.zeros(0)

    def imposed(self, layer: int, time: Array) -> Array:
        """Imposed extensions (r, k+1, rows) at instants s of a layer."""
        if layer not in self._layers or not np.array_equal(time, self._time):
            program = self._job.program
            ahead = range(layer, min(layer + AHEAD, program.layers + 1))
            if not program.stations.alike(np.array(ahead)):
                ahead = range(layer, layer + 1)
            paths = [program.layer_change(n).path(time, program.start_time(n)) for n in ahead]
            found = self._units(one_path(paths))
            self._imposed = found.reshape(found.shape[0], len(paths), time.size, -1)
            self._layers, self._time = ahead, time
        return self._imposed[:, layer - self._layers.start]

    def _units(self, path: Path) -> Array:
        """Imposed extensions (r, t, rows) along a path, one source after the other."""
        machine = self._job.machine
        total = np.zeros((self._used.size, machine.rows.shape[0], path.time.size))
        for i, k in enumerate(self._used):
            where, values = machine.source_rows(machine.sources[k], path)
            total[i, where] = values.T
        return np.swapaxes(total, -1, -2)


def forced(imposed: Array, modes: LayerModes, observer: Observer, space: ContactSpace) -> Forced:
    """The answers of a layer at rest to what every used source imposes (r, k+1, rows) at its nodes."""
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
