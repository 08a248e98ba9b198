"""The reference engine: scipy's implicit integrators with the analytic Jacobian, slow and trusted.

State y = (q, q', bristle forces).  The integration is split where the commanded acceleration jumps; within a
piece the forcing is interpolated by Chebyshev polynomials far below the solver's tolerance.  With
`motor_sine` the motors follow their full torque curve, so that a lost step can be seen; without, all engines
solve the same equations.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import scipy
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import base
from bedsim.engines.base import Chunk, History, Job
from bedsim.engines.state import State, one_by_one, start
from bedsim.errors import EngineRefusalError, SolverError
from bedsim.model.assembly import System
from bedsim.model.nonlinear import Elastic, elastic, force_and_tangent, local_forces
from bedsim.model.program import Profile, rest, sequence

Array = NDArray[np.float64]

SAMPLE = 1e-3  # s between stored instants
REST_CHUNK = 0.2  # s integrated between two looks whether the motion has died out


@dataclass(frozen=True, slots=True, kw_only=True)
class Equations:
    """The right-hand side of one layer of one member on the state y = (q, v, f)."""

    linear: Array  # (2n+d, 2n+d): all of dy/dt that is linear in y
    stacked: Array  # (2n+2d+e, 2n+d): the same, then sliding speeds, then places of elastic elements
    M_inverse: Array
    contact: Array  # (d, n)
    groups: Array
    limit: Array
    breakaway: Array
    parts: Elastic
    n: int

    def rate(self, y: Array, force: Array, imposed: Array, slip: Array) -> Array:
        """dy/dt for the applied force (n,), imposed extensions (r,) and commanded slip speed (d,)."""
        n, size = self.n, y.size
        products = self.stacked @ y
        found = products[:size]
        speed = products[size : size + slip.size] + slip
        if self.parts.present:
            local = local_forces(self.parts, products[size + slip.size :] - self.parts.imposed @ imposed)
            if local is not None:
                force = force - local[0] @ self.parts.rows
        found[n : 2 * n] += self.M_inverse @ force
        magnitude = np.sqrt(self.groups @ (speed * speed))
        found[2 * n :] = (self.limit * speed - magnitude * y[2 * n :]) / self.breakaway
        return found

    def jacobian(self, y: Array, imposed: Array, slip: Array) -> Array:
        """Derivative of `rate` by y."""
        n = self.n
        v, f = y[n : 2 * n], y[2 * n :]
        J = self.linear.copy()
        extra = force_and_tangent(self.parts, y[:n], imposed)
        if extra is not None:
            J[n : 2 * n, :n] -= self.M_inverse @ extra[1]
        speed = self.contact @ v + slip
        magnitude = np.sqrt((speed * speed) @ self.groups)
        direction = speed / np.maximum(magnitude, 1e-300)
        by_speed = np.diag(self.limit) - self.groups * f[:, None] * direction[None, :]
        J[2 * n :, n : 2 * n] = (by_speed / self.breakaway[:, None]) @ self.contact
        J[2 * n :, 2 * n :] = np.diag(-magnitude / self.breakaway)
        return J


def equations(job: Job, system: System, index: int, motor_sine: bool) -> Equations:
    """The equations of one layer."""
    machine = job.machine
    contact = machine.contact_rows
    M_inverse = np.linalg.inv(system.M[index])
    n, d = system.K.shape[-1], contact.shape[0]
    linear = np.zeros((2 * n + d, 2 * n + d))
    linear[:n, n : 2 * n] = np.eye(n)
    linear[n : 2 * n, :n] = -M_inverse @ system.K[index]
    linear[n : 2 * n, n : 2 * n] = -M_inverse @ system.C[index]
    linear[n : 2 * n, 2 * n :] = -M_inverse @ contact.T
    parts = elastic(machine, system, index, motor_sine)
    sliding, places = np.zeros((d, 2 * n + d)), np.zeros((parts.rows.shape[0], 2 * n + d))
    sliding[:, n : 2 * n], places[:, :n] = contact, parts.rows
    return Equations(
        linear=linear,
        stacked=np.vstack([linear, sliding, places]),
        M_inverse=M_inverse,
        contact=contact,
        groups=machine.contact_groups,
        limit=np.maximum(system.friction_limit[index], 1e-12),
        breakaway=machine.breakaway,
        parts=parts,
        n=n,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceForcing:
    """Applied force, imposed extensions and slip over one piece, as Chebyshev series on (start, end)."""

    start: float
    end: float
    series: Array  # (degree+1, n + r + d)
    n: int
    r: int

    def at(self, time: float) -> tuple[Array, Array, Array]:
        """Force (n,), imposed (r,), slip speed (d,) at an instant."""
        if self.series.shape[0] == 1:
            value = self.series[0]
        else:
            x = 2 * (time - self.start) / (self.end - self.start) - 1
            angle = np.arccos(min(max(x, -1.0), 1.0))
            value = np.cos(np.arange(self.series.shape[0]) * angle) @ self.series
        return value[: self.n], value[self.n : self.n + self.r], value[self.n + self.r :]


def piece_forcing(
    job: Job, system: System, index: int, member: int, profile: Profile, piece: int, start_time: float
) -> PieceForcing:
    """Interpolate the forcing of one piece; the degree follows the turns made in it."""
    start, end = float(profile.time[piece]), float(profile.time[piece + 1])
    way = np.max(np.abs(profile.height(np.array([end])) - profile.height(np.array([start]))))
    turns = way * float(np.max(np.abs(job.machine.command))) / (2 * np.pi)
    # place errors of motors turn fastest: so many cycles per turn; a rest needs one value
    cycles = turns * job.machine.fastest_cycle
    degree = 0 if way == 0 else 16 + int(np.ceil(4 * cycles))
    node = chebyshev.chebpts1(degree + 1)
    time = start + (node + 1) / 2 * (end - start)
    which = np.full(time.size, piece)
    path = Path(
        time=start_time + time,
        height=profile.height(time),
        move_start=profile.move_start[which],
        move_end=profile.move_end[which],
    )
    imposed = job.machine.imposed(path, job.amounts[member])
    force = imposed @ system.imposed_force[index].T + system.weight[index]
    force = force + profile.acceleration(time, which) @ system.command_force[index].T
    slip = profile.speed(time) @ job.machine.contact_command.T
    values = np.concatenate([force, imposed, slip], axis=1)
    series = chebyshev.chebvander(node, degree).T @ values * (2.0 / (degree + 1))
    series[0] /= 2
    return PieceForcing(start=start, end=end, series=series, n=force.shape[1], r=imposed.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceEngine:
    """scipy.integrate.solve_ivp on the full equations. `method`: LSODA, Radau or BDF."""

    name: str = "reference"
    method: Literal["LSODA", "Radau", "BDF"] = "LSODA"
    rtol: float = 1e-6
    atol: float = 1e-10  # m and rad; speeds and forces in proportion
    motor_sine: bool = False

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers one by one.

        Raises SolverError with the solver's own message when it gives up, EngineRefusalError for a batch.
        """
        if job.members > 1:
            raise EngineRefusalError(
                f"engine '{self.name}' does not carry a batch of machines; use 'propagator'"
            )
        yield from one_by_one(job, 1, job.program.layers, start(job), self.layer)

    def layer(
        self,
        job: Job,
        system: System,
        observer: base.Observer,
        index: int,
        layer: int,
        state: State,
        member: int = 0,
    ) -> tuple[State, Chunk]:
        """One layer of one member from `state` (1, ...): its end and what is reported of it."""
        state = state.within_limit(job.machine, system.friction_limit[index])
        motion = job.program.layer_change(layer)
        start = job.program.start_time(layer)
        history: list[tuple[Array, Array]] = []
        state, moved = self.integrate(job, system, index, member, motion, start, state)
        history += moved
        state, bound = self._settle(job, system, observer, index, member, motion, start, state, history)
        time = np.concatenate([t for t, _ in history])
        q = np.concatenate([x for _, x in history])
        time, unique = np.unique(time, return_index=True)
        return state, _chunk(job, observer, index, layer, member, motion, time, q[unique], bound)

    def _settle(
        self,
        job: Job,
        system: System,
        observer: base.Observer,
        index: int,
        member: int,
        motion: Profile,
        start: float,
        state: State,
        history: list[tuple[Array, Array]],
    ) -> tuple[State, float]:
        """Integrate the rest of the layer until nothing moves any more; returns the bound of what is left."""
        elapsed, bound = motion.duration, np.inf
        period = job.program.period(int(system.layers[index]))
        while elapsed < period and bound > base.STILL:
            span = min(REST_CHUNK, period - elapsed)
            still = rest(motion.end, span)
            state, chunk = self.integrate(job, system, index, member, still, start + elapsed, state)
            history += [(t + elapsed, q) for t, q in chunk]
            q = np.concatenate([x for _, x in chunk])
            away = q - q[-1]
            moves = (
                np.abs(away @ observer.height.T).max(),
                np.abs(away @ observer.lateral[index].reshape(-1, q.shape[1]).T).max(),
            )
            bound = float(max(moves))
            elapsed += span
        return state, bound

    def integrate(
        self, job: Job, system: System, index: int, member: int, profile: Profile, start: float, state: State
    ) -> tuple[State, list[tuple[Array, Array]]]:
        """Integrate a profile piece by piece: the state at its end, and (time (t,), q (t, n)) per piece."""
        if profile.duration == 0.0:
            return state, [(np.zeros(1), state.q[:1])]
        eq = equations(job, system, index, self.motor_sine)
        y = np.concatenate([state.q[0], state.v[0], state.f[0]])
        stored = []
        for piece in range(profile.time.size - 1):
            forcing = piece_forcing(job, system, index, member, profile, piece, start)
            time, path = self._solve(eq, forcing, y)
            y = path[:, -1]
            stored.append((time, path[: eq.n].T))
        n = eq.n
        return State(q=y[None, :n], v=y[None, n : 2 * n], f=y[None, 2 * n :]), stored

    def _solve(self, eq: Equations, forcing: PieceForcing, y: Array) -> tuple[Array, Array]:
        count = max(2, round((forcing.end - forcing.start) / SAMPLE) + 1)
        time = np.linspace(forcing.start, forcing.end, count)
        atol = np.concatenate(
            [np.full(eq.n, self.atol), np.full(eq.n, self.atol * 1e2), np.maximum(eq.limit * 1e-5, 1e-9)]
        )

        def rate(t: float, y: Array) -> Array:
            return eq.rate(y, *forcing.at(t))

        def jacobian(t: float, y: Array) -> Array:
            _, imposed, slip = forcing.at(t)
            return eq.jacobian(y, imposed, slip)

        solution = scipy.integrate.solve_ivp(
            rate,
            (forcing.start, forcing.end),
            y,
            method=self.method,
            jac=jacobian,
            rtol=self.rtol,
            atol=atol,
            t_eval=time,
            max_step=max((forcing.end - forcing.start) / 8, 1e-6),
        )
        if not solution.success:
            raise SolverError(
                f"reference engine: {self.method} gave up at {forcing.start:.3f} s: {solution.message}"
            )
        return time, solution.y


def _chunk(
    job: Job,
    observer: base.Observer,
    index: int,
    layer: int,
    member: int,
    motion: Profile,
    time: Array,
    q: Array,
    bound: float,
) -> Chunk:
    """What is reported of one layer's history."""
    period = job.program.period(layer)
    whole = sequence(motion, rest(motion.end, max(period - motion.duration, 1e-9)))
    path = whole.path(time, job.program.start_time(layer))
    imposed = job.machine.imposed(path, job.amounts[member])
    printing = motion.duration + job.program.settle(layer)
    end = q[-1]
    found = base.extremes(observer, index, q, imposed)
    found |= base.residual(observer, index, time, q, end, printing, motion.duration)
    mean = base.print_mean(time, q, end, printing, period)
    fields: dict[str, Any] = {key: np.asarray(value)[None, None] for key, value in found.items()}
    histories: tuple[History, ...] = ()
    if layer in job.trace_layers:
        histories = (
            History(
                layer=layer,
                member=member,
                time=time,
                q=q,
                imposed=imposed,
                commanded=path.height.mean(axis=1),
            ),
        )
    return Chunk(
        layers=np.array([layer]),
        pose=(observer.bed @ mean)[None, None],
        stop_hit=fields["joint_excursion"] >= job.machine.joint_travel,
        tail_bound=np.array([[bound]]),
        histories=histories,
        **fields,
    )
