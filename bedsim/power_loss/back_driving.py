"""The equations of a bed whose motors have lost their current: screws driven back by what hangs on them.

Heights follow the turns of the screws exactly, h = -r theta with r = lead/(2 pi) and theta positive downward;
nothing is linearised in the turns.  With M_ij the bed, part and carriages seen at the corners, W_i their
weight there and R_ij what the machine's stiffness sets against corners that do not move alike (racking):

    L_i = W_i + (R h)_i - sum_j M_ij r_j theta_j'' - s_i f_i            load on thread i, s = sign(theta')
    J_i theta_i'' = eta_i r_i L_i - s_i tau_i - c_i theta_i' - T_d,i sin(n_i theta_i + alpha_i)

eta: eta2 = tan(lambda - rho)/tan(lambda) where the load drives the thread, 1/eta1 = tan(lambda +
rho)/tan(lambda) where the thread drives the load; tau: nut drag and brake; f: friction of the guide; n = 4
N_r times the gear ratio. A screw at rest stays at rest while friction can hold it.  Screws on one belt turn
as one. Source: Newton's law for screw and load; thread as [Shigley] section 8-2, detent as [Jones]. Limits:
stiff bed, screws and belts (racking apart); tilts small enough that a mount stays above its place in the plan
(relative error tilt^2/2); constant friction; open coils (no braking by induced currents but for c).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import SolverError

Array = NDArray[np.float64]
Signs = NDArray[np.float64]
Flags = NDArray[np.bool_]

SIGN_ROUNDS = 8  # of the search for loads that agree in sign with their own friction


@dataclass(frozen=True, slots=True, kw_only=True)
class Falling:
    """The machine as it falls; arrays over the corners (c,), SI, seen at the screws.

    `group` (c,): corners with the same number turn as one; `held` (groups,): groups that cannot turn at all.
    """

    radius: Array  # (c,) m per rad
    inertia: Array  # (c,) kg m2
    mass: Array  # (c, c) kg
    weight: Array  # (c,) N
    racking: Array  # (c, c) N/m
    driven: Array  # (c,) eta2
    driving: Array  # (c,) 1/eta1
    torque: Array  # (c,) N m, nut drag and brake
    viscous: Array  # (c,) N m s
    guide: Array  # (c,) N
    detent: Array  # (c,) N m
    cycles: Array  # (c,) detent periods per rad x 2 pi
    phase: Array  # (c,) rad
    group: NDArray[np.int64]
    held: NDArray[np.bool_]

    @property
    def spread(self) -> Array:
        """Turns of the corners per turn of each group (c, groups)."""
        return (self.group[:, None] == np.arange(self.held.size)[None]).astype(float)

    def height(self, turn: Array) -> Array:
        """Heights (..., c) m against the start for turns of the groups (..., groups) rad."""
        return -np.asarray(turn)[..., self.group] * self.radius

    def own_inertia(self, group: int) -> float:
        """Inertia kg m2 of a group that turns alone, what hangs on it included."""
        way = self.spread[:, group] * self.radius
        return float(self.spread[:, group] @ self.inertia + way @ self.mass @ way)

    def detent_torque(self, turn: Array) -> Array:
        """Detent torque (c,) N m that drives downward at turns (groups,) rad."""
        return -self.detent * np.sin(self.cycles * turn[self.group] + self.phase)

    @property
    def barrier(self) -> Array:
        """Energy (c,) J from a detent valley to the next hill."""
        return np.where(self.cycles > 0, 2.0 * self.detent / np.maximum(self.cycles, 1e-300), 0.0)


def static_load(system: Falling, turn: Array) -> Array:
    """Load (c,) N on the threads of a bed at rest, guides left out."""
    return system.weight + system.racking @ system.height(turn)


def efficiency(system: Falling, sign: Signs, load: Array) -> Array:
    """eta (c,) for the direction of motion (+1 down) and the sign of the load."""
    return np.where(sign * load >= 0, system.driven, system.driving)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """A way of moving that lasts from one event to the next: `sign` (groups,) +1 down, -1 up, 0 at rest."""

    system: Falling
    sign: Signs
    rippled: Flags  # (groups,): detent acts
    moving: NDArray[np.int64]  # (m,) groups that move
    spread: Array  # (c, m)
    side: Signs  # (c,)
    still: Array  # (c,) N load at rest at the start's heights, friction of the guides taken off
    push: Array  # (c,) N m torque of constant friction
    carried: Array  # (c, m) load taken off per angular acceleration


def motion(system: Falling, sign: Signs, rippled: Flags) -> Motion:
    """Prepare a way of moving."""
    moving = np.flatnonzero(sign)
    spread = system.spread[:, moving]
    side = sign[system.group]
    return Motion(
        system=system,
        sign=sign,
        rippled=rippled.copy(),
        moving=moving,
        spread=spread,
        side=side,
        still=system.weight - side * system.guide,
        push=-side * system.torque,
        carried=system.mass @ (system.radius[:, None] * spread),
    )


def accelerations(course: Motion, turn: Array, speed: Array) -> tuple[Array, Array]:
    """Angular accelerations (groups,) rad/s2 and thread loads (c,) N at turns and speeds (groups,).

    The loads and the friction that belongs to their sign are found together, by repetition.
    Raises SolverError where friction makes the motion impossible (the screw jams).
    """
    system, spread = course.system, course.spread
    gained = np.zeros_like(turn)
    still = course.still + system.racking @ system.height(turn)
    if course.moving.size == 0:
        return gained, still
    push = course.push - system.viscous * speed[system.group]
    if course.rippled.any():
        push = push + system.detent_torque(turn) * course.rippled[system.group]
    load = still
    for _ in range(SIGN_ROUNDS):
        lever = np.where(course.side * load >= 0, system.driven, system.driving) * system.radius
        inertia = spread.T @ (system.inertia[:, None] * spread + lever[:, None] * course.carried)
        if inertia.diagonal().min() <= 0:
            raise SolverError(
                "power loss: the threads' friction outgrows the inertia of what turns: such a screw jams or "
                "chatters, and a stiff model cannot follow it"
            )
        found = np.linalg.solve(inertia, (lever * still + push) @ spread)
        after = still - course.carried @ found
        if ((after >= 0) == (load >= 0)).all():
            break
        load = after
    gained[course.moving] = found
    return gained, after


def margins(system: Falling, turn: Array, load: Array) -> tuple[Array, Array]:
    """Torque (groups,) N m that is lacking for a group at rest to begin to sink, and to begin to rise.

    `load` (c,) N on the threads, guides left out; negative: it begins.
    """
    detent = system.detent_torque(turn)
    sinking, rising = load - system.guide, load + system.guide
    down = efficiency(system, np.ones_like(load), sinking) * system.radius * sinking - system.torque + detent
    up = efficiency(system, -np.ones_like(load), rising) * system.radius * rising + system.torque + detent
    spread = system.spread
    return -spread.T @ down, spread.T @ up


def directions(system: Falling, turn: Array, speed: Array, rippled: Flags) -> Signs:
    """Which way each group (groups,) moves from here on: as its speed says, or as one at rest begins to go.

    Groups that begin change the loads of the others, so the search is repeated until none is added.
    """
    sign = np.where(system.held, 0.0, np.sign(speed))
    for _ in range(2 * sign.size):
        _, load = accelerations(motion(system, sign, rippled), turn, speed)
        load = load + sign[system.group] * system.guide
        down, up = margins(system, turn, load)
        lacking = np.minimum(down, up)
        lacking[(sign != 0) | system.held] = np.inf
        first = int(np.argmin(lacking))
        if lacking[first] >= 0:
            return sign
        sign[first] = 1.0 if down[first] < up[first] else -1.0
    return sign


def energies(system: Falling, turn: Array, speed: Array, rippled: Flags) -> tuple[Array, Array]:
    """Kinetic and potential energy (t,) J along turns and speeds (t, groups), detent of `rippled` ones."""
    corner_speed = speed[:, system.group]
    fall = corner_speed * system.radius
    kinetic = 0.5 * (corner_speed**2 @ system.inertia + np.einsum("ti,ij,tj->t", fall, system.mass, fall))
    height = system.height(turn)
    potential = height @ system.weight + 0.5 * np.einsum("ti,ij,tj->t", height, system.racking, height)
    wave = np.cos(system.cycles * turn[:, system.group] + system.phase)
    return kinetic, potential - wave @ (rippled[system.group] * system.barrier / 2.0)


def dissipation(course: Motion, speed: Array, load: Array) -> float:
    """Power W lost in threads, nuts, brakes, guides and grease at speeds (groups,), for thread loads (c,)."""
    system, s, w = course.system, course.side, speed[course.system.group]
    thread = (1.0 - efficiency(system, s, load)) * system.radius * load * w
    return float(
        np.sum(thread + (system.torque + system.guide * system.radius) * s * w + system.viscous * w**2)
    )


def hilltops(corners: int) -> Array:
    """Detent phases (c,) rad with every rotor on top of its detent hill, from where it is let go most easily.

    A current keeps a rotor wherever a microstep put it; the hill is at sin = 0, falling: phase pi.
    """
    return np.full(corners, np.pi)


def loose_share(drive: float, detent: float) -> float:
    """Share (0 to 1) of the rest places of a rotor from which it comes loose for good when the current goes.

    `drive` N m is what the load brings beyond all friction, `detent` N m the detent's amplitude, b their
    ratio. Potential -b x - cos x: from rest at x0 the hill at x_h = pi - asin(b) is passed if x0 lies between
    the hill before and the place of equal height with the hill ahead. Source: energy of a rotor in a tilted
    washboard potential; derived. Limits: one rotor, no friction left over (friction that acts on the swinging
    rotor lowers it).
    """
    if drive <= 0:
        return 0.0
    if drive >= detent:
        return 1.0
    b = drive / detent
    hill = np.pi - np.arcsin(b)
    level = -b * hill - np.cos(hill)
    low, high = hill - 2 * np.pi, np.arcsin(b)
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if -b * middle - np.cos(middle) > level else (low, middle)
    return float((low - (hill - 2 * np.pi)) / (2 * np.pi))
