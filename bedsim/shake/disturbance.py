"""A shaken machine: what the frame's acceleration, or the layer change itself, does to the natural modes.

Motions are counted against the frame, where the nozzle is; a frame that is accelerated by a along the unit
direction e pushes every mass backwards:

    M q'' + C q' + K q = -M e a(t)          frame alone on its feet:  m_f x'' + c x' + k x = F(t),  a = x''

e: one for every coordinate that counts a motion along the direction.  The gantry of mass m that gains speed
with a_g pushes the frame with F = -m a_g for as long as the speed grows. Source: relative motion in an
accelerated frame, [Clough] support excitation. Limits: bristles of all contacts stuck (small motions); a
frame that moves as one, without rocking; the bed does not shake the frame back; the gantry's own bending is
left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.model.assembly import Machine, System
from bedsim.model.program import Profile

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A scalar over time, straight between `time` (k+1,) s: `start` and `end` (k,) of every piece."""

    time: Array
    start: Array
    end: Array

    def scaled(self, factor: float) -> Signal:
        """The same course, `factor` times as strong."""
        return Signal(time=self.time, start=factor * self.start, end=factor * self.end)


@dataclass(frozen=True, slots=True, kw_only=True)
class Modes:
    """Modes (n,): `frequency` rad/s undamped, `decay` 1/s, `shape` (coordinates, n) mass-normalised."""

    frequency: Array
    decay: Array
    shape: Array


def modes(machine: Machine, system: System, ratio: float | None = None) -> Modes:
    """The modes of a system's first layer, bristles stuck; `ratio` replaces that of parts without their own.

    Coupling of modes by explicit dampers (air films) is left out.
    """
    w, V = system.frequency[0], system.modes[0]
    decay = np.einsum("in,ij,jn->n", V, system.C[0], V) / 2
    if ratio is not None:
        decay = decay + (system.modal_damping(ratio)[0] - system.damping_ratio[0]) * w
    return Modes(frequency=w, decay=decay, shape=V)


def translation(machine: Machine, direction: float) -> Array:
    """The coordinates (n,) of a machine that moves as one by 1 m along `direction` rad, seen from above."""
    at, along = machine.coordinates, np.array([np.cos(direction), np.sin(direction)])
    e = np.zeros(at.size)
    e[:2] = along
    for i in range(at.corners):
        first = at.carriage(i)
        e[first : first + 2] = e[first + 6 : first + 8] = along
    for i in at.free_shafts:
        e[at.shaft(i) : at.shaft(i) + 2] = along
    return e[list(machine.kept)]


def shaken_modes(machine: Machine, system: System, found: Modes, direction: float) -> Array:
    """Modal force (n,) per unit acceleration of the frame along `direction` rad."""
    return -found.shape.T @ system.M[0] @ translation(machine, direction)


def lifted_modes(system: System, found: Modes) -> Array:
    """Modal force (n,) per unit commanded vertical acceleration of all corners."""
    return found.shape.T @ system.command_force[0].sum(axis=1)


def layer_change(profile: Profile) -> Signal:
    """The commanded vertical acceleration m/s2 of a move in which all corners move alike."""
    pieces = np.arange(profile.time.size - 1)
    start = profile.acceleration(profile.time[:-1], pieces)[:, 0]
    end = profile.acceleration(profile.time[1:], pieces)[:, 0]
    return Signal(time=profile.time, start=start, end=end)


def pulse(value: float, length: float) -> Signal:
    """A constant value for `length` s, then nothing."""
    return Signal(time=np.array([0.0, length]), start=np.array([value]), end=np.array([value]))


def followed_by_rest(signal: Signal, length: float) -> Signal:
    """The signal, then nothing for `length` s."""
    return Signal(
        time=np.append(signal.time, signal.time[-1] + length),
        start=np.append(signal.start, 0.0),
        end=np.append(signal.end, 0.0),
    )


def polygon(time: Array, value: Array) -> Signal:
    """A measured history, straight between its points (k+1,)."""
    return Signal(time=time - time[0], start=value[:-1], end=value[1:])


def steady(system: System, machine: Machine, direction: float) -> Array:
    """Motion (n,) m that a lasting acceleration of 1 m/s2 of the frame leads to, bristles stuck."""
    contact = machine.contact_rows
    stuck = contact.T @ ((system.friction_limit[0] / machine.breakaway)[:, None] * contact)
    return -np.linalg.solve(system.K[0] + stuck, system.M[0] @ translation(machine, direction))
