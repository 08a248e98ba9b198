"""Layer changes side by side, each at its own speed and acceleration: what a move shakes up.

    M q'' + C q' + K q = J^T k imposed + weight - M q_cmd'' - J_m^T T sin(N lag)
    lag = theta - rounding - error(theta_cmd + theta)

The natural modes carry everything but the motors; those push with their sine, and their place error stands
where the rotor is, not where it was sent: a swing of more than half a radian of an error's own phase smears
it.  Each step of a mode is exact under a force that is linear in time; the motors' force ahead is predicted
from the last two and corrected once, second order in the step.  Source: `components/motor.py`, equation of
motion derived; first-order hold as in `exponential.py`.

Limits: contacts stuck (a tap's modes), so friction neither damps nor shifts, which makes a resonance with
little damping too high; flanks of plain nuts seated, stops not touched; matrices of one layer for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bedsim.components.motor import PlaceError
from bedsim.engines import base, exponential
from bedsim.engines.base import Job
from bedsim.model.assembly import System
from bedsim.model.program import Profile, Program, rest, sequence

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PER_CYCLE = 24  # steps per cycle of the fastest place error: 0.6 % of its own amplitude
PER_SWING = 40  # steps per cycle of a rotor on its magnetic spring
TAIL = 0.05  # s followed after the move
RINGING = np.arange(0.0, 0.05, 2.5e-4)  # s after which vibration is looked at
SETTLING = 30  # rounds in which a rotor finds its rest: each leaves 4 N A of the fourth order's error A
TOGETHER = 80  # moves in one batch: its forces fit a cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One layer change: how it is driven, which layer it leads to, strengths (s,) of the sources."""

    program: Program
    layer: int
    amounts: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What moves (b,) came out as, SI.

    `least` (b, c) N: smallest force on every seat, `resting` (b, c) N before the move; `swing` (b,): half the
    peak-to-peak swing of the rotor that swings most, electrical rad; `height` (b, p) m: vibration when
    printing starts; `peak` (b, n): half the peak-to-peak swing of every mode.
    """

    least: Array
    resting: Array
    swing: Array
    height: Array
    peak: Array


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A machine at the height of one layer with all that its moves share; `actual`: place errors at the
    rotor's own angle and the motor's sine, else at the commanded one and its slope (as the other engines)."""

    job: Job
    system: System
    actual: bool = True

    @cached_property
    def observer(self) -> base.Observer:
        """Maps to mounts and probes."""
        return base.make_observer(self.job.machine, self.system, self.job.probes)

    @property
    def frequency(self) -> Array:
        """Undamped (n,) rad/s."""
        return self.system.frequency[0]

    @cached_property
    def decay(self) -> Array:
        """Of every mode (n,) 1/s; what explicit dampers couple is left out."""
        V = self.system.modes[0]
        return np.asarray(np.einsum("in,ij,jn->n", V, self.system.C[0], V) / 2)

    @cached_property
    def motor_rows(self) -> NDArray[np.int64]:
        """Number (m,) of every motor's row."""
        machine = self.job.machine
        return np.array([machine.slices[link.name].start for link in machine.links if link.part == "motor"])

    @cached_property
    def motor_maps(self) -> Array:
        """Angle of every motor's row per mode (m, n)."""
        return self.job.machine.rows[self.motor_rows] @ self.system.modes[0]

    @cached_property
    def seats(self) -> tuple[NDArray[np.int64], Array, Array]:
        """What may lift at every corner: row (c,), stiffness (c,) N/m and pull (c,) N of its mount, or of its
        screw where the mount is bolted."""
        seen = self.observer
        bolted = seen.mount_rows < 0
        return (
            np.where(bolted, seen.axial_rows, seen.mount_rows),
            np.where(bolted, seen.axial_stiffness[0], seen.mount_stiffness),
            np.where(bolted, 0.0, seen.mount_preload),
        )

    @cached_property
    def seat_maps(self) -> Array:
        """Extension of every seat's row per mode (c, n)."""
        return np.asarray(self.job.machine.rows[self.seats[0]] @ self.system.modes[0])

    @cached_property
    def height_per_angle(self) -> Array:
        """Height (m, c) m of its corners at which a motor turned on by 1 rad would have been sent there."""
        machine = self.job.machine
        found = np.zeros((len(machine.motor_index), len(machine.corner_names)))
        for m, index in enumerate(machine.motor_index):
            turn = machine.command[index]
            found[m, turn != 0] = 1.0 / turn.sum()
        return found

    @cached_property
    def place_errors(self) -> list[int]:
        """Sources that are place errors."""
        return [k for k, source in enumerate(self.job.machine.sources) if source.order is not None]

    @cached_property
    def _waves(self) -> tuple[NDArray[np.int64], Array, Array, Array]:
        """Of every place error (e,): corner, rate, phase, and its share of every motor's angle (e, m)."""
        machine, motor = self.job.machine, {int(row): m for m, row in enumerate(self.motor_rows)}
        sources = [machine.sources[k] for k in self.place_errors]
        found = [source.values for source in sources if isinstance(source.values, PlaceError)]
        share = np.zeros((len(found), self.motor_rows.size))
        for k, (source, wave) in enumerate(zip(sources, found, strict=True)):
            share[k, motor[machine.slices[source.link].start]] = 1.0 / wave.gear
        corner = np.array([wave.corner for wave in found], dtype=np.int64)
        return corner, np.array([w.rate for w in found]), np.array([w.phase for w in found]), share

    def error(self, command: Array, angle: Array, amounts: Array) -> Array:
        """Place errors (b, m) rad of motors sent to heights (b, c) m whose rotors stand `angle` (b, m)
        rad beyond, for strengths (b, s)."""
        corner, rate, phase, share = self._waves
        height = command + angle @ self.height_per_angle if self.actual else command
        waves = np.cos(rate * height[:, corner] + phase)
        return np.asarray((amounts[:, self.place_errors] * waves) @ share)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Driven:
    """A batch of moves made ready: steps (b,) s; known modal force (t, b, n) at instants; commanded
    acceleration (t - 1, b, c) m/s2, mean of every step, for it jumps; heights (t, b, c); rounding (t, b, m);
    seats' imposed extension (t, b, c)."""

    step: Array
    force: Array
    acceleration: Array
    height: Array
    rounding: Array
    seat: Array
    amounts: Array


def follow(bench: Bench, moves: Sequence[Move]) -> Moved:
    """Integrate all moves, those of like length in one batch."""
    profiles = [_profile(move) for move in moves]
    order = np.argsort([p.duration for p in profiles], kind="stable")
    found = []
    for first in range(0, order.size, TOGETHER):
        here = order[first : first + TOGETHER]
        found.append(_batch(bench, [moves[k] for k in here], [profiles[k] for k in here]))
    back = np.argsort(order)
    return Moved(
        **{key: np.concatenate([part[key] for part in found])[back] for key in Moved.__dataclass_fields__}
    )


def _profile(move: Move) -> Profile:
    change = move.program.layer_change(move.layer)
    return sequence(change, rest(change.end, min(TAIL, move.program.settle(move.layer))))


def _steps(bench: Bench, profiles: Sequence[Profile]) -> int:
    """Steps that every move of a batch takes: enough for the one that asks for most."""
    machine = bench.job.machine
    per_metre = machine.fastest_cycle / np.abs(bench.height_per_angle[bench.height_per_angle != 0]).min()
    rotor = np.sqrt((machine.motor_torque * machine.motor_electrical).max() / _lightest_rotor(bench))
    top = [float(np.abs(p.speed(p.time)).max()) for p in profiles]
    rate = [max(v * per_metre * PER_CYCLE, rotor * PER_SWING) / (2 * np.pi) for v in top]
    return int(max(p.duration * r for p, r in zip(profiles, rate, strict=True))) + 1


def _lightest_rotor(bench: Bench) -> float:
    """Inertia kg m2."""
    index = list(bench.job.machine.motor_index)
    return float(np.diag(bench.job.machine.mass)[index].min())


def _ready(bench: Bench, moves: Sequence[Move], profiles: Sequence[Profile]) -> _Driven:
    """Known forces of a batch, those of the motors apart."""
    machine, system, V = bench.job.machine, bench.system, bench.system.modes[0]
    count = _steps(bench, profiles)
    pull = system.imposed_force[0].T @ V
    pull[bench.motor_rows] = 0.0
    kept = np.array([k not in bench.place_errors for k in range(len(machine.sources))])
    force, gained, height, rounding, seat = [], [], [], [], []
    for move, profile in zip(moves, profiles, strict=True):
        time = np.linspace(0.0, profile.duration, count + 1)
        path = profile.path(time, move.program.start_time(move.layer))
        imposed = machine.imposed(path, move.amounts * kept)
        force.append(imposed @ pull + system.weight[0] @ V)
        gained.append(np.diff(profile.speed(time), axis=0) * (count / profile.duration))
        height.append(path.height)
        rounding.append(imposed[:, bench.motor_rows])
        seat.append(imposed[:, bench.seats[0]])
    return _Driven(
        step=np.array([p.duration for p in profiles]) / count,
        force=np.stack(force, axis=1),
        acceleration=np.stack(gained, axis=1),
        height=np.stack(height, axis=1),
        rounding=np.stack(rounding, axis=1),
        seat=np.stack(seat, axis=1),
        amounts=np.stack([move.amounts for move in moves]),
    )


def _motors(bench: Bench, driven: _Driven, k: int, eta: Array) -> Array:
    """The motors' modal force (b, n) at instant k beyond the spring that the modes hold."""
    machine = bench.job.machine
    angle = eta @ bench.motor_maps.T
    lag = angle - driven.rounding[k] - bench.error(driven.height[k], angle, driven.amounts)
    spring = machine.motor_torque * machine.motor_electrical
    held = machine.motor_torque * np.sin(machine.motor_electrical * lag) if bench.actual else spring * lag
    return np.asarray((spring * angle - held) @ bench.motor_maps)


def _batch(bench: Bench, moves: Sequence[Move], profiles: Sequence[Profile]) -> dict[str, Array]:
    driven = _ready(bench, moves, profiles)
    square = bench.frequency**2
    command = bench.system.command_force[0].T @ bench.system.modes[0]
    A, hold, ramp, *_ = exponential.step(bench.frequency, bench.decay, driven.step[:, None])
    eta = driven.force[0] / square
    for _ in range(SETTLING):
        eta = (driven.force[0] + _motors(bench, driven, 0, eta)) / square
    u = _standing(bench, eta)
    p = before = driven.force[0] + _motors(bench, driven, 0, eta)
    low = high = eta
    angle = eta @ bench.motor_maps.T
    back = furthest = angle
    least = resting = _seat_force(bench, driven, 0, eta)
    for k in range(1, driven.force.shape[0]):
        free = A * u + hold * (p + driven.acceleration[k - 1] @ command)
        # the known part as it is, the motors' as it has been changing
        ahead = p - before + driven.force[k] - 2 * driven.force[k - 1] + driven.force[max(k - 2, 0)]
        guess = (free + ramp * ahead).real
        before, p = p, driven.force[k] + _motors(bench, driven, k, guess)
        u = free + ramp * (p - before)
        eta = u.real
        angle = eta @ bench.motor_maps.T
        low, high = np.minimum(low, eta), np.maximum(high, eta)
        back, furthest = np.minimum(back, angle), np.maximum(furthest, angle)
        least = np.minimum(least, _seat_force(bench, driven, k, eta))
    electrical = bench.job.machine.motor_electrical
    return {
        "least": least,
        "resting": resting,
        "swing": ((furthest - back) * electrical).max(axis=1) / 2,
        "height": _left(bench, u - _standing(bench, p / square), [m.program.settle(m.layer) for m in moves]),
        "peak": (high - low) / 2,
    }


def _standing(bench: Bench, eta: Array) -> Complex:
    return exponential.amplitude(eta, np.zeros_like(eta), bench.frequency, bench.decay)


def _seat_force(bench: Bench, driven: _Driven, k: int, eta: Array) -> Array:
    _, stiffness, pull = bench.seats
    return np.asarray(pull - stiffness * (eta @ bench.seat_maps.T - driven.seat[k]))


def _left(bench: Bench, away: Complex, settle: Sequence[float]) -> Array:
    """Largest height (b, p) m of the probes about their rest once printing starts."""
    mu = exponential.rate(bench.frequency, bench.decay)
    begun = away * np.exp(mu * (np.array(settle) - np.minimum(TAIL, settle))[:, None])
    shown = (begun[:, None] * exponential.power(mu, RINGING)).real @ (
        bench.observer.height @ bench.system.modes[0]
    ).T
    return np.asarray(np.abs(shown).max(axis=1))
