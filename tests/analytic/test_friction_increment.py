"""The exact increment of the planar bristle: its rate form, its limits, its tangent, its creep."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from bedsim.components.friction import (
    after_and_tangent,
    after_increment,
    group_matrix,
    increment_tangent,
    path_length,
    rate,
    scaled_to_limit,
)

# a planar contact, one in one direction, another planar one
GROUPS = group_matrix(np.array([0, 0, 1, 2, 2]))
LIMIT = np.array([3.0, 3.0, 0.7, 5.0, 5.0])
BREAKAWAY = np.array([20e-6, 20e-6, 5e-6, 50e-6, 50e-6])


def size(values):
    return np.sqrt((values * values) @ GROUPS)


@pytest.mark.parametrize("seed", range(6))
def test_random_polygons_against_the_rate_form(seed):
    """Corner after corner of a planar path, integrated in time by solve_ivp, at uneven speeds."""
    rng = np.random.default_rng(seed)
    exact = numeric = np.zeros(5)
    for _ in range(5):
        way = rng.normal(0, 1, 5) * BREAKAWAY * rng.choice([0.05, 0.5, 3.0])
        exact = after_increment(exact, way, GROUPS, LIMIT, BREAKAWAY)
        swing = rng.uniform(0, 0.9)

        def f_rate(t, f, way=way, swing=swing):
            pace = 1 + swing * math.cos(2 * math.pi * t)  # its integral over 0..1 is one
            return rate(f, way * pace, GROUPS, LIMIT, BREAKAWAY)

        numeric = solve_ivp(f_rate, (0, 1), numeric, rtol=1e-10, atol=1e-12).y[:, -1]
        np.testing.assert_allclose(exact, numeric, rtol=1e-7, atol=1e-9)
        assert np.all(size(exact) <= LIMIT * (1 + 1e-12))


def test_a_straight_path_may_be_cut_anywhere():
    rng = np.random.default_rng(1)
    force, way = rng.normal(0, 0.3, 5), rng.normal(0, 10e-6, 5)
    whole = after_increment(force, way, GROUPS, LIMIT, BREAKAWAY)
    cut = force
    for share in (0.1, 0.35, 0.55):
        cut = after_increment(cut, share * way, GROUPS, LIMIT, BREAKAWAY)
    np.testing.assert_allclose(cut, whole, rtol=1e-12)


def test_planar_law_has_no_preferred_direction():
    turn = np.array([[math.cos(0.7), -math.sin(0.7)], [math.sin(0.7), math.cos(0.7)]])
    group, limit, breakaway = group_matrix(np.array([0, 0])), np.full(2, 3.0), np.full(2, 1e-5)
    force, way = np.array([1.0, -0.4]), np.array([3e-6, 8e-6])
    straight = after_increment(force, way, group, limit, breakaway)
    turned = after_increment(turn @ force, turn @ way, group, limit, breakaway)
    np.testing.assert_allclose(turned, turn @ straight, rtol=1e-12)


def test_planar_law_in_its_limits():
    """A long way ends at F_c along it; a short one meets F_c/breakaway; no way keeps the force."""
    group, limit, breakaway = group_matrix(np.array([0, 0])), np.full(2, 3.0), np.full(2, 1e-5)
    along = np.array([0.6, 0.8])
    start = np.array([-2.0, 1.0])
    long_way = after_increment(start, 1e-3 * along, group, limit, breakaway)
    np.testing.assert_allclose(long_way, 3.0 * along, rtol=1e-12)
    short = after_increment(np.zeros(2), 1e-9 * along, group, limit, breakaway)
    np.testing.assert_allclose(short, 3.0 / 1e-5 * 1e-9 * along, rtol=1e-4)
    np.testing.assert_array_equal(after_increment(start, np.zeros(2), group, limit, breakaway), start)
    sideways = np.array([[1e-6, 0.0]])
    np.testing.assert_allclose(path_length(sideways, group), [[1e-6, 1e-6]])


def test_a_plane_in_one_direction_is_the_single_law():
    plane = after_increment(
        np.array([0.5, 0.0]),
        np.array([-4e-6, 0.0]),
        group_matrix(np.array([0, 0])),
        np.full(2, 2.0),
        np.full(2, 1e-5),
    )
    line = after_increment(
        np.array([0.5]), np.array([-4e-6]), np.ones((1, 1)), np.array([2.0]), np.array([1e-5])
    )
    np.testing.assert_allclose(plane, [line[0], 0.0])


@pytest.mark.parametrize("scale", [1e-4, 1e-2, 1.0, 10.0])
def test_tangent_is_the_derivative(scale):
    """Central differences."""
    rng = np.random.default_rng(5)
    force = rng.normal(0, 0.3, 5) * LIMIT
    way = rng.normal(0, 1, 5) * BREAKAWAY * scale
    tangent = increment_tangent(force, way, GROUPS, LIMIT, BREAKAWAY)
    difference = np.zeros((5, 5))
    for k in range(5):
        h = np.zeros(5)
        h[k] = 1e-4 * scale * BREAKAWAY[k]
        ahead = after_increment(force, way + h, GROUPS, LIMIT, BREAKAWAY)
        behind = after_increment(force, way - h, GROUPS, LIMIT, BREAKAWAY)
        difference[:, k] = (ahead - behind) / (2 * h[k])
    np.testing.assert_allclose(tangent, difference, rtol=1e-5, atol=1e-5 * np.max(LIMIT / BREAKAWAY))


def test_force_above_a_fallen_limit_is_scaled_to_it():
    force = np.array([3.0, 4.0, 0.2, 1.0, 0.0])
    limit = np.array([2.5, 2.5, 0.7, 5.0, 5.0])
    np.testing.assert_allclose(scaled_to_limit(force, GROUPS, limit), [1.5, 2.0, 0.2, 1.0, 0.0])


def one(force, way, limit=1.0, breakaway=50e-6):
    return float(
        after_increment(
            np.array([force]), np.array([way]), np.ones((1, 1)), np.array([limit]), np.array([breakaway])
        )[0]
    )


def test_a_held_bristle_relaxes_under_vibration():
    """The known flaw of the law, measured: a stored force fades as exp(-path/breakaway).

    Held at half its limit and shaken by +-0.1 um with a breakaway travel of 50 um, a contact loses 0.8 % of
    the stored force per cycle and half of it in 86 cycles; a real contact below its breakaway would keep it.
    """
    force, shake = 0.5, 0.1e-6
    for _ in range(86):
        force = one(one(one(force, shake), -2 * shake), shake)
    path = 86 * 4 * shake
    assert force == pytest.approx(0.5 * math.exp(-path / 50e-6), rel=1e-3)
    assert force == pytest.approx(0.25, rel=0.01)


def test_creep_under_bias_with_vibration_on_top():
    """Closed form per cycle between forces lo and hi (over F_c): b [ln((1-lo)/(1-hi)) - ln((1+hi)/(1+lo))].

    Derivation: the law solved for the way, up and down.  For small vibration it is path x bias/F_c: with a
    bias of 30 % of F_c and a vibration that moves the contact by +-0.1 um the pair creeps 0.12 um per cycle.
    """
    b, bias = 50e-6, 0.3

    def way_to(force, target):
        sign = math.copysign(1.0, target - force)
        return brentq(lambda w: one(force, sign * w, breakaway=b) - target, 0, 20 * b, xtol=1e-18) * sign

    for swing in (0.002, 0.05, 0.3):
        lo, hi = bias - swing, bias + swing
        up, down = way_to(lo, hi), way_to(hi, lo)
        closed = b * (math.log((1 - lo) / (1 - hi)) - math.log((1 + hi) / (1 + lo)))
        assert up + down == pytest.approx(closed, rel=1e-6)
    swing = 0.1e-6 / b  # +-0.1 um
    up, down = way_to(bias - swing, bias + swing), way_to(bias + swing, bias - swing)
    assert up + down == pytest.approx(bias * (abs(up) + abs(down)), rel=1e-3)
    assert up + down == pytest.approx(0.12e-6, rel=0.12)


@pytest.mark.parametrize("far", [0.0, 1e-14, 1e-7, 1e-3])
def test_force_and_tangent_worked_out_together_are_those_alone(far):
    rng = np.random.default_rng(5)
    force, way = rng.uniform(-0.5, 0.5, 5) * LIMIT, far * rng.normal(size=5)
    after, tangent = after_and_tangent(force, way, GROUPS, LIMIT, BREAKAWAY)
    alone = after_increment(force, way, GROUPS, LIMIT, BREAKAWAY)
    np.testing.assert_allclose(after, alone, rtol=1e-9, atol=1e-9)
    np.testing.assert_array_equal(tangent, increment_tangent(force, way, GROUPS, LIMIT, BREAKAWAY))
