"""What a print shows per unit of every drawn imperfection: the frictionless machine, layer by layer.

Without friction the rest position of a layer is linear in the imperfections, so all printers of a group share
one solve per layer and their errors are one matrix product.  Layers come in chunks: memory does not grow with
the print.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.equilibrium import layer_path
from bedsim.engines.static import at_rest
from bedsim.model.assembly import System
from bedsim.sweep.sources import RUN_OUT, Prepared

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64
_AT_CORNER = 8  # rows of a corner in `Gains`


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """Errors of some layers (l) for members (m), SI: what `figures.Tally` adds up.

    `height` (l, p, m), `lateral` (l, p, 2, m), against the first layer; `reported`: what the machine tells of
    the quantities of `bedsim.quantities`, by name, their axes with that of the members last.
    """

    layers: NDArray[np.int64]
    height: Array
    lateral: Array
    reported: Mapping[str, Array]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gains:
    """Linear response of some layers: `matrix` (rows, 1 + s), first column what straight screws leave.

    Rows are height (l, p), lateral (l, p, 2), then of every corner (8, l) the joint's two displacements and
    its turn, the extensions of both guide rows, of motor, mount and axial row.
    """

    layers: NDArray[np.int64]
    observer: base.Observer
    matrix: Array

    @property
    def probes(self) -> int:
        """Number of probes."""
        return self.observer.height.shape[0]

    def values(self, amounts: Array) -> Values:
        """Errors of members with drawn amounts (m, s)."""
        l, p, m = self.layers.size, self.probes, amounts.shape[0]
        with_one = np.concatenate([np.ones((m, 1)), amounts], axis=1)
        rows = self.matrix @ np.ascontiguousarray(with_one.T)
        height, lateral, corners = np.split(rows, [l * p, 3 * l * p])
        at = corners.reshape(-1, _AT_CORNER, l, m)
        found = [self._corner(c, seen) for c, seen in enumerate(at)]
        return Values(
            layers=self.layers,
            height=height.reshape(l, p, m),
            lateral=lateral.reshape(l, p, 2, m),
            reported={name: np.stack([one[name] for one in found], axis=1) for name in found[0]},
        )

    def _corner(self, c: int, seen: Array) -> dict[str, Array]:
        """Quantities (l, m) of one corner from what is seen there (8, l, m)."""
        x, y, turn, guide_x, guide_y, motor, mount, axial = seen
        at = base.CornerMotion(
            joint=(x, y, turn), guide=(guide_x, guide_y), motor=motor, mount=mount, axial=axial
        )
        return base.corner_quantities(self.observer, c, at, self.observer.axial_stiffness[:, c, None])

    def lateral_rows(self) -> Array:
        """Lateral part of the matrix (l p 2, 1 + s)."""
        l, p = self.layers.size, self.probes
        return self.matrix[l * p : 3 * l * p]


def gains(prepared: Prepared, layers: NDArray[np.int64] | None = None) -> Iterator[Gains]:
    """Responses of all layers, or of some from the first on, in chunks; drawn columns as in
    `prepared.columns`, corner after corner."""
    job = prepared.job
    layers = np.arange(1, job.program.layers + 1) if layers is None else layers
    first: Array | None = None
    for start in range(0, layers.size, LAYERS_AT_ONCE):
        system = job.machine.system(layers[start : start + LAYERS_AT_ONCE])
        observer = base.make_observer(job.machine, system, job.probes)
        imposed = _imposed(prepared, system)
        q = at_rest(system, imposed, np.eye(1, imposed.shape[-1])[0])
        pose = observer.bed @ q
        first = pose[:1] if first is None else first
        yield _gains(prepared, system, observer, q, imposed, pose - first)


def _imposed(prepared: Prepared, system: System) -> Array:
    """Imposed extensions (l, r, 1 + s): what is fixed, then each drawn column with unit strength."""
    machine = prepared.job.machine
    path = layer_path(prepared.job, system.layers)
    drawn = prepared.columns.ravel()
    total = np.zeros((system.layers.size, machine.rows.shape[0], 1 + drawn.size))
    total[:, :, 0] = machine.imposed(path, prepared.fixed)
    for k, source in enumerate(drawn):
        where, values = machine.source_rows(machine.sources[source], path)
        total[:, where, 1 + k] = values
    return total


def _gains(
    prepared: Prepared, system: System, seen: base.Observer, q: Array, imposed: Array, pose: Array
) -> Gains:
    """Rows of `Gains` from motions (l, n, 1 + s) and bed poses against the first layer (l, b, 1 + s)."""
    job = prepared.job
    height, flat, abbe = base.probe_maps(job.machine, job.probes)
    top = job.machine.stations.top(system.layers)[:, None, None, None]
    parts = [
        height @ pose,
        (flat[None] + top * abbe[None]).reshape(system.layers.size, -1, flat.shape[-1]) @ pose,
        *(_corner(seen, c, q, imposed) for c in range(len(job.machine.corner_names))),
    ]
    return Gains(
        layers=system.layers,
        observer=seen,
        matrix=np.concatenate([part.reshape(-1, q.shape[-1]) for part in parts]),
    )


def _corner(seen: base.Observer, c: int, q: Array, imposed: Array) -> Array:
    """What is seen at a corner (8, l, 1 + s)."""
    joint = seen.joint[c] @ q  # (l, 3, 1 + s)
    if seen.joint_imposed[c, 0] >= 0:
        joint[:, :2] -= imposed[:, seen.joint_imposed[c]]
    rows = [*seen.guide_rows[c], seen.motor_rows[c], seen.mount_rows[c], seen.axial_rows[c]]
    extension = seen.rows[rows] @ q - imposed[:, rows]
    return np.concatenate([joint, extension], axis=1).swapaxes(0, 1)


def run_out_gram(prepared: Prepared) -> Array:
    """Mean square lateral error over probes and layers as a quadratic form (6 c, 6 c) in the run-out columns.

    The mean over the layers is taken out: a constant shift shows on no wall.
    """
    per_corner = prepared.columns.shape[1]
    wanted = np.concatenate([1 + c * per_corner + np.arange(RUN_OUT) for c in range(len(prepared.columns))])
    square = np.zeros((wanted.size, wanted.size))
    total, count = np.zeros((prepared.job.probes.shape[0] * 2, wanted.size)), 0
    for chunk in gains(prepared):
        rows = chunk.lateral_rows()[:, wanted]
        square += rows.T @ rows
        total += rows.reshape(chunk.layers.size, -1, wanted.size).sum(axis=0)
        count += chunk.layers.size
    return (square - total.T @ total / count) / (count * total.shape[0])
