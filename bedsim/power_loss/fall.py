"""The course of a fall: the equations of a bed without current, integrated from event to event.

Between two events every group of screws either rests or turns one way, so that friction is smooth.  Events: a
group comes to rest, one begins to move, a nut reaches the stop, time is up.  A rotor whose energy of motion
is far above its detent hills is taken on without them: their mean over a turn is nil, and energy is carried
over exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from bedsim.errors import SolverError
from bedsim.power_loss import back_driving
from bedsim.power_loss.back_driving import Falling, Motion

Array = NDArray[np.float64]
Event = Callable[[float, Array], float]

SMOOTH, ROUGH = 50.0, 25.0  # energy of motion over a detent hill: hills left out, taken in again
SWINGING = 0.15  # s, ten swings or more: what has not left its detent valley by then swings there
LONGEST_STEP = 0.02  # s, so that a plotted curve is one
MOST_EVENTS = 5000
INSTANT = 1e-8  # s: groups that come to rest within it come to rest together


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """A fall over time: heights (t, c) m against the start, speeds (t, c) m/s upward, thread loads (t, c) N.

    `end`: "held" (never moved), "swings" (within a detent valley), "came to rest", "stop reached", "time is
    up". `energy_error`: largest departure from the balance of energy, relative to the energy turned over.
    """

    time: Array
    height: Array
    speed: Array
    load: Array
    lost: Array  # (t,) J lost to friction
    end: str
    energy_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """Motion between two events, with what ended it."""

    time: Array
    turn: Array
    speed: Array
    lost: Array
    load: Array
    energy: Array
    cause: tuple[str, int]


def fall(
    system: Falling, room: Array, *, start_speed: float = 0.0, longest: float = 20.0, rtol: float = 1e-7
) -> Fall:
    """Let go at time 0 and follow the bed until it rests, a nut has sunk by its `room` (c,) m or time is up.

    `start_speed` m/s: all corners move down together when the power is lost.
    Raises SolverError when the integration gives up.
    """
    groups = system.held.size
    turn, lost = np.zeros(groups), 0.0
    speed = np.zeros(groups)
    speed[system.group] = np.where(system.held[system.group], 0.0, start_speed / system.radius)
    rippled = np.ones(groups, dtype=bool)
    offset, time = 0.0, 0.0
    stretches: list[_Stretch] = []
    end = "time is up"
    for _ in range(MOST_EVENTS):
        _smooth_where_fast(system, turn, speed, rippled)
        sign = back_driving.directions(system, turn, speed, rippled)
        if not sign.any():
            end = "came to rest" if stretches else "held"
            break
        limit = min(longest, SWINGING) if time < SWINGING else longest
        part = _stretch(system, room, rtol, rippled, sign, (time, limit), turn, speed, lost, offset)
        stretches.append(part)
        time, turn, speed, lost = (
            float(part.time[-1]),
            part.turn[-1],
            part.speed[-1].copy(),
            float(part.lost[-1]),
        )
        kind, group = part.cause
        if kind == "stop":
            end = "stop reached"
            break
        if kind == "time" and (time >= longest or _swings(system, stretches)):
            end = "swings" if _swings(system, stretches) else end
            break
        if kind == "rest":
            speed[group] = 0.0
            speed[np.abs(speed) < INSTANT * _swiftest(system, sign, turn, speed, rippled)] = 0.0
            offset += _hills_under(system, turn, speed, rippled)
        elif kind == "rough":
            _switch(system, turn, speed, rippled, group)
    else:
        raise SolverError(f"power loss: still changing between rest and motion after {MOST_EVENTS} events")
    return _joined(system, stretches, end)


def _stretch(
    system: Falling,
    room: Array,
    rtol: float,
    rippled: NDArray[np.bool_],
    sign: Array,
    span: tuple[float, float],
    turn: Array,
    speed: Array,
    lost: float,
    offset: float,
) -> _Stretch:
    n = turn.size
    course = back_driving.motion(system, sign, rippled)

    def rate(_: float, y: Array) -> Array:
        gained, load = back_driving.accelerations(course, y[:n], y[n : 2 * n])
        heat = back_driving.dissipation(course, y[n : 2 * n], load)
        return np.concatenate([y[n : 2 * n] * (sign != 0), gained, [heat]])

    events, causes = _events(course, room, n)
    scale = np.concatenate([np.full(n, 1e-9), np.full(n, 1e-7), [1e-12]])
    done = solve_ivp(
        rate,
        span,
        np.concatenate([turn, speed, [lost]]),
        method="LSODA",
        rtol=rtol,
        atol=scale,
        events=events,
        max_step=LONGEST_STEP,
    )
    if not done.success and done.status != 1:
        raise SolverError(f"power loss: the integration gave up at {done.t[-1]:.4f} s: {done.message}")
    hit = next((k for k, times in enumerate(done.t_events or []) if times.size), None)
    turns, speeds = done.y[:n].T, done.y[n : 2 * n].T
    load = np.array([back_driving.accelerations(course, a, b)[1] for a, b in zip(turns, speeds, strict=True)])
    kinetic, potential = back_driving.energies(system, turns, speeds, rippled)
    return _Stretch(
        time=done.t,
        turn=turns,
        speed=speeds,
        lost=done.y[2 * n],
        load=load,
        energy=np.stack([kinetic, potential, kinetic + potential + done.y[2 * n] + offset], axis=1),
        cause=("time", -1) if hit is None else causes[hit],
    )


def _events(course: Motion, room: Array, n: int) -> tuple[list[Event], list[tuple[str, int]]]:
    """Event functions of a stretch and what each means."""
    system, sign = course.system, course.sign
    found = [(_stop_event(system, room, n), -1.0, ("stop", -1))]
    for g in range(n):
        if sign[g] != 0:
            found.append((_rest_event(n + g), -float(sign[g]), ("rest", g)))
            hill = float(system.spread[:, g] @ system.barrier)
            if hill > 0:
                rippled = bool(course.rippled[g])
                level = (SMOOTH if rippled else ROUGH) * hill
                event = _energy_event(n + g, system.own_inertia(g), level)
                found.append((event, 1.0 if rippled else -1.0, ("smooth" if rippled else "rough", g)))
        elif not system.held[g]:
            found.append((_begin_event(course, g, n), -1.0, ("begins", g)))
    for event, way, _ in found:
        event.terminal, event.direction = True, way  # type: ignore[attr-defined]
    return [event for event, _, _ in found], [cause for _, _, cause in found]


def _stop_event(system: Falling, room: Array, n: int) -> Event:
    return lambda _, y: float(np.min(room + system.height(y[:n])))


def _rest_event(row: int) -> Event:
    return lambda _, y: float(y[row])


def _energy_event(row: int, inertia: float, level: float) -> Event:
    return lambda _, y: float(0.5 * inertia * y[row] ** 2 - level)


def _begin_event(course: Motion, group: int, n: int) -> Event:
    def lacking(_: float, y: Array) -> float:
        load = back_driving.accelerations(course, y[:n], y[n : 2 * n])[1]
        down, up = back_driving.margins(course.system, y[:n], load)
        return float(min(down[group], up[group]))

    return lacking


def _smooth_where_fast(system: Falling, turn: Array, speed: Array, rippled: NDArray[np.bool_]) -> None:
    """Leave the detent out for groups whose energy of motion is far above its hills."""
    for g in np.flatnonzero(rippled & (speed != 0)):
        hill = float(system.spread[:, g] @ system.barrier)
        if hill > 0 and 0.5 * system.own_inertia(int(g)) * speed[g] ** 2 >= SMOOTH * hill * (1 - 1e-9):
            _switch(system, turn, speed, rippled, int(g))


def _switch(system: Falling, turn: Array, speed: Array, rippled: NDArray[np.bool_], group: int) -> None:
    """Take a group's detent in or out, its speed changed so that no energy is gained."""
    before = sum(float(e[0]) for e in back_driving.energies(system, turn[None], speed[None], rippled))
    rippled[group] = not rippled[group]
    after = sum(float(e[0]) for e in back_driving.energies(system, turn[None], speed[None], rippled))
    way = system.spread[:, group] * system.radius
    momentum = float(system.spread[:, group] @ system.inertia * speed[group])
    momentum += float(way @ system.mass @ (speed[system.group] * system.radius))
    own, gain = system.own_inertia(group), before - after
    root = np.sqrt(max(momentum**2 + 2.0 * own * gain, 0.0))
    speed[group] += (np.copysign(root, momentum) - momentum) / own


def _swiftest(system: Falling, sign: Array, turn: Array, speed: Array, rippled: NDArray[np.bool_]) -> float:
    """Largest angular acceleration rad/s2 just before an event."""
    gained, _ = back_driving.accelerations(back_driving.motion(system, sign, rippled), turn, speed)
    return float(np.max(np.abs(gained)))


def _hills_under(system: Falling, turn: Array, speed: Array, rippled: NDArray[np.bool_]) -> float:
    """Take the detent in again for groups at rest; returns what the balance of energy loses by that."""
    before = sum(float(e[0]) for e in back_driving.energies(system, turn[None], speed[None], rippled))
    rippled[speed == 0.0] = True
    after = sum(float(e[0]) for e in back_driving.energies(system, turn[None], speed[None], rippled))
    return before - after


def _swings(system: Falling, stretches: list[_Stretch]) -> bool:
    """Whether no rotor has left its detent valley so far."""
    period = 2.0 * np.pi / np.maximum(system.cycles, 1e-300)
    far = np.max([np.max(np.abs(p.turn), axis=0) for p in stretches], axis=0)
    return bool(np.all(far[system.group] < period) and np.all(system.detent[~system.held[system.group]] > 0))


def _joined(system: Falling, stretches: list[_Stretch], end: str) -> Fall:
    if not stretches:
        still = np.zeros((1, system.radius.size))
        load = back_driving.static_load(system, np.zeros(system.held.size))[None]
        return Fall(
            time=np.zeros(1),
            height=still,
            speed=still,
            load=load,
            lost=np.zeros(1),
            end=end,
            energy_error=0.0,
        )
    energy = np.concatenate([p.energy for p in stretches])
    turned_over = max(float(np.ptp(energy[:, 0])), float(np.ptp(energy[:, 1])), 1e-12)
    speed = np.concatenate([p.speed for p in stretches])
    return Fall(
        time=np.concatenate([p.time for p in stretches]),
        height=system.height(np.concatenate([p.turn for p in stretches])),
        speed=-speed[:, system.group] * system.radius,
        load=np.concatenate([p.load for p in stretches]),
        lost=np.concatenate([p.lost for p in stretches]),
        end=end,
        energy_error=float(np.max(np.abs(energy[:, 2] - energy[0, 2]))) / turned_over,
    )
