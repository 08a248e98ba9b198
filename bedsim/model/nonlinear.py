"""The forces that are not linear in the motion, summed over the machine: stops, flanks, and the motors' sine.

Elements of one kind are stacked, so that a machine that touches nothing costs one product and one comparison.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.stop import flank_force, stop_force
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
    flank: Array  # (k,) N/m
    torque: Array  # (m,) N m
    electrical: Array  # (m,)

    @property
    def present(self) -> bool:
        """Whether there is anything at all."""
        return self.rows.shape[0] > 0


def elastic(machine: Machine, system: System, index: int, motor_sine: bool) -> Elastic:
    """The elements of one layer of a system."""
    rows, picks = [], []

    def add(jacobian: Array, link: str | None, imposed: Array | None) -> None:
        rows.append(jacobian)
        pick = np.zeros((jacobian.shape[0], machine.rows.shape[0]))
        if link is not None:
            pick[:, machine.slices[link]] = imposed
        picks.append(pick)

    for stop in machine.stops:
        add(stop.jacobian @ machine.transform, stop.imposed_link, stop.imposed_map)
    for flank in machine.flanks:
        add(flank.jacobian @ machine.transform, flank.axial_link, np.array([[0.0], [0.0], [1.0]]))
    axial = [machine.slices[flank.axial_link].start for flank in machine.flanks]
    motors = [link.name for link in machine.links if link.name.endswith(".motor")] if motor_sine else []
    for name in motors:
        add(machine.rows[machine.slices[name]], name, np.ones((1, 1)))
    n, r = machine.transform.shape[1], machine.rows.shape[0]
    return Elastic(
        rows=np.vstack(rows) if rows else np.zeros((0, n)),
        imposed=np.vstack(picks) if picks else np.zeros((0, r)),
        gap=np.array([s.gap for s in machine.stops]),
        gap_squared=np.array([s.gap**2 for s in machine.stops]),
        stop=np.array([s.stiffness for s in machine.stops]),
        slope=np.array([f.slope for f in machine.flanks]),
        rounding=np.array([f.rounding for f in machine.flanks]),
        flank=system.stiffness[index, axial, axial],
        torque=machine.motor_torque[: len(motors)],
        electrical=machine.motor_electrical[: len(motors)],
    )


def local_forces(parts: Elastic, extension: Array) -> tuple[Array, Array] | None:
    """Forces (..., e) and block-diagonal derivative (..., e, e) for stacked extensions (..., e); None:
    nothing acts."""
    s, k = parts.gap.size, parts.slope.size
    square = extension[..., : 2 * s] ** 2
    touching = bool((square[..., 0::2] + square[..., 1::2] > parts.gap_squared).any())
    if not touching and k == 0 and parts.torque.size == 0:
        return None
    force = np.zeros_like(extension)
    slope = np.zeros((*extension.shape, extension.shape[-1]))
    if touching:
        pairs = np.arange(2 * s).reshape(s, 2)
        found = stop_force(extension[..., pairs], parts.gap, parts.stop)
        force[..., pairs], slope[..., pairs[:, :, None], pairs[:, None, :]] = found
    for i in range(k):
        at = slice(2 * s + 3 * i, 2 * s + 3 * i + 3)
        numbers = (parts.slope[i], parts.rounding[i], parts.flank[i])
        force[..., at], slope[..., at, at] = flank_force(extension[..., at], *numbers)
    if parts.torque.size:  # what the sine has more than the linear spring
        at = slice(2 * s + 3 * k, extension.shape[-1])
        lag = parts.electrical * extension[..., at]
        force[..., at] = parts.torque * (np.sin(lag) - lag)
        where = np.arange(at.start, at.stop)
        slope[..., where, where] = parts.torque * parts.electrical * (np.cos(lag) - 1.0)
    return force, slope


def force_and_tangent(parts: Elastic, q: Array, imposed: Array) -> tuple[Array, Array] | None:
    """Generalised restoring force (..., n) and stiffness (..., n, n); None where no element acts."""
    if not parts.present:
        return None
    found = local_forces(parts, q @ parts.rows.T - imposed @ parts.imposed.T)
    if found is None:
        return None
    force, slope = found
    return force @ parts.rows, parts.rows.T @ slope @ parts.rows
