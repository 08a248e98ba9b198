"""One layer of a batch in time: driven along the commanded motion, then left to ring down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from threading import get_ident
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, exponential, free, free_decay, steps
from bedsim.engines.base import Observer
from bedsim.engines.course import Course, Forcing, Part
from bedsim.engines.exponential import FirstOrderHold
from bedsim.engines.free_decay import Forecast
from bedsim.engines.modes import FORCE_UNIT, LayerModes, Real, Working, mixed, standing
from bedsim.engines.solved import Solved
from bedsim.engines.state import State
from bedsim.engines.steps import KnownForcing, ModalState, Outcome, Tables
from bedsim.errors import SolverError

Array = NDArray[np.float64]

# s: motions reported this close: while driven, then, and where nothing is left to see
OFTEN, REPORT, SELDOM = 1e-3, free.REPORT, 3.2e-2
FORCING, FREELY = 4e-4, 2.5e-4  # s: known forcing is taken at instants this close, with friction and without
CYCLE = 8  # instants in a cycle of the fastest imperfection, at least: parabolas through them miss 3 %
WATCHED = 2e-3  # s: longest step while the probes still move by more than what counts as settled
INSTANT = 1e-9  # s: what is closer is the same instant
CELLS = 8192  # members times steps of a stretch: what is worked on at once stays near the processor
# of what is left of a layer's error that a stretch may have; and of that error that is always left
SHARE, LEAST_LEFT = 1 / 4, 1 / 8
GAIN = 4.0  # errors grow by so much, or a little more, when the spacing doubles
USUAL = 0.03  # damping ratio that a control is meant for
LAG = 0.04  # electrical rad: below it a motor's sine departs from its slope by 1e-5 of its torque at most
RINGING = 0.15  # damping ratio beyond which a ring-down is over before averages over its periods mean much
LASTING = 0.01  # s: an error once seen counts half after this time


@dataclass(frozen=True, slots=True, kw_only=True)
class StepControl:
    """Lengths of the steps, s: `drive` while the bed is driven, `rest` a ladder, and at most `touch` where
    stops act.  Plain nuts and motors take shorter steps, down to that, where these miss more than
    `force_error` m of their forces at the probes while the bed is driven.

    At rest a longer step is taken while the errors of a layer's stretches, as estimated at the probes, are
    well on the way to stay below `error` m in sum, and a shorter one where they are not.  What is left is
    done in one go where that leaves less than `decay` m in doubt, or where probes move by less than `still` m
    left out.
    """

    drive: float = 8e-4
    rest: tuple[float, ...] = (5e-4, 1e-3, 2e-3, 4e-3)
    touch: float = 1e-4
    force_error: float = 1e-8
    error: float = 8e-9
    decay: float = 1e-9
    still: float = base.STILL
    tolerance: float = 2e-5  # breakaways (and 10 N): what is left at every node
    least: float = 1e-6  # contacts that need a shorter step are given up

    @property
    def coarser(self) -> StepControl:
        """A control at half the cost, for guesses."""
        return replace(
            self,
            drive=2 * self.drive,
            rest=self.rest[1:] or self.rest[-1:],
            error=16 * self.error,
            decay=16 * self.decay,
            tolerance=20 * self.tolerance,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerProblem:
    """What all blocks of a batch share in one layer; tables are made once, when first asked for."""

    plan: Course
    layer: LayerModes
    control: StepControl
    observer: Observer
    index: NDArray[np.int64]  # of the plan's layers in the observer
    view: Array  # (s, v, n) all that is watched, per mode
    made: dict[tuple[float, int], Tables] = field(default_factory=dict)
    answered: dict[tuple[float, int], Working] = field(default_factory=dict)
    forcings: dict[Part, Forcing] = field(default_factory=dict)

    @property
    def probes(self) -> Array:
        """Motion of the probes per mode (s, p, n): heights, then both lateral directions."""
        return base.probes_of(self.observer, self.view)

    @property
    def damping_ratio(self) -> float:
        """Of the mode that rings longest in cycles."""
        return round(float((self.layer.damping / self.layer.frequency).min()), 12)

    @property
    def damping_factor(self) -> float:
        """How soon motions die out against those that the control is meant for, 1 if sooner: what is missed
        of a motion goes on rubbing as long as it lasts."""
        return min(1.0, self.damping_ratio / USUAL)

    def tables(self, spacing: float, width: int) -> Tables:
        """The tables for a spacing where `width` rows act."""
        key = (alike(spacing), width)
        if key not in self.made:
            self.made[key] = steps.tables(self.layer, spacing, width)
        return self.made[key]

    def answers(self, spacing: float, spaces: int) -> Working:
        """What modes answer over a step of `spacing` s to known forces at so many instants and one."""
        key = (alike(spacing), spaces)
        if key not in self.answered:
            self.answered[key] = steps.answers(self.layer, spacing, spaces)
        return self.answered[key]

    def forcing(self, parts: Sequence[Part]) -> list[Forcing]:
        """The known forcing of parts of the motion."""
        new = [part for part in parts if part not in self.forcings]
        if new:
            self.forcings.update(zip(new, course.forcings(self.plan, self.layer, new), strict=True))
        return [self.forcings[part] for part in parts]


def alike(spacing: float) -> float:
    """What spacings that differ in rounding alone have in common."""
    return float(f"{spacing:.9g}")


def row_weight(layer: LayerModes, probes: Array) -> Working:
    """What a unit of each row's force moves the probes by at rest (p, z), or (s, z, p): m."""
    return steps.matrix((layer.rows.push / layer.frequency[:, None] ** 2) @ np.swapaxes(probes, 1, 2))


def mapped(maps: NDArray[Any], values: NDArray[Any]) -> NDArray[Any]:
    """Products (t, i, m) of maps (s, i, j) with values (t, j, m)."""
    table = maps[0] if maps.shape[0] == 1 else np.swapaxes(maps, 1, 2)
    out = np.empty((values.shape[0], maps.shape[1], values.shape[2]), dtype=values.dtype)
    return steps.apply(table, values, out)


@dataclass(slots=True, kw_only=True)
class LayerIntegrator:
    """What happens to some members in one layer: the state now, and the motions stored so far."""

    problem: LayerProblem
    mix: Array | None  # (r, m)
    now: ModalState
    weight: Working  # (p, z), or (s, z, p)
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
        """`count` steps with the motion counted from `rest` (2, n, m), stored `every` so many s."""
        problem, rows = self.problem, self.problem.layer.rows
        sizes = (rows.contacts, rows.bristles, rows.size, problem.layer.frequency.shape[1])
        room = steps.workspace(self.members, self.longest, sizes, get_ident())
        now = replace(self.now, motion=self.now.motion - rest)
        stride = max(1, round(every / spacing))
        width = rows.bristles if rows.dampers == 0 and self.untouched() else rows.size
        while True:
            table = problem.tables(spacing, width)
            found = steps.integrate(
                table, rows, known, now, count, stride, problem.control.tolerance, self.weight, room
            )
            self.tries += found.tries
            if width == rows.size or found.taken == 0 or rows.idle(room.seen[1 : found.taken + 1, 0], LAG):
                return found
            width = rows.size

    def acting(self) -> NDArray[Any]:
        """Forces (e, m) of elastic rows now."""
        return self.now.g[self.problem.layer.rows.bristles + self.problem.layer.rows.dampers :]

    def stopped(self) -> bool:
        """Whether any stop is touched."""
        return bool(self.acting()[: 2 * self.problem.layer.rows.parts.gap.size].any())

    def untouched(self) -> bool:
        """Whether no elastic element acts as far as is known; motors that hardly lag do not."""
        parts = self.problem.layer.rows.parts
        if parts.slope.size or self.stopped():
            return False
        bent = np.abs(self.acting()[2 * parts.gap.size :]) * FORCE_UNIT
        return bool((bent <= parts.torque[:, None] * LAG**3 / 6).all())

    @property
    def allowed(self) -> float:
        """Error m of the next stretch: part of what the errors of this layer have left of the control's."""
        error = self.problem.control.error * self.problem.damping_factor
        return SHARE * max(error - float(np.max(self.spent)), LEAST_LEFT * error)

    def probe_error(self, doubt: Array) -> Array:
        """What doubts (b, m) of row forces that do not hang together amount to at the probes (m,), m."""
        weight = self.weight[:, : doubt.shape[0]]
        return np.asarray(steps.at_probes(weight**2, np.asarray(doubt**2, dtype=Real)) ** 0.5)

    def rejected(self, found: Outcome) -> bool:
        """Whether the error of a stretch is too large for it to be taken: a level lower it is tried again."""
        if self.level == 0 or found.error.max() <= GAIN * self.allowed:
            return False
        self.level -= 1
        self.error = self.allowed
        return True

    def too_coarse(self, spacing: float, found: Outcome, allowed: float) -> bool:
        """Whether elastic elements act that want a shorter step: a stop, or some whose forces bend so much
        that steps miss more than `allowed` m of them."""
        if spacing <= self.problem.control.touch + INSTANT:
            return False
        return found.touched or bool(found.force_error.max() > allowed)

    def keep(self, spacing: float, found: Outcome, rest: Array) -> None:
        """Go on from the end of a stretch, whose motions count from `rest` (2, n, m)."""
        if found.kept:
            self.store(found.stored, self.time + spacing * np.array(found.kept), rest[0])
        self.time += spacing * found.taken
        self.taken += found.taken
        self.path = self.path + found.path
        self.now = replace(found.end, motion=found.end.motion + rest)
        if self.impulse is not None:
            self.impulse += found.impulse

    def store(self, eta: Working, times: NDArray[Any], rest: Array) -> None:
        """What is watched of the motions (t, n, m) about `rest` (n, m) at some instants."""
        view = self.problem.view
        seen = mapped(view.astype(Real), eta)
        seen += mapped(view, rest[None]).astype(Real)
        self.seen.append(seen)
        self.times += times.tolist()
        if self.problem.plan.job.trace_layers:
            self.places += list(eta + rest)

    def choose_level(self, spacing: float, found: Outcome, highest: int) -> None:
        """The level for the next stretch."""
        error = np.where(np.isfinite(found.error), found.error, self.allowed)  # a stretch broken off has none
        self.error = max(float(error.max()), self.error * 0.5 ** (spacing * found.taken / LASTING))
        self.spent = self.spent + error
        if self.error > self.allowed and self.level > 0:
            self.level, self.error = self.level - 1, self.error / GAIN
        elif self.level < highest and GAIN * self.error < self.allowed:
            self.level, self.error = self.level + 1, self.error * GAIN
        self.level = min(self.level, highest)


def enter(layer: LayerModes, before: State, imposed: Array) -> ModalState:
    """From motions to this layer's modes; `imposed` (m, r)."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    eta = (before.q[:, None] @ layer.to_modes)[:, 0]
    speed = (before.v[:, None] @ layer.to_modes)[:, 0]
    seen = np.stack([(eta[:, None] @ rows.place)[:, 0].T, (speed[:, None] @ rows.place)[:, 0].T])
    seen[0, b + d :] -= (imposed @ rows.parts.imposed.T).T
    phi = np.ascontiguousarray((before.f[:, rows.order] / rows.limit).T)
    g = np.concatenate([phi - seen[0, :b], rows.dampers_of(seen, 1.0), rows.elastic_of(seen)[0]])
    return ModalState(motion=np.stack([eta.T, speed.T]), phi=phi, g=g, rate=np.zeros_like(g))


def leave(layer: LayerModes, now: ModalState) -> State:
    """From modes back to motions."""
    rows = layer.rows
    back = np.swapaxes(layer.modes, 1, 2)
    q, v = ((x.T[:, None] @ back)[:, 0] for x in now.motion)
    f = np.empty((q.shape[0], rows.bristles))
    f[:, rows.order] = now.phi.T * rows.limit
    return State(q=q, v=v, f=f)


def begin(problem: LayerProblem, mix: Array | None, before: State, part: Part) -> LayerIntegrator:
    """A integrator at the start of the layer's first part."""
    first = problem.forcing([part])[0].imposed[:, :1]
    now = enter(problem.layer, before, mixed(first[:, 0].T, mix).T)
    integrator = LayerIntegrator(
        problem=problem, mix=mix, now=now, weight=row_weight(problem.layer, problem.probes)
    )
    integrator.store(np.zeros((1, *now.motion.shape[1:]), dtype=Real), np.zeros(1), now.motion[0])
    integrator.imposed.append(first)
    return integrator


def solve(problem: LayerProblem, members: slice, before: State) -> Solved:
    """A layer of some members from the states before it. Raises SolverError if contacts find no solution."""
    mix = None if problem.plan.mix is None else np.ascontiguousarray(problem.plan.mix[:, members])
    found = None
    if problem.layer.rows.bristles == 0:
        parts = _parts(problem, FREELY, 1)
        integrator = begin(problem, mix, before, parts[0])
        found = _linear_layer(integrator, parts) if integrator.untouched() else None
    if found is None:
        control = problem.control
        # quick modes that ring long ask for more steps
        spacing = control.drive * problem.damping_factor ** (1 / 2)
        stride = 2 * max(1, int(np.ceil(spacing / (2 * _forcing(problem)) - 1e-9)))  # known nodes in a step
        parts = _parts(problem, spacing, stride)
        integrator = begin(problem, mix, before, parts[0])
        drive(integrator, parts, stride)
        found = ring_down(integrator)
    bound, mean = found
    n, m = integrator.now.motion.shape[1:]
    return Solved(
        plan=problem.plan,
        modes=problem.layer,
        observer=problem.observer,
        index=problem.index,
        view=problem.view,
        mix=mix,
        after=leave(problem.layer, integrator.now),
        time=np.array(integrator.times),
        seen=np.concatenate(integrator.seen),
        imposed=np.concatenate(integrator.imposed, axis=1),
        places=np.array(integrator.places) if integrator.places else np.zeros((0, n, m)),
        mean=mean,
        bound=bound,
        path=np.zeros((problem.layer.rows.contacts, m)) + integrator.path,
        statistics={
            k: float(v) * problem.index.size
            for k, v in (("steps", integrator.taken), ("tries", integrator.tries))
        },
    )


def _forcing(problem: LayerProblem) -> float:
    """How close instants are, s, at which known forcing is taken."""
    machine, motion = problem.plan.job.machine, problem.plan.motion
    turns = np.abs(machine.command).max() / (2 * np.pi) * np.abs(motion.speed(motion.time)).max()
    return min(FORCING, 1 / float(CYCLE * machine.fastest_cycle * turns)) if turns > 0 else FORCING


def _parts(problem: LayerProblem, spacing: float, finer: int) -> list[Part]:
    """The pieces of the motion in equal steps of at most `spacing` s, known forcing so much finer."""
    ends = [(float(a), float(b)) for a, b in pairwise(problem.plan.motion.time)]
    parts = [
        Part(piece=k, start=a, end=b, spaces=finer * _spaces(b - a, spacing)) for k, (a, b) in enumerate(ends)
    ]
    problem.forcing(parts)
    return parts


def drive(integrator: LayerIntegrator, parts: Sequence[Part], stride: int) -> None:
    """Follow the commanded motion in steps of `stride` known nodes. Raises SolverError where contacts
    find no solution."""
    for part in parts:
        while part.end - part.start > INSTANT:
            part = _follow(integrator, part, stride)


def _follow(integrator: LayerIntegrator, part: Part, stride: int) -> Part:
    """Follow part of a piece as far as contacts find solutions with that step; the rest, in shorter steps."""
    (known,) = integrator.problem.forcing([part])
    rest = standing(mixed(known.rest, integrator.mix))
    step, k = stride * known.spacing, 0
    answers = integrator.problem.answers(step, stride)
    while k < known.spaces:
        count = min(integrator.longest, (known.spaces - k) // stride)
        found = integrator.integrate(
            step, known.stretch(k, count, integrator.mix, answers), rest, count, OFTEN
        )
        if integrator.too_coarse(step, found, integrator.problem.control.force_error):
            break
        at = [k + stride * i for i in found.kept]
        integrator.keep(step, found, rest)
        integrator.imposed.append(known.imposed[:, at])
        k += stride * found.taken
        if found.taken < count:
            break
    start = part.end if k == known.spaces else part.start + k * known.spacing
    if part.end - start < INSTANT:
        return replace(part, start=part.end)
    return replace(
        part,
        start=start,
        spaces=stride * _spaces(part.end - start, _halved(integrator.problem.control, step)),
    )


def _spaces(span: float, spacing: float) -> int:
    return max(1, int(np.ceil(span / spacing - 1e-9)))


def _linear_layer(integrator: LayerIntegrator, parts: Sequence[Part]) -> tuple[Array, Array] | None:
    """A layer in which nothing but modes and dampers acts; None if an elastic element is touched."""
    problem, layer = integrator.problem, integrator.problem.layer
    motion, program = problem.plan.motion, problem.plan.job.program
    motions = free.free(layer)
    tables: dict[float, FirstOrderHold] = {}
    for part, known in zip(parts, problem.forcing(parts), strict=True):
        length = alike(known.spacing)
        if length not in tables:
            tables[length] = exponential.first_order_hold(motions.mu, known.spacing, free.LONGEST)
        found, kept = free.driven(motions, tables[length], known, integrator.mix, integrator.now.motion)
        rest = mixed(known.rest, integrator.mix)
        if not _linear(integrator, found, known.imposed[:, kept]):
            return None
        integrator.store((found[:, 0] - rest).astype(Real), part.start + kept * known.spacing, rest)
        integrator.imposed.append(known.imposed[:, kept])
        integrator.now = replace(integrator.now, motion=found[-1])
        integrator.time = part.end
    last, rest = _last(integrator)
    printing, finish = motion.duration + program.settle, program.period
    time, found, mean, bound = free.decayed(
        motions,
        integrator.now.motion,
        rest,
        problem.probes[0],
        finish - integrator.time,
        printing - integrator.time,
    )
    if not _linear(integrator, found, last):
        return None
    integrator.store((found[:, 0] - rest).astype(Real), integrator.time + time, rest)
    integrator.time += float(time[-1])
    integrator.now = replace(integrator.now, motion=found[-1])
    return bound, mean.T


def _linear(integrator: LayerIntegrator, found: Array, imposed: Array) -> bool:
    """Whether motions (t, 2, n, m) touch no stop and stay in the motors' linear range."""
    rows = integrator.problem.layer.rows
    if not rows.parts.present:
        return True
    place = _elastic_places(integrator, found[:, 0], imposed)
    none = np.zeros((place.shape[0], rows.bristles + rows.dampers, place.shape[2]))
    return rows.idle(np.concatenate([none, place], axis=1), base.LINEAR_LOAD_ANGLE)


def _elastic_places(integrator: LayerIntegrator, eta: Array, imposed: Array) -> Array:
    """Places (t, e, m) of elastic rows at eta (t, n, m), `imposed` (r, t, rows) taken off."""
    rows = integrator.problem.layer.rows
    maps = np.swapaxes(rows.place[..., rows.bristles + rows.dampers :], 1, 2)
    offset = np.moveaxis(imposed @ rows.parts.imposed.T, 0, -1)
    return np.asarray(mapped(maps, eta) - mixed(offset, integrator.mix))


def _last(integrator: LayerIntegrator) -> tuple[Array, Array]:
    """Imposed extensions (r, 1, rows) at the end of the motion, and where known forces then hold modes (n,
    m)."""
    problem, layer = integrator.problem, integrator.problem.layer
    last = integrator.imposed[-1][:, -1:]
    force = (last @ layer.imposed + problem.plan.shared(layer.weight[:, None]))[:, 0]
    return last, mixed((force / layer.frequency**2).T, integrator.mix)


def _halved(control: StepControl, spacing: float) -> float:
    """Half the spacing. Raises SolverError at the least one."""
    if spacing / 2 < control.least:
        raise SolverError(
            "propagator: a contact (stop, plain nut or friction) finds no solution at the closest spacing; "
            "use 'reference' for this scenario"
        )
    return spacing / 2


def ring_down(integrator: LayerIntegrator) -> tuple[Array, Array]:
    """Let the motion die out: the bound (m,) m of what is left at the probes, and the mean (m, n) of eta in
    print."""
    problem, layer, control = integrator.problem, integrator.problem.layer, integrator.problem.control
    motion, program, rows = problem.plan.motion, problem.plan.job.program, layer.rows
    last, rest = _last(integrator)
    resting = standing(rest)
    offset = (rest.T[:, None] @ rows.place)[:, 0].T[rows.bristles + rows.dampers :]
    offset -= mixed((last[:, 0] @ rows.parts.imposed.T).T, integrator.mix)
    known = steps.constant_forcing(rows.bristles, offset)
    probes = np.abs(np.swapaxes(problem.probes, 1, 2))
    printing, finish = motion.duration + program.settle, program.period
    shortened = 1.0  # where contacts are too stiff for the shortest step
    watched = max(1, sum(x <= WATCHED for x in control.rest))
    integrator.level = min(integrator.level, watched - 1)
    while True:
        bound = np.max(_amplitudes(integrator, rest)[:, None] @ probes, axis=(1, 2))
        if bound.max() < control.still or finish - integrator.time < INSTANT:
            return bound, mean_motion(integrator, rest, finish - printing)
        if integrator.began is None and integrator.time > printing - INSTANT:
            integrator.began, integrator.impulse = integrator.now, np.zeros_like(integrator.now.motion[0])
        left = (printing if integrator.began is None else finish) - integrator.time
        if bound.max() < base.SETTLED and _free_decay(integrator, rest, last, left):
            continue
        spacing = control.rest[integrator.level] * shortened
        count = integrator.longest
        if left < spacing * count:
            count = 2 * _spaces(left, 2 * spacing)  # errors are estimated on pairs of steps
            spacing = left / count
        every = REPORT if bound.max() > base.SETTLED / 2 else SELDOM
        found = integrator.integrate(spacing, known, resting, count, every)
        if found.touched and spacing > control.touch + INSTANT:
            integrator.level, shortened = 0, min(shortened, control.touch / control.rest[0])
            continue
        if integrator.rejected(found):
            continue
        if integrator.too_coarse(spacing, found, integrator.allowed):
            shortened = spacing / control.rest[0] / 2
            continue
        if found.taken < count:
            shortened = _halved(control, spacing) / control.rest[0]
        integrator.keep(spacing, found, resting)
        if found.taken:
            decay = float(layer.damping.min())
            integrator.rate = found.path * (decay / np.expm1(decay * spacing * found.taken))
        widest = len(control.rest) if bound.max() < base.SETTLED else watched
        integrator.choose_level(spacing, found, 0 if found.touched else widest - 1)


def _free_decay(integrator: LayerIntegrator, rest: Array, last: Array, span: float) -> bool:
    """Go on by `span` s in one go with imposed extensions as they are `last`, if bristles act, and elastic
    elements that hardly change, and what that leaves in doubt is allowed."""
    problem, layer = integrator.problem, integrator.problem.layer
    rows = layer.rows
    if problem.damping_ratio > RINGING or rows.dampers or integrator.stopped():
        return False
    # with more than a breakaway to go motions are not small
    if integrator.rate is None or integrator.rate.max(initial=0.0) >= layer.damping.min():
        return False
    allowed = problem.control.decay if integrator.began is not None else problem.control.decay / 2
    ahead = free_decay.forecast(layer, integrator.now, rest, integrator.rate)
    error = integrator.probe_error(ahead.uncertainty)
    if error.max() > allowed:
        return False
    now, doubt = _elastic_at_rest(integrator, ahead, last)
    error += integrator.probe_error(doubt)
    if error.max() > allowed:
        return False
    found = free_decay.decayed(layer, now, rest, span, ahead)
    error += integrator.probe_error(found.uncertainty)
    if error.max() > allowed:
        return False
    if rows.parts.present and not rows.clear(_elastic_places(integrator, found.seen, last)):
        return False
    integrator.store((found.seen - rest).astype(Real), integrator.time + found.time, rest)
    integrator.time += span
    integrator.path, integrator.rate = integrator.path + found.path, found.rate
    integrator.now = found.end
    if integrator.impulse is not None:
        impulse = np.concatenate([found.impulse, span * now.g[rows.bristles :]])
        integrator.impulse += (impulse.T[:, None] @ rows.push)[:, 0].T
    return True


def _elastic_at_rest(integrator: LayerIntegrator, ahead: Forecast, last: Array) -> tuple[ModalState, Array]:
    """The state with the forces that elastic elements have at rest, and how far these are in doubt (z, m)
    while modes swing and their rest drifts: their slope there times the way."""
    layer, now = integrator.problem.layer, integrator.now
    rows, first = layer.rows, layer.rows.bristles
    g, doubt = now.g.copy(), np.zeros_like(now.g)
    if not integrator.untouched():
        place = _elastic_places(integrator, ahead.before[None], last)[0]
        way = np.abs(layer.amplitude(now.motion - standing(ahead.before))).T
        way = way + np.abs(ahead.drift) / float(layer.damping.min())
        reach = mapped(np.abs(np.swapaxes(rows.place[..., first:], 1, 2)), way[None])[0]
        g[first:], doubt[first:] = rows.held(place, reach)
    return replace(now, g=g), doubt


def mean_motion(integrator: LayerIntegrator, rest: Array, span: float) -> Array:
    """Mean (m, n) of eta over the `span` s of printing, which known forcing alone would leave at `rest` (n,
    m).

    The mode's equation integrated: w^2 mean(eta) = mean(p) - (eta' + 2 d eta, end less start)/span; what had
    died out before the end rests.
    """
    layer = integrator.problem.layer
    square = layer.frequency**2
    held = layer.deflection_under(integrator.now.g)
    still = rest.T - held
    if integrator.began is None or integrator.impulse is None:
        return still
    left = max(0.0, integrator.problem.plan.job.program.period - integrator.time)
    mean = rest.T - (integrator.impulse.T / square + left * held) / span
    start, start_speed = (x.T for x in integrator.began.motion)
    end, end_speed = (x.T for x in integrator.now.motion)
    if left > INSTANT:
        end, end_speed = still, np.zeros_like(still)
    return mean - (end_speed - start_speed + 2 * layer.damping * (end - start)) / span / square


def _amplitudes(integrator: LayerIntegrator, rest: Array) -> Array:
    """Amplitude (m, n) of every mode about its rest under the row forces as they are."""
    layer = integrator.problem.layer
    still = rest - layer.deflection_under(integrator.now.g).T
    return np.abs(layer.amplitude(integrator.now.motion - standing(still)))
