"""The bristle against published friction laws: Dahl's curve and loop, and its limits Jenkins and Coulomb.

P. R. Dahl, A Solid Friction Model, Aerospace Corporation TOR-0158(3107-18)-1 (1968), exponent 1, from memory:
F = Fc (1 - exp(-sigma x/Fc)) from rest, after a reversal F = -Fc + (F_rev + Fc) exp(sigma (x - x_rev)/Fc).
Coulomb's law and a Jenkins element (spring and slider in a row) are limits of small breakaway travel; their
numbers are computed from closed forms, not printed.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from bedsim.components.friction import after_increment, group_matrix, rate

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
ONE = group_matrix(np.array([0]))


def after(force, way, limit, breakaway):
    """Force of a single contact in one direction."""
    numbers = (np.array([force]), np.array([way]), ONE, np.array([limit]), np.array([breakaway]))
    return float(after_increment(*numbers)[0])


def test_from_rest_computed():
    """sigma 1e5 N/m, Fc 1 N: 10 um give 1 - 1/e = 0.632121 N."""
    assert after(0.0, 10e-6, 1.0, 1.0 / 1e5) == pytest.approx(0.632121, abs=5e-7)


def test_curve_after_a_reversal():
    """Closed form after Dahl, at several places on the way back."""
    limit, sigma = 1.0, 1e5
    turned = after(0.0, 13e-6, limit, limit / sigma)
    for way in (1e-6, 7e-6, 30e-6):
        expected = -limit + (turned + limit) * math.exp(-sigma * way / limit)
        assert after(turned, -way, limit, limit / sigma) == pytest.approx(expected, rel=1e-9)


def loop_area(limit, breakaway, stroke, steps=1000):
    """Work lost in one closed cycle between -stroke and +stroke, by Simpson's rule along the way."""
    force, work = after(0.0, 10 * stroke, limit, breakaway), 0.0  # saturated: the loop is closed at once
    for way in [-2 * stroke / steps] * steps + [2 * stroke / steps] * steps:
        middle, new = (after(force, share * way, limit, breakaway) for share in (0.5, 1.0))
        work += (force + 4 * middle + new) / 6 * way
        force = new
    return work


def test_a_cycle_loses_four_times_the_friction_force_per_amplitude():
    """4 Fc (X - breakaway) for a stroke X much longer than the breakaway travel; 4 Fc X in the Coulomb limit.

    Derivation: integral of the reversal curve over 2 X, twice.
    """
    limit, stroke = 2.0, 1e-3
    for breakaway in (4e-5, 2e-5):
        expected = 4 * limit * (stroke - breakaway)
        assert loop_area(limit, breakaway, stroke) == pytest.approx(expected, rel=1e-4)
    assert loop_area(limit, 2e-6, stroke) == pytest.approx(4 * limit * stroke, rel=3e-3)


# e um, Fc N, peak um, loss uJ per turn for k_j = 1 N/um, k_g = 0.1 N/um; closed form of the Jenkins element
JENKINS = [(20, 5, 18.1818, 0.0), (20, 1, 10.0, 36.0), (20, 0.5, 5.0, 29.0), (20, 0.1, 1.0, 7.56)]


def driven_turn(run_out, limit, joint, guide, turns=2, steps=480):
    """Quasi-static turns of a joint between a nut that swings by `run_out` and a guide spring.

    Returns the peak of the guide's deflection and the work the joint eats in the last turn.
    """
    breakaway = limit / joint
    force = x = u = 0.0
    peak = work = 0.0
    for k in range(1, round(turns * steps) + 1):
        target = run_out * math.sin(2 * math.pi * k / steps)

        def out_of_balance(y, target=target, force=force, x=x, u=u):
            return after(force, (target - u) - (y - x), limit, breakaway) - guide * y

        new = brentq(out_of_balance, -2 * run_out, 2 * run_out, xtol=1e-16)
        slip = (target - u) - (new - x)
        f = after(force, slip, limit, breakaway)
        if k > (turns - 1) * steps:
            work += (f + force) / 2 * slip
            peak = max(peak, abs(new))
        force, x, u = f, new, target
    return peak, work


@pytest.mark.parametrize(("e", "limit", "peak", "loss"), JENKINS[2:])
def test_sliding_joint_passes_what_a_jenkins_element_passes_computed(e, limit, peak, loss):
    found, work = driven_turn(e * 1e-6, limit, 1e6, 1e5)
    assert found * 1e6 == pytest.approx(peak, rel=1e-4)
    assert work * 1e6 == pytest.approx(loss, rel=2e-3)  # 480 straight pieces per turn


@pytest.mark.parametrize(("e", "limit", "peak", "loss"), JENKINS)
def test_from_rest_a_joint_passes_no_more_than_a_jenkins_element_computed(e, limit, peak, loss):
    """min(k_j e/(k_j + k_g), Fc/k_g) bounds the first quarter turn: the bristle yields before its limit."""
    found, _ = driven_turn(e * 1e-6, limit, 1e6, 1e5, turns=0.25, steps=360)
    assert 0.75 * peak < found * 1e6 < peak * (1 + 1e-4)


@pytest.mark.parametrize(("e", "limit", "peak", "loss"), JENKINS)
def test_turning_on_a_joint_is_stiffer_after_each_reversal(e, limit, peak, loss):
    """After a reversal at f the law starts at k_j (1 + f/Fc): up to 2 k_j, and never more than Fc, is passed.

    So the Jenkins bound is exceeded a little between sticking and sliding: 18.3 against 18.2 um here.
    """
    found, _ = driven_turn(e * 1e-6, limit, 1e6, 1e5, steps=180)
    assert found < min(2e6 * e * 1e-6 / (2e6 + 1e5), limit / 1e5) * (1 + 1e-6)
    if limit == 5:
        assert found * 1e6 > 18.2


def test_below_its_limit_a_joint_passes_everything_its_stiffness_allows():
    """Fc without end: k_j e/(k_j + k_g) = 18.1818 um and no loss, computed."""
    found, work = driven_turn(20e-6, 5e4, 1e6, 1e5, steps=180)
    assert found * 1e6 == pytest.approx(18.1818, abs=1e-3)
    assert work * 1e6 == pytest.approx(0, abs=1e-3 * 18)


def decay(breakaway):
    """Turning points mm and times s of 1 kg on 1000 N/m with 2 N of friction, let go at 11 mm."""
    args = np.array([2.0]), np.array([breakaway])

    def rhs(_, y):
        x, v, f = y
        return [v, -1000 * x - f, float(rate(np.array([f]), np.array([v]), ONE, *args)[0])]

    def turning(_, y):
        return y[1]

    # the first turning point is left with the bristle at rest: friction has to build up once
    found = solve_ivp(
        rhs, (0, 0.35), [11e-3, 0.0, 0.0], "LSODA", events=turning, rtol=1e-8, atol=[1e-10, 1e-8, 1e-7]
    )
    times, states = found.t_events[0], found.y_events[0]
    after_start = times > 1e-3
    return times[after_start][:3], states[after_start][:3, 0] * 1e3, found.y[0, -1] * 1e3


def test_free_decay_with_coulomb_friction_computed():
    """11, -7, 3, 1 mm, at rest after 3 pi/w = 0.298038 s: the closed form, 4 F/k a cycle.

    The bristle comes to it with its breakaway travel b: places linearly, the last time by its root; twice
    the finer result less the coarser takes the first order off.
    """
    coulomb = np.array([-7.0, 3.0, 1.0])
    times, points, rest = decay(2e-6)
    coarse_times, coarse, coarse_rest = decay(4e-6)
    np.testing.assert_allclose((coarse - coulomb) / (points - coulomb), 2.0, rtol=0.02)
    np.testing.assert_allclose(2 * points - coarse, coulomb, atol=2e-4)
    root = math.sqrt(2)
    assert (root * times[2] - coarse_times[2]) / (root - 1) == pytest.approx(0.298038, rel=1e-3)
    # where it stays, the bias makes the bristle creep on while it rings: some eight breakaway travels
    assert 1.0 - rest < 10 * 2e-3
    assert (1.0 - coarse_rest) / (1.0 - rest) == pytest.approx(2.0, rel=0.1)
