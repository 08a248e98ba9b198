"""Machines at rest seen from their contacts: bristles alone are unknown, one small matrix serves all members.

With the modes of stuck bristles (`modes.py`) a slow machine under known forces rests at eta = F/w^2 - g @
push/w^2, so that its bristle rows stand at

    zeta = zeta_known - L g,      g = phi - zeta,      L = (push/w^2 @ place)^T

and phi follows from the increment of zeta by the bristle's exact law.  L does not depend on a member's
imperfections.  Derivation: `modes.py`, with the inertia left out.

The run-in is such a slow path.  Newton's method is replaced by a chord: the slope of the law is the mean of
a few members' at the step ahead, so that one inverse serves all.  As every slope is between those of a stuck
and of a slipping contact the iteration contracts wherever L does; where it is not done in `MOST` rounds
Newton's method follows every member instead (`state.start`).  Limits: no stops and no plain nuts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components import friction
from bedsim.components.row import Path, one_path, resting_path
from bedsim.engines import state
from bedsim.engines.base import Job, make_observer
from bedsim.engines.modes import LayerModes, Rows, layer_modes
from bedsim.engines.state import State
from bedsim.errors import SolverError

Array = NDArray[np.float64]

MEMBERS = 1024  # worked on at once
SLOPES = 16  # members whose slopes are averaged
MOST = 60  # rounds of one step
TOLERANCE = 1e-6  # breakaways
LEAST_PATH = 1e-9  # breakaways


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactSpace:
    """What contacts of one layer see: `place` (n, b) of eta, `give` (b, n) eta per unit of -g, L (b, b)."""

    rows: Rows
    place: Array
    give: Array
    compliance: Array


def contact_space(layer: LayerModes, at: int = 0) -> ContactSpace:
    """The contacts of a layer that all members share, or of that of one member."""
    b = layer.rows.bristles
    place, give = layer.rows.place[at, :, :b], layer.rows.push[at, :b] / layer.frequency[at] ** 2
    return ContactSpace(rows=layer.rows, place=place, give=give, compliance=(give @ place).T)


def after(rows: Rows, phi: Array, moved: Array) -> Array:
    """Deflections (b, m) after the straight increment `moved` (b, m), breakaways, by the exact law."""
    c, pairs = rows.contacts, rows.bristles - rows.contacts
    square = moved * moved
    square[:pairs] += square[c:]
    path = np.sqrt(square[:c])
    path += LEAST_PATH
    decay = np.exp(-path)
    return phi * rows.every(decay) + moved * rows.every((1 - decay) / path)


def limited(rows: Rows, phi: Array) -> Array:
    """Deflections (b, m) brought back to the friction limit, 1, where it has fallen below them."""
    c, pairs = rows.contacts, rows.bristles - rows.contacts
    square = phi * phi
    square[:pairs] += square[c:]
    return np.asarray(phi / rows.every(np.maximum(1.0, np.sqrt(square[:c]))))


def run_in(job: Job) -> State:
    """The state of all members at layer 1, as `state.start` finds it, from contact space.  Raises SolverError
    where a member finds no equilibrium."""
    layer = layer_modes(job, job.machine.system(np.array([1])), np.array([0]))
    path = state.slow_path(job, job.program.turning_points(job.program.start_up()))
    found = []
    for part, done in _resting(job, layer, path, np.array([path.time.size - 1])):
        found.append(state.start(part) if done is None else _motions(layer, *done[0]))
    return state.join(found)


def slow_layers(job: Job, layers: int) -> Array:
    """Bed poses (m, l, b) at rest with friction, of the first layers, after the run-in: slow steps without
    ring-down, with the matrices of the layer in their middle.  For differences between machines: without
    vibration friction rests elsewhere (`equilibrium.py`).

    Raises SolverError where a member finds no equilibrium.
    """
    middle = np.array([(layers + 1) // 2])
    system = job.machine.system(middle)
    layer = layer_modes(job, system, np.array([0]))
    paths = [state.slow_path(job, job.program.turning_points(job.program.start_up()))]
    for number in range(1, layers + 1):
        heights = job.program.turning_points(job.program.layer_change(number))
        paths.append(state.slow_path(job, heights, time=job.program.start_time(number)))
    path = one_path(paths)
    marks = np.cumsum([p.time.size for p in paths])[1:] - 1
    to_bed = make_observer(job.machine, system, job.probes).bed @ layer.modes[0]
    found = []
    for _, done in _resting(job, layer, path, marks):
        if done is None:
            raise SolverError("contacts found no common place at rest")
        found.append(np.stack([(to_bed @ eta).T for eta, _ in done], axis=1))
    return np.concatenate(found)


def _resting(
    job: Job, layer: LayerModes, path: Path, marks: NDArray[np.intp]
) -> Iterator[tuple[Job, list[tuple[Array, Array]] | None]]:
    """Members in turn with what `_followed` finds of them at `marks` along the path."""
    space = contact_space(layer)
    top = np.full(job.program.corners, float(job.program.height(0)))
    units = job.units(job.used)
    known = _known(job, layer, path, units)
    loaded = _known(job, layer, resting_path(0.0, top), units)[:, 0]
    command = job.machine.contact_command[layer.rows.order].T / layer.rows.breakaway
    slip = np.diff(path.height, axis=0, prepend=top[None]) @ command
    for first in range(0, job.members, MEMBERS):
        mix = job.mix(job.used)[first : first + MEMBERS].T
        done = _followed(job, space, known, loaded, slip, mix, marks)
        here = slice(first, first + MEMBERS)
        yield (
            Job(machine=job.machine, program=job.program, probes=job.probes, amounts=job.amounts[here]),
            done,
        )


def _known(job: Job, layer: LayerModes, path: Path, units: Array) -> Array:
    """Rest of the modes (r+1, t, n) under what is known, one unit each, last what all share."""
    force = job.machine.imposed(path, units) @ layer.imposed[0]
    force[-1] += layer.weight[0]
    return np.asarray(force / layer.frequency[0] ** 2)


def _followed(
    job: Job,
    space: ContactSpace,
    known: Array,
    loaded: Array,
    slip: Array,
    mix: Array,
    marks: NDArray[np.intp],
) -> list[tuple[Array, Array]] | None:
    """Rest of the modes (n, m) and deflections (b, m) at the marks; None where a step did not converge."""
    rows, L = space.rows, space.compliance
    b = rows.bristles
    at_contacts = np.ascontiguousarray(np.moveaxis(known @ space.place, 0, -1))  # (t, b, r+1)
    # all bristles at zero: g = -zeta
    zeta = np.linalg.solve(np.eye(b) - L, (loaded @ space.place).T @ mix)
    phi, last, found = np.zeros_like(zeta), np.zeros_like(zeta), []
    for k in range(slip.shape[0]):
        aim = at_contacts[k] @ mix
        moved = last + slip[k][:, None]
        chord = np.linalg.inv(np.eye(b) - L + L @ _slope(job, rows, phi, moved))
        for _ in range(MOST):
            new = zeta + (moved - slip[k][:, None])
            bristle = after(rows, phi, moved)
            change = chord @ (aim - new - L @ (bristle - new))
            moved = moved + change
            if np.abs(change).max() < TOLERANCE:
                break
        else:
            return None
        last = moved - slip[k][:, None]
        phi, zeta = after(rows, phi, moved), zeta + last
        if k in marks:
            found.append(((known[:, k].T @ mix) - space.give.T @ (phi - zeta), phi))
    return found


def _slope(job: Job, rows: Rows, phi: Array, moved: Array) -> Array:
    """Mean slope (b, b) of the law over some members."""
    some = np.linspace(0, phi.shape[1] - 1, min(SLOPES, phi.shape[1])).astype(int)
    groups = job.machine.contact_groups[np.ix_(rows.order, rows.order)]
    one = np.ones(rows.bristles)
    return np.asarray(
        friction.increment_tangent(phi[:, some].T, moved[:, some].T, groups, one, one).mean(axis=0)
    )


def _motions(layer: LayerModes, eta: Array, phi: Array) -> State:
    q = eta.T @ layer.modes[0].T
    f = np.empty((q.shape[0], layer.rows.bristles))
    f[:, layer.rows.order] = phi.T * layer.rows.limit[0]
    return State(q=q, v=np.zeros_like(q), f=f)
