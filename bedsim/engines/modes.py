"""Natural modes of a layer, and the rows through which everything that is not linear acts on them.

The modes are those of the machine linearised at rest: bristles stuck, flanks of plain nuts seated, motors
at the slope of their sine.  They are real and mass-normalised, q = V eta, and uncoupled under modal
damping.  Bristles, explicit dampers and elastic elements (stops, flanks, motors) then act through few rows,

    z = Z eta (of dampers: Z eta'),      modal force = -g @ push

and g is the part of a row's force beyond the linear part, which the modes already carry.  Bristle rows
count in breakaway travels: displacement zeta = J q / breakaway, deflection phi = f / F_c with the bristle
force f and the friction limit F_c; stuck, phi = zeta, hence g = phi - zeta.  Of a flank the modes carry the
stiffness `seat`. Arrays have a leading axis s: 1 where all members share a layer, or one entry per member
where members stand at layers of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.base import Job
from bedsim.model.assembly import Machine, System
from bedsim.model.nonlinear import Elastic, elastic, local_forces, local_motion, touching

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Real = np.float32  # what rows cause within a stretch is worked out in this, see steps.py
Working = NDArray[np.float32]

AWAY = 0.03  # of the largest slope of an elastic row: by so much it may change within a stretch unseen
FORCE_UNIT = 10.0  # N: dampers and elastic rows count forces in it, so that one tolerance serves all rows
# Rows of stops are held so much closer: a ball that leans on its stop would quiver enough to rub friction off
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
    carried: Array  # (e, s) N/m: what modes carry already of the elastic rows' forces
    parts: Elastic

    @property
    def size(self) -> int:
        """Number of rows."""
        return self.place.shape[2]

    @property
    def stops(self) -> slice:
        """Where stops stand."""
        first = self.bristles + self.dampers
        return slice(first, first + 2 * self.parts.gap.size)

    def without_stops(self) -> Rows:
        """The other rows, which nearly all stretches do with."""
        parts, none, count = self.parts, np.zeros(0), 2 * self.parts.gap.size
        kept = np.delete(np.arange(self.size), self.stops)
        return replace(
            self,
            place=np.ascontiguousarray(self.place[..., kept]),
            push=self.push[:, kept],
            steep=self.steep[kept],
            carried=self.carried[count:],
            parts=replace(
                parts,
                rows=parts.rows[count:],
                imposed=parts.imposed[count:],
                gap=none,
                gap_squared=none,
                stop=none,
            ),
        )

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

    def dampers_of(self, seen: Array | Working, scale: Array | float) -> Array:
        """Forces (d, m) of dampers that see scaled speeds (2, z, m)."""
        at = slice(self.bristles, self.bristles + self.dampers)
        return np.asarray((scale / FORCE_UNIT) * (self.damping @ seen[1, at]))

    def elastic_of(self, seen: Array | Working) -> Array:
        """Forces of elastic rows that see places and speeds (2, z, m), and what they change by at these
        speeds (2, e, m)."""
        motion = seen[:, self.bristles + self.dampers :].astype(float)
        found = local_motion(self.parts, *motion)
        motion *= self.carried
        found -= motion
        found /= FORCE_UNIT
        return found

    def steep_at(self, place: Array | Working) -> Array:
        """Upper bound (z, 1) of a row's force per its displacement near places (e, m) of the elastic rows:
        for flanks and motors twice their slope there, and a little of their largest for the way they go
        from there."""
        first = self.bristles + self.dampers + 2 * self.parts.gap.size
        found = self.steep.copy()
        if self.parts.always:
            slope = self.held(place.astype(float), np.ones(place.shape))[1]
            near = 2 * slope.max(axis=1)[2 * self.parts.gap.size :, None]
            found[first:] = np.minimum(found[first:], near + AWAY * found[first:])
        return found

    def held(self, place: Array, reach: Array) -> tuple[Array, Array]:
        """Forces (e, m) of elastic rows at places (e, m), and by how much they change within `reach` (e,
        m) of there."""
        local = local_forces(self.parts, place.T)
        if local is None:
            return np.zeros_like(place), np.zeros_like(place)
        slope = local[1] - np.eye(place.shape[0]) * self.carried.T[:, None]
        return (
            (local[0].T - self.carried * place) / FORCE_UNIT,
            (np.abs(slope) @ reach.T[..., None])[..., 0].T / FORCE_UNIT,
        )

    def idle(self, place: NDArray[Any], lag: float) -> bool:
        """Whether no elastic element acts at the places (..., z, m), motors taken as linear up to a `lag`,
        electrical rad."""
        at = place[..., self.bristles + self.dampers :, :]
        if self.parts.slope.size or not self.clear(at):
            return False
        motors = at[..., 2 * self.parts.gap.size :, :]
        return bool((np.abs(motors) * self.parts.electrical[:, None] <= lag).all())

    def clear(self, place: NDArray[Any]) -> bool:
        """Whether no stop is touched at the places (..., e, m) of elastic rows."""
        return not touching(self.parts, place)


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

    def deflection_under(self, g: Array) -> Array:
        """Static deflection (m, n) of the modes under forces g (w, m) of the first w rows, counted against
        them."""
        return (g.T[:, None] @ self.rows.push[:, : g.shape[0]])[:, 0] / self.frequency**2

    @property
    def bristle_compliance(self) -> Array:
        """Deflection of the bristles (s, b, b) at rest per unit of every one's g: 1 - L."""
        b = self.rows.bristles
        gives = (self.rows.push[:, :b] / self.frequency[:, None] ** 2) @ self.rows.place[..., :b]
        return np.eye(b) - np.swapaxes(gives, 1, 2)


def standing(rest: Array) -> Array:
    """The motion (2, n, m) of a machine that stands still with eta at `rest` (n, m)."""
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
        damping=system.damping_ratio[at] * frequency,
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
    parts = elastic(machine, system, at if at.size > 1 else int(at[0]), motor_sine=True)
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
    flank = np.atleast_2d(parts.flank).max(axis=0)
    stiffest = np.concatenate(
        [
            CLOSER * np.repeat(parts.stop, 2),
            np.repeat(parts.slope * flank, 3),
            2 * parts.torque * parts.electrical,
        ]
    )
    carried = np.zeros((parts.rows.shape[0], at.size))
    first = 2 * parts.gap.size
    for k in range(parts.slope.size):
        carried[first + 3 * k : first + 3 * k + 2] = system.seat[at, k]
    steep = np.concatenate(
        [np.ones(order.size), np.abs(damping).sum(axis=0) / FORCE_UNIT, stiffest / FORCE_UNIT]
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
        carried=carried,
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
