"""What a print shows per unit of every drawn imperfection: the frictionless machine, layer by layer.

Without friction the rest position of a layer is linear in the imperfections, so all printers of a group share
one solve per layer and their errors are one matrix product.  Layers come in chunks: memory does not grow with
the print.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.engines.equilibrium import layer_path
from bedsim.model.assembly import System
from bedsim.sweep.sources import RUN_OUT, Prepared

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """Errors of some layers (l) for members (m), SI: what `figures.Tally` adds up.

    `height` (l, p, m), `lateral` (l, p, 2, m), against the first layer; `joint`, `side_force`, `load_angle`
    (l, c, m): sizes; `mount_force`, `axial_force` (l, c, m); `residual_height`, `residual_lateral` (l, p, m).
    """

    layers: NDArray[np.int64]
    height: Array
    lateral: Array
    joint: Array
    side_force: Array
    load_angle: Array
    mount_force: Array
    axial_force: Array
    residual_height: Array | None = None
    residual_lateral: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gains:
    """Linear response of some layers: `matrix` (rows, 1 + s), first column what straight screws leave.

    Rows are height (l, p), lateral (l, p, 2), joint (l, c, 3), guide force (l, c, 2), load angle, mount
    force, axial force (l, c) in this order.  `joint_ends` as of the machine.
    """

    layers: NDArray[np.int64]
    probes: int
    joint_ends: tuple[tuple[Array, ...], ...]
    matrix: Array

    def values(self, amounts: Array) -> Values:
        """Errors of members with drawn amounts (m, s)."""
        l, p, c, m = self.layers.size, self.probes, len(self.joint_ends), amounts.shape[0]
        with_one = np.concatenate([np.ones((m, 1)), amounts], axis=1)
        rows = self.matrix @ np.ascontiguousarray(with_one.T)
        sizes = [l * p, 2 * l * p, 3 * l * c, 2 * l * c, l * c, l * c, l * c]
        height, lateral, joint, guide, angle, mount, axial = np.split(rows, np.cumsum(sizes)[:-1])
        moved = zip(joint.reshape(l, c, 3, m).transpose(1, 2, 0, 3), self.joint_ends, strict=True)
        return Values(
            layers=self.layers,
            height=height.reshape(l, p, m),
            lateral=lateral.reshape(l, p, 2, m),
            joint=np.sqrt(np.stack([base.squared_way(own, ends) for own, ends in moved], axis=1)),
            side_force=np.hypot(*np.moveaxis(guide.reshape(l, c, 2, m), 2, 0)),
            load_angle=np.abs(angle.reshape(l, c, m)),
            mount_force=mount.reshape(l, c, m),
            axial_force=axial.reshape(l, c, m),
        )

    def lateral_rows(self) -> Array:
        """Lateral part of the matrix (l p 2, 1 + s)."""
        l, p = self.layers.size, self.probes
        return self.matrix[l * p : 3 * l * p]


def gains(prepared: Prepared) -> Iterator[Gains]:
    """Responses of all layers in chunks; drawn columns as in `prepared.columns`, corner after corner."""
    job = prepared.job
    layers = np.arange(1, job.program.layers + 1)
    first: Array | None = None
    for start in range(0, layers.size, LAYERS_AT_ONCE):
        system = job.machine.system(layers[start : start + LAYERS_AT_ONCE])
        observer = base.make_observer(job.machine, system, job.probes)
        imposed = _imposed(prepared, system)
        q = _motions(system, imposed)
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


def _motions(system: System, imposed: Array) -> Array:
    force = system.imposed_force @ imposed
    force[:, :, 0] += system.weight
    return np.asarray(np.linalg.solve(system.K, force), dtype=np.float64)


def _gains(
    prepared: Prepared, system: System, seen: base.Observer, q: Array, imposed: Array, pose: Array
) -> Gains:
    """Rows of `Gains` from motions (l, n, 1 + s) and bed poses against the first layer (l, b, 1 + s)."""
    job = prepared.job
    height, flat, abbe = base.probe_maps(job.machine, job.probes)
    top = (system.layers * job.machine.layer_height)[:, None, None, None]
    columns = q.shape[-1]
    parts = [
        height @ pose,
        (flat[None] + top * abbe[None]).reshape(system.layers.size, -1, flat.shape[-1]) @ pose,
        _joint(seen, q, imposed),
        _tension(seen, q, imposed, seen.guide_rows.ravel()) * seen.guide_stiffness.ravel()[:, None],
        _tension(seen, q, imposed, seen.motor_rows) * seen.motor_electrical[:, None],
        _mount(seen, q, imposed),
        -_tension(seen, q, imposed, seen.axial_rows) * seen.axial_stiffness[:, :, None],
    ]
    return Gains(
        layers=system.layers,
        probes=job.probes.shape[0],
        joint_ends=job.machine.joint_ends,
        matrix=np.concatenate([part.reshape(-1, columns) for part in parts]),
    )


def _tension(seen: base.Observer, q: Array, imposed: Array, rows: NDArray[Any]) -> Array:
    return seen.rows[rows] @ q - imposed[:, rows]


def _joint(seen: base.Observer, q: Array, imposed: Array) -> Array:
    moved = seen.joint @ q[:, None]  # (l, c, 3, 1 + s)
    for c, bore in enumerate(seen.joint_imposed):
        if bore[0] >= 0:
            moved[:, c, :2] -= imposed[:, bore]
    return moved


def _mount(seen: base.Observer, q: Array, imposed: Array) -> Array:
    force = -_tension(seen, q, imposed, seen.mount_rows) * seen.mount_stiffness[:, None]
    force[:, :, 0] += seen.mount_preload
    return force


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
