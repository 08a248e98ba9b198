"""Steps through a stretch of time: against the recursion written out, scipy's matrix exponential, and
statics."""

from pathlib import Path

import numpy as np
import pytest
from scipy.linalg import expm

from bedsim.engines import (
    base,
    exponential,
    free,
    known_forcing,
    layer_problem,
    step_tables,
    steps,
    workspace,
)
from bedsim.engines.course import Forcing
from bedsim.engines.modes import FORCE_UNIT, LayerModes, Rows, layer_modes
from bedsim.model.nonlinear import Elastic
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

SCENARIO = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rolling-joints.toml"
W = np.array([180.0, 420.0, 2300.0])
ZETA = 0.03
ROWS = np.array([[0.7, -0.4, 0.2], [0.1, 0.5, -0.3]])  # of two dampers, on the modes
DAMPING = np.array([[40.0, 10.0], [10.0, 60.0]])
START = np.array([[3e-5, -1e-5, 2e-6], [2e-3, 4e-3, -1e-3]])


def layer(damping):
    """Three modes and two explicit dampers."""
    none = np.zeros(0)
    parts = Elastic(
        rows=np.zeros((0, 3)),
        imposed=np.zeros((0, 1)),
        **dict.fromkeys(
            ("gap", "gap_squared", "stop", "slope", "rounding", "flank", "torque", "electrical"), none
        ),
    )
    rows = Rows(
        place=ROWS.T[None],
        push=FORCE_UNIT * ROWS[None],
        bristles=0,
        contacts=0,
        dampers=2,
        order=np.zeros(0, dtype=np.intp),
        breakaway=none,
        limit=np.zeros((1, 0)),
        damping=damping,
        steep=np.abs(damping).sum(axis=0)[:, None] / FORCE_UNIT,
        carried=np.zeros((0, 1)),
        parts=parts,
    )
    one = np.eye(3)[None]
    return LayerModes(
        frequency=W[None],
        damping=ZETA * W[None],
        modes=one,
        to_modes=one,
        imposed=np.zeros((1, 1, 3)),
        weight=np.zeros((1, 3)),
        command=np.zeros((1, 1, 3)),
        rows=rows,
    )


def matrix(damping):
    """A of x' = A x for x = (eta, eta')."""
    coupling = np.diag(2 * ZETA * W) + ROWS.T @ damping @ ROWS
    return np.block([[np.zeros((3, 3)), np.eye(3)], [-np.diag(W**2), -coupling]])


def integrated(modes, known, table, count, damping):
    """`count` steps from START."""
    A = matrix(damping)
    force = damping @ ROWS / FORCE_UNIT
    now = steps.ModalState(
        motion=START[:, :, None],
        phi=np.zeros((0, 1)),
        g=(force @ START[1])[:, None],
        rate=(force @ (A @ START.ravel())[3:])[:, None],
    )
    room = workspace.Workspace(1, count, (0, 0, 2, 3))
    weight = layer_problem.row_weight(modes, np.eye(3)[None])
    return steps.integrate(table, modes.rows, known, now, count, 1, 1e-7, weight, room)


def written_out(length, count):
    """The recursion of the module's docstring in double precision, the forces at each node solved for; the
    rate at its end is that of the parabola through three nodes."""
    A, hold, ramp, square, cube = exponential.step(W, ZETA * W, length)
    force = ROWS.T @ DAMPING @ ROWS  # modal force p per eta'
    u = exponential.amplitude(*START, W, ZETA * W)
    p0, r0 = force @ START[1], length * force @ (matrix(DAMPING) @ START.ravel())[3:]
    last, ends, impulse = r0, [], np.zeros(3)

    def speed(x):
        return exponential.motion(x, W, ZETA * W)[1]

    # p0 + r0 s + e (3 s^2 - 2 s^3) + f (s^3 - s^2), e = p1 - p0 - r0, f = r1 - r0
    value, rate = 3 * square - 2 * cube, cube - square
    per_force = np.stack([speed(-(value + 1.5 * rate) * e) for e in np.eye(3)], axis=1)
    for _ in range(count):
        known = A * u - hold * p0 - ramp * r0 + value * (p0 + r0) + rate * (1.5 * p0 + last / 2 + r0)
        p1 = np.linalg.solve(np.eye(3) - force @ per_force, force @ speed(known))
        r1 = 1.5 * (p1 - p0) - last / 2
        impulse += length * ((p0 + p1) / 2 + (r0 - r1) / 12)
        u, last, p0, r0 = known - (value + 1.5 * rate) * p1, p1 - p0, p1, r1
        ends.append(np.stack(exponential.motion(u, W, ZETA * W)))
    return np.array(ends), impulse


@pytest.mark.parametrize("length", [2e-4, 1e-3, 2e-3])
def test_steps_follow_the_recursion(length):
    """Also where a step is longer than a mode's period: to single precision."""
    modes, count = layer(DAMPING), 12
    table = step_tables.tables(modes, length, 2)
    found = integrated(modes, known_forcing.constant_forcing(0, np.zeros((0, 1))), table, count, DAMPING)
    ends, impulse = written_out(length, count)
    size = np.abs(ends[:, 0]).max(axis=0)
    np.testing.assert_allclose(found.stored[:, :, 0] / size, ends[:, 0] / size, atol=3e-6)
    np.testing.assert_allclose(found.end.motion[1, :, 0], ends[-1, 1], atol=3e-6 * np.abs(ends[:, 1]).max())
    np.testing.assert_allclose(found.impulse[:, 0], impulse, atol=3e-6 * np.abs(impulse).max())


def test_dampers_against_the_matrix_exponential():
    """Third order or better, down to single precision: half the step, an eighth of the error or less, and an
    eighth of the step 1/512 in the modes that all resolve.  Their impulse is that of a linear damper: its
    rate times the way."""
    modes, end, A = layer(DAMPING), 0.016, matrix(DAMPING)
    exact = (expm(A * end) @ START.ravel()).reshape(2, 3)
    errors = []
    for count in (8, 16, 32, 64):
        table = step_tables.tables(modes, end / count, 2)
        found = integrated(modes, known_forcing.constant_forcing(0, np.zeros((0, 1))), table, count, DAMPING)
        errors.append(np.abs(found.end.motion[0, :, 0] - exact[0]))
    assert errors[1].max() > 7 * errors[2].max()
    assert errors[0][:2].max() > 512 * errors[3][:2].max()
    way = ROWS.T @ DAMPING @ ROWS @ (exact[0] - START[0])
    np.testing.assert_allclose(found.impulse[:, 0], way, rtol=2e-4, atol=2e-5 * np.abs(way).max())


@pytest.mark.parametrize("nodes", [2, 4, 6])
@pytest.mark.parametrize("count", [1, 5])
def test_a_known_force_that_bends_is_taken_exactly(count, nodes):
    """A force that is a parabola in time, with nothing else acting: scipy's expm on the force and its
    derivatives appended to the state ([VanLoan1978], from memory)."""
    none = np.zeros((2, 2))
    modes, length = layer(none), 3e-3
    time = np.linspace(0, count * length, nodes * count + 1)
    a, b = np.array([2.0, -5.0, 30.0]), np.array([900.0, 4e3, -2e4])
    force = a * time[:, None] + b * time[:, None] ** 2
    known = Forcing(
        spacing=length / nodes,
        pace=1.0,
        force=force[:, :, None],
        rest=np.zeros((3, 1)),
        slip=np.zeros((time.size, 0, 1)),
        slip_speed=np.zeros((time.size, 0, 1)),
        offset=np.zeros((time.size, 0, 1)),
        offset_speed=np.zeros((time.size, 0, 1)),
        imposed=np.zeros((1, time.size, 1)),
    )
    table = step_tables.tables(modes, length, 2)
    answers = step_tables.answers(modes, length, nodes)
    found = integrated(modes, known.stretch(0, count, None, answers), table, count, none)
    G = np.zeros((9, 9))
    G[:6, :6] = matrix(none)
    G[3:6, 7], G[3:6, 8] = a, 2 * b
    G[7, 6] = G[8, 7] = 1  # 1, t, t^2/2
    exact = (expm(G * time[-1]) @ np.append(START.ravel(), [1, 0, 0]))[:6].reshape(2, 3)
    size = np.abs(exact - (expm(matrix(none) * time[-1]) @ START.ravel()).reshape(2, 3))
    assert np.all(np.abs(found.end.motion[:, :, 0] - exact) < 1e-4 * size + 1e-6 * np.abs(exact))


# ---- layers without friction ---------------------------------------------------------------------------


def test_free_motion_with_dampers_is_the_matrix_exponential():
    motions = free.free(layer(DAMPING))
    u = motions.enter(START[:, :, None])
    time = np.array([1e-4, 3e-3, 0.05])
    found = motions.leave(exponential.power(motions.mu, time) * u[:, None])[..., 0]
    for t, x in zip(time, found, strict=True):
        exact = expm(matrix(DAMPING) * t) @ START.ravel()
        np.testing.assert_allclose(x.ravel(), exact, rtol=1e-8, atol=1e-14)


def test_mean_of_a_ring_down():
    """Against the integral by the matrix exponential: x' = A x, m' = x."""
    motions, rest = free.free(layer(DAMPING)), np.array([[1e-5], [0.0], [2e-6]])
    begin, span = 0.004, 0.03
    start = START[:, :, None] + np.stack([rest, 0 * rest])
    _, _, mean, _ = free.decayed(motions, start, rest, np.eye(3), span, begin)
    G = np.zeros((12, 12))
    G[:6, :6], G[6:, :6] = matrix(DAMPING), np.eye(6)
    first, last = ((expm(G * t) @ np.append(START.ravel(), np.zeros(6)))[6:9] for t in (begin, span))
    np.testing.assert_allclose(mean[:, 0] - rest[:, 0], (last - first) / (span - begin), rtol=1e-7)


def test_a_bent_force_keeps_its_integral():
    """A force in few spaces that bends between its ends, t^3 and t^4, against scipy's expm: most of what its
    polygon misses is made good."""
    modes = layer(DAMPING)
    motions, spaces, length = free.free(modes), 40, 1e-3
    time = length * np.arange(spaces + 1)
    b = np.array([900.0, 4e3, -2e4]) / time[-1] ** 2
    curve = time[-1] * time**3 / 6 - time**4 / 12
    nothing = np.zeros((spaces + 1, 0, 1))
    known = Forcing(
        spacing=length,
        pace=1.0,
        force=(b * curve[:, None])[:, :, None],
        rest=np.zeros((3, 1)),
        slip=nothing,
        slip_speed=nothing,
        offset=nothing,
        offset_speed=nothing,
        imposed=np.zeros((1, spaces + 1, 1)),
    )
    table = exponential.first_order_hold(motions.mu, length, 16)
    found, _ = free.driven(motions, table, known, None, np.zeros((2, 3, 1)))
    G = np.zeros((11, 11))
    G[:6, :6] = matrix(DAMPING)
    G[3:6, 9], G[3:6, 10] = time[-1] * b, -2 * b
    G[[7, 8, 9, 10], [6, 7, 8, 9]] = 1  # 1, t, t^2/2, t^3/6, t^4/24
    exact = (expm(G * time[-1]) @ np.append(np.zeros(6), [1, 0, 0, 0, 0]))[:3]
    start = np.zeros((1, motions.mu.size), dtype=complex)
    polygon = exponential.carried(table, start, motions.pushed(known.force.transpose(2, 0, 1)))
    missed = motions.leave(polygon[:, -1:])[0, 0, :, 0] - exact
    slow = slice(0, 2)  # modes that the spacing resolves
    left = found[-1, 0, :, 0] - exact
    assert np.all(np.abs(left[slow]) < 0.04 * np.abs(missed[slow]))


# ---- what a row's force does ---------------------------------------------------------------------------


def test_row_weight_is_the_static_answer_of_the_machine():
    """A unit of every bristle's force on the machine with its bristles stuck, by a solve of its own."""
    job = make_job(load_scenario(SCENARIO, ["print.layers=2"]))
    system = job.machine.system(np.array([2]))
    modes = layer_modes(job, system, slice(0, 1))
    observer = base.make_observer(job.machine, system, job.probes)
    heights = observer.height @ modes.modes[0]
    weight = layer_problem.row_weight(modes, heights[None])
    limit = system.friction_limit[0]
    stuck = system.K[0] + job.machine.contact_rows.T @ (
        (limit / job.machine.breakaway)[:, None] * job.machine.contact_rows
    )
    moved = observer.height @ np.linalg.solve(stuck, job.machine.contact_rows.T * limit)
    order = modes.rows.order
    np.testing.assert_allclose(
        weight[:, : order.size], moved[:, order], rtol=1e-4, atol=1e-5 * np.abs(moved).max()
    )


def test_the_rate_of_row_forces_is_their_change():
    """Contacts that slide as commanded while modes swing: what the law says g changes by, against its
    differences over short steps."""
    job = make_job(load_scenario(SCENARIO, ["print.layers=2"]))
    modes = layer_modes(job, job.machine.system(np.array([2])), slice(0, 1))
    rows, n, count, length = modes.rows, modes.frequency.shape[1], 4, 4e-6
    b, rng = rows.bristles, np.random.default_rng(3)
    slip = np.linspace(-90, 120, b)[None, :, None]  # breakaways per second
    known = known_forcing.KnownForcing(
        move=np.zeros((count, 2, n, 1), dtype=np.float32),
        slip=(slip * length * np.ones((count, 1, 1))).astype(np.float32),
        slip_speed=(slip * length / 6 * np.ones((count + 1, 1, 1))).astype(np.float32),
        offset=np.zeros((count + 1, rows.size - b, 1), dtype=np.float32),
        offset_speed=np.zeros((count + 1, rows.size - b, 1), dtype=np.float32),
        mix=None,
        pace=1.0,
    )
    eta = rng.normal(0, 1e-6, (n, 1))
    now = steps.ModalState(
        motion=np.stack([eta, modes.frequency.T * eta]),
        phi=rng.uniform(-0.5, 0.5, (b, 1)),
        g=np.zeros((rows.size, 1)),
        rate=np.zeros((rows.size, 1)),
    )
    table = step_tables.tables(modes, length, b)
    room = workspace.Workspace(1, count, (rows.contacts, b, rows.size, n))
    weight = layer_problem.row_weight(modes, np.eye(n)[None])
    first = steps.integrate(table, rows, known, now, count, 1, 1e-7, weight, room).end
    second = steps.integrate(table, rows, known, first, count, 1, 1e-7, weight, room).end
    change, mean = second.g[:b] - first.g[:b], count * length * (first.rate + second.rate)[:b] / 2
    np.testing.assert_allclose(change, mean, atol=0.01 * np.abs(change).max())
