"""A layer of some members in time: state, integration of a stretch, error control, what is stored."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from threading import get_ident
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import step_error, steps, workspace
from bedsim.engines.course import MotionPart
from bedsim.engines.known_forcing import KnownForcing
from bedsim.engines.layer_problem import LayerProblem, mapped
from bedsim.engines.modes import FORCE_UNIT, LayerModes, Real, Rows, Working, mixed
from bedsim.engines.state import State
from bedsim.engines.step_control import INSTANT
from bedsim.engines.steps import ModalState, Outcome
from bedsim.engines.workspace import Workspace

Array = NDArray[np.float64]
CELLS = 8192  # members times steps of a stretch: what is worked on at once stays near the processor
# of what is left of a layer's error that a stretch may have; and of that error that is always left
SHARE, LEAST_LEFT = 1 / 4, 1 / 8
GAIN = 4.0  # errors grow by so much, or a little more, when the spacing doubles
LAG = 0.04  # electrical rad: below it a motor's sine departs from its slope by 1e-5 of its torque at most
LASTING = 0.01  # s: half-life of an error that was seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """What contacts travel in t steps that end at `time` (t,) s: increments `moved` (t, b, m) of the bristle
    rows with the commanded slip, and `path` (t, c, m), in breakaways."""

    time: Array
    moved: Array
    path: Array


def joined(trails: list[Trail]) -> Trail:
    """Trails one after the other."""
    return Trail(**{k: np.concatenate([getattr(x, k) for x in trails]) for k in ("time", "moved", "path")})


@dataclass(slots=True, kw_only=True)
class LayerIntegrator:
    """The state of some members in a layer, and the motions stored so far."""

    problem: LayerProblem
    mix: Array | None  # (r, m)
    now: ModalState
    time: float = 0.0
    level: int = 0
    error: float = 0.0  # of late
    spent: Array | float = 0.0  # (m,) in the layer
    times: list[float] = field(default_factory=list)
    places: list[Array] = field(default_factory=list)  # eta (n, m) at the stored instants, where traced
    seen: list[Working] = field(default_factory=list)  # (t, v, m) all that is watched then
    imposed: list[Array] = field(default_factory=list)  # (r, t, rows) at those of the motion
    began: ModalState | None = None  # the state when printing began
    impulse: Array | None = None  # (n, m) modal forces of the rows integrated since
    path: NDArray[Any] | float = 0.0  # (c, m) of all contacts, breakaways
    rate: Array | None = None  # (c, m) of it at rest by now, 1/s, as it decays with the slowest mode
    tries: int = 0
    taken: int = 0
    trails: list[Trail] = field(default_factory=list)  # where the problem asks for them

    @property
    def members(self) -> int:
        """Number of members."""
        return self.now.g.shape[1]

    @property
    def longest(self) -> int:
        """Most steps in one stretch."""
        return max(8, min(32, CELLS // self.members // 4 * 4))

    def integrate(
        self, spacing: float, known: KnownForcing, rest: Array, count: int, every: float
    ) -> Outcome:
        """`count` steps with the motion counted from `rest` (2, n, m), stored `every` so many s; again
        with more rows acting where elastic elements turn out to act."""
        problem, whole = self.problem, self.problem.layer.rows
        now = replace(self.now, motion=self.now.motion - rest)
        stride = max(1, round(every / spacing))
        acting = problem.whole if self.stopped() else problem.smooth
        # while the bed is driven motors lag
        alone = known.move is None and whole.bristles > 0 and whole.dampers == 0 and self.untouched()
        while True:
            rows = acting.layer.rows
            width = rows.bristles if alone else rows.size
            table = problem.tables(acting, spacing, width, known.pace)
            room = self.room(rows)
            found = steps.integrate(
                table,
                rows,
                *((known, now) if acting is problem.whole else _stopless(whole, known, now)),
                count,
                stride,
                problem.control.tolerance,
                acting.weight,
                room,
            )
            self.tries += found.tries
            if acting is not problem.whole:
                if not self.clear(known, found.taken, room.motions):
                    acting, alone = problem.whole, False
                    continue
                found = replace(found, end=_with_stops(whole, found.end) if found.taken else now)
            if alone and found.taken and not rows.idle(room.seen[1 : found.taken + 1, 0], LAG):
                alone = False
                continue
            return found

    def room(self, rows: Rows) -> Workspace:
        """Arrays to work in."""
        sizes = (rows.contacts, rows.bristles, rows.size, self.problem.layer.frequency.shape[1])
        return workspace.workspace(self.members, self.longest, sizes, get_ident())

    def clear(self, known: KnownForcing, taken: int, motions: Working) -> bool:
        """Whether no stop is touched at the nodes after so many steps, with eta (t, n, m) there."""
        count = 2 * self.problem.layer.rows.parts.gap.size
        offset = known.offset[:, :count] if known.move is None else known.offset[1 : taken + 1, :count]
        place = mapped(self.problem.to_stops, motions[1 : taken + 1]) + mixed(offset, known.mix)
        return self.problem.layer.rows.clear(place)

    def acting(self) -> NDArray[Any]:
        """Forces (e, m) of the elastic rows now."""
        return self.now.g[self.problem.layer.rows.bristles + self.problem.layer.rows.dampers :]

    def stopped(self) -> bool:
        """Whether any stop is touched."""
        return bool(self.acting()[: 2 * self.problem.layer.rows.parts.gap.size].any())

    def untouched(self) -> bool:
        """Whether no elastic element acts, as far as the last stretch tells; a motor whose lag is below
        `LAG` does not."""
        parts = self.problem.layer.rows.parts
        if parts.slope.size or self.stopped():
            return False
        force = np.abs(self.acting()[2 * parts.gap.size :]) * FORCE_UNIT
        return bool((force <= parts.torque[:, None] * LAG**3 / 6).all())

    @property
    def allowed(self) -> float:
        """Error m that the next stretch may make: part of what its earlier stretches have left of the
        layer's."""
        error = self.problem.control.error * self.problem.damping_factor
        return SHARE * max(error - float(np.max(self.spent)), LEAST_LEFT * error)

    def probe_error(self, uncertainty: Array) -> Array:
        """What independent uncertainties (b, m) of row forces amount to at the probes (m,), m: root of the
        sum of squares."""
        weight = self.problem.whole.weight[:, : uncertainty.shape[0]]
        return np.asarray(step_error.at_probes(weight**2, np.asarray(uncertainty**2, dtype=Real)) ** 0.5)

    def rejected(self, found: Outcome) -> bool:
        """Whether the error of a stretch is too large to accept it; the next one is a level shorter."""
        if self.level == 0 or found.error.max() <= GAIN * self.allowed:
            return False
        self.level -= 1
        self.error = self.allowed
        return True

    def too_coarse(self, spacing: float, found: Outcome, allowed: float) -> bool:
        """Whether elastic elements ask for a shorter step: a stop acts, or interpolating their forces
        makes an error of more than `allowed` m."""
        if spacing <= self.problem.control.touch + INSTANT:
            return False
        return found.touched or bool(found.force_error.max() > allowed)

    def keep(self, spacing: float, found: Outcome, rest: Array) -> None:
        """Accept a stretch, whose motions count from `rest` (2, n, m)."""
        if found.kept:
            self.store(found.stored, self.time + spacing * np.array(found.kept), rest[0])
        if self.problem.trailed and found.taken:
            self.trails.append(_trail(self.time, spacing, found))
        self.time += spacing * found.taken
        self.taken += found.taken
        self.path = self.path + found.path
        self.now = replace(found.end, motion=found.end.motion + rest)
        if self.impulse is not None:
            self.impulse += found.impulse

    def store(self, eta: Working, times: NDArray[Any], rest: Array) -> None:
        """Store what is watched of the motions (t, n, m) about `rest` (n, m) at some instants."""
        view = self.problem.view
        seen = mapped(view.astype(Real), eta)
        seen += mapped(view, rest[None]).astype(Real)
        self.seen.append(seen)
        self.times += times.tolist()
        if self.problem.plan.job.trace_layers:
            self.places += list(eta + rest)

    def choose_level(self, spacing: float, found: Outcome, highest: int) -> None:
        """Choose the step length of the next stretch from the error of this one."""
        error = np.where(np.isfinite(found.error), found.error, self.allowed)  # a stretch broken off has none
        self.error = max(float(error.max()), self.error * 0.5 ** (spacing * found.taken / LASTING))
        self.spent = self.spent + error
        if self.error > self.allowed and self.level > 0:
            self.level, self.error = self.level - 1, self.error / GAIN
        elif self.level < highest and GAIN * self.error < self.allowed:
            self.level, self.error = self.level + 1, self.error * GAIN
        self.level = min(self.level, highest)

    def elastic_places(self, eta: Array, imposed: Array) -> Array:
        """Places (t, e, m) of elastic rows at eta (t, n, m), `imposed` (r, t, rows) taken off."""
        rows = self.problem.layer.rows
        maps = np.swapaxes(rows.place[..., rows.bristles + rows.dampers :], 1, 2)
        offset = np.moveaxis(imposed @ rows.parts.imposed.T, 0, -1)
        return np.asarray(mapped(maps, eta) - mixed(offset, self.mix))

    def at_end(self) -> tuple[Array, Array]:
        """Imposed extensions (r, 1, rows) at the end of the motion, and where known forces then hold modes
        (n, m)."""
        problem, layer = self.problem, self.problem.layer
        last = self.imposed[-1][:, -1:]
        force = (last @ layer.imposed + problem.plan.shared(layer.weight[:, None]))[:, 0]
        return last, mixed((force / layer.frequency**2).T, self.mix)


def _stopless(rows: Rows, known: KnownForcing, now: ModalState) -> tuple[KnownForcing, ModalState]:
    """Known forcing and state without the rows of stops."""
    count, at = 2 * rows.parts.gap.size, rows.stops
    return (
        replace(known, offset=known.offset[:, count:], offset_speed=known.offset_speed[:, count:]),
        replace(now, g=np.delete(now.g, at, axis=0), rate=np.delete(now.rate, at, axis=0)),
    )


def _with_stops(rows: Rows, now: ModalState) -> ModalState:
    """The state with the rows of stops, which do not act."""

    def every(values: Array) -> Array:
        at = rows.stops
        none = np.zeros((at.stop - at.start, values.shape[1]))
        return np.concatenate([values[: at.start], none, values[at.start :]])

    return replace(now, g=every(now.g), rate=every(now.rate))


def _trail(began: float, spacing: float, found: Outcome) -> Trail:
    moved = np.diff(found.places.astype(float), axis=0)
    if found.slip is not None:
        moved += found.slip
    time: Array = began + spacing * np.arange(1.0, found.taken + 1)
    return Trail(time=time, moved=moved, path=found.paths.astype(float))


def enter(layer: LayerModes, before: State, imposed: Array) -> ModalState:
    """Transform motions (m, n) into this layer's modes, with row forces; `imposed` (m, r)."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    eta = (before.q[:, None] @ layer.to_modes)[:, 0]
    speed = (before.v[:, None] @ layer.to_modes)[:, 0]
    seen = np.stack([(eta[:, None] @ rows.place)[:, 0].T, (speed[:, None] @ rows.place)[:, 0].T])
    seen[0, b + d :] -= (imposed @ rows.parts.imposed.T).T
    phi = np.ascontiguousarray((before.f[:, rows.order] / rows.limit).T)
    g = np.concatenate([phi - seen[0, :b], rows.dampers_of(seen, 1.0), rows.elastic_of(seen)[0]])
    return ModalState(motion=np.stack([eta.T, speed.T]), phi=phi, g=g, rate=np.zeros_like(g))


def leave(layer: LayerModes, now: ModalState) -> State:
    """Transform modes back into motions."""
    rows = layer.rows
    back = np.swapaxes(layer.modes, 1, 2)
    q, v = ((x.T[:, None] @ back)[:, 0] for x in now.motion)
    f = np.empty((q.shape[0], rows.bristles))
    f[:, rows.order] = now.phi.T * rows.limit
    return State(q=q, v=v, f=f)


def begin(problem: LayerProblem, mix: Array | None, before: State, part: MotionPart) -> LayerIntegrator:
    """An integrator at the start of the layer's first part."""
    first = problem.forcing([part])[0].imposed[:, :1]
    now = enter(problem.layer, before, mixed(first[:, 0].T, mix).T)
    integrator = LayerIntegrator(problem=problem, mix=mix, now=now)
    integrator.store(np.zeros((1, *now.motion.shape[1:]), dtype=Real), np.zeros(1), now.motion[0])
    integrator.imposed.append(first)
    return integrator
