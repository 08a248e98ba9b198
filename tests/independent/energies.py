"""The machine by Lagrange's equations: energies from geometry in sympy, M and K by its derivatives.

A point p of a body moves by t + w x p for small t, w. Every spring stores k e^2/2 with e its stretch less
the stretch an imperfection imposes; the load on a displaced joint of a tilted carriage adds -F (a_x j_y -
a_y j_x), F being what stands on the joint: the load that hangs on the corner, from the weights in a first
solution without it, less the nut, which stays where the screw has it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import sympy as sp
from numpy.typing import NDArray
from oracle_machine import GRAVITY, Belt, Corner, Numbers, commanded, jumps, screw_offset
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline
from scipy.linalg import eigh

Array = NDArray[np.float64]

PER_CORNER = 10  # carriage 6, nut x and y, nut turn, rotor
# what a plate on more than three screws bends to, in u = x/half side and v
SHAPES = ((1, 1), (2, 0), (0, 2), (2, 1), (1, 2))
POISSON = 0.33  # aluminium


@dataclass(frozen=True, kw_only=True)
class Equations:
    """M q'' + C q' + K q + plays = weight + growth + imposed @ e(t) - M command a(t); the bed comes first,
    then the corners, the plate's shapes, the shafts of nuts with play, the shared motor."""

    M: Array
    C: Array
    K: Array
    weight: Array  # (n,)
    growth: Array  # (n,)
    imposed: Array  # (n, 6 c): deflection x, slope x, deflection y, slope y of each screw; travels; belts
    command: Array  # (n,) per metre of height
    loads: Array  # (c,) N
    plays: tuple[Loose, ...]


@dataclass(frozen=True, kw_only=True)
class Loose:
    """A nut with play: `rows` (3, n) tell its thread's place x, y against the shaft and the axial stretch, of
    which the `travel`-th imposed extension is taken off; `values` of the energy's constants."""

    rows: Array
    travel: int
    values: tuple[float, ...]

    def stretch(self, q: Array, e: Array) -> Array:
        """x, y and axial stretch m."""
        return self.rows @ q - [0, 0, e[self.travel]]

    def force(self, q: Array, e: Array) -> Array:
        """Slope (n,) of the energy beyond that of the axial spring alone."""
        return self.rows.T @ np.array(SLOPE(*self.stretch(q, e), *self.values), dtype=float)

    def bend(self, stretch: Array) -> Array:
        """Its second derivatives (n, n) at a stretch (3,)."""
        return self.rows.T @ np.array(BEND(*stretch, *self.values), dtype=float) @ self.rows


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


def climbing() -> tuple[Callable[..., Any], Callable[..., Any]]:
    """Slope (3,) and second derivatives (3, 3) of what play adds to the axial spring's energy: the nut
    rides up its flank, a cone with a round tip, and past the play the thread's sides are pressed together."""
    x, y, a, k, climb, tip, gap, stop = sp.symbols("x y a k climb tip gap stop", real=True)
    off = sp.sqrt(x**2 + y**2 + sp.Float(1e-30))
    lift = climb * (sp.sqrt(x**2 + y**2 + tip**2) - tip)
    pressed = sp.Piecewise((stop / 2 * (off - gap) ** 2, off > gap), (0, True))
    U = k / 2 * (a - lift) ** 2 - k / 2 * a**2 + pressed
    own = (x, y, a, k, climb, tip, gap, stop)
    slope = [U.diff(s) for s in (x, y, a)]
    bend = [[U.diff(s, t) for s in (x, y, a)] for t in (x, y, a)]
    return sp.lambdify(own, slope, "math"), sp.lambdify(own, bend, "math")


SLOPE, BEND = climbing()


def first_shape(n: Numbers) -> int:
    """Where the plate's shapes stand among the coordinates."""
    return 6 + PER_CORNER * len(n.corners)


def first_shaft(n: Numbers) -> int:
    """Where the shafts in nuts with play stand."""
    return first_shape(n) + len(n.corners) - 3


def loose_corners(n: Numbers) -> list[int]:
    """Corners whose nut has play."""
    return [k for k, c in enumerate(n.corners) if c.play]


def size_of(n: Numbers) -> int:
    """Number of coordinates; a shared motor is the last."""
    return first_shaft(n) + 2 * len(loose_corners(n)) + (n.belt is not None)


def symbols(n: Numbers) -> tuple[sp.Matrix, sp.Matrix, sp.Matrix]:
    """Coordinates, their rates, and the imposed extensions."""
    sizes = {"q": size_of(n), "v": size_of(n), "e": 6 * len(n.corners)}
    return tuple(sp.Matrix(sp.symbols(f"{name}:{size}", real=True)) for name, size in sizes.items())


def sheet(n: Numbers, q: sp.Matrix) -> sp.Expr:
    """How far the plate is bent upwards, by places u and v in half sides."""
    own = q[first_shape(n) : first_shaft(n), 0]
    return sum((a * U**i * V**j for a, (i, j) in zip(own, SHAPES, strict=False)), sp.Integer(0))


U, V = sp.symbols("u v", real=True)


def mean(f: sp.Expr) -> sp.Expr:
    """Mean over the plate of a polynomial in u and v, each from -1 to 1."""
    total = sp.Integer(0)
    for (i, j), factor in sp.Poly(f, U, V).terms():
        if i % 2 == j % 2 == 0:
            total += factor / ((i + 1) * (j + 1))
    return sp.expand(total)


def at_place(n: Numbers, f: sp.Expr, p: Array) -> sp.Expr:
    """A polynomial in u and v at a place m."""
    return f.subs({U: p[0] / n.plate.half[0], V: p[1] / n.plate.half[1]})


def bed_motion(n: Numbers, q: sp.Matrix, p: Array) -> tuple[sp.Matrix, sp.Matrix]:
    """Displacement and rotation of the bed at the plate's place p, bent as it is."""
    bent = sheet(n, q)
    x, y = n.plate.half
    up = sp.Matrix([0, 0, at_place(n, bent, p)])
    by_x, by_y = at_place(n, bent.diff(U), p) / x, at_place(n, bent.diff(V), p) / y
    return q[:3, 0] + up, q[3:6, 0] + sp.Matrix([by_y, -by_x, 0])


def plate_bending(n: Numbers, q: sp.Matrix) -> sp.Expr:
    """Energy of a thin plate (Kirchhoff): D/2 [(w_xx + w_yy)^2 - 2 (1 - nu) (w_xx w_yy - w_xy^2)] over it,
    with D = E t^3/(12 (1 - nu^2)) and E = 2 G (1 + nu)."""
    w, (x, y) = sheet(n, q), n.plate.half
    if w == 0:
        return w
    D = n.plate.rigidity / (6 * (1 - POISSON))
    xx, yy, xy = w.diff(U, 2) / x**2, w.diff(V, 2) / y**2, w.diff(U, V) / (x * y)
    density = (xx + yy) ** 2 - 2 * (1 - POISSON) * (xx * yy - xy**2)
    return D / 2 * mean(sp.expand(density)) * 4 * x * y


def plate_motion(n: Numbers, v: sp.Matrix) -> sp.Expr:
    """Kinetic energy of a uniform plate that bends, beyond that of the same plate without."""
    bent = sheet(n, v)
    if bent == 0:
        return bent
    x, y = n.plate.half
    rigid = v[2] + v[3] * y * V - v[4] * x * U
    return n.plate.mass / 2 * mean(sp.expand(2 * rigid * bent + bent**2))


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
    total = body(v[:6, 0], *n.bodies[0]) + plate_motion(n, v)
    total += sum(standing_part(n, v, one) for one in n.bodies[1:])
    total += n.belt.inertia * v[size_of(n) - 1] ** 2 / 2 if n.belt else 0
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
        if c.play:
            shaft = shaft_at(n, k, v)
            total += c.play.shaft * shaft.dot(shaft) / 2
    return total


def standing_part(n: Numbers, v: sp.Matrix, one: tuple[float, Array, Array]) -> sp.Expr:
    """Kinetic energy of an object, which leans with the bed under its foot."""
    mass, centre, inertia = one
    t, w = bed_motion(n, v, centre)
    foot = sp.Matrix([centre[0], centre[1], 0])
    at_foot = t + v[3:6, 0].cross(foot)  # the shapes' slopes turn the part about its foot
    speed = at_foot + w.cross(sp.Matrix([0, 0, centre[2]]))
    return mass * speed.dot(speed) / 2 + sum(inertia[k] * w[k] ** 2 for k in range(3)) / 2


def spring(k: float, stretch: sp.Expr) -> sp.Expr:
    """Energy of one spring."""
    return k * stretch**2 / 2


def corner_energy(n: Numbers, k: int, q: sp.Matrix, e: sp.Matrix, twist: sp.Expr | None = None) -> sp.Expr:
    """Energy of all springs of one corner; `twist` of the screw by its nut, if it is not to be lumped."""
    c = n.corners[k]
    t, w, nut, turn, rotor = corner_motion(q, k)
    x, y = c.groove
    bed = moved(bed_motion(n, q, c.mount)[0], q[3:6, 0], c.mount)
    gap = bed + sp.Matrix(c.growth) - moved(t, w, c.mount - c.axis)
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

    thread = shaft_at(n, k, q) if c.play else thread_at(c, k, q)
    for deflection, slope, j in ((thread[0], w[1], 0), (thread[1], -w[0], 2)):
        pair = sp.Matrix([deflection - e[4 * k + j], slope - e[4 * k + j + 1]])
        V += (pair.T * sp.Matrix(c.plane) * pair)[0] / 2
    V += spring(c.motor, rotor)
    above = above_its_screw(c, k, q) - e[4 * len(n.corners) + k]
    if twist is None:
        return V + spring(c.axial, above)
    return V + spring(c.lift, above + c.hand * c.lead / (2 * np.pi) * twist) + spring(c.twist, twist)


def thread_at(c: Corner, k: int, q: sp.Matrix) -> sp.Matrix:
    """How far the nut has moved sideways at its thread."""
    _, w, nut, _, _ = corner_motion(q, k)
    return moved(sp.Matrix([nut[0], nut[1], 0]), w, [0, 0, c.thread - c.joint])[:2, 0]


def shaft_at(n: Numbers, k: int, q: sp.Matrix) -> sp.Matrix:
    """How far the shaft has moved sideways in a nut with play."""
    first = first_shaft(n) + 2 * loose_corners(n).index(k)
    return q[first : first + 2, 0]


def above_its_screw(c: Corner, k: int, q: sp.Matrix) -> sp.Expr:
    """How far the nut stands above where its screw would have it."""
    t, _, _, turn, rotor = corner_motion(q, k)
    return t[2] + c.hand * c.lead / (2 * np.pi) * (rotor - turn)


def energy(n: Numbers, q: sp.Matrix, e: sp.Matrix, twist: sp.Matrix | None = None) -> sp.Expr:
    """Energy of all springs, plays left out."""
    corners = range(len(n.corners))
    total = sum(corner_energy(n, k, q, e, None if twist is None else twist[k]) for k in corners)
    total += plate_bending(n, q)
    if n.belt is None:
        return total
    motor, b = q[size_of(n) - 1], n.belt
    total += spring(b.motor, motor)
    for k, c in enumerate(n.corners):
        rotor, late = corner_motion(q, k)[4], e[5 * len(n.corners) + k]
        stretch = b.radius * (rotor - c.turn / n.corners[0].turn * motor - late)
        total += spring(b.stiffness, stretch)
    return total


def weights(n: Numbers, q: sp.Matrix) -> sp.Expr:
    """Potential of all weights."""
    V = sum(m * moved(q[:3, 0], q[3:6, 0], centre)[2] for m, centre, _ in n.bodies)
    bent = sheet(n, q)
    V += n.plate.mass * mean(bent) + sum(m * at_place(n, bent, centre) for m, centre, _ in n.bodies[1:])
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
    """Second derivatives (x, y) of a quadratic form."""
    found = np.zeros((x.rows, y.rows))
    rows, columns = ({symbol: i for i, symbol in enumerate(of)} for of in (x, y))
    for powers, factor in terms(f):
        if sum(powers.values()) == 2:
            first, last = (s for s, power in powers.items() for _ in range(power))
            for a, b in {(first, last), (last, first)}:
                if a in rows and b in columns:
                    found[rows[a], columns[b]] += factor * (2 if a == b else 1)
    return found


def slope_at_rest(f: sp.Expr, x: sp.Matrix) -> Array:
    """First derivatives by x where all symbols vanish."""
    found, rows = np.zeros(x.rows), {symbol: i for i, symbol in enumerate(x)}
    for powers, factor in terms(f):
        if sum(powers.values()) == 1 and (symbol := next(iter(powers))) in rows:
            found[rows[symbol]] += factor
    return found


def terms(f: sp.Expr) -> Iterator[tuple[dict[sp.Symbol, int], float]]:
    """The monomials of a sum of polynomials: powers of the symbols, and the factor."""
    for part in sp.Add.make_args(f):
        if known := tuple(part.free_symbols):
            for powers, factor in sp.Poly(part, *known, domain=sp.RR).terms():
                yield {s: k for s, k in zip(known, powers, strict=True) if k}, float(factor)


def derive(n: Numbers, loads: Array | None = None) -> Equations:
    """The equations of motion; `loads` (c,) N hang on the corners (none: no geometric term)."""
    q, v, e = symbols(n)
    V = energy(n, q, e)
    M, K = second(kinetic(n, v), v, v), second(V, q, q)
    weight = -slope_at_rest(weights(n, q), q)
    sag = np.linalg.solve(K, weight)
    above = np.array([slope_at_rest(above_its_screw(c, k, q), q) for k, c in enumerate(n.corners)])
    hanging = -np.array([c.axial for c in n.corners]) * (above @ sag)
    plays = tuple(loose(n, k, q, above[k]) for k in loose_corners(n))
    if loads is not None:
        K = K + second(load_on_displaced_joint(n, q, loads), q, q)
    seated = K + sum(
        p.bend(np.array([0, 0, -hanging[k] / n.corners[k].axial]))
        for p, k in zip(plays, loose_corners(n), strict=True)
    )
    return Equations(
        M=M,
        C=modal_damping(M, seated, n.damping_ratio) + second(joint_dampers(n, v), v, v),
        K=K,
        weight=weight if loads is not None else np.zeros_like(weight),
        growth=-slope_at_rest(V, q),
        imposed=-second(V, q, e),
        command=command(n),
        loads=hanging,
        plays=plays,
    )


def loose(n: Numbers, k: int, q: sp.Matrix, above: Array) -> Loose:
    """One nut with play."""
    c = n.corners[k]
    off = thread_at(c, k, q) - shaft_at(n, k, q)
    return Loose(
        rows=np.array([slope_at_rest(off[0], q), slope_at_rest(off[1], q), above]),
        travel=4 * len(n.corners) + k,
        values=(c.axial, c.play.climb, c.play.tip, c.play.clearance, c.play.stop),
    )


def command(n: Numbers) -> Array:
    """All coordinates per metre of commanded height: bed and carriages rise, rotors turn."""
    d = np.zeros(size_of(n))
    d[2] = 1
    for k, c in enumerate(n.corners):
        d[6 + PER_CORNER * k + 2], d[6 + PER_CORNER * k + 9] = 1, c.turn
    if n.belt:
        d[-1] = n.corners[0].turn
    return d


def modal_damping(M: Array, K: Array, ratio: float) -> Array:
    """M V diag(2 zeta w) V^T M: every natural mode with the same damping ratio (Clough & Penzien)."""
    square, V = eigh(K, M)
    return M @ (V * (2 * ratio * np.sqrt(square))) @ V.T @ M


def imposed_extensions(n: Numbers, height: Array) -> Array:
    """What the screws impose (t, 6 c) at commanded heights (t,): deflections and slopes of bent ones, rises
    of those whose travel is off, lags of those on a pulley that runs out."""
    rows = []
    for c in n.corners:
        r, slope = screw_offset(c, height)
        rows += [r.real, slope.real, r.imag, slope.imag]
    rows += [c.rise(c.start + height, c.turn * height) for c in n.corners]
    rows += [lag(n.belt, c.turn * height) if n.belt else np.zeros_like(height) for c in n.corners]
    return np.stack(rows, axis=1)


def imposed_between(n: Numbers, a: float, b: float) -> Callable[[float], Array]:
    """The same at an instant between a and b s of a layer change that has no jump between: a cubic spline
    through 401 instants, 0.2 ms or less apart while anything moves, good to 1e-13 m."""
    time = np.linspace(a, b, 401)
    height = commanded(n, time)[0]
    found = CubicSpline(time, imposed_extensions(n, height))
    if np.ptp(height) > 1e-12:
        return found
    still = found(b)
    return lambda t: still


def lag(belt: Belt, turn: Array) -> Array:
    """What a pulley lacks of a turn (t,) that the belt asks of a round one: the belt that has run on to it is
    the integral of its radius r + e cos(angle), so r angle + e sin(angle) = r turn, Kepler's equation."""
    share, angle = belt.eccentricity / belt.radius, turn
    for _ in range(20):
        angle = turn - share * np.sin(angle)
    return angle - turn


def rest(eq: Equations, n: Numbers, height: float = 0.0) -> Array:
    """Equilibrium (n,) at a commanded height."""
    e = imposed_extensions(n, np.array([height]))[0]
    force = eq.weight + eq.growth + eq.imposed @ e
    if not eq.plays:
        return np.linalg.solve(eq.K, force)
    q = np.zeros_like(force)
    for share in np.linspace(0, 1, 21):  # bent little by little, so that Newton's method stays near
        e = share * imposed_extensions(n, np.array([height]))[0]
        force = eq.weight + eq.growth + eq.imposed @ e
        for _ in range(50):
            K = eq.K + sum(p.bend(p.stretch(q, e)) for p in eq.plays)
            step = np.linalg.solve(K, force - eq.K @ q - sum(p.force(q, e) for p in eq.plays))
            q = q + step
            if np.abs(step).max() < 1e-14:
                break
        else:
            raise ValueError(f"no equilibrium at {share:.2f} of the run-outs")
    return q


def derive_turning(n: Numbers, loads: Array) -> Turning:
    """The energy with the twists as coordinates of their own."""
    q, _, e = symbols(n)
    twist = sp.Matrix(sp.symbols("g:3", real=True))
    x = q.col_join(twist)
    V, e = energy(n, q, e, twist), e[:12, 0]
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
    flat = imposed_extensions(n, np.array([height]))[0, :12].reshape(3, 2, 2)
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
        imposed, within = imposed_between(n, a, b), np.array([0.25, 0.75]) * (b - a) + a
        line = np.polyfit(within, commanded(n, within)[2], 1)  # also where the next piece begins

        def rate(t: float, y: Array, line: Array = line, imposed: Any = imposed) -> Array:
            e = imposed(t)
            force = eq.weight + eq.growth + eq.imposed @ e - sum(p.force(y[:size], e) for p in eq.plays)
            inertia = eq.command * np.polyval(line, t)
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
    return np.unique(np.round(jumps(n)[0], 12))
