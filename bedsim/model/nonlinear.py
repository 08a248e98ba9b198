"""The forces that are not linear in the motion, summed over the machine: stops, flanks, and the motors' sine.

Elements of one kind are stacked, so that a machine that touches nothing costs one product and one comparison.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.stop import flank_force, flank_push, stop_force, stop_push
from bedsim.model.assembly import Machine, System

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Elastic:
    """Stacked elements: `stop` (2 s, n), `flank` (3 k, n), `motor` (m, n) rows, their imposed rows and
    numbers.

    `imposed` (rows, r) picks the imposed extension that each of the stacked rows is measured from.
    """

    rows: Array  # (2 s + 3 k + m, n)
    imposed: Array  # (2 s + 3 k + m, r)
    gap: Array  # (s,) m
    gap_squared: Array  # (s,) m2
    stop: Array  # (s,) N/m
    slope: Array  # (k,)
    rounding: Array  # (k,) m
    flank: Array  # (k,) N/m, or (l, k) for layers side by side
    torque: Array  # (m,) N m
    electrical: Array  # (m,)

    @property
    def present(self) -> bool:
        """Whether there is anything at all."""
        return self.rows.shape[0] > 0

    @property
    def always(self) -> bool:
        """Whether there are elements that act wherever the machine is: flanks and motors."""
        return self.slope.size > 0 or self.torque.size > 0


def elastic(
    machine: Machine, system: System, index: int | slice | NDArray[np.integer[Any]], motor_sine: bool
) -> Elastic:
    """The elements of one layer of a system, or of some side by side."""
    rows, picks = [], []

    def add(jacobian: Array, imposed: tuple[int, ...]) -> None:
        rows.append(jacobian)
        pick = np.zeros((jacobian.shape[0], machine.rows.shape[0]))
        for row, where in enumerate(imposed):
            if where >= 0:
                pick[row, where] = 1.0
        picks.append(pick)

    for stop in machine.stops:
        start = machine.slices[stop.imposed_link].start if stop.imposed_link else None
        add(stop.jacobian @ machine.transform, () if start is None else (start, start + 1))
    for flank in machine.flanks:
        add(flank.jacobian @ machine.transform, (-1, -1, machine.slices[flank.axial_link].start))
    axial = [machine.slices[flank.axial_link].start for flank in machine.flanks]
    motors = [link.name for link in machine.links if link.name.endswith(".motor")] if motor_sine else []
    for name in motors:
        where = machine.slices[name].start
        add(machine.rows[where : where + 1], (where,))
    n, r = machine.transform.shape[1], machine.rows.shape[0]
    return Elastic(
        rows=np.vstack(rows) if rows else np.zeros((0, n)),
        imposed=np.vstack(picks) if picks else np.zeros((0, r)),
        gap=np.array([s.gap for s in machine.stops]),
        gap_squared=np.array([s.gap**2 for s in machine.stops]),
        stop=np.array([s.stiffness for s in machine.stops]),
        slope=np.array([f.slope for f in machine.flanks]),
        rounding=np.array([f.rounding for f in machine.flanks]),
        flank=np.diagonal(system.stiffness[index], axis1=-2, axis2=-1)[..., axial],
        torque=machine.motor_torque[: len(motors)],
        electrical=machine.motor_electrical[: len(motors)],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stacks:
    """Stacked extensions (..., e) by kind: `stops` (..., s, 2), `flanks` (..., k, 3), `motors` (..., m)."""

    stops: Array
    flanks: Array
    motors: Array


def stacks(parts: Elastic, stacked: Array) -> Stacks:
    """Views of stacked values (..., e)."""
    s, k = parts.gap.size, parts.slope.size
    stops, flanks, motors = np.split(stacked, [2 * s, 2 * s + 3 * k], axis=-1)
    shape = stacked.shape[:-1]
    return Stacks(stops=stops.reshape(*shape, s, 2), flanks=flanks.reshape(*shape, k, 3), motors=motors)


def touching(parts: Elastic, extension: Array) -> bool:
    """Whether any stop is touched at stacked extensions (..., e)."""
    square = extension[..., : 2 * parts.gap.size] ** 2
    return bool((square[..., 0::2] + square[..., 1::2] > parts.gap_squared).any())


def local_push(parts: Elastic, extension: Array) -> Array:
    """Forces (..., e) for stacked extensions (..., e)."""
    at, shape = stacks(parts, extension), extension.shape[:-1]
    found = []
    if touching(parts, extension):
        found.append(stop_push(at.stops, parts.gap[:, None], parts.stop[:, None]).reshape(*shape, -1))
    else:
        found.append(np.zeros((*shape, 2 * parts.gap.size)))
    if parts.slope.size:
        numbers = (parts.slope[:, None], parts.rounding[:, None], parts.flank[..., None])
        found.append(flank_push(at.flanks, *numbers).reshape(*shape, -1))
    if parts.torque.size:  # what the sine has more than the linear spring
        lag = parts.electrical * at.motors
        found.append(parts.torque * (np.sin(lag) - lag))
    return np.concatenate(found, axis=-1)


def local_forces(parts: Elastic, extension: Array) -> tuple[Array, Array] | None:
    """Forces (..., e) and block-diagonal derivative (..., e, e) for stacked extensions (..., e); None:
    nothing acts."""
    s, k = parts.gap.size, parts.slope.size
    touched = touching(parts, extension)
    if not touched and not parts.always:
        return None
    at = stacks(parts, extension)
    slope = np.zeros((*extension.shape, extension.shape[-1]))
    if touched:
        _put(slope, 0, stop_force(at.stops, parts.gap[:, None], parts.stop[:, None])[1])
    if k:
        numbers = (parts.slope[:, None], parts.rounding[:, None], parts.flank[..., None])
        _put(slope, 2 * s, flank_force(at.flanks, *numbers)[1])
    if parts.torque.size:
        bend = parts.torque * parts.electrical * (np.cos(parts.electrical * at.motors) - 1.0)
        _put(slope, 2 * s + 3 * k, bend[..., None, None])
    return local_push(parts, extension), slope


def _put(matrix: Array, start: int, blocks: Array) -> None:
    """Put square blocks (..., i, j, j) on the diagonal of a matrix, from `start` on."""
    count, size = blocks.shape[-3:-1]
    for k in range(count):
        at = slice(start + size * k, start + size * (k + 1))
        matrix[..., at, at] = blocks[..., k, :, :]


def force_and_tangent(parts: Elastic, q: Array, imposed: Array) -> tuple[Array, Array] | None:
    """Generalised restoring force (..., n) and stiffness (..., n, n); None where no element acts."""
    if not parts.present:
        return None
    found = local_forces(parts, q @ parts.rows.T - imposed @ parts.imposed.T)
    if found is None:
        return None
    force, slope = found
    return force @ parts.rows, parts.rows.T @ slope @ parts.rows
