"""What is carried from layer to layer, where a print starts from, and the slow step that friction engines
share."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bedsim.components import friction
from bedsim.components.row import Path, resting_path
from bedsim.engines.base import Chunk, Job, make_observer
from bedsim.errors import SolverError
from bedsim.model.assembly import Machine, System
from bedsim.model.nonlinear import Elastic, elastic, force_and_tangent

Array = NDArray[np.float64]
Carried = TypeVar("Carried")

LAYERS_AT_ONCE = 64  # whose matrices are held in memory
NEWTON_STEPS = 80
HALVINGS = 12
NEWTON_TOLERANCE = 1e-12  # m, rad: well below a nanometre
TURN_PER_STEP = (
    np.pi / 36
)  # rad of the screw between two slow steps: the path is straight enough (tests/agreement)
LEAST_STEPS = 4  # per move, so that short hops resolve the build-up of friction


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Motions `q` (m, n) m or rad, speeds `v` (m, n), bristle forces `f` (m, d) N of all members."""

    q: Array
    v: Array
    f: Array

    def within_limit(self, machine: Machine, limit: Array) -> State:
        """Bristles scaled back where the friction limit (d,) has fallen below them."""
        return State(q=self.q, v=self.v, f=friction.scaled_to_limit(self.f, machine.contact_groups, limit))

    def member(self, k: int) -> State:
        """One member, its axis kept."""
        return self.part(slice(k, k + 1))

    def part(self, members: slice | NDArray[np.bool_] | NDArray[np.intp]) -> State:
        """Some members."""
        return State(q=self.q[members], v=self.v[members], f=self.f[members])


def join(states: list[State]) -> State:
    """Members one after the other."""
    q, v, f = (np.concatenate([getattr(s, key) for s in states]) for key in ("q", "v", "f"))
    return State(q=q, v=v, f=f)


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowLayer:
    """What a slow step needs of a layer, or of one per member: stiffness, contacts, elastic elements."""

    K: Array  # (n, n), or (m, n, n)
    scale: Array  # (n,), or (m, n) 1/K_ii: weighs force against moment in the line search
    contact: Array
    groups: Array
    limit: Array  # (d,), or (m, d)
    breakaway: Array
    parts: Elastic


def slow_layer(job: Job, system: System, index: int | slice) -> SlowLayer:
    """Pick the matrices of one layer, or of some for a member each."""
    machine = job.machine
    return SlowLayer(
        K=system.K[index],
        scale=1 / np.diagonal(system.K[index], axis1=-2, axis2=-1),
        contact=machine.contact_rows,
        groups=machine.contact_groups,
        limit=np.maximum(system.friction_limit[index], 1e-12),
        breakaway=machine.breakaway,
        parts=elastic(machine, system, index, motor_sine=False),
    )


def slow_step(
    layer: SlowLayer, state: State, force: Array, imposed: Array, slip: Array, guess: Array | None = None
) -> State:
    """Quasi-static step: the equilibrium (m, n) under `force` (m, n) after contacts slipped by `slip` (m, d)
    as commanded.

    Newton's method from a `guess` (m, n) of it on K q + J_c^T f1(D) + elastic = force with D = J_c (q - q0) +
    slip, the bristle's exact increment f1, halving a member's step until its residual falls.  Raises
    SolverError if it does not converge.
    """
    base = slip - state.q @ layer.contact.T
    q = state.q if guess is None else guess
    residual, tangent = _balance(layer, state.f, q, base, force, imposed)
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(tangent, residual[..., None])[..., 0]
        size = np.max(np.abs(step), axis=-1)
        if float(np.max(size)) < NEWTON_TOLERANCE:
            q = q - step
            moved = q @ layer.contact.T + base
            f = friction.after_increment(state.f, moved, layer.groups, layer.limit, layer.breakaway)
            return State(q=q, v=np.zeros_like(q), f=f)
        worth = np.sum(residual * residual * layer.scale, axis=-1)
        share = np.ones_like(size)
        for _ in range(HALVINGS):
            trial = q - share[:, None] * step
            after, steep = _balance(layer, state.f, trial, base, force, imposed)
            worse = np.sum(after * after * layer.scale, axis=-1) > worth
            if not np.any(worse & (size > NEWTON_TOLERANCE)):
                break
            share = np.where(worse, share / 2, share)
        q, residual, tangent = trial, after, steep
    raise SolverError(
        f"no equilibrium found: the last Newton step was {float(np.max(size)):.1e} m; "
        "a stop, a plain nut or a friction contact keeps changing sides"
    )


def _balance(
    layer: SlowLayer, before: Array, q: Array, base: Array, force: Array, imposed: Array
) -> tuple[Array, Array]:
    """Residual force (m, n) at q and its derivative (m, n, n)."""
    moved = q @ layer.contact.T + base
    f, slope = friction.after_and_tangent(before, moved, layer.groups, layer.limit, layer.breakaway)
    residual = (q[:, None] @ layer.K)[:, 0] + f @ layer.contact - force
    tangent = layer.K + layer.contact.T @ slope @ layer.contact
    extra = force_and_tangent(layer.parts, q, imposed)
    return (residual, tangent) if extra is None else (residual + extra[0], tangent + extra[1])


def slow_path(
    job: Job, heights: Array, *, time: float = 0.0, turn: float = TURN_PER_STEP, least: int = LEAST_STEPS
) -> Path:
    """Instants on the straight ways between turning points (k, c) m, a screw's `turn` (rad) apart or less and
    `least` on every way; speed does not matter."""
    starts, ends, share = [], [], []
    for a, b in pairwise(heights):
        whole = float(np.max(np.abs(job.machine.command @ (b - a))))
        count = max(least, int(np.ceil(whole / turn)))
        share.append(np.arange(1, count + 1) / count)
        starts.append(np.repeat(a[None], count, axis=0))
        ends.append(np.repeat(b[None], count, axis=0))
    start, end, part = np.concatenate(starts), np.concatenate(ends), np.concatenate(share)
    return Path(
        time=np.full(part.size, time),
        height=start + (end - start) * part[:, None],
        move_start=start,
        move_end=end,
    )


def follow(job: Job, system: System, index: int, path: Path, before: Array, state: State) -> State:
    """Slow steps along a path that begins at the heights `before` (c,) m; the state at its end."""
    imposed = job.machine.imposed(path, job.amounts)
    force = imposed @ system.imposed_force[index].T + system.weight[index]
    slip = np.diff(path.height, axis=0, prepend=before[None]) @ job.machine.contact_command.T
    return slow_steps(slow_layer(job, system, index), state, force, imposed, slip[:, None])


def slow_steps(layer: SlowLayer, state: State, force: Array, imposed: Array, slip: Array) -> State:
    """The state after slow steps under forces (m, t, n) with imposed (m, t, r), slipping by (t, m, d) as
    commanded, or by (t, 1, d) alike. Raises SolverError where one finds no equilibrium."""
    last = state.q
    for k, by in enumerate(slip):
        guess, last = 2 * state.q - last, state.q  # on as in the last step
        state = slow_step(layer, state, force[:, k], imposed[:, k], np.broadcast_to(by, state.f.shape), guess)
    return state


def one_by_one(
    job: Job, first: int, last: int, begin: Carried, solve: Callable[..., tuple[Carried, Chunk]]
) -> Generator[Chunk, None, Carried]:
    """Layers one after the other from what is carried at their `begin`; that at their end is returned.

    `solve(job, system, observer, index, layer, before)` does a layer, the `index`-th of the system.
    """
    layers, now = np.arange(first, last + 1), begin
    for at in range(0, layers.size, LAYERS_AT_ONCE):
        system = job.machine.system(layers[at : at + LAYERS_AT_ONCE])
        observer = make_observer(job.machine, system, job.probes)
        for index, layer in enumerate(system.layers):
            now, chunk = solve(job, system, observer, index, int(layer), now)
            yield chunk
            job.progress(int(layer))
    return now


def start(job: Job) -> State:
    """The state at layer 1 that all engines share: loaded equilibrium with all bristles at zero, then the
    run-in.

    The run-in of two leads down and up and the approach from above are slow, as levelling is.
    """
    system = job.machine.system(np.array([1]))
    top = np.full(job.program.corners, float(job.program.height(0)))
    path = slow_path(job, job.program.turning_points(job.program.start_up()))
    return follow(job, system, 0, path, top, loaded(job, system, resting_path(0.0, top)))


def loaded(job: Job, system: System, at: Path) -> State:
    """The equilibrium of the loaded machine at a resting place, with the matrices of the first layer of
    `system` and all bristles at zero."""
    n, d = system.K.shape[-1], job.machine.breakaway.size
    frictionless = replace(
        slow_layer(job, system, 0),
        contact=np.zeros((0, n)),
        groups=np.zeros((0, 0)),
        limit=np.zeros(0),
        breakaway=np.zeros(0),
    )
    imposed = job.machine.imposed(at, job.amounts)[:, 0]
    force = imposed @ system.imposed_force[0].T + system.weight[0]
    still, empty = np.zeros((job.members, n)), np.zeros((job.members, 0))
    found = slow_step(frictionless, State(q=still, v=still, f=empty), force, imposed, empty)
    return State(q=found.q, v=still, f=np.zeros((job.members, d)))
