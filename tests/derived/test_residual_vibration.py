"""What a point-to-point move leaves ringing, against closed forms.

An oscillator w on a base that moves with acceleration a(t) keeps the relative amplitude
(1/w) |integral of a(t) exp(-i w t) dt|: for a trapezoid (4 a/w^2) |sin(w Ta/2) sin(w Tc/2)|, Ta the time of
speeding up and Tc = distance/speed; a jerk time Tj multiplies it by |sin(w Tj/2)/(w Tj/2)|.
Derivation: the integral.
The form is that of N. C. Singer, W. P. Seering, J. Dyn. Sys. Meas. Control 112 (1990) 76-82, from memory.
The numbers (30 Hz, 0.1 m/s2) are computed from it, and by numerical integration with the same digits.
"""

import math

import numpy as np
import pytest
from scipy.linalg import expm

from bedsim.engines.exponential import motion, step
from bedsim.model.program import Limits, Profile, Program, move
from bedsim.model.stations import LayerRun, stations

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
W = 2 * math.pi * 30
A = 0.1


def exact(profile, zeta):
    """Relative motion (eta, eta') at the end of a move, one exact step per piece: a(t) is linear in each."""
    w, d = np.array([W]), np.array([zeta * W])
    u = np.zeros(1, dtype=complex)
    for piece, length in enumerate(np.diff(profile.time)):
        ends = profile.time[[piece, piece + 1]]
        p = -profile.acceleration(ends, np.array([piece, piece]))[:, 0]
        A, hold, ramp, *_ = step(w, d, length)
        u = A * u + hold * p[0] + ramp * (p[1] - p[0])
    return np.concatenate(motion(u, w, d))


def by_matrix_exponential(profile, zeta):
    """The same from scipy's matrix exponential with the ramp of the input appended to the state."""
    y = np.zeros(2)
    for piece, length in enumerate(np.diff(profile.time)):
        ends = profile.time[[piece, piece + 1]]
        p = -profile.acceleration(ends, np.array([piece, piece]))[:, 0]
        G = np.zeros((4, 4))
        G[:3, :3] = [[0, 1, 0], [-W * W, -2 * zeta * W, 1], [0, 0, 0]]
        G[2, 3] = 1.0
        y = (expm(G * length) @ [*y, p[0], (p[1] - p[0]) / length])[:2]
    return y


def amplitude(y, zeta):
    """Amplitude of the free motion that follows."""
    wd = W * math.sqrt(1 - zeta**2)
    return math.hypot(y[0], (y[1] + zeta * W * y[0]) / wd)


def corner_sum(profile, zeta):
    """Closed form, trapezoid: every jump of the acceleration starts a decaying cosine; summed at the end."""
    wd = W * math.sqrt(1 - zeta**2)
    pole = -zeta * W + 1j * wd
    total, last = 0j, 0.0
    for piece, start in enumerate(profile.time[:-1]):
        a = float(profile.acceleration(np.array([start]), np.array([piece]))[0, 0])
        total += (a - last) * np.exp(pole * (profile.duration - start))
        last = a
    total -= last
    return abs(total) / (W * wd)


def trapezoid(distance, speed, jerk=0.0):
    return move(np.zeros(1), np.array([distance]), Limits(speed=speed, acceleration=A, jerk=jerk))


# distance mm, speed limit mm/s, um left undamped, um left at a damping ratio of 0.05; computed
CASES = [(0.2, 5, 8.693935, 5.859375), (0.2, 3, 0.0, 0.802572), (1, 10, 0.0, 1.050621)]


@pytest.mark.parametrize(("distance", "speed", "left", "damped"), CASES)
def test_trapezoid_computed(distance, speed, left, damped):
    profile = trapezoid(distance * 1e-3, speed * 1e-3)
    assert amplitude(exact(profile, 0.0), 0.0) * 1e6 == pytest.approx(left, abs=6e-7)
    eta, rate = exact(profile, 0.05)
    # the damped column is sqrt(eta^2 + (eta'/w)^2) when the move ends: the energy left, as an amplitude
    assert math.hypot(eta, rate / W) * 1e6 == pytest.approx(damped, abs=6e-7)


@pytest.mark.parametrize(("distance", "speed"), [(0.2e-3, 5e-3), (0.31e-3, 2.2e-3), (1e-3, 7e-3)])
def test_trapezoid_closed_form(distance, speed):
    profile = trapezoid(distance, speed)
    v = min(speed, math.sqrt(A * distance))
    left = 4 * A / W**2 * abs(math.sin(W * v / A / 2) * math.sin(W * distance / v / 2))
    assert amplitude(exact(profile, 0.0), 0.0) == pytest.approx(left, rel=1e-9)
    for zeta in (0.01, 0.05, 0.3):
        assert amplitude(exact(profile, zeta), zeta) == pytest.approx(corner_sum(profile, zeta), rel=1e-9)


def overlapping_s_curve(ramp, jerk_time):
    """The triangle of speed with its acceleration smeared over a jerk time: the two pulses overlap."""
    jerk = A / jerk_time
    pieces = [
        (jerk_time, 0.0, jerk),
        (ramp - jerk_time, A, 0.0),
        (jerk_time, A, -2 * jerk),
        (ramp - jerk_time, -A, 0.0),
        (jerk_time, -A, jerk),
    ]
    rows, times, s, v = [], [0.0], 0.0, 0.0
    for t, a, j in pieces:
        rows.append([s, v, a / 2, j / 6])
        s, v = s + v * t + a * t**2 / 2 + j * t**3 / 6, v + a * t + j * t**2 / 2
        times.append(times[-1] + t)
    ends = np.zeros((5, 1)), np.full((5, 1), s)
    return Profile(
        time=np.array(times), coefficients=np.array(rows)[:, :, None], move_start=ends[0], move_end=ends[1]
    )


def test_jerk_limited_pulses_computed():
    """The first case with a jerk time of 0.02 s: 4.386535 um, computed; its pulses overlap."""
    profile = overlapping_s_curve(math.sqrt(0.2e-3 / A), 0.02)
    assert profile.end == pytest.approx(0.2e-3)
    assert amplitude(exact(profile, 0.0), 0.0) * 1e6 == pytest.approx(4.386535, abs=6e-7)


@pytest.mark.parametrize(("distance", "speed", "jerk"), [(0.4e-3, 4e-3, 5.0), (2e-3, 5e-3, 2.0)])
def test_jerk_limited_move_closed_form(distance, speed, jerk):
    """Moves that reach their acceleration: R |sin(w Tj/2)/(w Tj/2)| with Tj = a/j, Ta = v/a, Tc = d/v."""
    profile = trapezoid(distance, speed, jerk)
    v = float(profile.speed(np.linspace(0, profile.duration, 4001)).max())
    assert v == pytest.approx(speed, rel=1e-9)
    half = W * A / jerk / 2
    left = (
        4 * A / W**2 * abs(math.sin(W * v / A / 2) * math.sin(W * distance / v / 2) * math.sin(half) / half)
    )
    assert amplitude(exact(profile, 0.0), 0.0) == pytest.approx(left, rel=1e-7)


@pytest.mark.parametrize("jerk", [0.0, 5.0, 40.0])
@pytest.mark.parametrize("zeta", [0.0, 0.05, 0.6])
def test_exact_steps_equal_the_augmented_matrix_exponential(jerk, zeta):
    profile = trapezoid(0.2e-3, 3e-3, jerk)
    np.testing.assert_allclose(
        exact(profile, zeta), by_matrix_exponential(profile, zeta), rtol=1e-8, atol=1e-16
    )


@pytest.mark.parametrize("jerk", [0.0, 0.5, 5.0, 40.0])
@pytest.mark.parametrize("distance", [2e-5, 0.2e-3, 5e-3])
def test_a_move_arrives_at_rest_within_its_limits(jerk, distance):
    """Speed and acceleration integrated numerically from the acceleration itself."""
    profile = trapezoid(distance, 3e-3, jerk)
    time = np.linspace(0, profile.duration, 20001)
    a = profile.acceleration(time)[:, 0]
    v = np.concatenate([[0], np.cumsum((a[1:] + a[:-1]) / 2 * np.diff(time))])
    s = np.concatenate([[0], np.cumsum((v[1:] + v[:-1]) / 2 * np.diff(time))])
    assert s[-1] == pytest.approx(distance, rel=2e-3)
    assert abs(v[-1]) < 2e-3 * v.max()
    assert v.max() < 3e-3 * 1.001 and abs(a).max() < A * (1 + 1e-9)
    np.testing.assert_allclose(profile.height(time)[:, 0], s, atol=2e-3 * distance)
    if jerk:
        assert np.max(np.abs(np.diff(a)) / np.diff(time)) < jerk * (1 + 1e-6)


def test_no_ringing_at_whole_periods():
    """A layer of 0.2 mm leaves nothing at 30 Hz when driven at d f/n: 3 and 2 mm/s."""
    for speed in (3e-3, 2e-3):
        assert amplitude(exact(trapezoid(0.2e-3, speed), 0.0), 0.0) < 1e-13


def test_layer_changes_are_made_of_such_moves():
    """A hop goes down beyond the layer and comes back; speeds and places join."""
    run = LayerRun(count=3, thickness=0.2e-3, period=5.0, settle=0.1, hop=1e-3, hop_dwell=0.1)
    program = Program(
        stations=stations([run]),
        limits=Limits(speed=3e-3, acceleration=A, jerk=4.0),
        corners=3,
        run_in=4e-3,
        approach=1e-3,
    )
    profile = program.layer_change(2)
    assert profile.height(np.array([0.0]))[0] == pytest.approx(0)
    assert profile.end == pytest.approx(-0.2e-3)
    assert profile.height(np.linspace(0, profile.duration, 4001)).min() == pytest.approx(-1.2e-3, rel=1e-6)
    inner = profile.time[1:-1]
    before = profile.height_on(inner, np.arange(inner.size))
    np.testing.assert_allclose(before, profile.height(inner), atol=1e-15)
    start = program.start_up()
    heights = start.height(np.linspace(0, start.duration, 4001))[:, 0]
    # two leads down, and up to where layer 1 begins, one layer above it, by way of the approach
    assert (heights.min(), heights.max()) == pytest.approx((0.2e-3 - 4e-3, 0.2e-3 + 1e-3), rel=1e-5)
    assert heights[[0, -1]] == pytest.approx([0.2e-3, 0.2e-3], abs=1e-15)
