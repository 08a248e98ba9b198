"""The exact step of natural modes: against scipy's matrix exponential, a closed form, and its order."""

import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.signal import cont2discrete

from bedsim.engines.exponential import step

W, ZETA = 2 * math.pi * 30, 0.05
DRIVE = 2 * math.pi * 2


@pytest.mark.parametrize("length", [1e-4, 3e-3, 0.2])
def test_against_the_augmented_matrix_exponential(length):
    """Several modes at once; input with its ramp appended to the state ([VanLoan1978], form from memory)."""
    w, d = np.array([3.0, 140.0, 900.0, 5e4]), np.array([0.0, 7.0, 540.0, 4e4])
    found = step(w, d, length)
    for k in range(4):
        G = np.zeros((4, 4))
        G[:3, :3] = [[0, 1, 0], [-(w[k] ** 2), -2 * d[k], 1], [0, 0, 0]]
        G[2, 3] = 1 / length
        E = expm(G * length)
        scale = np.array([1.0, w[k]])  # displacement and speed over w are of one size
        np.testing.assert_allclose(found.own[:, k], [E[0, 0], E[1, 1]], rtol=1e-8, atol=1e-9)
        cross = found.cross[:, k] * [w[k], 1 / w[k]]
        np.testing.assert_allclose(cross, [E[0, 1] * w[k], E[1, 0] / w[k]], rtol=1e-8, atol=1e-9)
        np.testing.assert_allclose(
            found.end[:, k] * w[k] ** 2 / scale, E[:2, 3] * w[k] ** 2 / scale, rtol=1e-6, atol=1e-9
        )
        both = (found.start + found.end)[:, k] * w[k] ** 2 / scale
        np.testing.assert_allclose(both, E[:2, 2] * w[k] ** 2 / scale, rtol=1e-6, atol=1e-9)


def test_against_scipys_first_order_hold():
    """scipy.signal.cont2discrete 'foh' shifts the state by its own input; the free part is the same matrix."""
    system = (
        np.array([[0, 1], [-W * W, -2 * ZETA * W]]),
        np.array([[0.0], [1.0]]),
        np.eye(2),
        np.zeros((2, 1)),
    )
    A = cont2discrete(system, 2e-3, method="foh")[0]
    found = step(np.array([W]), np.array([ZETA * W]), 2e-3)
    np.testing.assert_allclose(
        [found.own[0, 0], found.cross[0, 0], found.cross[1, 0], found.own[1, 0]], A.ravel(), rtol=1e-10
    )


def base(t):
    """Ramp of 1 mm/s and 20 um at 2 Hz."""
    return 1e-3 * t + 20e-6 * math.sin(DRIVE * t)


def exactly(t):
    """Closed form from rest: particular solutions of ramp and sine, and the free motion that starts them at rest."""
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
    found = step(np.array([W]), np.array([ZETA * W]), length)
    y = np.zeros((2, 1))
    for k in range(round(end / length)):
        y = (
            found.advance(y)
            + found.start * W**2 * base(k * length)
            + found.end * W**2 * base((k + 1) * length)
        )
    return float(y[0, 0])


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


def test_a_column_of_lengths_is_the_same_steps():
    w, d = np.array([50.0, 700.0]), np.array([2.0, 30.0])
    lengths = np.array([[1e-3], [4e-3]])
    many = step(w, d, lengths)
    for k, length in enumerate(lengths[:, 0]):
        one = step(w, d, length)
        for name in ("own", "cross", "start", "end"):
            np.testing.assert_allclose(getattr(many, name)[:, k], getattr(one, name), rtol=1e-12)
