"""Nuts that the load twists until their balls meet the end of their travel, against energies.

The rest of the machine is that of `energies`, by sympy from the geometry. A stop stores k/2 (|d| - s)^2 once
a ball has gone |d| > s from its middle; d is the way of a point of a plate that really turns, R(psi) p - p,
so that the package's B_e is not used. That departs from B_e by r psi^2/2, 3 um at 15 mrad: some psi of what
is asked for. The history, to 0.01 um, is that of plates that turn by little. All values are computed here.
"""

from itertools import pairwise

import energies
import numpy as np
import pytest
from oracle_machine import GRAVITY, UNTIL, commanded, numbers
from scipy.integrate import solve_ivp
from scipy.optimize import root

from bedsim.simulation import make_job, simulate

PROBE = 0.01e-6  # m
SOFT, TRAVEL, STOP = 2.0, 0.2, 5.0  # N/mm, mm, N/um
BALLS = 0.02 * np.exp(2j * np.pi * np.arange(3) / 3)  # m, the default circle
END, STIFF = TRAVEL * 1e-3, STOP * 1e6 / 3  # m, N/m of one of three balls
SHORT = (0, 1)  # corners whose joint is the soft circle; the third has elements and a hold of its own


@pytest.fixture(scope="module")
def short(loaded):
    return loaded.with_values({"joint.lateral_n_per_mm": SOFT, "joint.travel_mm": TRAVEL})


@pytest.fixture(scope="module")
def layers(short):
    """Numbers and equations of layers 1 and 2."""
    found = []
    for layer in (1, 2):
        loads = energies.derive(numbers(short, layer)).loads
        n = numbers(short, layer, loads)
        found.append((n, energies.derive(n, loads)))
    return found


def slip(n, q, k):
    """Displacement of the nut against the plate at the joint (complex, m) and its turn against it."""
    own = q[6 + energies.PER_CORNER * k :]
    plate = own[:3] + np.cross(own[3:6], [0, 0, n.corners[k].joint])
    return complex(own[6] - plate[0], own[7] - plate[1]), own[8] - own[5]


def ways(n, q, k, turned=True):
    """How far (3,) each ball has gone from its middle, complex m, and what that changes by per rad."""
    moved, turn = slip(n, q, k)
    if not turned:
        return moved + 1j * BALLS * turn, 1j * BALLS
    return moved + BALLS * (np.exp(1j * turn) - 1), 1j * BALLS * np.exp(1j * turn)


def stop_energy(n, q):
    return sum(STIFF / 2 * np.sum(np.maximum(np.abs(ways(n, q, k)[0]) - END, 0) ** 2) for k in SHORT)


def stop_force(n, q, turned=True):
    """Gradient (36,) of the stops' energy by all that moves a ball."""
    found = np.zeros_like(q)
    for k in SHORT:
        way, by_turn = ways(n, q, k, turned)
        size = np.abs(way)
        push = STIFF * np.maximum(size - END, 0) * way / np.maximum(size, 1e-12)
        x, y, torque = push.sum().real, push.sum().imag, np.sum((push.conj() * by_turn).real)
        z, first = n.corners[k].joint, 6 + energies.PER_CORNER * k
        found[first : first + 9] = -x, -y, 0, y * z, -x * z, -torque, x, y, torque
    return found


def rest(n, eq, turned=True):
    """Equilibrium with the stops, by scipy from where they alone are missing."""
    scale = 1 / np.sqrt(np.diag(eq.K))
    force = eq.weight + eq.growth + eq.imposed @ energies.imposed_extensions(n, np.zeros(1))[0]

    def slope(x):
        return scale * (eq.K @ (scale * x) - force + stop_force(n, scale * x, turned))

    found = root(slope, np.linalg.solve(eq.K, force) / scale, tol=1e-10)
    assert found.success
    return scale * found.x


def test_rest_at_the_stops(short, layers):
    """Where the balls rest, how far the nut is turned, and where that leaves the bed."""
    found = simulate(short, "equilibrium").layers
    n, eq = layers[0]
    q = rest(n, eq)
    for k in SHORT:
        moved, turn = slip(n, q, k)
        farthest = np.abs(ways(n, q, k)[0]).max()
        assert farthest > END > 3 * abs(moved)  # it is turning that uses the travel up
        assert found.stop_hit[0, k]
        beyond = found.joint_excursion[0, k] - END
        assert beyond == pytest.approx(farthest - END, rel=2 * abs(turn))
    assert not found.stop_hit[0, 2]
    np.testing.assert_allclose(found.pose_raw[0, :3], q[:3], atol=0.02e-6)
    free = np.linalg.solve(eq.K, eq.K @ q + stop_force(n, q))  # the same machine without stops
    assert np.abs(free[2] - q[2]) > 1e-6  # they keep the nut from sinking by microns


def test_the_force_is_the_slope_of_the_energy(layers):
    n, eq = layers[0]
    q, h = rest(n, eq), 1e-8
    slope = [(stop_energy(n, q + h * d) - stop_energy(n, q - h * d)) / (2 * h) for d in np.eye(q.size)]
    np.testing.assert_allclose(stop_force(n, q), slope, rtol=1e-4, atol=1e-4)


@pytest.mark.long
def test_history_of_a_layer_change_at_the_stops(short, layers, largest_difference):
    """Against scipy's DOP853 on the energies' equations, with the stops of plates that turn by little."""
    (before, eq_before), (now, eq) = layers
    traces = []
    for engine in ("reference", "propagator"):
        found = simulate(short, engine).layers
        assert found.stop_hit[1, list(SHORT)].all()
        traces.append(found.trace[0])
    time = np.unique(np.concatenate([trace.time for trace in traces]))
    time = time[time <= UNTIL]
    start = rest(before, eq_before, turned=False)
    q = follow(eq, now, start, time, turned=False)[:, :6]
    for trace in traces:
        kept = np.searchsorted(time, trace.time[trace.time <= UNTIL])
        assert largest_difference(trace, q[kept]) < PROBE


def follow(eq, n, start, time, turned):
    """Motion (t, 36) from rest at `start`."""
    inverse, size = np.linalg.inv(eq.M), start.size
    pieces = np.unique(np.concatenate([energies.commanded_jumps(n), [time[-1]]]))
    y, found = np.concatenate([start, np.zeros(size)]), [np.empty((0, size))]
    for a, b in pairwise(pieces):
        acceleration = commanded(n, np.array([(a + b) / 2]))[2][0]
        imposed = energies.imposed_between(n, a, b)

        def rate(t, y, acceleration=acceleration, imposed=imposed):
            force = eq.weight + eq.growth + eq.imposed @ imposed(t)
            force = force - eq.C @ y[size:] - eq.K @ y[:size] - stop_force(n, y[:size], turned)
            return np.concatenate([y[size:], inverse @ force - eq.command * acceleration])

        at = time[(time >= a) & ((time < b) | (b == pieces[-1]))]
        solution = solve_ivp(
            rate, (a, b), y, method="DOP853", rtol=1e-6, atol=1e-10, t_eval=np.append(at[at < b], b)
        )
        y = solution.y[:, -1]
        found.append(solution.y[:size, : at.size].T)
    return np.concatenate(found)


def test_friction_of_a_joint_counts_what_stands_on_it(loaded, layers):
    """Normal loads: what hangs on the screws by the energies, less the nut below the joint, plus magnets."""
    rubbing = loaded.with_values({"joint.friction_coefficient": 0.01, "joint.magnet_force_n": 3.0})
    machine = make_job(rubbing).machine
    limit = machine.system(np.array([1])).friction_limit[0]
    n, eq = layers[0]
    for k, c in enumerate(n.corners):
        own = [
            f.corner == k and ".joint" in f.name for f in machine.frictions for _ in range(len(f.jacobian))
        ]
        along_x = limit[own][::2]
        expected = 0.01 * (eq.loads[k] - GRAVITY * c.nut_mass + 3.0)
        assert along_x.sum() == pytest.approx(expected, rel=1e-5)
        assert along_x == pytest.approx(np.full(3, expected / 3), rel=1e-5)
