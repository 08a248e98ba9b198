"""The propagator: the same equations as the reference engine, advanced exactly in the natural modes.

The modes are those of the machine with its bristles stuck, so that what rings down after a move is carried
exactly and
only the slip of the bristles is left over.  Imperfections are forcing alone, so a layer's modes serve every
member of a
batch.  What is not linear - bristles, stops, plain nuts, explicit dampers - acts through a few rows whose
forces are
polygons in time; `window.py` solves for them.  Errors are of second order in the polygon's spacing or
better, and the
spacing follows an estimate of the error of the bristles' path (`Pace`); tests/agreement shows both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import base, exponential, state, window
from bedsim.engines.base import Chunk, Handles, History, Job, Observer
from bedsim.engines.modes import LayerModes, layer_modes
from bedsim.engines.reference import ReferenceEngine
from bedsim.engines.state import State
from bedsim.engines.window import Carried, Grid, Known
from bedsim.errors import SolverError
from bedsim.model.assembly import System
from bedsim.model.program import Profile

Array = NDArray[np.float64]

LAYERS_AT_ONCE = 64
FORCING = 1.3e-4  # s: known forcing is straight between instants this close
REPORT = 2e-3  # s: motions reported this close
WATCHED = 2e-3  # s: widest spacing while the probes still move by more than what counts as settled
INSTANT = 1e-9  # s
MEMORY = 0.01  # s: a path error once seen counts half after this time
GAIN = 4.0  # path errors grow by so much, or a little more, when the spacing doubles


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Spacing of the polygons, s: `drive` while the bed is driven, `touch` where stops or plain nuts act,
    `rest` a ladder.

    At rest a wider spacing is taken when the bristles' path over a window changes by less than `path_error`
    breakaways
    if every other corner is left out, and a closer one when it changes by more than four times that.
    """

    drive: float = 2.5e-4
    touch: float = 6.25e-5
    rest: tuple[float, ...] = (2.5e-4, 5e-4, 1e-3, 2e-3, 4e-3)
    path_error: float = 5e-4
    tolerance: float = 2e-5  # breakaways (and 10 N): what the sweeps of a window may leave
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


@dataclass(slots=True, kw_only=True)
class Track:
    """What happens in one layer of a batch: the state now, and the motions stored so far."""

    job: Job
    layer: LayerModes
    pace: Pace
    now: Carried
    time: float = 0.0
    spaces: int = 16
    times: list[float] = field(default_factory=list)
    places: list[Array] = field(default_factory=list)
    grids: dict[float, Grid] = field(default_factory=dict)
    began: Carried | None = None  # the state when printing began
    impulse: Array | None = None  # (m, z) row forces integrated since
    sweeps: int = 0
    windows: int = 0
    corners: int = 0

    def grid(self, spacing: float) -> Grid:
        """The tables for a spacing, made once."""
        if spacing not in self.grids:
            self.grids[spacing] = window.grid(self.layer, spacing, self.pace.spaces)
        return self.grids[spacing]

    def advance(
        self, grid: Grid, known: Known, first: int, most: int, worst: float = np.inf
    ) -> window.Outcome:
        """One window of at most `most` spaces; its length follows how quickly the sweeps converge.

        A window whose path error exceeds `worst` is not taken.
        """
        spaces = min(self.spaces, most, grid.longest)
        found = window.solve(grid, known, first, spaces, self.now, self.pace.tolerance)
        self.sweeps += found.sweeps
        self.windows += 1
        self.corners += found.settled
        if found.settled < spaces or found.sweeps > 6:
            self.spaces = max(2, spaces // 2)
        elif found.sweeps <= 4 and spaces == self.spaces:
            self.spaces = min(2 * self.spaces, self.pace.spaces)
        if found.settled and found.path_error <= worst:
            self.now = found.end
            if self.impulse is not None:
                self.impulse += found.impulse
            self._store(grid.corners.spacing, found)
        return found

    def _store(self, spacing: float, found: window.Outcome) -> None:
        stride = max(1, round(REPORT / spacing))
        kept = np.arange(found.settled - 1, -1, -stride)[::-1]
        self.places.append(found.amplitude[:, kept].real)
        self.times += (self.time + spacing * (kept + 1)).tolist()
        self.time += spacing * found.settled


@dataclass(frozen=True, slots=True, kw_only=True)
class PropagatorEngine:
    """Exact motion in the natural modes between corners as close as `pace` says."""

    name: str = "propagator"
    handles: Handles = Handles.FRICTION | Handles.STOPS | Handles.PLAY | Handles.INERTIA | Handles.MEMBERS
    pace: Pace = field(default_factory=Pace)

    def run(self, job: Job) -> Iterator[Chunk]:
        """Layers in order, for all members. A layer past the motors' linear range is done by the reference
        engine.

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
        modes = layer_modes(job, system, slice(index, index + 1))
        start_time = job.program.start_time(layer)
        imposed = job.machine.imposed(motion.path(np.zeros(1), start_time), job.amounts)[:, 0]
        track = Track(job=job, layer=modes, pace=self.pace, now=enter(modes, before, imposed))
        track.times.append(0.0)
        track.places.append(track.now.u.real[:, None])
        for piece in range(motion.time.size - 1):
            drive(track, motion, piece, start_time)
        bound, mean = ring_down(track, observer, index, motion, start_time)
        eta = np.concatenate(track.places, axis=1)
        back = np.swapaxes(modes.modes, 1, 2)
        q = eta @ back
        chunk = _report(
            job, observer, index, layer, motion, np.array(track.times), q, (mean[:, None] @ back)[:, 0], bound
        )
        chunk.statistics.update(corners=track.corners, windows=track.windows, sweeps=track.sweeps)
        return self._past_linear(job, system, observer, index, layer, before, leave(modes, track.now), chunk)

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
        """Members whose load angle left the linear range are computed again by the reference engine, sine
        and all."""
        over = np.flatnonzero(np.any(chunk.load_angle[:, 0] > base.LINEAR_LOAD_ANGLE, axis=1))
        if over.size == 0:
            return after, chunk
        exact = ReferenceEngine(motor_sine=True)
        q, v, f = after.q.copy(), after.v.copy(), after.f.copy()
        fields = {key: getattr(chunk, key).copy() for key in base.REPORTED}
        histories = list(chunk.histories)
        for member in over:
            end, one = exact.layer(
                job, system, observer, index, layer, before.member(int(member)), int(member)
            )
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
        g[:, b:] = rows.others(seen[:, b:], imposed @ rows.parts.imposed.T, idle=False)
    return Carried(u=exponential.amplitude(eta, speed, layer.frequency, layer.damping), phi=phi, g=g)


def leave(layer: LayerModes, now: Carried) -> State:
    """From modes back to motions."""
    eta, speed = exponential.motion(now.u, layer.frequency, layer.damping)
    back = np.swapaxes(layer.modes, 1, 2)
    return State(q=(eta[:, None] @ back)[:, 0], v=(speed[:, None] @ back)[:, 0], f=now.phi * layer.rows.limit)


def drive(track: Track, profile: Profile, piece: int, start_time: float) -> None:
    """Follow one piece of the commanded motion. Raises SolverError where contacts find no solution."""
    spacing = track.pace.touch if track.layer.rows.parts.slope.size else track.pace.drive
    begin, end = float(profile.time[piece]), float(profile.time[piece + 1])
    while end - begin > 1e-12:
        spaces = int(np.ceil((end - begin) / spacing - 1e-9))
        grid = window.grid(track.layer, (end - begin) / spaces, track.pace.spaces)
        known = known_forcing(track, grid, profile, piece, (begin, end), spaces, start_time)
        k = 0
        while k < spaces:
            found = track.advance(grid, known, k, spaces - k)
            k += found.settled
            if found.stiff and grid.corners.spacing > track.pace.touch or found.settled == 0:
                spacing = closer(track.pace, grid)
                break
        begin += k * grid.corners.spacing


def closer(pace: Pace, grid: Grid) -> float:
    """Half the spacing. Raises SolverError at the least one."""
    spacing = grid.corners.spacing / 2
    if spacing < pace.least:
        raise SolverError(
            "propagator: a contact (stop, plain nut or friction) finds no solution at the closest spacing; "
            "use 'reference' for this scenario"
        )
    return spacing


def known_forcing(
    track: Track,
    grid: Grid,
    profile: Profile,
    piece: int,
    span: tuple[float, float],
    spaces: int,
    start_time: float,
) -> Known:
    """What the known forcing of part of a piece does at all corners: exact for forces straight between fine
    instants."""
    job, layer = track.job, track.layer
    b = layer.rows.bristles
    finer = max(1, int(np.ceil(grid.corners.spacing / FORCING - 1e-9)))
    time = np.linspace(*span, spaces * finer + 1)
    which = np.full(time.size, piece)
    path = Path(
        time=start_time + time,
        height=profile.height_on(time, which),
        move_start=profile.move_start[which],
        move_end=profile.move_end[which],
    )
    imposed = job.machine.imposed(path, job.amounts)
    force = imposed @ layer.imposed + (
        layer.weight[:, None] + profile.acceleration(time, which) @ layer.command
    )
    table = (
        grid.corners
        if finer == 1
        else exponential.corners(layer.frequency, layer.damping, grid.corners.spacing / finer, 256)
    )
    start = layer.resting(force[:, 0])
    amplitude = np.concatenate(
        [start[:, None], exponential.carried(table, start, force)[:, finer - 1 :: finer]], axis=1
    )
    rows = amplitude.view(float) @ grid.back
    command = job.machine.contact_command.T / layer.rows.breakaway
    slip = (path.height[::finer] - path.height[0]) @ command
    rows[..., :b] += slip
    rows[..., b : 2 * b] += (profile.speed(time[::finer]) @ command) * (grid.corners.spacing / 6)
    return Known(
        amplitude=amplitude, rows=rows, slip=slip, offset=imposed[:, ::finer] @ layer.rows.parts.imposed.T
    )


def ring_down(
    track: Track, observer: Observer, index: int, motion: Profile, start_time: float
) -> tuple[Array, Array]:
    """Let the motion die out: the bound (m,) m of what is left at the probes, and the mean (m, n) of eta in print."""
    job, layer, pace = track.job, track.layer, track.pace
    imposed = job.machine.imposed(motion.path(np.array([motion.duration]), start_time), job.amounts)
    force = (imposed @ layer.imposed)[:, 0] + layer.weight
    offset = imposed @ layer.rows.parts.imposed.T
    resting = layer.resting(force)[:, None]
    lateral = observer.lateral[index].reshape(-1, observer.height.shape[1])
    probe = np.abs(np.concatenate([observer.height, lateral]) @ layer.modes)
    printing, finish = motion.duration + job.program.settle, job.program.period
    rung, spacing, error = 0, track.pace.rest[0], pace.path_error
    slip = np.zeros((1, layer.rows.bristles))
    while True:
        bound = np.max(amplitudes(layer, track.now, force)[:, None] @ np.swapaxes(probe, 1, 2), axis=(1, 2))
        if bound.max() < base.STILL or finish - track.time < INSTANT:
            return bound, mean_motion(track, force, finish - printing)
        if track.began is None and track.time > printing - INSTANT:
            track.began, track.impulse = track.now, np.zeros_like(track.now.g)
        left = (printing if track.began is None else finish) - track.time
        if left < spacing * min(track.spaces, pace.spaces):
            spaces = int(np.ceil(left / spacing - 1e-9))
            grid = window.grid(layer, left / spaces, pace.spaces)
        else:
            spaces, grid = pace.spaces, track.grid(spacing)
        known = Known(amplitude=resting, rows=resting.view(float) @ grid.back, slip=slip, offset=offset)
        found = track.advance(grid, known, 0, spaces, 4 * pace.path_error if rung else np.inf)
        widest = pace.rest[-1] if bound.max() < base.SETTLED else WATCHED
        span = found.settled * grid.corners.spacing
        error = max(found.path_error, error * 0.5 ** (span / MEMORY))
        if found.stiff and spacing > pace.touch or found.settled == 0:
            spacing = closer(pace, grid)
        elif error > pace.path_error and rung > 0:
            rung, error = rung - 1, error / GAIN
            spacing = pace.rest[rung]
        elif rung + 1 < len(pace.rest) and GAIN * error < pace.path_error and pace.rest[rung + 1] <= widest:
            rung, error = rung + 1, error * GAIN
            spacing = pace.rest[rung]


def mean_motion(track: Track, force: Array, span: float) -> Array:
    """Mean (m, n) of eta over the `span` s of printing under the constant modal `force` (m, n).

    The mode's equation integrated: w^2 mean(eta) = mean(p) - (eta' + 2 d eta, end less start)/span; what had died out
    before the end rests.
    """
    layer = track.layer
    held = (track.now.g[:, None] @ layer.rows.push)[:, 0]
    rest = (force - held) / layer.frequency**2
    if track.began is None or track.impulse is None:
        return rest
    left = max(0.0, track.job.program.period - track.time)
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


def _report(
    job: Job,
    observer: Observer,
    index: int,
    layer: int,
    motion: Profile,
    time: Array,
    q: Array,
    mean: Array,
    bound: Array,
) -> Chunk:
    """What is reported of one layer's motions q (m, t, n) and their mean (m, n) in print."""
    path = motion.path(np.minimum(time, motion.duration), job.program.start_time(layer))
    imposed = job.machine.imposed(path, job.amounts)
    printing = motion.duration + job.program.settle
    end = q[:, -1]
    fields = base.extremes(observer, index, q, imposed)
    fields |= base.residual(observer, index, time, q, end, printing, motion.duration)
    histories: tuple[History, ...] = ()
    if layer in job.trace_layers:
        histories = (
            History(
                layer=layer,
                member=0,
                time=time,
                q=q[0],
                imposed=imposed[0],
                commanded=path.height.mean(axis=1),
            ),
        )
    reported: dict[str, Any] = {key: value[:, None] for key, value in fields.items()}
    return Chunk(
        layers=np.array([layer]),
        pose=(mean @ observer.bed.T)[:, None],
        stop_hit=(fields["joint_excursion"] >= job.machine.joint_travel)[:, None],
        tail_bound=bound[:, None],
        histories=histories,
        statistics={"steps": float(time.size)},
        **reported,
    )
