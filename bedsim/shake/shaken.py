"""The modes of a machine under a given push, step by step and exact, and how long they ring on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.shake.disturbance import Modes, Signal

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

SAMPLE = 2.5e-4  # s between two instants of a response: 16 and more per cycle of what prints
LONGEST_RING = 30.0  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class ModalResponse:
    """Modal motions `eta` (t, n) at `time` (t,) s while a signal acts; modal accelerations where a step
    starts and ends.

    `amplitude` (n,): complex amplitude of every mode when the signal ends.
    """

    time: Array
    eta: Array
    gained_start: Array  # (t-1, n)
    gained_end: Array  # (t-1, n)
    amplitude: Complex


def respond(found: Modes, force: Array, signal: Signal, sample: float = SAMPLE) -> ModalResponse:
    """Motion of modes at rest under `force` (n,) times a signal; exact at every instant given.

    Source: exact step of a mode under a force that changes straight (first-order hold), see `exponential`.
    """
    w, d = found.frequency, found.decay
    u = np.zeros(w.size, dtype=complex)
    time, path, start, end = [0.0], [u], [], []
    for t0, t1, first, last in zip(signal.time[:-1], signal.time[1:], signal.start, signal.end, strict=True):
        count = max(1, int(np.ceil((t1 - t0) / sample - 1e-9)))
        A, hold, ramp, *_ = exponential.step(w, d, (t1 - t0) / count)
        p = force * np.linspace(first, last, count + 1)[:, None]
        for k in range(count):
            u = A * u + hold * p[k] + ramp * (p[k + 1] - p[k])
            path.append(u)
        time += list(np.linspace(t0, t1, count + 1)[1:])
        start.append(p[:-1])
        end.append(p[1:])
    eta, speed = exponential.motion(np.array(path), w, d)
    pull = 2 * d * speed + w**2 * eta
    return ModalResponse(
        time=np.array(time),
        eta=eta,
        gained_start=np.concatenate(start) - pull[:-1],
        gained_end=np.concatenate(end) - pull[1:],
        amplitude=u,
    )


def shaken_frame(force: Signal, mass: float, frequency: float, damping_ratio: float) -> Signal:
    """Acceleration m/s2 of a frame of `mass` kg on its feet (`frequency` rad/s) under a force on it.

    Taken as straight between samples; the error is (frequency x sample)^2/8 of its amplitude.
    """
    foot = Modes(
        frequency=np.array([frequency]),
        decay=np.array([damping_ratio * frequency]),
        shape=np.ones((1, 1)),
    )
    driven = respond(foot, np.array([1.0 / mass]), force)
    return Signal(time=driven.time, start=driven.gained_start[:, 0], end=driven.gained_end[:, 0])


def ringing(found: Modes, amplitude: Complex, rows: Array, time: Array) -> Array:
    """What rows (p, coordinates) show at `time` (t,) s after the push has ended: (t, p)."""
    mu = exponential.rate(found.frequency, found.decay)
    shown = (rows @ found.shape) * amplitude
    return np.real(np.exp(mu * time[:, None]) @ shown.T)


def dwell(found: Modes, amplitude: Complex, rows: Array, target: float) -> float:
    """Time s after the push has ended from which the length of what rows (p, coordinates) show stays within
    `target`.

    Looked for up to where the sum of all modes' amplitudes is within the target, at most 30 s (infinite
    beyond).
    """
    size = np.linalg.norm((rows @ found.shape) * np.abs(amplitude), axis=0)

    def bound(t: float) -> float:
        return float(size @ np.exp(-found.decay * t))

    end = SAMPLE
    while bound(end) > target:
        end *= 2
        if end > LONGEST_RING:
            return float("inf")
    time = np.arange(0.0, end + SAMPLE, SAMPLE)
    left = np.linalg.norm(ringing(found, amplitude, rows, time), axis=1)
    over = np.flatnonzero(left > target)
    return float(time[over[-1]] + SAMPLE) if over.size else 0.0
