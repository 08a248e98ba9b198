"""One layer of a batch in time: driven along the commanded motion, then left to ring down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from threading import get_ident
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, exponential, steps
from bedsim.engines.course import Course, Forcing, mixed
from bedsim.engines.modes import LayerModes, Real, Working
from bedsim.engines.solved import Solved
from bedsim.engines.state import State
from bedsim.engines.steps import Carried, Known, Outcome, Tables
from bedsim.errors import SolverError

Array = NDArray[np.float64]

REPORT, SELDOM = 2e-3, 3.2e-2  # s: motions reported this close, and where nothing is left to see
FORCING = 2.5e-4  # s: known forcing is taken at instants this close
WATCHED = 2e-3  # s: longest step while the probes still move by more than what counts as settled
COASTED = 4096  # most instants reported of a free ring-down
INSTANT = 1e-9  # s: what is closer is the same instant
CELLS = 2048  # members times steps of a stretch: what is worked on at once stays near the processor
GAIN = 4.0  # errors grow by so much, or a little more, when the spacing doubles
LASTING = 0.01  # s: an error once seen counts half after this time


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Lengths of the steps, s: `drive` while the bed is driven, `touch` where plain nuts act, `rest` a ladder.

    At rest a longer step is taken while the estimated error of a stretch stays well below `error` m at the
    probes, and a shorter one where it exceeds that.
    """

    drive: float = 4e-4
    rest: tuple[float, ...] = (2.5e-4, 5e-4, 1e-3, 2e-3, 4e-3)
    touch: float = 6.25e-5
    error: float = 4e-9
    tolerance: float = 5e-5  # breakaways (and 10 N): what is left at every corner
    least: float = 1e-6  # contacts that need a shorter step are given up

    def halved(self) -> Pace:
        """The same with every step halved."""
        return replace(
            self,
            drive=self.drive / 2,
            rest=tuple(x / 2 for x in self.rest),
            touch=self.touch / 2,
            error=self.error / 8,
            tolerance=self.tolerance / 10,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What all blocks of a batch share in one layer; tables are made once, when first asked for."""

    plan: Course
    layer: LayerModes
    pace: Pace
    probes: Array  # (s, p, n) motion of probes per mode
    view: Array  # (s, v, n) all that is watched, per mode
    made: dict[tuple[float, int, int], Tables] = field(default_factory=dict)
    forcings: dict[tuple[int, float, int], Forcing] = field(default_factory=dict)

    def tables(self, spacing: float, width: int, members: int) -> Tables:
        """The tables for a spacing where `width` rows act."""
        key = (float(f"{spacing:.9g}"), width, members)
        if key not in self.made:
            self.made[key] = steps.tables(self.layer, spacing, width, members)
        return self.made[key]

    def forcing(self, piece: int, span: tuple[float, float], spaces: int) -> Forcing:
        """The known forcing of part of a piece."""
        key = (piece, span[0], spaces)
        if key not in self.forcings:
            self.forcings[key] = course.forcing(self.plan, self.layer, piece, span, spaces)
        return self.forcings[key]


def row_weight(layer: LayerModes, probes: Array) -> Array:
    """What a unit of each row's force moves the probes by at rest (p, z), or (s, z, p): m."""
    answer = (layer.rows.push / layer.frequency[:, None] ** 2) @ np.swapaxes(probes, 1, 2)
    return np.asarray(answer[0].T if answer.shape[0] == 1 else answer, dtype=Real)


def mapped(maps: NDArray[Any], values: NDArray[Any]) -> NDArray[Any]:
    """Products (t, i, m) of maps (s, i, j) with values (t, j, m)."""
    if maps.shape[0] == 1:
        return maps[0] @ values
    return np.transpose(np.transpose(values, (2, 0, 1)) @ np.swapaxes(maps, 1, 2), (1, 2, 0))


@dataclass(slots=True, kw_only=True)
class Track:
    """What happens to some members in one layer: the state now, and the motions stored so far."""

    work: Work
    mix: Array | None  # (r, m)
    now: Carried
    weight: Array  # (p, z), or (s, z, p)
    time: float = 0.0
    rung: int = 0
    error: float = 0.0
    times: list[float] = field(default_factory=list)
    places: list[Array] = field(default_factory=list)  # eta (n, m) at the stored instants, where traced
    seen: list[Working] = field(default_factory=list)  # (t, v, m) all that is watched then
    imposed: list[Array] = field(default_factory=list)  # (r, t, rows) at those of the motion
    began: Carried | None = None  # the state when printing began
    impulse: Array | None = None  # (n, m) modal forces of the rows integrated since
    path: Array | float = 0.0  # (c, m) of all contacts, breakaways
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

    def march(
        self, spacing: float, known: Callable[[Tables], Known], rest: Array, count: int, every: float = REPORT
    ) -> Outcome:
        """`count` steps with the motion counted from `rest` (2, n, m), stored `every` so many s."""
        work, rows = self.work, self.work.layer.rows
        sizes = (rows.contacts, rows.bristles, rows.size, work.layer.frequency.shape[1])
        room = steps.desk(self.members, self.longest, sizes, get_ident())
        now = replace(self.now, motion=self.now.motion - rest)
        stride = max(1, round(every / spacing))
        width = rows.bristles if self._alone() else rows.size
        while True:
            table = work.tables(spacing, width, self.members)
            found = steps.march(
                table, rows, known(table), now, count, stride, work.pace.tolerance, self.weight, room
            )
            self.tries += found.tries
            if width == rows.size or found.taken == 0 or rows.idle(room.seen[1 : found.taken + 1, 0]):
                return found
            width = rows.size

    def refused(self, found: Outcome) -> bool:
        """Whether the error of a stretch is too large for it to be taken: a rung lower it is tried again."""
        if self.rung == 0 or found.error <= GAIN * self.work.pace.error:
            return False
        self.rung -= 1
        self.error = self.work.pace.error
        return True

    def _alone(self) -> bool:
        """Whether bristles alone act as far as is known."""
        rows = self.work.layer.rows
        return not (rows.dampers or rows.parts.slope.size or self.now.g[rows.bristles :].any())

    def keep(self, spacing: float, found: Outcome, rest: Array) -> None:
        """Go on from the end of a stretch, whose motions count from `rest` (2, n, m)."""
        if found.kept:
            self.store(np.array(found.stored), self.time + spacing * np.array(found.kept), rest[0])
        self.time += spacing * found.taken
        self.taken += found.taken
        self.path = self.path + found.path
        self.now = replace(found.end, motion=found.end.motion + rest)
        if self.impulse is not None:
            self.impulse += found.impulse

    def store(self, eta: Working, times: Array, rest: Array) -> None:
        """What is watched of the motions (t, n, m) about `rest` (n, m) at some instants."""
        view = self.work.view
        still = mapped(view, rest[None])
        self.seen.append(mapped(view.astype(Real), eta) + still.astype(Real))
        self.times += times.tolist()
        if self.work.plan.job.trace_layers:
            self.places += list(eta + rest)

    def choose(self, spacing: float, found: Outcome, highest: int) -> None:
        """The rung for the next stretch."""
        pace = self.work.pace
        self.error = max(found.error, self.error * 0.5 ** (spacing * found.taken / LASTING))
        if self.error > pace.error and self.rung > 0:
            self.rung, self.error = self.rung - 1, self.error / GAIN
        elif self.rung < highest and GAIN * self.error < pace.error:
            self.rung, self.error = self.rung + 1, self.error * GAIN
        self.rung = min(self.rung, highest)


def enter(layer: LayerModes, before: State, imposed: Array) -> Carried:
    """From motions to this layer's modes; `imposed` (m, r)."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    eta = (before.q[:, None] @ layer.to_modes)[:, 0]
    speed = (before.v[:, None] @ layer.to_modes)[:, 0]
    seen = np.stack([(eta[:, None] @ rows.place)[:, 0].T, (speed[:, None] @ rows.place)[:, 0].T])
    seen[0, b + d :] -= (imposed @ rows.parts.imposed.T).T
    phi = np.ascontiguousarray((before.f[:, rows.order] / rows.limit).T)
    g = np.concatenate([phi - seen[0, :b], rows.others(seen, 1.0)])
    return Carried(motion=np.stack([eta.T, speed.T]), phi=phi, g=g, rate=np.zeros_like(g))


def leave(layer: LayerModes, now: Carried) -> State:
    """From modes back to motions."""
    rows = layer.rows
    back = np.swapaxes(layer.modes, 1, 2)
    q, v = ((x.T[:, None] @ back)[:, 0] for x in now.motion)
    f = np.empty((q.shape[0], rows.bristles))
    f[:, rows.order] = now.phi.T * rows.limit
    return State(q=q, v=v, f=f)


def begin(work: Work, mix: Array | None, before: State) -> Track:
    """A track at the start of the layer."""
    first = work.plan.imposed(work.plan.motion.time[:1], np.zeros(1, dtype=int))
    now = enter(work.layer, before, mixed(first[:, 0].T, mix).T)
    track = Track(work=work, mix=mix, now=now, weight=row_weight(work.layer, work.probes))
    track.store(np.zeros((1, *now.motion.shape[1:]), dtype=Real), np.zeros(1), now.motion[0])
    track.imposed.append(first)
    return track


def solve(work: Work, members: slice, before: State) -> Solved:
    """A layer of some members from the states before it. Raises SolverError where contacts find no solution."""
    mix = None if work.plan.mix is None else np.ascontiguousarray(work.plan.mix[:, members])
    track = begin(work, mix, before)
    for piece in range(work.plan.motion.time.size - 1):
        drive(track, piece)
    bound, mean = ring_down(track)
    n, m = track.now.motion.shape[1:]
    return Solved(
        plan=work.plan,
        modes=work.layer,
        mix=mix,
        after=leave(work.layer, track.now),
        time=np.array(track.times),
        seen=np.concatenate(track.seen),
        imposed=np.concatenate(track.imposed, axis=1),
        places=np.array(track.places) if track.places else np.zeros((0, n, m)),
        mean=mean,
        bound=bound,
        path=np.zeros((work.layer.rows.contacts, m)) + track.path,
        statistics={"steps": float(track.taken), "tries": float(track.tries)},
    )


def drive(track: Track, piece: int) -> None:
    """Follow one piece of the commanded motion. Raises SolverError where contacts find no solution."""
    work = track.work
    profile, pace = work.plan.motion, work.pace
    start, end = (float(x) for x in profile.time[piece : piece + 2])
    if work.layer.rows.size == 0:
        _drive_freely(track, work.forcing(piece, (start, end), _spaces(end - start, FORCING)))
        return
    spacing = pace.touch if work.layer.rows.parts.slope.size else pace.drive
    while end - start > INSTANT:
        stride = 2 * max(1, int(np.ceil(spacing / (2 * FORCING) - 1e-9)))  # corners of known forcing in a step
        known = work.forcing(piece, (start, end), stride * _spaces(end - start, spacing))
        step = stride * known.spacing
        rest = _at_rest(mixed(known.rest, track.mix))
        k = 0
        while k < known.spaces:
            count = min(track.longest, (known.spaces - k) // stride)
            found = track.march(step, lambda table: known.stretch(k, count, table, track.mix), rest, count)
            at = [k + stride * i for i in found.kept]
            track.keep(step, found, rest)
            track.imposed.append(known.imposed[:, at])
            k += stride * found.taken
            if found.taken < count:
                spacing = _closer(pace, step)
                break
        start = end if k == known.spaces else start + k * known.spacing


def _at_rest(rest: Array) -> Array:
    """The motion (2, n, m) of standing at `rest` (n, m)."""
    return np.stack([rest, np.zeros_like(rest)])


def _spaces(span: float, spacing: float) -> int:
    return int(np.ceil(span / spacing - 1e-9))


def _drive_freely(track: Track, known: Forcing) -> None:
    """Follow one piece where nothing but the modes acts: known forcing and free motion are all there is."""
    layer = track.work.layer
    stride = max(1, round(REPORT / known.spacing))
    kept = np.arange(known.spaces, 0, -stride)[::-1]
    at = mixed(course.free_motion(layer, known)[np.append(0, kept)], track.mix)
    u = _amplitude(layer, track.now.motion - at[0])
    passed = kept * known.spacing
    free = exponential.power(layer.frequency, layer.damping, passed) * u[:, None]
    moved = np.stack(exponential.motion(free, layer.frequency[:, None], layer.damping[:, None]))
    motion = at[1:] + np.transpose(moved, (2, 0, 3, 1))
    rest = mixed(known.rest, track.mix)
    track.store((motion[:, 0] - rest).astype(Real), track.time + passed, rest)
    track.imposed.append(known.imposed[:, kept])
    track.time += known.spaces * known.spacing
    track.now = replace(track.now, motion=motion[-1])


def _amplitude(layer: LayerModes, motion: Array) -> NDArray[np.complex128]:
    """Complex amplitudes (m, n) of a motion (2, n, m)."""
    return exponential.amplitude(motion[0].T, motion[1].T, layer.frequency, layer.damping)


def _coast(track: Track, rest: Array) -> tuple[Array, Array]:
    """Ring-down where nothing but the modes acts: the bound (m,) m and the mean (m, n) of eta in print,
    exactly; `rest` (n, m)."""
    work, layer = track.work, track.work.layer
    program, motion = work.plan.job.program, work.plan.motion
    printing, finish = motion.duration + program.settle, program.period
    away = _amplitude(layer, track.now.motion - _at_rest(rest))

    def bound(time: Array) -> Array:
        left = np.abs(away)[:, None] * np.exp(-layer.damping[:, None] * time[:, None])
        return (left @ np.abs(np.swapaxes(work.probes, 1, 2))).max(axis=2)  # (m, t)

    def after(time: Array) -> Array:
        u = exponential.power(layer.frequency, layer.damping, time) * away[:, None]
        moved = np.stack(exponential.motion(u, layer.frequency[:, None], layer.damping[:, None]))
        found = np.transpose(moved, (2, 0, 3, 1))
        found[:, 0] += rest
        return found  # (t, 2, n, m)

    most = min(int((finish - track.time) / REPORT), COASTED)
    time: Array = REPORT * np.arange(1.0, most)
    largest = bound(time[::16]).max(axis=0, initial=0.0)
    moving, unsettled = (16 * (1 + np.count_nonzero(largest > limit)) for limit in (base.STILL, base.SETTLED))
    time = np.concatenate([time[:unsettled], time[unsettled:moving:4]])
    if moving >= most or time.size == 0:
        time = np.append(time, finish - track.time)
    if printing < track.time + time[-1]:
        start = after(np.array([printing - track.time]))[0]
        track.began, track.impulse = replace(track.now, motion=start), np.zeros_like(track.now.motion[0])
    found = after(time)
    track.store((found[:, 0] - rest).astype(Real), track.time + time, rest)
    track.time += float(time[-1])
    track.now = replace(track.now, motion=found[-1])
    return bound(time[-1:])[:, 0], mean_motion(track, rest, finish - printing)


def _closer(pace: Pace, spacing: float) -> float:
    """Half the spacing. Raises SolverError at the least one."""
    if spacing / 2 < pace.least:
        raise SolverError(
            "propagator: a contact (stop, plain nut or friction) finds no solution at the closest spacing; "
            "use 'reference' for this scenario"
        )
    return spacing / 2


def ring_down(track: Track) -> tuple[Array, Array]:
    """Let the motion die out: the bound (m,) m of what is left at the probes, and the mean (m, n) of eta in
    print."""
    work, layer, pace = track.work, track.work.layer, track.work.pace
    plan, motion, program = work.plan, work.plan.motion, work.plan.job.program
    rows = layer.rows
    last = plan.imposed(motion.time[-1:], np.array([motion.time.size - 2]))
    force = (last @ layer.imposed + plan.shared(layer.weight[:, None]))[:, 0]
    rest = mixed((force / layer.frequency**2).T, track.mix)  # (n, m)
    if rows.size == 0:
        return _coast(track, rest)
    resting = _at_rest(rest)
    offset = (rest.T[:, None] @ rows.place)[:, 0].T[rows.bristles + rows.dampers :]
    offset -= mixed((last[:, 0] @ rows.parts.imposed.T).T, track.mix)
    known = steps.still(rows.bristles, offset)
    probes = np.abs(np.swapaxes(work.probes, 1, 2))
    printing, finish = motion.duration + program.settle, program.period
    shortened = 1.0  # where contacts are too stiff for the shortest step
    watched = max(1, sum(x <= WATCHED for x in pace.rest))
    track.rung = min(track.rung, watched - 1)
    while True:
        bound = np.max(_amplitudes(track, rest)[:, None] @ probes, axis=(1, 2))
        if bound.max() < base.STILL or finish - track.time < INSTANT:
            return bound, mean_motion(track, rest, finish - printing)
        if track.began is None and track.time > printing - INSTANT:
            track.began, track.impulse = track.now, np.zeros_like(track.now.motion[0])
        left = (printing if track.began is None else finish) - track.time
        spacing = pace.rest[track.rung] * shortened
        count = track.longest
        if left < spacing * count:
            count = _spaces(left, spacing)
            spacing = left / count
        every = REPORT if bound.max() > base.SETTLED / 2 else SELDOM
        found = track.march(spacing, lambda _: known, resting, count, every)
        if track.refused(found):
            continue
        if found.taken < count:
            shortened = _closer(pace, spacing) / pace.rest[0]
        track.keep(spacing, found, resting)
        widest = len(pace.rest) if bound.max() < base.SETTLED else watched
        track.choose(spacing, found, widest - 1)


def mean_motion(track: Track, rest: Array, span: float) -> Array:
    """Mean (m, n) of eta over the `span` s of printing, which known forcing alone would leave at `rest` (n, m).

    The mode's equation integrated: w^2 mean(eta) = mean(p) - (eta' + 2 d eta, end less start)/span; what had
    died out before the end rests.
    """
    layer, g = track.work.layer, track.now.g.T
    square = layer.frequency**2

    def pushed(force: Array) -> Array:
        return (force[:, None] @ layer.rows.push)[:, 0] / square

    still = rest.T - pushed(g)
    if track.began is None or track.impulse is None:
        return still
    left = max(0.0, track.work.plan.job.program.period - track.time)
    mean = rest.T - (track.impulse.T / square + left * pushed(g)) / span
    start, start_speed = (x.T for x in track.began.motion)
    end, end_speed = (x.T for x in track.now.motion)
    if left > INSTANT:
        end, end_speed = still, np.zeros_like(still)
    return mean - (end_speed - start_speed + 2 * layer.damping * (end - start)) / span / square


def _amplitudes(track: Track, rest: Array) -> Array:
    """Amplitude (m, n) of every mode about its rest under the row forces as they are."""
    layer = track.work.layer
    held = (track.now.g.T[:, None] @ layer.rows.push)[:, 0] / layer.frequency**2
    still = rest - held.T
    return np.abs(_amplitude(layer, track.now.motion - _at_rest(still)))
