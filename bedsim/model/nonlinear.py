"""The forces that are not linear in the motion, summed over the machine: stops, flanks, and the motors' sine.

Elements of one kind are stacked, so that a machine that touches nothing costs one product and one comparison.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.stop import flank_force, flank_motion, stop_force
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
    machine: Machine, system: System | None, index: int | slice | NDArray[np.integer[Any]], motor_sine: bool
) -> Elastic:
    """The elements of one layer of a system, or of some side by side; a machine without flanks needs none."""
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
    own = np.diagonal(system.stiffness[index], axis1=-2, axis2=-1)[..., axial] if system else np.zeros(0)
    motors = [link.name for link in machine.links if link.part == "motor"] if motor_sine else []
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
        flank=own,
        torque=machine.motor_torque[: len(motors)],
        electrical=machine.motor_electrical[: len(motors)],
    )


def touching(parts: Elastic, place: NDArray[Any]) -> bool:
    """Whether any stop is touched at stacked extensions (..., e, m)."""
    place = place[..., : 2 * parts.gap.size, :]
    most = max(place.max(initial=0.0), -place.min(initial=0.0))
    if 2 * most**2 <= parts.gap_squared.min(initial=np.inf):  # the usual case, at the price of a look
        return False
    square = place**2
    return bool((square[..., 0::2, :] + square[..., 1::2, :] > parts.gap_squared[:, None]).any())


def local_forces(parts: Elastic, extension: Array) -> tuple[Array, Array] | None:
    """Forces (..., e) and block-diagonal derivative (..., e, e) for stacked extensions (..., e); None:
    nothing acts."""
    s, k = parts.gap.size, parts.slope.size
    touched = touching(parts, extension[..., None])
    if not touched and not parts.always:
        return None
    stops, flanks, motors = np.split(extension, [2 * s, 2 * s + 3 * k], axis=-1)
    force, slope = np.zeros_like(extension), np.zeros((*extension.shape, extension.shape[-1]))

    def put(start: int, found: tuple[Array, Array]) -> None:
        count, size = found[0].shape[-2:]
        force[..., start : start + count * size] = found[0].reshape(*extension.shape[:-1], -1)
        for i in range(count):
            at = slice(start + size * i, start + size * (i + 1))
            slope[..., at, at] = found[1][..., i, :, :]

    if touched:
        put(0, stop_force(stops.reshape(*extension.shape[:-1], s, 2), parts.gap, parts.stop))
    if k:
        numbers = (parts.slope[:, None], parts.rounding[:, None], parts.flank[..., None])
        put(2 * s, flank_force(flanks.reshape(*extension.shape[:-1], k, 3), *numbers))
    if parts.torque.size:  # what the sine has more than the linear spring
        lag = parts.electrical * motors
        bend = parts.torque * parts.electrical * (np.cos(lag) - 1.0)
        put(2 * s + 3 * k, ((parts.torque * (np.sin(lag) - lag))[..., None], bend[..., None, None]))
    return force, slope


def local_motion(parts: Elastic, place: Array, speed: Array) -> Array:
    """Forces and their rates (2, e, m) at stacked extensions (e, m) that change at a `speed` (e, m): the same
    as `local_forces`, members last."""
    s, k = parts.gap.size, parts.slope.size
    found = np.zeros((2, *place.shape))
    if touching(parts, place):
        force, slope = stop_force(place[: 2 * s].reshape(s, 2, -1).transpose(2, 0, 1), parts.gap, parts.stop)
        by = speed[: 2 * s].reshape(s, 2, -1).transpose(2, 0, 1)[..., None]
        for way, values in enumerate((force, (slope @ by)[..., 0])):
            found[way, : 2 * s] = values.reshape(-1, 2 * s).T
    if k:
        at, shape = slice(2 * s, 2 * s + 3 * k), (k, 3, -1)
        flank = np.atleast_2d(parts.flank).T
        numbers = (parts.slope[:, None], parts.rounding[:, None], flank)
        moved = flank_motion(
            place[at].reshape(shape).swapaxes(0, 1), speed[at].reshape(shape).swapaxes(0, 1), *numbers
        )
        found[:, at] = moved.swapaxes(1, 2).reshape(2, 3 * k, -1)
    if parts.torque.size:
        at = slice(2 * s + 3 * k, None)
        lag = parts.electrical[:, None] * place[at]
        found[0, at] = parts.torque[:, None] * (np.sin(lag) - lag)
        found[1, at] = (parts.torque * parts.electrical)[:, None] * (np.cos(lag) - 1.0) * speed[at]
    return found


def force_and_tangent(parts: Elastic, q: Array, imposed: Array) -> tuple[Array, Array] | None:
    """Generalised restoring force (..., n) and stiffness (..., n, n); None where no element acts."""
    if not parts.present:
        return None
    found = local_forces(parts, q @ parts.rows.T - imposed @ parts.imposed.T)
    if found is None:
        return None
    force, slope = found
    return force @ parts.rows, parts.rows.T @ slope @ parts.rows
