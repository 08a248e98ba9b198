"""The machine by Lagrange's equations: energies from geometry in sympy, M and K by its derivatives.

A point p of a body moves by t + w x p for small t, w. Every spring stores k e^2/2 with e its stretch less
the stretch an imperfection imposes; the load on a displaced joint of a tilted carriage adds -F (a_x j_y -
a_y j_x), F being what stands on the joint: the load that hangs on the corner, from the weights in a first
solution without it, less the nut, which stays where the screw has it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import sympy as sp
from numpy.typing import NDArray
from oracle_machine import GRAVITY, Corner, Numbers, commanded, ramps, screw_offset
from scipy.integrate import solve_ivp
from scipy.linalg import eigh

Array = NDArray[np.float64]

PER_CORNER = 10  # carriage 6, nut x and y, nut turn, rotor


@dataclass(frozen=True, kw_only=True)
class Equations:
    """M q'' + C q' + K q = weight + growth + imposed @ e(t) - M command a(t); the bed comes first."""

    M: Array
    C: Array
    K: Array
    weight: Array  # (n,)
    growth: Array  # (n,)
    imposed: Array  # (n, 12): deflection x, slope x, deflection y, slope y of each screw
    command: Array  # (n,) per metre of height
    loads: Array  # (3,) N


@dataclass(frozen=True, kw_only=True)
class Turning:
    """The same machine at rest, its screws bent by the angle they really have: for coordinates x (n + 3,),
    the last the twist of each screw between motor and nut, the energy is
    x K x/2 - x imposed e + e square e/2 - x force."""

    K: Array
    imposed: Array  # (n + 3, 12)
    square: Array  # (12, 12)
    force: Array  # (n + 3,): weight and growth


def moved(t: sp.Matrix, w: sp.Matrix, p: object) -> sp.Matrix:
    """Small displacement of the point p of a body."""
    return t + w.cross(sp.Matrix(p))


def symbols() -> tuple[sp.Matrix, sp.Matrix, sp.Matrix]:
    """Coordinates, their rates, and the imposed extensions."""
    n = 6 + 3 * PER_CORNER
    return (
        sp.Matrix(sp.symbols(f"{name}:{size}", real=True)) for name, size in (("q", n), ("v", n), ("e", 12))
    )


def body(motion: sp.Matrix, mass: float, centre: Array, inertia: Array) -> sp.Expr:
    """Kinetic energy of a rigid body with velocity `motion` (t, w) at its reference point."""
    t, w = motion[:3, 0], motion[3:6, 0]
    speed = moved(t, w, centre)
    return mass * speed.dot(speed) / 2 + sum(inertia[k] * w[k] ** 2 for k in range(3)) / 2


def corner_motion(q: sp.Matrix, k: int) -> tuple[sp.Matrix, sp.Matrix, sp.Matrix, sp.Expr, sp.Expr]:
    """Carriage t and w, nut place, nut turn, rotor angle."""
    first = 6 + PER_CORNER * k
    own = q[first : first + PER_CORNER, 0]
    return own[:3, 0], own[3:6, 0], own[6:8, 0], own[8], own[9]


def kinetic(n: Numbers, v: sp.Matrix) -> sp.Expr:
    """Kinetic energy. The nut has its own sideways motion and turn; it rises with its carriage."""
    total = sum(body(v[:6, 0], *b) for b in n.bodies)
    for k, c in enumerate(n.corners):
        t, w, nut, turn, rotor = corner_motion(v, k)
        total += body(
            t.col_join(w),
            c.carriage_mass,
            np.array([0, 0, c.carriage_height]),
            np.full(3, c.carriage_inertia),
        )
        total += (
            c.nut_mass * (nut.dot(nut) + t[2] ** 2) / 2
            + c.nut_inertia * turn**2 / 2
            + c.rotor_inertia * rotor**2 / 2
        )
    return total


def spring(k: float, stretch: sp.Expr) -> sp.Expr:
    """Energy of one spring."""
    return k * stretch**2 / 2


def corner_energy(
    c: Corner, k: int, q: sp.Matrix, e: sp.Matrix, bed: sp.Matrix, twist: sp.Expr | None = None
) -> sp.Expr:
    """Energy of all springs of one corner; `twist` of the screw by its nut, if it is not to be lumped."""
    t, w, nut, turn, rotor = corner_motion(q, k)
    x, y = c.groove
    gap = moved(bed[:3, 0], bed[3:6, 0], c.mount) + sp.Matrix(c.growth) - moved(t, w, c.mount - c.axis)
    along, across, up = c.mount_stiffness
    V = spring(along, gap[0] * x + gap[1] * y) + spring(across, gap[1] * x - gap[0] * y) + spring(up, gap[2])

    x, y = c.guide_direction
    radial, tangential, tilt, yaw = c.guide_stiffness
    at = moved(t, w, c.guide)
    V += spring(radial, at[0] * x + at[1] * y) + spring(tangential, at[1] * x - at[0] * y)
    V += spring(tilt, w[0]) + spring(tilt, w[1]) + spring(yaw, w[2])

    plate = moved(t, w, [0, 0, c.joint])
    for px, py, stiffness in c.elements:
        V += spring(stiffness, nut[0] - turn * py - (plate[0] - w[2] * py))
        V += spring(stiffness, nut[1] + turn * px - (plate[1] + w[2] * px))
    V += spring(c.joint_rotation, turn - w[2])

    thread = moved(sp.Matrix([nut[0], nut[1], 0]), w, [0, 0, c.thread - c.joint])
    for deflection, slope, j in ((thread[0], w[1], 0), (thread[1], -w[0], 2)):
        pair = sp.Matrix([deflection - e[4 * k + j], slope - e[4 * k + j + 1]])
        V += (pair.T * sp.Matrix(c.plane) * pair)[0] / 2
    helix = c.hand * c.lead / (2 * sp.pi.evalf(17))
    V += spring(c.motor, rotor)
    if twist is None:
        return V + spring(c.axial, t[2] + helix * (rotor - turn))
    return V + spring(c.lift, t[2] + helix * (rotor + twist - turn)) + spring(c.twist, twist)


def weights(n: Numbers, q: sp.Matrix) -> sp.Expr:
    """Potential of all weights."""
    V = sum(m * moved(q[:3, 0], q[3:6, 0], centre)[2] for m, centre, _ in n.bodies)
    for k, c in enumerate(n.corners):
        t, w, *_ = corner_motion(q, k)
        V += c.carriage_mass * moved(t, w, [0, 0, c.carriage_height])[2] + c.nut_mass * t[2]
    return GRAVITY * V


def load_on_displaced_joint(n: Numbers, q: sp.Matrix, loads: Array) -> sp.Expr:
    """The load hangs on the nut, which stands off the middle of a tilted plate."""
    V = sp.Integer(0)
    for k, (c, load) in enumerate(zip(n.corners, loads, strict=True)):
        t, w, nut, _, _ = corner_motion(q, k)
        j = nut - moved(t, w, [0, 0, c.joint])[:2, 0]
        V -= (load - GRAVITY * c.nut_mass) * (w[0] * j[1] - w[1] * j[0])
    return V


def joint_dampers(n: Numbers, v: sp.Matrix) -> sp.Expr:
    """Rayleigh's dissipation function of the joints' own dampers."""
    D = sp.Integer(0)
    for k, c in enumerate(n.corners):
        t, w, nut, _, _ = corner_motion(v, k)
        slip = nut - moved(t, w, [0, 0, c.joint])[:2, 0]
        D += c.joint_damping * slip.dot(slip) / 2
    return D


def second(f: sp.Expr, x: sp.Matrix, y: sp.Matrix) -> Array:
    """Second derivatives (x, y) of a quadratic form, spring by spring: each knows few coordinates."""
    found = np.zeros((x.rows, y.rows))
    for spring_energy, known in polynomials(f):
        for i in (i for i, s in enumerate(x) if s in known):
            slope = spring_energy.diff(x[i])
            for j in (j for j, s in enumerate(y) if s in known):
                found[i, j] += float(slope.diff(y[j]).nth(*[0] * len(known)))
    return found


def slope_at_rest(f: sp.Expr, x: sp.Matrix) -> Array:
    """First derivatives by x where all symbols vanish."""
    found = np.zeros(x.rows)
    for term, known in polynomials(f):
        for i in (i for i, s in enumerate(x) if s in known):
            found[i] += float(term.diff(x[i]).nth(*[0] * len(known)))
    return found


def polynomials(f: sp.Expr) -> list[tuple[sp.Poly, tuple[sp.Symbol, ...]]]:
    """The terms of a sum as polynomials, each with the symbols it knows."""
    terms = [(term, tuple(term.free_symbols)) for term in sp.Add.make_args(f) if term.free_symbols]
    return [(sp.Poly(term, *known), known) for term, known in terms]


def derive(n: Numbers, loads: Array | None = None) -> Equations:
    """The equations of motion; `loads` (3,) N hang on the corners (none: no geometric term)."""
    q, v, e = symbols()
    V = sum(corner_energy(c, k, q, e, q[:6, 0]) for k, c in enumerate(n.corners))
    M, K = second(kinetic(n, v), v, v), second(V, q, q)
    weight = -slope_at_rest(weights(n, q), q)
    sag = np.linalg.solve(K, weight)
    hanging = np.array([-c.axial * axial_stretch(c, k, sag) for k, c in enumerate(n.corners)])
    if loads is not None:
        K = K + second(load_on_displaced_joint(n, q, loads), q, q)
    return Equations(
        M=M,
        C=modal_damping(M, K, n.damping_ratio) + second(joint_dampers(n, v), v, v),
        K=K,
        weight=weight if loads is not None else np.zeros_like(weight),
        growth=-slope_at_rest(V, q),
        imposed=-second(V, q, e),
        command=command(n),
        loads=hanging,
    )


def axial_stretch(c: Corner, k: int, q: Array) -> float:
    """How far the nut stands above where its screw would have it."""
    own = q[6 + PER_CORNER * k :]
    return float(own[2] + c.hand * c.lead / (2 * np.pi) * (own[9] - own[8]))


def command(n: Numbers) -> Array:
    """All coordinates per metre of commanded height: bed and carriages rise, rotors turn."""
    d = np.zeros(6 + 3 * PER_CORNER)
    d[2] = 1
    for k, c in enumerate(n.corners):
        d[6 + PER_CORNER * k + 2], d[6 + PER_CORNER * k + 9] = 1, c.turn
    return d


def modal_damping(M: Array, K: Array, ratio: float) -> Array:
    """M V diag(2 zeta w) V^T M: every natural mode with the same damping ratio (Clough & Penzien)."""
    square, V = eigh(K, M)
    return M @ (V * (2 * ratio * np.sqrt(square))) @ V.T @ M


def imposed_extensions(n: Numbers, height: Array) -> Array:
    """Deflection and slope (t, 12) that the bent screws offer at commanded heights (t,)."""
    rows = []
    for c in n.corners:
        r, slope = screw_offset(c, height)
        rows += [r.real, slope.real, r.imag, slope.imag]
    return np.stack(rows, axis=1)


def rest(eq: Equations, n: Numbers) -> Array:
    """Equilibrium (n,) at commanded height zero."""
    return np.linalg.solve(eq.K, eq.weight + eq.growth + eq.imposed @ imposed_extensions(n, np.zeros(1))[0])


def derive_turning(n: Numbers, loads: Array) -> Turning:
    """The energy with the twists as coordinates of their own."""
    q, _, e = symbols()
    twist = sp.Matrix(sp.symbols("g:3", real=True))
    x = q.col_join(twist)
    V = sum(corner_energy(c, k, q, e, q[:6, 0], twist[k]) for k, c in enumerate(n.corners))
    U = load_on_displaced_joint(n, q, loads)
    return Turning(
        K=second(V, x, x) + second(U, x, x),
        imposed=-second(V, x, e),
        square=second(V, e, e),
        force=-slope_at_rest(weights(n, q), x) - slope_at_rest(V, x),
    )


def rest_of_turning(eq: Turning, n: Numbers, height: float, push: bool = True) -> Array:
    """Equilibrium (n + 3,) at a commanded height with run-outs at the screws' actual angles at their nuts.

    The energy is least: its slope by an angle holds that of the run-out, (dU/de) de/d angle, without which
    (`push`) the screws' angles are where side forces do not count.
    """
    flat = imposed_extensions(n, np.array([height]))[0].reshape(3, 2, 2)
    bent = flat[:, 0] + 1j * flat[:, 1]  # deflection and slope as complex numbers
    place = np.array([[6 + PER_CORNER * k + 9, 6 + 3 * PER_CORNER + k] for k in range(3)])

    def slope(x: Array) -> Array:
        turned = bent * np.exp(1j * x[place].sum(axis=1))[:, None]
        e, by_angle = (np.stack([z.real, z.imag], axis=1) for z in (turned, 1j * turned))
        found = eq.K @ x - eq.imposed @ e.ravel() - eq.force
        pull = (eq.square @ e.ravel() - eq.imposed.T @ x).reshape(3, 4)
        for k in range(3) if push else ():
            found[place[k]] += pull[k] @ by_angle[k].ravel()
        return found

    x = np.zeros(eq.force.size)
    for _ in range(100):
        step = np.linalg.solve(eq.K, slope(x))
        x = x - step
        if np.abs(step).max() < 1e-15:
            return x
    raise ValueError("no equilibrium")


def integrate(eq: Equations, n: Numbers, start: Array, time: Array) -> Array:
    """Motion (t, n) from rest at `start` (n,), by scipy's DOP853 in the equations as they stand."""
    inverse, size = np.linalg.inv(eq.M), start.size
    pieces = np.unique(np.concatenate([commanded_jumps(n), [time[-1]]]))
    y, found = np.concatenate([start, np.zeros(size)]), [np.empty((0, size))]
    for a, b in itertools.pairwise(pieces):
        acceleration = commanded(n, np.array([(a + b) / 2]))[2][0]

        def rate(t: float, y: Array, acceleration: float = acceleration) -> Array:
            height = commanded(n, np.array([t]))[0]
            force = eq.weight + eq.growth + eq.imposed @ imposed_extensions(n, height)[0]
            inertia = eq.command * acceleration
            return np.concatenate([y[size:], inverse @ (force - eq.C @ y[size:] - eq.K @ y[:size]) - inertia])

        at = time[(time >= a) & ((time < b) | (b == pieces[-1]))]
        solution = solve_ivp(
            rate, (a, b), y, method="DOP853", rtol=1e-7, atol=1e-11, t_eval=np.append(at[at < b], b)
        )
        y = solution.y[:, -1]
        found.append(solution.y[:size, : at.size].T)
    return np.concatenate(found)


def commanded_jumps(n: Numbers) -> Array:
    """Instants at which the commanded acceleration jumps."""
    return ramps(n.layer, n.speed, n.acceleration)[0]
