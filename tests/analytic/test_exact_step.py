"""The exact step of natural modes: against scipy's matrix exponential, a closed form, and its order."""

import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.signal import cont2discrete

from bedsim.engines.exponential import amplitude, carried, first_order_hold, motion, step, step_of

W, ZETA = 2 * math.pi * 30, 0.05
DRIVE = 2 * math.pi * 2


def real_step(w, d, length):
    """Matrix (n, 2, 2) of the free motion and columns (n, 2) of the answers to a hold, a ramp, its square and
    its cube, for (eta, eta')."""
    A, *answers = step(w, d, length)
    basis = [amplitude(x * np.ones_like(w), v * np.ones_like(w), w, d) for x, v in ((1.0, 0.0), (0.0, 1.0))]
    free = np.stack([np.stack(motion(A * u, w, d), axis=-1) for u in basis], axis=-1)
    return free, *(np.stack(motion(b, w, d), axis=-1) for b in answers)


@pytest.mark.parametrize("length", [1e-7, 1e-4, 3e-3, 0.2])
def test_against_the_augmented_matrix_exponential(length):
    """Several modes at once; input and its powers appended to the state ([VanLoan1978], from memory)."""
    w, d = np.array([3.0, 140.0, 900.0, 5e4]), np.array([0.0, 7.0, 540.0, 4e4])
    free, *answers = real_step(w, d, length)
    for k in range(4):
        # in units of the mode: displacement times w^2, speed times w, time times w; input and its derivatives
        G = np.zeros((6, 6))
        G[:3, :3] = [[0, 1, 0], [-1, -2 * d[k] / w[k], 1], [0, 0, 0]]
        for power in (1, 2, 3):
            G[1 + power, 2 + power] = power / (w[k] * length)
        E = expm(G * w[k] * length)
        scale = np.array([w[k] ** 2, w[k]])
        np.testing.assert_allclose(free[k] * scale[:, None] / scale, E[:2, :2], rtol=1e-9, atol=1e-12)
        for power, answer in enumerate(answers):
            np.testing.assert_allclose(answer[k] * scale, E[:2, 2 + power], rtol=1e-7, atol=1e-12)


def test_against_scipys_first_order_hold():
    """scipy.signal.cont2discrete 'foh': it shifts the state by its input, the free part is the same."""
    system = (
        np.array([[0, 1], [-W * W, -2 * ZETA * W]]),
        np.array([[0.0], [1.0]]),
        np.eye(2),
        np.zeros((2, 1)),
    )
    A = cont2discrete(system, 2e-3, method="foh")[0]
    np.testing.assert_allclose(real_step(np.array([W]), np.array([ZETA * W]), 2e-3)[0][0], A, rtol=1e-10)


def test_amplitude_and_motion_undo_each_other():
    w, d = np.array([3.0, 900.0]), np.array([0.1, 400.0])
    eta, speed = motion(amplitude(np.array([1.0, -2.0]), np.array([0.5, 7.0]), w, d), w, d)
    np.testing.assert_allclose(eta, [1.0, -2.0])
    np.testing.assert_allclose(speed, [0.5, 7.0])


def base(t):
    """Ramp of 1 mm/s and 20 um at 2 Hz."""
    return 1e-3 * t + 20e-6 * math.sin(DRIVE * t)


def exactly(t):
    """Closed form from rest: ramp and sine, and the free motion that starts them at rest."""
    d = ZETA * W
    wd = W * math.sqrt(1 - ZETA**2)
    H = W * W / (W * W - DRIVE**2 + 2j * d * DRIVE)

    def particular(t):
        sine = 20e-6 * (H * np.exp(1j * DRIVE * t)).imag
        return 1e-3 * (t - 2 * ZETA / W) + sine

    x0 = -particular(0.0)
    v0 = -(1e-3 + 20e-6 * (1j * DRIVE * H).imag)
    free = math.exp(-d * t) * (x0 * math.cos(wd * t) + (v0 + d * x0) / wd * math.sin(wd * t))
    return particular(t) + free


def stepped(end, length):
    w, d = np.array([W]), np.array([ZETA * W])
    A, hold, ramp, *_ = step(w, d, length)
    u = np.zeros(1, dtype=complex)
    for k in range(round(end / length)):
        now, ahead = base(k * length), base((k + 1) * length)
        u = A * u + W**2 * (hold * now + ramp * (ahead - now))
    return float(motion(u, w, d)[0][0])


@pytest.mark.parametrize(("end", "printed"), [(1.0, 999.3351400511584), (0.05, 60.704495837360085)])
def test_ramp_and_sine_on_an_oscillator_computed(end, printed):
    """30 Hz, ratio 0.05, force k times base: values computed from the closed form."""
    assert exactly(end) * 1e6 == pytest.approx(printed, rel=1e-10)
    # a first-order hold leaves u W^2 h^2/12 of the sinusoid: 2.6e-10 m at 1 ms
    assert stepped(end, 1e-3) * 1e6 == pytest.approx(printed, abs=3e-4)


def test_second_order_in_the_step():
    """A tenth of the step, a hundredth of the error."""
    coarse, fine = (abs(stepped(0.3, h) - exactly(0.3)) for h in (1e-3, 1e-4))
    assert 95 < coarse / fine < 105


def test_a_whole_polygon_of_forces_is_its_steps_one_by_one():
    """The running sums of `carried` against the recursion, longer than one table and with strong damping."""
    rng = np.random.default_rng(2)
    mu, space = np.array([-2.0 + 50j, -30.0 + 700j, -3e3 + 2.6e3j]), 1e-3
    force = rng.normal(0, 1, (2, 31, 3))
    start = rng.normal(0, 1e-3, (2, 3)) + 1j * rng.normal(0, 1e-3, (2, 3))
    table = first_order_hold(mu, space, 12)
    A, hold, ramp, *_ = step_of(mu, space)
    u, found = start, carried(table, start, force)
    for k in range(30):
        u = A * u + hold * force[:, k] + ramp * (force[:, k + 1] - force[:, k])
        np.testing.assert_allclose(found[:, k], u, rtol=1e-6, atol=1e-12)
