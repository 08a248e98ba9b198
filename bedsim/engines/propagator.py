"""The propagator: the same equations as the reference engine, advanced by exact steps in the natural modes.

The modes are those of the machine with its bristles stuck, so that what rings down after a move is carried exactly and
only the slip of the bristles is left over.  Imperfections are forcing alone, so a layer's modes and steps serve every
member of a batch.  What is not linear - bristles, stops, plain nuts, explicit dampers - acts through a few rows
z = Z (eta, eta'), whose forces g change linearly over a step and are solved for at its end:

    z1 = a - S (g1(z1) - g0)       a: motion with the old forces kept,  S: the rows' own compliance over one step

to a stated tolerance, by sweeps and, where those do not converge, by Newton's method.  Within a step the bristles follow
the exact path increments of a polygon through closely spaced places of their rows.  Errors are of second order in the
spacing and in the step; both are chosen by estimates (`Pace`), and tests/agreement shows the order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.components import friction
from bedsim.components.row import Path
from bedsim.engines import base, exponential, state
from bedsim.engines.base import Chunk, Handles, History, Job, Observer
from bedsim.engines.reference import ReferenceEngine
from bedsim.engines.state import State
from bedsim.errors import SolverError
from bedsim.model.assembly import Machine, System
from bedsim.model.nonlinear import Elastic, elastic, local_forces
from bedsim.model.program import Profile

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64
TOLERANCE = 1e-6  # of each breakaway travel: bristle displacement at the end of a step
ABSOLUTE = 1e-11  # m (m/s): elastic and damped rows
SWEEPS = 14
NEWTON_STEPS = 40
HEAVY = 0.01  # share of a mode's own damping above which explicit dampers rule out long steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How finely time is cut, s.  `move` step and `fine` spacing while the bed is driven; at rest a ladder of (step, spacing).

    A rung of the ladder is taken when the polygon's shortfall of path stays below `path_error` of every breakaway travel and
    the path of one step below `path_step` of it.
    """

    move: float = 4e-3
    fine: float = 2.5e-4
    elastic: float = 5e-4  # step while driven where stops or plain nuts act
    ladder: tuple[tuple[float, float], ...] = ((2e-3, 1.25e-4), (6e-3, 2.5e-4), (1.6e-2, 5e-4), (4e-2, 1e-3))
    path_error: float = 1e-4
    path_step: float = 0.1

    def halved(self) -> Pace:
        """The same with every step and spacing halved."""
        return Pace(
            move=self.move / 2,
            fine=self.fine / 2,
            elastic=self.elastic / 2,
            ladder=tuple((a / 2, b / 2) for a, b in self.ladder),
            path_error=self.path_error / 4,
            path_step=self.path_step / 2,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """What is not linear, as rows on (eta, eta') of one layer: bristles first, then dampers, then elastic elements."""

    place: Array  # (z, n) on eta
    pace: Array  # (z, n) on eta'
    bristles: int
    dampers: int
    groups: Array
    limit: Array
    breakaway: Array
    stuck: Array  # (b,) stiffness of the stuck bristles, which the modes already carry
    per_breakaway: Array  # (b,)
    damping: Array  # (dampers, dampers)
    parts: Elastic

    @property
    def size(self) -> int:
        """Number of rows."""
        return self.place.shape[0]

    def bristle(self, start: Array, increments: Array) -> tuple[Array, Array]:
        """Bristle forces (m, j, b) at the corners of a polygon of increments (m, j, b) from `start` (m, b), and the path
        X (m, b) in breakaways.

        f1 = f0 exp(-X) + sum_j k_b D_j mean(x_j) exp(-(X - X_j)): the exact increment of `friction.py`, chained.  A floor
        of 1e-9 under x keeps the mean 1 where nothing moves.
        """
        x = np.sqrt((increments * increments) @ self.groups)
        x *= self.per_breakaway
        np.maximum(x, 1e-9, out=x)
        left = np.zeros((x.shape[0], x.shape[1] + 1, x.shape[2]))
        np.cumsum(x, axis=1, out=left[:, 1:])
        path = left[:, -1].copy()
        left -= path[:, None]
        np.exp(left, out=left)
        share = left[:, 1:] - left[:, :-1]
        share /= x
        share *= increments
        np.cumsum(share, axis=1, out=share)
        share *= self.stuck
        share += (start * left[:, 0])[:, None]
        share /= np.maximum(left[:, 1:], 1e-300)
        return share, path

    def others(self, z: Array, offset: Array, idle: bool = False) -> Array:
        """Forces (m, z - b) of dampers and elastic elements for row displacements z (m, z); `idle`: no stop is near."""
        b, e = self.bristles, self.bristles + self.dampers
        found = np.zeros((z.shape[0], z.shape[1] - b))
        if self.dampers:
            found[:, : e - b] = z[:, b:e] @ self.damping
        if z.shape[1] > e and not idle:
            local = local_forces(self.parts, z[:, e:] - offset)
            if local is not None:
                found[:, e - b :] = local[0]
        return found

    def idle(self, z: Array, offset: Array) -> bool:
        """Whether no elastic element acts at row displacements z (m, z)."""
        if self.parts.slope.size:
            return False
        extension = z[:, self.bristles + self.dampers :] - offset
        reach = extension[:, 0::2] ** 2 + extension[:, 1::2] ** 2
        return bool((reach <= self.parts.gap**2).all())

    def others_tangent(self, z: Array, offset: Array) -> Array:
        """Derivative (m, z - b, z - b) of `others`."""
        b, e = self.bristles, self.bristles + self.dampers
        found = np.zeros((z.shape[0], z.shape[1] - b, z.shape[1] - b))
        found[:, : e - b, : e - b] = self.damping
        if z.shape[1] > e:
            local = local_forces(self.parts, z[:, e:] - offset)
            if local is not None:
                found[:, e - b :, e - b :] = local[1]
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Hats:
    """How forces that leave the straight line within a step act: hat functions at the inner corners of a polygon.

    Only contacts that are commanded to slip need them: while they slide their force is steady, so that what the stuck modes
    ascribe to them swings with the motion.  `rows` (i,) contacts; maps act on hats ((j - 1) i); their effect within
    the step is kept for the same rows, that at the end for all.
    """

    rows: NDArray[np.int64]
    share: Array  # (j - 1, 1) of the step passed at each inner corner
    on_places: Array  # ((j - 1) i, j i)
    on_ends: Array  # ((j - 1) i, z)
    on_motion: Array  # ((j - 1) i, 2n)


def make_hats(layer: LayerModes, small: exponential.Step, spaces: int) -> Hats:
    """Responses to unit hats, from one hat's response moved along: the modes do not change within a step."""
    rows, sliding, n = layer.rows, layer.sliding, layer.frequency.size
    push, place = (rows.place + rows.pace)[sliding], rows.place[sliding]
    i = sliding.size
    answer = np.zeros((spaces, i, 2, n))
    if spaces > 1:
        answer[0] = small.end * push[:, None]
        answer[1] = small.advance(answer[0]) + small.start * push[:, None]
        for k in range(2, spaces):
            answer[k] = small.advance(answer[k - 1])
    seen = answer[:, :, 0] @ place.T
    on_places = np.zeros((spaces - 1, i, spaces, i))
    for j in range(spaces - 1):
        on_places[j, :, j:] = np.moveaxis(seen[: spaces - j], 0, 1)
    last = answer[spaces - 1 : 0 : -1]  # hat j acts spaces - 1 - j corners before the end
    on_motion = last.reshape((spaces - 1) * i, 2 * n)
    return Hats(
        rows=sliding,
        share=(np.arange(1, spaces) / spaces)[:, None],
        on_places=on_places.reshape((spaces - 1) * i, spaces * i),
        on_ends=on_motion @ layer.to_rows,
        on_motion=on_motion,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stepper:
    """One layer's step of one length, `spaces` polygon sides long."""

    length: float
    spaces: int
    small: exponential.Step
    rows: Rows
    own_within: Array  # (j, n): eta at the corners per eta,
    cross_within: Array  # per eta',
    hold_within: Array  # per modal force kept over the step,
    ramp_within: Array  # and per modal force that grows over it
    motion: Array  # (2n + z, 2n): (eta, eta') at the end per (eta, eta', g), the old forces kept
    ends: Array  # (2n + z, z): all rows at the end
    motion_by_change: Array  # (z, 2n): per change of force, linear over the step
    ends_by_change: Array  # (z, z)
    push: Array  # (z, n) modal force per row force
    seen: Array  # (n, b) bristle rows per eta
    own: Array  # (b,) share of a bristle's stuck spring in its own end displacement: S_cc k_b < 1
    damped: Array  # (z, z) undoes the dampers' linear answer in a sweep
    tolerance: Array  # (z,) m (rad; m/s for dampers)
    hats: Hats

    def solve(self, now: Carried, known: Known, k: int) -> Carried:
        """One step of all members. Raises SolverError if the contacts find no common solution."""
        rows, b = self.rows, self.rows.bristles
        m = now.g.shape[0]
        x = np.concatenate([now.y.reshape(m, -1), now.g], axis=1)
        a = x @ self.ends + known.ends[k]
        task = Task(
            a=a,
            corners=self._corners(now) + known.places[k],
            start=now.g[:, :b] + rows.stuck * now.z[:, :b],
            z=now.z[:, :b],
            g=now.g,
            slip=known.slip[k],
            offset=known.offset[k],
            idle=rows.idle(a, known.offset[k]),
        )
        z1, g1, hats = self._sweep(task)
        y1 = x @ self.motion + known.motion[k] - (g1 - now.g) @ self.motion_by_change - hats @ self.hats.on_motion
        return Carried(y=y1.reshape(now.y.shape), g=g1, z=z1)

    def _corners(self, now: Carried) -> Array:
        """Bristle rows (m, j, b) at the polygon's corners with the old forces kept and nothing known added."""
        eta = self.own_within * now.y[:, None, 0]
        eta += self.cross_within * now.y[:, None, 1]
        eta -= self.hold_within * (now.g @ self.push)[:, None]
        return eta @ self.seen

    def _sweep(self, task: Task) -> tuple[Array, Array, Array]:
        """Row displacements, forces at the end and hats within: sweeps that trust each row's own slip, then Newton."""
        b = self.rows.bristles
        z1, change, hats = task.a, np.zeros_like(task.g), np.zeros((task.g.shape[0], self.hats.on_ends.shape[0]))
        for _ in range(SWEEPS):
            g1, hats, path = self._forces(task, change, hats, z1)
            change = g1 - task.g
            miss = task.a - change @ self.ends_by_change - hats @ self.hats.on_ends - z1
            if (np.abs(miss) <= self.tolerance).all():
                if not task.idle or self.rows.idle(z1, task.offset):
                    return z1, g1, hats
                task = replace(task, idle=False)
            # a bristle that slips by `path` breakaways follows with mean(path) of its stuck stiffness
            if self.rows.dampers:
                miss = miss @ self.damped
            miss[:, :b] /= 1.0 - self.own * (1.0 + np.expm1(-path) / path)
            z1 = z1 + miss
        return self._newton(task, z1, hats)

    def _forces(self, task: Task, change: Array, hats: Array, z1: Array) -> tuple[Array, Array, Array]:
        """All rows' forces (m, z) at the end of the step, the hats within it, and the bristles' path."""
        b, inner = self.rows.bristles, self.hats.rows
        moved = task.corners - (self.ramp_within * (change @ self.push)[:, None]) @ self.seen
        if inner.size:
            moved[:, :, inner] -= (hats @ self.hats.on_places).reshape(*moved.shape[:2], inner.size)
        moved[:, -1] = z1[:, :b]
        increments = np.empty_like(moved)
        np.subtract(moved[:, 0], task.z, out=increments[:, 0])
        np.subtract(moved[:, 1:], moved[:, :-1], out=increments[:, 1:])
        increments += task.slip
        found = np.zeros_like(z1)
        force, path = self.rows.bristle(task.start, increments)
        np.subtract(force[:, -1], self.rows.stuck * z1[:, :b], out=found[:, :b])
        if z1.shape[1] > b:
            found[:, b:] = self.rows.others(z1, task.offset, task.idle)
        if inner.size:
            beyond = force[:, :-1, inner] - self.rows.stuck[inner] * moved[:, :-1, inner]
            first = task.g[:, None, inner]
            beyond -= first + (found[:, None, inner] - first) * self.hats.share
            hats = beyond.reshape(hats.shape)
        return found, hats, path

    def _newton(self, task: Task, z1: Array, hats: Array) -> tuple[Array, Array, Array]:
        """Newton's method with the bristles' slope taken as that of one straight increment."""
        rows, b, S = self.rows, self.rows.bristles, self.ends_by_change.T
        eye = np.eye(rows.size)
        task = replace(task, idle=False)
        g1, hats, _ = self._forces(task, np.zeros_like(task.g), hats, z1)
        miss = z1 + (g1 - task.g) @ self.ends_by_change + hats @ self.hats.on_ends - task.a
        for _ in range(NEWTON_STEPS):
            slope = np.zeros((*z1.shape, z1.shape[1]))
            increment = z1[:, :b] - task.z + task.slip.sum(axis=0)
            slope[:, :b, :b] = friction.increment_tangent(
                task.start, increment, rows.groups, rows.limit, rows.breakaway
            ) - np.diag(rows.stuck)
            slope[:, b:, b:] = rows.others_tangent(z1, task.offset)
            move = np.linalg.solve(eye + S @ slope, miss[..., None])[..., 0]
            change, share, size = g1 - task.g, 1.0, float(np.abs(miss).max())
            for _ in range(10):
                trial = z1 - share * move
                g1, within, _ = self._forces(task, change, hats, trial)
                after = trial + (g1 - task.g) @ self.ends_by_change + within @ self.hats.on_ends - task.a
                if np.abs(after).max() < size or (np.abs(after) <= self.tolerance).all():
                    break
                share /= 2
            z1, miss, hats = trial, after, within
            if (np.abs(miss) <= self.tolerance).all():
                return z1, g1, hats
        raise SolverError(
            f"propagator: the contacts found no common solution within a step (left over {np.abs(miss).max():.1e} m); "
            "use 'reference' for this scenario"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One step's question: free rows `a` (m, z), polygon corners (m, j, b), and where the step starts."""

    a: Array
    corners: Array
    start: Array  # (m, b) bristle forces
    z: Array  # (m, b) bristle rows
    g: Array  # (m, z) row forces
    slip: Array  # (j, b) commanded
    offset: Array  # (m, e)
    idle: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerModes:
    """One layer's modes and what acts on them."""

    frequency: Array  # (n,)
    damping: Array  # (n,) zeta w
    modes: Array  # (n, n) columns
    imposed: Array  # (n, r): modal force per imposed extension
    weight: Array  # (n,)
    command: Array  # (n, c)
    rows: Rows
    to_modes: Array  # (n, n): eta = to_modes @ q
    sliding: NDArray[np.int64]  # contacts that the commanded motion makes slide
    to_rows: Array  # (2n, z): rows from (eta, eta')
    heavily_damped: bool  # explicit dampers count beside the modes' own damping: no long steps


def layer_modes(job: Job, system: System, index: int) -> LayerModes:
    """Modes of one layer of a system."""
    machine, modes = job.machine, system.modes[index]
    damping = machine.damping_ratio * system.frequency[index]
    rows = _rows(job, system, index, modes)
    extra = sum((np.sum((J @ modes) * (c @ J @ modes), axis=0) for J, c in _dampers(machine)), np.zeros_like(damping))
    return LayerModes(
        frequency=system.frequency[index],
        damping=damping,
        heavily_damped=bool(np.any(extra > HEAVY * 2 * damping)),
        modes=modes,
        imposed=modes.T @ system.imposed_force[index],
        weight=modes.T @ system.weight[index],
        command=modes.T @ system.command_force[index],
        rows=rows,
        to_rows=np.concatenate([rows.place, rows.pace], axis=1).T,
        to_modes=modes.T @ system.M[index],
        sliding=np.flatnonzero(np.any(machine.contact_command != 0.0, axis=1)),
    )


def _dampers(machine: Machine) -> list[tuple[Array, Array]]:
    """Rows (d, n) and damping (d, d) of explicit dampers, rows without damping left out."""
    found = []
    for link in machine.links:
        if link.damping is not None:
            used = np.flatnonzero(np.diag(link.damping))
            found.append((machine.rows[machine.slices[link.name]][used], link.damping[np.ix_(used, used)]))
    return found


def _rows(job: Job, system: System, index: int, modes: Array) -> Rows:
    machine = job.machine
    parts = elastic(machine, system, index, motor_sine=False)
    dampers = _dampers(machine)
    n = modes.shape[0]
    contact = machine.contact_rows
    damped = np.vstack([J for J, _ in dampers]) if dampers else np.zeros((0, n))
    damping = np.zeros((damped.shape[0], damped.shape[0]))
    start = 0
    for J, c in dampers:
        damping[start : start + J.shape[0], start : start + J.shape[0]] = c
        start += J.shape[0]
    still, zero = np.zeros((contact.shape[0], n)), np.zeros((damped.shape[0], n))
    limit = np.maximum(system.friction_limit[index], 1e-12)
    return Rows(
        place=np.vstack([contact, zero, parts.rows]) @ modes,
        pace=np.vstack([still, damped, np.zeros_like(parts.rows)]) @ modes,
        bristles=contact.shape[0],
        dampers=damped.shape[0],
        groups=machine.contact_groups,
        limit=limit,
        breakaway=machine.breakaway,
        stuck=limit / machine.breakaway,
        per_breakaway=1 / machine.breakaway,
        damping=damping,
        parts=parts,
    )


def stepper(layer: LayerModes, length: float, spacing: float) -> Stepper:
    """The step of `length` s of one layer, cut about every `spacing` s."""
    rows = layer.rows
    spaces = max(1, round(length / spacing))
    n, z, b = layer.frequency.size, rows.size, rows.bristles
    push = rows.place + rows.pace  # pace rows push through the same Jacobian as place rows
    times = np.arange(1, spaces + 1) * (length / spaces)
    at = exponential.step(layer.frequency, layer.damping, times[:, None])  # (2, j, n)
    hold, ramp = at.start + at.end, at.end * (times / length)[:, None]
    motion = np.zeros((2 * n + z, 2 * n))
    diagonal = np.arange(n)
    motion[diagonal, diagonal], motion[n + diagonal, n + diagonal] = at.own[:, -1]
    motion[n + diagonal, diagonal], motion[diagonal, n + diagonal] = at.cross[:, -1]
    motion[2 * n :] = -np.concatenate([push * hold[0, -1], push * hold[1, -1]], axis=1)
    by_change = np.concatenate([push * ramp[0, -1], push * ramp[1, -1]], axis=1)
    small = exponential.step(layer.frequency, layer.damping, length / spaces)
    ends_by_change = by_change @ layer.to_rows
    damped = np.eye(z)
    if rows.dampers:
        linear = np.zeros((z, z))
        linear[b : b + rows.dampers, b : b + rows.dampers] = rows.damping
        damped = np.linalg.inv(damped + linear @ ends_by_change)
    return Stepper(
        length=length,
        spaces=spaces,
        small=small,
        rows=rows,
        own_within=at.own[0],
        cross_within=at.cross[0],
        hold_within=hold[0],
        ramp_within=ramp[0],
        motion=motion,
        ends=motion @ layer.to_rows,
        motion_by_change=by_change,
        ends_by_change=ends_by_change,
        push=push,
        seen=rows.place[:b].T.copy(),
        own=np.diag(ends_by_change)[:b] * rows.stuck,
        damped=damped,
        tolerance=np.concatenate([TOLERANCE * rows.breakaway, np.full(z - b, ABSOLUTE)]),
        hats=make_hats(layer, small, spaces),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Known forcing of a piece, per step k: what it adds at the end, at the polygon's corners, and commanded slip."""

    motion: Array  # (k, m, 2n)
    ends: Array  # (k, m, z)
    places: Array  # (k, m, j, b)
    slip: Array  # (k, j, b)
    offset: Array  # (k, m, e)
    time: Array  # (k,) s at the end of each step
    height: Array  # (k, c)


def known_forcing(
    job: Job, layer: LayerModes, step: Stepper, profile: Profile, piece: int, start_time: float, steps: int
) -> Known:
    """Carry the known forcing of one piece through the modes, corner by corner, all steps of the piece side by side."""
    begin, end = float(profile.time[piece]), float(profile.time[piece + 1])
    j, b = step.spaces, layer.rows.bristles
    time = np.linspace(begin, end, steps * j + 1)
    which = np.full(time.size, piece)
    path = Path(
        time=start_time + time,
        height=profile.height_on(time, which),
        move_start=profile.move_start[which],
        move_end=profile.move_end[which],
    )
    imposed = job.machine.imposed(path, job.amounts)
    force = imposed @ layer.imposed.T + layer.weight + profile.acceleration(time, which) @ layer.command.T
    n = force.shape[-1]
    added = np.zeros((job.members, steps, 2, n))
    corners = np.empty((job.members, steps, j, n))
    for k in range(j):
        p0, p1 = force[:, k:-1:j], force[:, k + 1 :: j]
        added = step.small.advance(added) + step.small.start * p0[:, :, None] + step.small.end * p1[:, :, None]
        corners[:, :, k] = added[:, :, 0]
    motion = np.moveaxis(added, 1, 0).reshape(steps, job.members, 2 * n)
    to_rows = layer.to_rows
    slip = np.diff(path.height, axis=0) @ job.machine.contact_command.T
    return Known(
        motion=motion,
        ends=motion @ to_rows,
        places=np.moveaxis(corners @ layer.rows.place[:b].T, 1, 0),
        slip=slip.reshape(steps, j, b),
        offset=np.moveaxis(imposed[:, j::j] @ layer.rows.parts.imposed.T, 1, 0),
        time=time[j::j],
        height=path.height[j::j],
    )


def resting_force(layer: LayerModes, step: Stepper, force: Array, offset: Array) -> Known:
    """The known forcing of a step at rest under the constant modal `force` (m, n)."""
    m, b = force.shape[0], layer.rows.bristles
    times = np.arange(1, step.spaces + 1) * (step.length / step.spaces)
    at = exponential.step(layer.frequency, layer.damping, times[:, None])
    hold = at.start + at.end  # (2, j, n)
    motion = np.concatenate([force * hold[0, -1], force * hold[1, -1]], axis=1)
    to_rows = layer.to_rows
    return Known(
        motion=motion[None],
        ends=(motion @ to_rows)[None],
        places=((force[:, None, :] * hold[0]) @ layer.rows.place[:b].T)[None],
        slip=np.zeros((1, step.spaces, b)),
        offset=offset[None],
        time=np.array([step.length]),
        height=np.zeros((1, 0)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """The state inside a layer: modal motion y (m, 2, n), row forces g (m, z) and row displacements z (m, z)."""

    y: Array
    g: Array
    z: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact steps in the natural modes, as fine as `pace` says."""

    name: str = "propagator"
    handles: Handles = Handles.FRICTION | Handles.STOPS | Handles.PLAY | Handles.INERTIA | Handles.MEMBERS
    pace: Pace = field(default_factory=Pace)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members. A layer past the motors' linear range is done by the reference engine.

        Raises SolverError if contacts find no solution.
        """
        carried = state.start(job)
        layers = np.arange(1, job.program.layers + 1)
        for first in range(0, layers.size, LAYERS_AT_ONCE):
            system = job.machine.system(layers[first : first + LAYERS_AT_ONCE])
            observer = base.make_observer(job.machine, system, job.probes)
            for index, layer in enumerate(system.layers):
                carried, chunk = self.layer(job, system, observer, index, int(layer), carried)
                yield chunk
                job.progress(int(layer))

    def layer(
        self, job: Job, system: System, observer: Observer, index: int, layer: int, before: State
    ) -> tuple[State, Chunk]:
        """One layer of all members: the state at its end and what is reported of it."""
        before = before.within_limit(job.machine, system.friction_limit[index])
        motion = job.program.layer_change(layer)
        modes = layer_modes(job, system, index)
        start_time = job.program.start_time(layer)
        imposed = job.machine.imposed(motion.path(np.zeros(1), start_time), job.amounts)[:, 0]
        now = enter(modes, before, imposed)
        times, places = [0.0], [now.y]
        now = self._drive(job, modes, motion, start_time, now, times, places)
        now, bound = self._ring_down(job, modes, observer, index, motion, start_time, now, times, places)
        y = np.stack(places, axis=1)
        time = np.array(times)
        after = leave(modes, now)
        chunk = self._report(job, observer, index, layer, motion, time, y[:, :, 0] @ modes.modes.T, bound)
        return self._past_linear(job, system, observer, index, layer, before, after, chunk)

    def _drive(
        self,
        job: Job,
        modes: LayerModes,
        motion: Profile,
        start_time: float,
        now: Carried,
        times: list[float],
        places: list[Array],
    ) -> Carried:
        """Follow the commanded motion piece by piece."""
        longest = self.pace.elastic if modes.rows.parts.slope.size else self.pace.move
        for piece in range(motion.time.size - 1):
            span = float(motion.time[piece + 1] - motion.time[piece])
            steps = max(4, int(np.ceil(span / longest)))
            step = stepper(modes, span / steps, self.pace.fine)
            known = known_forcing(job, modes, step, motion, piece, start_time, steps)
            for k in range(steps):
                now = step.solve(now, known, k)
                places.append(now.y)
            times += known.time.tolist()
        return now

    def _ring_down(
        self,
        job: Job,
        modes: LayerModes,
        observer: Observer,
        index: int,
        motion: Profile,
        start_time: float,
        now: Carried,
        times: list[float],
        places: list[Array],
    ) -> tuple[Carried, Array]:
        """Let the motion die out; returns the bound (m,) m of what is left at the probes."""
        imposed = job.machine.imposed(motion.path(np.array([motion.duration]), start_time), job.amounts)[:, 0]
        force = imposed @ modes.imposed.T + modes.weight
        offset = imposed @ modes.rows.parts.imposed.T
        lateral = observer.lateral[index].reshape(-1, observer.height.shape[1])
        probe = np.abs(np.concatenate([observer.height, lateral]) @ modes.modes)
        finish = job.program.period - motion.duration
        elapsed, rung = 0.0, 0
        step: Stepper | None = None
        while True:
            amplitude = amplitudes(modes, now, force)
            bound = (amplitude @ probe.T).max(axis=1)
            if bound.max() < base.STILL:
                return now, bound
            higher = self._rung(modes, amplitude, rung)
            if step is None or higher != rung:
                rung = higher
                step = stepper(modes, *self.pace.ladder[rung])
                known = resting_force(modes, step, force, offset)
            if elapsed + step.length > finish:
                return now, bound
            now = step.solve(now, known, 0)
            elapsed += step.length
            places.append(now.y)
            times.append(times[-1] + step.length)

    def _rung(self, modes: LayerModes, amplitude: Array, least: int) -> int:
        """The longest step of the ladder, from rung `least` on, that the motion left allows."""
        if modes.heavily_damped:
            return 0
        seen = np.abs(modes.rows.place[: modes.rows.bristles]) / modes.rows.breakaway[:, None]
        largest = amplitude.max(axis=0)
        rung = least
        for k in range(least + 1, len(self.pace.ladder)):
            length, spacing = self.pace.ladder[k]
            shortfall = largest * (modes.frequency * spacing) ** 2 / 24 * modes.frequency / modes.damping
            speed = largest * modes.frequency
            if (seen @ shortfall).max(initial=0.0) > self.pace.path_error:
                break
            if (seen @ speed).max(initial=0.0) * length > self.pace.path_step:
                break
            rung = k
        return rung

    def _report(
        self,
        job: Job,
        observer: Observer,
        index: int,
        layer: int,
        motion: Profile,
        time: Array,
        q: Array,
        bound: Array,
    ) -> Chunk:
        path = motion.path(np.minimum(time, motion.duration), job.program.start_time(layer))
        imposed = job.machine.imposed(path, job.amounts)
        printing = motion.duration + job.program.settle
        end = q[:, -1]
        fields = base.extremes(observer, index, q, imposed)
        fields |= base.residual(observer, index, time, q, end, printing, motion.duration)
        mean = base.print_mean(time, q, end, printing, job.program.period)
        histories: tuple[History, ...] = ()
        if layer in job.trace_layers:
            histories = (
                History(
                    layer=layer, member=0, time=time, q=q[0], imposed=imposed[0], commanded=path.height.mean(axis=1)
                ),
            )
        return Chunk(
            layers=np.array([layer]),
            pose=(mean @ observer.bed.T)[:, None],
            stop_hit=(fields["joint_excursion"] >= job.machine.joint_travel)[:, None],
            tail_bound=bound[:, None],
            histories=histories,
            statistics={"steps": float(time.size)},
            **{key: value[:, None] for key, value in fields.items()},
        )

    def _past_linear(
        self,
        job: Job,
        system: System,
        observer: Observer,
        index: int,
        layer: int,
        before: State,
        after: State,
        chunk: Chunk,
    ) -> tuple[State, Chunk]:
        """Members whose load angle left the linear range are computed again by the reference engine, sine and all."""
        over = np.flatnonzero(np.any(chunk.load_angle[:, 0] > base.LINEAR_LOAD_ANGLE, axis=1))
        if over.size == 0:
            return after, chunk
        exact = ReferenceEngine(motor_sine=True)
        q, v, f = after.q.copy(), after.v.copy(), after.f.copy()
        fields = {key: getattr(chunk, key).copy() for key in base.REPORTED}
        histories = list(chunk.histories)
        for member in over:
            end, one = exact.layer(job, system, observer, index, layer, before.member(member), int(member))
            q[member], v[member], f[member] = end.q[0], end.v[0], end.f[0]
            for key, values in fields.items():
                values[member] = getattr(one, key)[0]
            if member == 0 and one.histories:
                histories = list(one.histories)
        note = "layers past the linear range of a motor's load angle were computed by the reference engine."
        return State(q=q, v=v, f=f), Chunk(
            layers=chunk.layers,
            histories=tuple(histories),
            notes=(note,),
            statistics=chunk.statistics | {"layers by reference": float(over.size)},
            **fields,
        )


def enter(modes: LayerModes, before: State, imposed: Array) -> Carried:
    """From motions to this layer's modes."""
    rows, b = modes.rows, modes.rows.bristles
    y = np.stack([before.q @ modes.to_modes.T, before.v @ modes.to_modes.T], axis=1)
    z = y[:, 0] @ rows.place.T + y[:, 1] @ rows.pace.T
    g = np.zeros_like(z)
    g[:, :b] = before.f - rows.stuck * z[:, :b]
    if z.shape[1] > b:
        g[:, b:] = rows.others(z, imposed @ rows.parts.imposed.T)
    return Carried(y=y, g=g, z=z)


def leave(modes: LayerModes, now: Carried) -> State:
    """From modes back to motions."""
    b, rows = modes.rows.bristles, modes.rows
    f = now.g[:, :b] + rows.stuck * now.z[:, :b]
    return State(q=now.y[:, 0] @ modes.modes.T, v=now.y[:, 1] @ modes.modes.T, f=f)


def amplitudes(modes: LayerModes, now: Carried, force: Array) -> Array:
    """Amplitude (m, n) of every mode about its rest under the constant modal `force` (m, n)."""
    push = modes.rows.place + modes.rows.pace
    resting = (force - now.g @ push) / modes.frequency**2
    return np.hypot(now.y[:, 0] - resting, now.y[:, 1] / modes.frequency)
