"""One layer of a batch in time: driven along the commanded motion, then left to ring down."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from threading import get_ident

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, exponential, window
from bedsim.engines.course import Course, Forcing, mixed
from bedsim.engines.modes import LayerModes
from bedsim.engines.state import State
from bedsim.engines.window import Carried, Desk, Grid, Known
from bedsim.errors import SolverError

Array = NDArray[np.float64]

REPORT = 2e-3  # s: motions reported this close
WATCHED = 2e-3  # s: widest spacing while the probes still move by more than what counts as settled
INSTANT = 1e-9  # s
COASTED = 4096  # most instants looked at in a ring-down without contacts
# windows grow up to the first and shrink beyond the second number of sweeps: a few members pay for calls,
# many for
# arithmetic, of which short windows need less
CROWD = 8
SWEEPS_ALONE, SWEEPS_IN_CROWD = (4, 6), (2, 3)
MEMORY = 0.01  # s: a path error once seen counts half after this time
GAIN = 4.0  # path errors grow by so much, or a little more, when the spacing doubles


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Spacing of the polygons, s: `drive` while the bed is driven, `touch` where stops or plain nuts act,
    `rest` a ladder.

    At rest a wider spacing is taken when the bristles' path over a window changes by less than `path_error`
    breakaways if every other corner is left out, and a closer one when it changes by more than four times
    that.
    """

    drive: float = 2.5e-4
    touch: float = 6.25e-5
    rest: tuple[float, ...] = (2.5e-4, 5e-4, 1e-3, 2e-3, 4e-3)
    path_error: float = 5e-4
    tolerance: float = 5e-5  # breakaways (and 10 N): what the sweeps of a window may leave
    spaces: int = 64  # most in one window
    least: float = 1e-6  # contacts that need a closer spacing are given up

    def halved(self) -> Pace:
        """The same with every spacing halved."""
        return replace(
            self,
            drive=self.drive / 2,
            touch=self.touch / 2,
            rest=tuple(x / 2 for x in self.rest),
            path_error=self.path_error / 8,
            tolerance=self.tolerance / 10,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What all blocks of a batch share in one layer; tables are made once, when first asked for."""

    plan: Course
    layer: LayerModes
    pace: Pace
    probes: Array  # (s, p, n) absolute motion of probes per mode
    grids: dict[float, Grid] = field(default_factory=dict)
    forcings: dict[tuple[int, float, int], Forcing] = field(default_factory=dict)

    def grid(self, spacing: float) -> Grid:
        """The tables for a spacing."""
        key = float(f"{spacing:.9g}")
        if key not in self.grids:
            self.grids[key] = window.grid(self.layer, key, self.pace.spaces)
        return self.grids[key]

    def forcing(self, piece: int, span: tuple[float, float], spaces: int) -> Forcing:
        """The known forcing of part of a piece."""
        key = (piece, span[0], spaces)
        if key not in self.forcings:
            grid = self.grid((span[1] - span[0]) / spaces)
            self.forcings[key] = course.forcing(self.plan, self.layer, grid, piece, span, spaces)
        return self.forcings[key]

    def desk(self, members: int, spaces: int) -> Desk:
        """Room for a window."""
        rows = self.layer.rows
        size = (rows.bristles, rows.size, self.layer.frequency.shape[1])
        return window.desk(members, spaces, size, get_ident())


@dataclass(slots=True, kw_only=True)
class Track:
    """What happens to some members in one layer: the state now, and the motions stored so far."""

    work: Work
    mix: Array | None
    now: Carried
    time: float = 0.0
    spaces: int = 16
    times: list[float] = field(default_factory=list)
    places: list[Array] = field(default_factory=list)
    imposed: list[Array] = field(default_factory=list)  # (r, t, rows) at the stored instants of the motion
    began: Carried | None = None  # the state when printing began
    impulse: Array | None = None  # (m, z) row forces integrated since
    sweeps: int = 0
    windows: int = 0
    corners: int = 0

    def advance(
        self, grid: Grid, known: Known, first: int, most: int, worst: float = np.inf
    ) -> tuple[window.Outcome, NDArray[np.int64]]:
        """One window of at most `most` spaces, and which of its corners were stored.

        Its length follows how quickly the sweeps converge.  A window whose path error exceeds `worst` is not
        taken.
        """
        pace = self.work.pace
        spaces = min(self.spaces, most, grid.longest)
        room = self.work.desk(self.now.u.shape[0], spaces)
        found = window.solve(grid, known.corners(first, spaces), room, self.now, pace.tolerance)
        self.sweeps += found.sweeps
        self.windows += 1
        self.corners += found.settled
        few, many = SWEEPS_ALONE if self.now.u.shape[0] < CROWD else SWEEPS_IN_CROWD
        if found.settled < spaces or found.sweeps > many:
            self.spaces = max(2, spaces // 2)
        elif found.sweeps <= few and spaces == self.spaces:
            self.spaces = min(2 * self.spaces, pace.spaces)
        if found.settled == 0 or found.path_error > worst:
            return found, np.zeros(0, dtype=int)
        self.now = found.end
        if self.impulse is not None:
            self.impulse += found.impulse
        return found, self._store(grid.corners.spacing, found)

    def _store(self, spacing: float, found: window.Outcome) -> NDArray[np.int64]:
        stride = max(1, round(REPORT / spacing))
        kept = np.arange(found.settled - 1, -1, -stride)[::-1]
        self.places.append(found.amplitude[:, kept].real)
        self.times += (self.time + spacing * (kept + 1)).tolist()
        self.time += spacing * found.settled
        return kept


def enter(layer: LayerModes, before: State, imposed: Array) -> Carried:
    """From motions to this layer's modes; `imposed` (m, r)."""
    rows, b, d = layer.rows, layer.rows.bristles, layer.rows.dampers
    eta = (before.q[:, None] @ layer.to_modes)[:, 0]
    speed = (before.v[:, None] @ layer.to_modes)[:, 0]
    seen = (eta[:, None] @ rows.place)[:, 0]
    seen[:, b : b + d] = (speed[:, None] @ rows.place[..., b : b + d])[:, 0]
    phi = before.f / rows.limit
    g = np.zeros_like(seen)
    g[:, :b] = phi - seen[:, :b]
    if rows.size > b:
        g[:, b:] = rows.others(seen[:, b:], imposed @ rows.parts.imposed.T)
    return Carried(u=exponential.amplitude(eta, speed, layer.frequency, layer.damping), phi=phi, g=g)


def leave(layer: LayerModes, now: Carried) -> State:
    """From modes back to motions."""
    eta, speed = exponential.motion(now.u, layer.frequency, layer.damping)
    back = np.swapaxes(layer.modes, 1, 2)
    return State(q=(eta[:, None] @ back)[:, 0], v=(speed[:, None] @ back)[:, 0], f=now.phi * layer.rows.limit)


def begin(work: Work, mix: Array | None, before: State) -> Track:
    """A track at the start of the layer."""
    first = work.plan.imposed(work.plan.motion.time[:1], np.zeros(1, dtype=int))
    track = Track(work=work, mix=mix, now=enter(work.layer, before, mixed(first, mix)[:, 0]))
    track.times.append(0.0)
    track.places.append(track.now.u.real[:, None])
    track.imposed.append(first)
    return track


def drive(track: Track, piece: int) -> None:
    """Follow one piece of the commanded motion. Raises SolverError where contacts find no solution."""
    work = track.work
    profile, pace = work.plan.motion, work.pace
    if work.layer.rows.size == 0:
        return _drive_freely(track, piece)
    spacing = pace.touch if work.layer.rows.parts.slope.size else pace.drive
    start, end = float(profile.time[piece]), float(profile.time[piece + 1])
    while end - start > 1e-12:
        spaces = int(np.ceil((end - start) / spacing - 1e-9))
        forcing = work.forcing(piece, (start, end), spaces)
        grid, known = work.grid((end - start) / spaces), forcing.of(track.mix)
        k = 0
        while k < spaces:
            found, kept = track.advance(grid, known, k, spaces - k)
            track.imposed.append(forcing.imposed[:, k + 1 + kept])
            k += found.settled
            if (found.stiff and grid.corners.spacing > pace.touch) or found.settled == 0:
                spacing = closer(pace, grid)
                break
        start = end if k == spaces else start + k * grid.corners.spacing


def _drive_freely(track: Track, piece: int) -> None:
    """Follow one piece where nothing but the modes acts: known forcing and free motion are all there is."""
    work, layer = track.work, track.work.layer
    start, end = (float(x) for x in work.plan.motion.time[piece : piece + 2])
    spaces = int(np.ceil((end - start) / work.pace.drive - 1e-9))
    forcing = work.forcing(piece, (start, end), spaces)
    stride = max(1, round(REPORT * spaces / (end - start)))
    kept = np.arange(spaces, 0, -stride)[::-1]
    known = mixed(forcing.known.amplitude[:, np.append(0, kept)].view(float), track.mix).view(complex)
    passed = kept * ((end - start) / spaces)
    free = exponential.power(layer.frequency, layer.damping, passed) * (track.now.u - known[:, 0])[:, None]
    u = known[:, 1:] + free
    track.places.append(u.real)
    track.times += (track.time + passed).tolist()
    track.imposed.append(forcing.imposed[:, kept])
    track.time = end
    track.now = replace(track.now, u=u[:, -1].copy())


def _coast(track: Track, resting: NDArray[np.complex128], force: Array) -> tuple[Array, Array]:
    """Ring-down where nothing but the modes acts: the bound (m,) m and the mean (m, n) of eta in print,
    exactly."""
    work, layer = track.work, track.work.layer
    program, motion = work.plan.job.program, work.plan.motion
    printing, finish = motion.duration + program.settle, program.period
    away = track.now.u - resting

    def bound(time: Array) -> Array:
        left = np.abs(away)[:, None] * np.exp(-layer.damping[:, None] * time[:, None])
        return (left @ np.swapaxes(work.probes, 1, 2)).max(axis=2)  # (m, t)

    most = min(int((finish - track.time) / REPORT), COASTED)
    time: Array = REPORT * np.arange(1.0, most)
    largest = bound(time[::16]).max(axis=0, initial=0.0)
    moving, unsettled = (16 * (1 + np.count_nonzero(largest > limit)) for limit in (base.STILL, base.SETTLED))
    time = np.concatenate([time[:unsettled], time[unsettled:moving:4]])
    if moving >= most or time.size == 0:
        time = np.append(time, finish - track.time)
    u = resting[:, None] + exponential.power(layer.frequency, layer.damping, time) * away[:, None]
    if printing < track.time + time[-1]:
        passed = np.array([printing - track.time])
        start = resting + (exponential.power(layer.frequency, layer.damping, passed) * away[:, None])[:, 0]
        track.began, track.impulse = replace(track.now, u=start), np.zeros_like(track.now.g)
    track.places.append(u.real)
    track.times += (track.time + time).tolist()
    track.time += float(time[-1])
    track.now = replace(track.now, u=u[:, -1].copy())
    return bound(time[-1:])[:, 0], mean_motion(track, force, finish - printing)


def closer(pace: Pace, grid: Grid) -> float:
    """Half the spacing. Raises SolverError at the least one."""
    spacing = grid.corners.spacing / 2
    if spacing < pace.least:
        raise SolverError(
            "propagator: a contact (stop, plain nut or friction) finds no solution at the closest spacing; "
            "use 'reference' for this scenario"
        )
    return spacing


def ring_down(track: Track) -> tuple[Array, Array]:
    """Let the motion die out: the bound (m,) m of what is left at the probes, and the mean (m, n) of eta in
    print."""
    work, layer, pace = track.work, track.work.layer, track.work.pace
    plan, motion, program = work.plan, work.plan.motion, work.plan.job.program
    last = plan.imposed(motion.time[-1:], np.array([motion.time.size - 2]))
    force = last @ layer.imposed
    force = mixed(force + plan.shared(layer.weight[:, None]), track.mix)[:, 0]
    last = mixed(last, track.mix)
    offset = last @ layer.rows.parts.imposed.T
    resting = layer.resting(force)[:, None]
    if layer.rows.size == 0:
        return _coast(track, resting[:, 0], force)
    printing, finish = motion.duration + program.settle, program.period
    rung, spacing, error = 0, pace.rest[0], pace.path_error
    while True:
        away = amplitudes(layer, track.now, force)[:, None] @ np.swapaxes(work.probes, 1, 2)
        bound = np.max(away, axis=(1, 2))
        if bound.max() < base.STILL or finish - track.time < INSTANT:
            return bound, mean_motion(track, force, finish - printing)
        if track.began is None and track.time > printing - INSTANT:
            track.began, track.impulse = track.now, np.zeros_like(track.now.g)
        left = (printing if track.began is None else finish) - track.time
        if left < spacing * min(track.spaces, pace.spaces):
            spaces = int(np.ceil(left / spacing - 1e-9))
            grid = window.grid(layer, left / spaces, pace.spaces)
        else:
            spaces, grid = pace.spaces, work.grid(spacing)
        found, _ = track.advance(
            grid, at_rest(grid, resting, offset), 0, spaces, 4 * pace.path_error if rung else np.inf
        )
        widest = pace.rest[-1] if bound.max() < base.SETTLED else WATCHED
        span = found.settled * grid.corners.spacing
        error = max(found.path_error, error * 0.5 ** (span / MEMORY))
        if (found.stiff and spacing > pace.touch) or found.settled == 0:
            spacing = closer(pace, grid)
        elif error > pace.path_error and rung > 0:
            rung, error = rung - 1, error / GAIN
            spacing = pace.rest[rung]
        elif rung + 1 < len(pace.rest) and GAIN * error < pace.path_error and pace.rest[rung + 1] <= widest:
            rung, error = rung + 1, error * GAIN
            spacing = pace.rest[rung]


def at_rest(grid: Grid, resting: NDArray[np.complex128], offset: Array) -> Known:
    """The known forcing at rest, where it is constant."""
    return Known(
        amplitude=resting,
        place=resting.view(float) @ grid.all.place,
        speed=resting.view(float) @ grid.speed,
        slip=np.zeros((1, grid.layer.rows.bristles)),
        offset=offset,
    )


def mean_motion(track: Track, force: Array, span: float) -> Array:
    """Mean (m, n) of eta over the `span` s of printing under the constant modal `force` (m, n).

    The mode's equation integrated: w^2 mean(eta) = mean(p) - (eta' + 2 d eta, end less start)/span; what had
    died out before the end rests.
    """
    layer = track.work.layer
    held = (track.now.g[:, None] @ layer.rows.push)[:, 0]
    rest = (force - held) / layer.frequency**2
    if track.began is None or track.impulse is None:
        return rest
    left = max(0.0, track.work.plan.job.program.period - track.time)
    mean_force = force - ((track.impulse + left * track.now.g)[:, None] @ layer.rows.push)[:, 0] / span
    start, start_speed = exponential.motion(track.began.u, layer.frequency, layer.damping)
    end, end_speed = exponential.motion(track.now.u, layer.frequency, layer.damping)
    if left > INSTANT:
        end, end_speed = rest, np.zeros_like(rest)
    gained = end_speed - start_speed + 2 * layer.damping * (end - start)
    return (mean_force - gained / span) / layer.frequency**2


def amplitudes(layer: LayerModes, now: Carried, force: Array) -> Array:
    """Amplitude (m, n) of every mode about its rest under the constant modal `force` (m, n)."""
    held = (now.g[:, None] @ layer.rows.push)[:, 0]
    return np.abs(now.u - layer.resting(force - held))
