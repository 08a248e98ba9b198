"""The natural modes of layers with their bristles stuck, and the few rows through which everything not
linear acts.

    z = Z eta (or eta' for dampers),      modal force = -z's force @ push

Bristle rows count in breakaway travels: displacement zeta = J q / breakaway, bristle deflection phi = f /
F_c, and what the modes do not carry already is g = phi - zeta.  Arrays have a leading axis s: 1 where all
members share a layer, or one entry per member where members stand at layers of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.base import Job
from bedsim.model.assembly import Machine, System
from bedsim.model.nonlinear import Elastic, elastic, local_forces

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Real = np.float32  # what rows cause within a stretch is worked out in this, see steps.py
Working = NDArray[np.float32]

FORCE_UNIT = 10.0  # N: dampers and elastic rows count forces in it, so that one tolerance serves all rows
# Elastic rows are held so much closer: a ball that leans on its stop would quiver enough to rub friction off
CLOSER = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows in the order bristles, dampers, elastic elements; `place` acts on eta (dampers: eta'), `push` on
    forces.

    Of the b bristles the first c = `contacts` are the only or the first direction of each contact, planar
    contacts first; the last b - c are the second directions of these.  `order` (b,) says where each stands in
    the machine.
    """

    place: Array  # (s, n, z)
    push: Array  # (s, z, n)
    bristles: int
    contacts: int
    dampers: int
    order: NDArray[np.intp]
    breakaway: Array  # (b,) m
    limit: Array  # (s, b) N
    damping: Array  # (dampers, dampers)
    steep: Array  # (z, 1): a row's force per its place (dampers: speed), at most
    parts: Elastic

    @property
    def size(self) -> int:
        """Number of rows."""
        return self.place.shape[2]

    def lengths(self, square: Working, out: Working) -> None:
        """Length (..., c, m) of each contact's vector from the squares of its directions (..., b, m),
        which are worked on."""
        c, pairs = self.contacts, self.bristles - self.contacts
        if pairs:
            square[..., :pairs, :] += square[..., c:, :]
        np.sqrt(square[..., :c, :], out=out)

    def every(self, of_contacts: NDArray[Any]) -> NDArray[Any]:
        """Values (b, m) of the bristles from those of their contacts (c, m)."""
        return np.concatenate([of_contacts, of_contacts[: self.bristles - self.contacts]])

    def others(self, seen: Array | Working, scale: float) -> Array:
        """Forces (z - b, m) of dampers and elastic rows that see places and scaled speeds (2, z, m)."""
        b, d = self.bristles, self.dampers
        found = np.zeros(seen[0, b:].shape)
        if d:
            found[:d] = (scale / FORCE_UNIT) * (self.damping @ seen[1, b : b + d])
        local = local_forces(self.parts, seen[0, b + d :].T.astype(float))
        if local is not None:
            found[d:] = local[0].T / FORCE_UNIT
        return found

    def shift(self, seen: Working, by: Working, scale: float) -> None:
        """Move what the w acting rows see (2, z, m) back by (w + b, m), of which the last b are bristles'
        speeds."""
        b, d, w = self.bristles, self.dampers, by.shape[0] - self.bristles
        seen[0, :b] -= by[:b]
        seen[1, :b] -= by[w:]
        if w > b:
            seen[1, b : b + d] -= by[b : b + d] / scale
            seen[0, b + d :] -= by[b + d : w]

    def idle(self, place: NDArray[Any]) -> bool:
        """Whether no elastic element acts at the places (..., z, m)."""
        if self.parts.slope.size:
            return False
        place = place[..., self.bristles + self.dampers :, :]
        if 2 * max(place.max(initial=0.0), -place.min(initial=0.0)) ** 2 <= self.parts.gap_squared.min():
            return True
        square = place**2
        return bool((square[..., 0::2, :] + square[..., 1::2, :] <= self.parts.gap_squared[:, None]).all())


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

    def amplitude(self, motion: Array) -> Complex:
        """Complex amplitudes (m, n) of a motion (2, n, m) of eta and eta'."""
        return exponential.amplitude(motion[0].T, motion[1].T, self.frequency, self.damping)

    def given_way(self, g: Array) -> Array:
        """How far modes (m, n) give way at rest under forces g (w, m) of the first w rows."""
        return (g.T[:, None] @ self.rows.push[:, : g.shape[0]])[:, 0] / self.frequency**2

    @property
    def following(self) -> Array:
        """How much bristles (s, b, b) are deflected at rest per unit of every one's g: 1 - L."""
        b = self.rows.bristles
        gives = (self.rows.push[:, :b] / self.frequency[:, None] ** 2) @ self.rows.place[..., :b]
        return np.eye(b) - np.swapaxes(gives, 1, 2)


def standing(rest: Array) -> Array:
    """The motion (2, n, m) of standing at `rest` (n, m)."""
    return np.stack([rest, np.zeros_like(rest)])


def mixed(values: NDArray[Any], mix: NDArray[Any] | None) -> NDArray[Any]:
    """Members' values (..., m) from computed ones (..., r) and a mix (r, m)."""
    return values if mix is None else values @ mix


def layer_modes(job: Job, system: System, index: NDArray[np.int64] | slice) -> LayerModes:
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
    order, contacts = _order(machine.contact_groups)
    limit = np.maximum(system.friction_limit[at], 1e-12)[:, order]
    breakaway, contact = machine.breakaway[order], contact[order]
    others = np.vstack([damped, parts.rows])
    place = np.vstack([contact / breakaway[:, None], others]) @ modes
    push = np.concatenate([limit[:, :, None] * (contact @ modes), FORCE_UNIT * (others @ modes)], axis=1)
    stiffest = np.concatenate([np.repeat(parts.stop, 2), np.repeat(parts.flank, 3)])
    steep = np.concatenate(
        [np.ones(order.size), np.abs(damping).sum(axis=0) / FORCE_UNIT, CLOSER * stiffest / FORCE_UNIT]
    )
    return Rows(
        place=np.ascontiguousarray(np.swapaxes(place, 1, 2)),
        push=push,
        bristles=order.size,
        contacts=contacts,
        dampers=damped.shape[0],
        order=order,
        breakaway=breakaway,
        limit=limit,
        damping=damping,
        steep=steep[:, None],
        parts=parts,
    )


def _order(groups: Array) -> tuple[NDArray[np.intp], int]:
    """Bristles with the first direction of planar contacts first, then the other contacts, then second
    directions; and the number of contacts."""
    size = groups.sum(axis=0)
    second = np.tril(groups, -1).sum(axis=1) > 0
    planar = (size > 1) & ~second
    order = np.concatenate([np.flatnonzero(x) for x in (planar, ~planar & ~second, second)])
    return order, int(np.count_nonzero(~second))
