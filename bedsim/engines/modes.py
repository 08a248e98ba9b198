"""The natural modes of layers with their bristles stuck, and the few rows through which everything not
linear acts.

    z = Z eta (or eta' for dampers),      modal force = -z's force @ push

Bristle rows count in breakaway travels: displacement zeta = J q / breakaway, bristle deflection phi = f /
F_c, and what the modes do not carry already is g = phi - zeta.  Arrays have a leading axis s: 1 where all
members share a layer, or one entry per member where members stand at layers of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.base import Job
from bedsim.model.assembly import Machine, System
from bedsim.model.nonlinear import Elastic, elastic, local_forces

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FORCE_UNIT = 10.0  # N: dampers and elastic rows count forces in it, so that one tolerance serves all rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows in the order bristles, dampers, elastic elements; `place` acts on eta (dampers: eta'), `push` on
    forces."""

    place: Array  # (s, n, z)
    push: Array  # (s, z, n)
    bristles: int
    dampers: int
    groups: Array  # (b, b): sums squares over the rows of a planar contact
    planar: bool
    breakaway: Array  # (b,) m
    limit: Array  # (s, b) N
    damping: Array  # (dampers, dampers)
    parts: Elastic

    @property
    def size(self) -> int:
        """Number of rows."""
        return self.place.shape[2]

    def length(self, x: Array, room: Array) -> Array:
        """Length of each contact's vector (..., b), repeated for its rows; `room` is written over."""
        if not self.planar:
            return np.abs(x, out=room)
        np.multiply(x, x, out=room)
        found = room @ self.groups
        return np.sqrt(found, out=found)

    def others(self, seen: Array, offset: Array) -> Array:
        """Forces (..., z - b) of dampers and elastic rows that see (..., z - b)."""
        d = self.dampers
        found = np.zeros_like(seen)
        if d:
            found[..., :d] = seen[..., :d] @ (self.damping / FORCE_UNIT)
        local = local_forces(self.parts, seen[..., d:] - offset)
        if local is not None:
            found[..., d:] = local[0] / FORCE_UNIT
        return found

    def idle(self, seen: Array, offset: Array) -> bool:
        """Whether no elastic element acts at what dampers and elastic rows see (..., z - b)."""
        if self.parts.slope.size:
            return False
        square = (seen[..., self.dampers :] - offset) ** 2
        return bool((square[..., 0::2] + square[..., 1::2] <= self.parts.gap_squared).all())


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerModes:
    """Modes of one layer, or of one layer per member."""

    frequency: Array  # (s, n) rad/s
    damping: Array  # (s, n) 1/s, zeta w
    modes: Array  # (s, n, n) columns
    to_modes: Array  # (s, n, n): eta = q @ to_modes
    imposed: Array  # (s, r, n): modal force per imposed extension
    weight: Array  # (s, n)
    command: Array  # (s, c, n): modal force per commanded acceleration
    rows: Rows

    def resting(self, force: Array) -> Complex:
        """Amplitude (m, n) at rest under the constant modal `force` (m, n)."""
        return exponential.amplitude(
            force / self.frequency**2, np.zeros_like(force), self.frequency, self.damping
        )


def layer_modes(job: Job, system: System, index: Array | slice) -> LayerModes:
    """Modes of the layers `index` of a system."""
    machine = job.machine
    at = np.arange(system.layers.size)[index]
    modes, frequency = system.modes[at], system.frequency[at]
    return LayerModes(
        frequency=frequency,
        damping=machine.damping_ratio * frequency,
        modes=modes,
        to_modes=system.M[at] @ modes,
        imposed=np.swapaxes(system.imposed_force[at], 1, 2) @ modes,
        weight=(system.weight[at][:, None] @ modes)[:, 0],
        command=np.swapaxes(system.command_force[at], 1, 2) @ modes,
        rows=_rows(machine, system, at, modes),
    )


def _dampers(machine: Machine) -> list[tuple[Array, Array]]:
    """Rows (d, n) and damping (d, d) of explicit dampers, rows without damping left out."""
    found = []
    for link in machine.links:
        if link.damping is not None:
            used = np.flatnonzero(np.diag(link.damping))
            found.append((machine.rows[machine.slices[link.name]][used], link.damping[np.ix_(used, used)]))
    return found


def _rows(machine: Machine, system: System, at: NDArray[np.intp], modes: Array) -> Rows:
    parts = elastic(machine, system, int(at[0]), motor_sine=False)
    dampers = _dampers(machine)
    contact = machine.contact_rows
    damped = np.vstack([J for J, _ in dampers]) if dampers else np.zeros((0, contact.shape[1]))
    damping = np.zeros((damped.shape[0], damped.shape[0]))
    start = 0
    for J, c in dampers:
        damping[start : start + J.shape[0], start : start + J.shape[0]] = c
        start += J.shape[0]
    limit = np.maximum(system.friction_limit[at], 1e-12)
    others = np.vstack([damped, parts.rows])
    place = np.vstack([contact / machine.breakaway[:, None], others]) @ modes
    push = np.concatenate([limit[:, :, None] * (contact @ modes), FORCE_UNIT * (others @ modes)], axis=1)
    return Rows(
        place=np.ascontiguousarray(np.swapaxes(place, 1, 2)),
        push=push,
        bristles=contact.shape[0],
        dampers=damped.shape[0],
        groups=machine.contact_groups,
        planar=bool((machine.contact_groups.sum(axis=0) > 1).any()),
        breakaway=machine.breakaway,
        limit=limit,
        damping=damping,
        parts=parts,
    )
