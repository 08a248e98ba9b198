"""The screw as a column: the span below the nut pressed, against closed forms and a fine finite element.

The finite element is the one beside this file, cubic shape functions and their string stiffness by
quadrature; `FINE` elements per span leave less than 1e-6 of a buckling load.  Bearings are springs under it.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from beam_elements import beam
from scipy.linalg import eigh
from scipy.optimize import brentq
from test_shaft_as_beam import ENDS, SCREW

from bedsim.components.column import clamped_load, span_stiffness
from bedsim.components.screw import buckling_load, shaft_stiffness
from bedsim.errors import ModelError

LENGTH = SCREW.length
FINE = 24
SOFT = {"bearing_radial": 3e6, "upper_bearing_radial": 1e6, "bearing_tilt": 300.0}
BEARINGS = {"stiff": {}, "soft": SOFT}
HEIGHTS = [0.1, 0.3, 0.5, 0.7, 0.95]  # of the length


def bending_stiffness(screw):
    return screw.youngs_modulus * math.pi / 64 * screw.root_diameter**4


def elements(screw, position):
    """Bending with bearings, string stiffness of the span below the nut, and the nut's place among both."""
    above = np.linspace(position, screw.length, FINE + 1)[1:]
    nodes = np.concatenate([np.linspace(0, position, FINE + 1), [] if screw.ends == "fixed-free" else above])
    bending, _ = beam(nodes, bending_stiffness(screw))
    bending[0, 0] += screw.bearing_radial
    if screw.ends.startswith("fixed"):
        bending[1, 1] += screw.bearing_tilt
    if screw.ends != "fixed-free":
        bending[-2, -2] += screw.upper_bearing_radial
    if screw.ends == "fixed-fixed":
        bending[-1, -1] += screw.bearing_tilt
    string, below = np.zeros_like(bending), 2 * (FINE + 1)
    string[:below, :below] = beam(nodes[: FINE + 1], 1.0)[1]
    return bending, string, slice(2 * FINE, 2 * FINE + 2)


def critical(screw, position):
    """Least load that buckles the finite elements: one over the largest eigenvalue of string against
    bending."""
    bending, string, _ = elements(screw, position)
    return 1 / eigh(string, bending, eigvals_only=True)[-1]


CASES = [
    pytest.param(replace(SCREW, ends=ends, **BEARINGS[name]), share * LENGTH, id=f"{ends} {name} {share}")
    for ends in ENDS
    for name in BEARINGS
    for share in HEIGHTS
]


@pytest.mark.parametrize(("screw", "position"), CASES)
def test_stiffness_under_thrust_and_tension_against_finite_elements(screw, position):
    bending, string, nut = elements(screw, position)
    limit = critical(screw, position)
    for share in (-0.5, 0.0, 1e-4, 0.1, 0.4, 0.8):
        expected = np.linalg.inv(np.linalg.inv(bending - share * limit * string)[nut, nut])
        found = shaft_stiffness(screw, np.array([position]), share * limit)[0]
        np.testing.assert_allclose(found, expected, rtol=1e-4, atol=1e-6 * abs(expected).max())


@pytest.mark.parametrize(("screw", "position"), CASES)
def test_buckling_load_against_finite_elements(screw, position):
    assert buckling_load(screw, np.array([position]))[0] == pytest.approx(critical(screw, position), rel=2e-5)


@pytest.mark.parametrize(("screw", "position"), CASES)
def test_the_shaft_is_refused_at_its_buckling_load_and_not_before(screw, position):
    limit, at = critical(screw, position), np.array([position])
    assert np.linalg.eigvalsh(shaft_stiffness(screw, at, 0.9999 * limit)[0])[0] > 0
    for beyond in (1.0001, 1.5, 4.0, 20.0, 1e3, 1e30):
        with pytest.raises(ModelError, match=r"reaches the buckling load of .* nut \d+ mm above"):
            shaft_stiffness(screw, at, beyond * limit)


def test_cantilever_under_thrust_in_closed_form():
    """k = P/(a (tan u/u - 1)), u = a sqrt(P/EI).

    S. P. Timoshenko, Theory of Elastic Stability, beam-columns (from memory): the deflection of a cantilever
    under thrust and a side force at its free end.
    """
    EI = bending_stiffness(SCREW)
    for a in (0.03, 0.1, 0.2, 0.285):
        for share in (0.05, 0.3, 0.6, 0.8, 0.95):
            P = share * math.pi**2 * EI / (4 * a**2)
            u = a * math.sqrt(P / EI)
            found = np.linalg.inv(shaft_stiffness(SCREW, np.array([a]), P)[0])[0, 0]
            assert 1 / found == pytest.approx(P / (a * (math.tan(u) / u - 1)), rel=1e-5)


def test_the_thrust_counts_below_the_nut_alone():
    """A slender fixed-free screw, nut at 200 of 450 mm: 64 N, a third of Euler's load of its whole length,
    are 7 % of what buckles the 200 mm that are pressed."""
    screw = replace(SCREW, root_diameter=6.2e-3, length=0.45)
    at, EI = np.array([0.2]), bending_stiffness(screw)
    side = [1 / np.linalg.inv(shaft_stiffness(screw, at, load)[0])[0, 0] for load in (0.0, 64.0)]
    assert 64.0 / (math.pi**2 * EI / (4 * 0.45**2)) == pytest.approx(0.35, abs=0.005)
    assert 64.0 / (math.pi**2 * EI / (4 * 0.2**2)) == pytest.approx(0.07, abs=0.001)
    u = 0.2 * math.sqrt(64.0 / EI)
    assert side[1] / side[0] == pytest.approx(u**3 / (3 * (math.tan(u) - u)), rel=1e-5)
    assert side[1] / side[0] == pytest.approx(0.93, abs=0.002)


# n of n pi^2 EI/L^2, Euler's columns in any text; fixed and supported: tan v = v, v = 4.493409.
EULER = {
    "fixed-free": 0.25,
    "supported-supported": 1.0,
    "fixed-supported": (4.493409 / math.pi) ** 2,
    "fixed-fixed": 4.0,
}


@pytest.mark.parametrize("ends", ENDS)
def test_the_nut_at_the_end_gives_eulers_columns(ends):
    """A thin shaft, as spans are kept one root diameter long: the stub above the nut is 3e-6 of it."""
    screw = replace(SCREW, ends=ends, root_diameter=1e-6)
    found = buckling_load(screw, np.array([LENGTH]))[0]
    assert found / (math.pi**2 * bending_stiffness(screw) / LENGTH**2) == pytest.approx(EULER[ends], rel=2e-5)


@pytest.mark.parametrize("turning", [0.1, 1.0, 10.0, 1e4])
def test_cantilever_on_a_root_that_gives(turning):
    """u tan u = k a/EI for a root of turning stiffness k, which the moment P v(a) turns.

    Derived: v = c (1 - cos(u s/a)) + root angle x s meets no moment and no side force at the free end.
    """
    EI, a = bending_stiffness(SCREW), 0.2
    u = brentq(lambda u: u * math.sin(u) - turning * math.cos(u), 1e-6, math.pi / 2)
    screw = replace(SCREW, bearing_tilt=turning * EI / a)
    assert buckling_load(screw, np.array([a]))[0] == pytest.approx(u**2 * EI / a**2, rel=1e-6)


def test_a_stiff_shaft_falls_over_on_soft_bearings():
    """A rigid bar on two side springs k1, k2: a lean w stores k1 k2/(k1 + k2) (L w)^2/2 and the load P at
    height a sinks by a w^2/2, so P = k1 k2/(k1 + k2) L^2/a."""
    below, above, a = 2e3, 3e3, 0.2
    soft = {"bearing_radial": below, "upper_bearing_radial": above}
    screw = replace(SCREW, ends="supported-supported", youngs_modulus=206e15, **soft)
    expected = below * above / (below + above) * LENGTH**2 / a
    assert buckling_load(screw, np.array([a]))[0] == pytest.approx(expected, rel=1e-6)


def test_no_digit_is_lost_where_the_thrust_is_small():
    """The handbook's span less the string's P/(30 l) [36 3l; 3l 4l^2] ([Przemieniecki]); what the first order
    leaves out is below a thousandth of (P l^2/EI)^2."""
    length, EI = 0.2, 40.0
    bent = EI / length**3 * np.array([[12, 6 * length], [6 * length, 4 * length**2]])
    string = np.array([[36, 3 * length], [3 * length, 4 * length**2]]) / (30 * length)
    for x in (0.0, 1e-14, 1e-9, 1e-5, -1e-9, -1e-5, 0.01):
        P = x * EI / length**2
        found = span_stiffness(np.array([length]), EI, P)[0, :2, :2]
        np.testing.assert_allclose(found, bent - P * string, rtol=1e-13 + 1e-3 * x**2)


def test_spans_in_tension_and_near_the_clamped_load_in_closed_form():
    """EI/l^3 u^3 sin u/(2 - 2 cos u - u sin u), as any table of stability functions has it ([Timoshenko]); in
    tension u is imaginary."""
    length, EI = 0.25, 30.0
    for u in (1.0, 3.0, 6.0):
        expected = EI / length**3 * u**3 * math.sin(u) / (2 - 2 * math.cos(u) - u * math.sin(u))
        found = span_stiffness(np.array([length]), EI, u**2 * EI / length**2)[0, 0, 0]
        assert found == pytest.approx(expected, rel=1e-11)
    for u in (1.0, 6.0, 25.0):
        expected = EI / length**3 * u**3 * math.sinh(u) / (2 - 2 * math.cosh(u) + u * math.sinh(u))
        found = span_stiffness(np.array([length]), EI, -(u**2) * EI / length**2)[0, 0, 0]
        assert found == pytest.approx(expected, rel=1e-11)
    assert clamped_load(np.array([length]), EI)[0] == pytest.approx(4 * math.pi**2 * EI / length**2)


def test_every_layer_has_its_own_load_and_height():
    at, load = np.array([0.05, 0.15, 0.25]), np.array([900.0, 500.0, 100.0])
    screw = replace(SCREW, ends="fixed-supported", **SOFT)
    together = shaft_stiffness(screw, at, load)
    for k in range(3):
        alone = shaft_stiffness(screw, at[k : k + 1], load[k])
        np.testing.assert_allclose(together[k], alone[0], rtol=1e-13)
