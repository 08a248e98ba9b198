"""A bent screw in its bearings against a fine beam finite element bent in its unstressed state.

The element is straight and so is its stiffness: a shaft whose free shape has the nodal values u stores
1/2 (q - u)^T K (q - u), and a bearing 1/2 k q^2 in each direction that it holds.  Nothing is taken from the
closed form.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from beam_elements import beam
from test_shaft_as_beam import ENDS, SCREW

from bedsim.components import run_out
from bedsim.components.run_out import RunOut, bearing_reactions, bow_shape, centreline_shapes
from bedsim.components.screw import shaft_stiffness

L = 0.42
SHAFT = replace(SCREW, length=L, root_diameter=12.5e-3)
RADIAL, UPPER = 15e6, 4e6
TILTS = (300.0, 3000.0, 1e8)
TWO_BEARINGS = [e for e in ENDS if e != "fixed-free"]
NODES = np.linspace(0, L, 43)  # a node every 10 mm


def in_springs(ends, tilt):
    return replace(SHAFT, ends=ends, bearing_radial=RADIAL, upper_bearing_radial=UPPER, bearing_tilt=tilt)


def springs(screw):
    """Bearing springs on the diagonal of (v, slope) per node."""
    k = np.zeros(2 * NODES.size)
    k[0] = screw.bearing_radial
    k[1] = screw.bearing_tilt if screw.ends.startswith("fixed") else 0.0
    k[-2] = screw.upper_bearing_radial if screw.ends != "fixed-free" else 0.0
    k[-1] = screw.bearing_tilt if screw.ends == "fixed-fixed" else 0.0
    return k


def settled(screw, free, push=None):
    """Nodal (v, slope) of the bent beam on its bearings, and the bearings' pulls; `push`: further springs."""
    bending, _ = beam(NODES, screw.bending_stiffness)
    held = np.diag(springs(screw))
    q = np.linalg.solve(bending + held + (0 if push is None else push), bending @ free)
    pulls = -springs(screw) * q
    return q, pulls


def nodal(offset, slope):
    return np.stack([offset, slope], axis=1).ravel()


def half_sine(crest):
    return nodal(crest * np.sin(np.pi * NODES / L), crest * np.pi / L * np.cos(np.pi * NODES / L))


@pytest.mark.parametrize("tilt", TILTS)
@pytest.mark.parametrize("ends", TWO_BEARINGS)
def test_a_free_bow_in_its_bearings(ends, tilt):
    """Shape, slope, moments and forces; cubic elements carry the half sine to (pi h/L)^4/720 of it."""
    screw = in_springs(ends, tilt)
    q, pulls = settled(screw, half_sine(130e-6))
    offset, slope = bow_shape(screw)(NODES)
    np.testing.assert_allclose(130e-6 * offset, q[0::2], atol=130e-6 * 1e-6)
    np.testing.assert_allclose(130e-6 * slope, q[1::2], atol=130e-6 * np.pi / L * 1e-6)
    moments, forces = bearing_reactions(RunOut(bow=130e-6 + 0j), screw)
    size = max(abs(pulls).max(), 1e-3)
    np.testing.assert_allclose(moments, pulls[[1, -1]], atol=2e-6 * size)
    np.testing.assert_allclose(forces, pulls[[0, -2]], atol=2e-6 * size / L)


def test_stiff_bearings_leave_the_handbook_beam():
    """[Roark] beams under an end moment: one end clamped, M = 3 EI phi/L, the other 1.5 times that.

    At the middle a half sine of 1 keeps 1 - 3 pi/16 with one end clamped, 1 - pi/4 with both.
    """
    stiff = {"bearing_radial": 1e15, "upper_bearing_radial": 1e15, "bearing_tilt": 1e12}
    one, both = (replace(SHAFT, ends=e, **stiff) for e in ("fixed-supported", "fixed-fixed"))
    middle = np.array([L / 2])
    assert bow_shape(one)(middle)[0][0] == pytest.approx(1 - 3 * math.pi / 16, rel=1e-6)
    assert bow_shape(both)(middle)[0][0] == pytest.approx(1 - math.pi / 4, rel=1e-6)
    phi = math.pi / L * 100e-6
    moment = bearing_reactions(RunOut(bow=100e-6 + 0j), one)[0]
    assert moment[0] == pytest.approx(-3 * SHAFT.bending_stiffness * phi / L, rel=1e-6)
    moments, forces = bearing_reactions(RunOut(bow=100e-6 + 0j), both)
    assert moments[0] == pytest.approx(-2 * SHAFT.bending_stiffness * phi / L, rel=1e-6)
    assert moments.sum() == pytest.approx(0, abs=1e-9) and abs(forces).max() < 1e-9


@pytest.mark.parametrize("ends", ["supported-supported", "fixed-free"])
def test_nothing_is_pulled_where_nothing_is_held_twice(ends):
    screw = in_springs(ends, 3000.0)
    free, mounted = bow_shape(screw)(NODES)[0], bow_shape(screw, as_mounted=True)(NODES)[0]
    shape = np.sin(np.pi * NODES / L) if ends != "fixed-free" else 1 - np.cos(np.pi * NODES / (2 * L))
    np.testing.assert_allclose(free, shape, atol=1e-15)
    np.testing.assert_allclose(mounted, shape, atol=1e-6)
    assert not np.any(bearing_reactions(RunOut(bow=1e-4j), screw))


@pytest.mark.parametrize("tilt", TILTS)
@pytest.mark.parametrize("ends", TWO_BEARINGS)
def test_a_bow_read_mounted_has_the_crest_that_was_read(ends, tilt):
    """And is that free bow which stands so in its bearings, with that bow's reactions."""
    screw = in_springs(ends, tilt)
    s = np.linspace(0, L, 5001)
    mounted, free = bow_shape(screw, as_mounted=True)(s)[0], bow_shape(screw)(s)[0]
    assert np.abs(mounted).max() == pytest.approx(1, rel=2e-6)
    scale = 1 / np.abs(free).max()
    np.testing.assert_allclose(mounted, scale * free, atol=3e-6)
    read = bearing_reactions(RunOut(bow=50e-6 + 0j, bow_mounted=True), screw)
    straightened = bearing_reactions(RunOut(bow=50e-6 * scale + 0j), screw)
    np.testing.assert_allclose(read, straightened, rtol=3e-6, atol=1e-12)


@pytest.mark.parametrize("tilt", TILTS)
@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("nut", [0.07, 0.21, 0.35])
def test_what_the_nut_is_pushed_by(ends, tilt, nut):
    """Bent shaft, its bearings, and a carriage of 1 N/um and 400 N m/rad, all in one finite element.

    The machine sees two things instead: the centreline in its bearings and the shaft's stiffness at the nut.
    """
    screw, carriage = in_springs(ends, tilt), np.diag([1e6, 400.0])
    if ends == "fixed-free":
        k = np.pi / (2 * L)
        free = nodal(1 - np.cos(k * NODES), k * np.sin(k * NODES)) * 130e-6
    else:
        free = half_sine(130e-6)
    at = 2 * int(np.argmin(abs(NODES - nut)))
    push = np.zeros((2 * NODES.size,) * 2)
    push[at : at + 2, at : at + 2] = carriage
    expected = settled(screw, free, push)[0][at : at + 2]
    offered = 130e-6 * np.array([v[0] for v in bow_shape(screw)(np.array([nut]))])
    shaft = shaft_stiffness(screw, np.array([nut]))[0]
    found = np.linalg.solve(shaft + carriage, shaft @ offered)
    np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-5 * abs(expected).max())


def s_shaped(s):
    """Thread off its journals' line by 20 um and 50 um per m, bent otherwise than a half sine: a polynomial
    without curvature at its ends, and its slope."""
    x = s / L
    bend = 90e-6 * (x - 2 * x**3 + x**4) + 60e-6 * (x**5 - 2.5 * x**4 + 5 / 3 * x**3 - x / 6)
    slope = 90e-6 * (1 - 6 * x**2 + 4 * x**3) + 60e-6 * (5 * x**4 - 10 * x**3 + 5 * x**2 - 1 / 6)
    return 20e-6 + 50e-6 * s + bend, 50e-6 + slope / L


@pytest.mark.parametrize("ends", ENDS)
def test_a_table_read_on_the_free_screw(ends):
    """Readings of an unlike shape every 20 mm; the line through its ends bends nothing.

    The natural spline misses the shape by (h/L)^4 of it.
    """
    screw, read = in_springs(ends, 2000.0), np.linspace(0, L, 22)
    part = RunOut(table=(read, s_shaped(read)[0] * np.exp(0.6j)), table_mounted=False)
    line, slope = np.array([s_shaped(s)[0] for s in (0.0, L)]), (s_shaped(L)[0] - s_shaped(0.0)[0]) / L
    own = s_shaped(NODES)
    bent = nodal(own[0] - line[0] - slope * NODES, own[1] - slope)
    q, pulls = settled(screw, bent)
    expected = nodal(line[0] + slope * NODES, np.full(NODES.size, slope)) + q
    shapes = {name: shape for name, _, shape in centreline_shapes(part, screw)}
    offset, steep = (np.real(v * np.exp(-0.6j)) for v in shapes["table"](NODES))
    np.testing.assert_allclose(offset, expected[0::2], atol=110e-6 * 1e-4)
    np.testing.assert_allclose(steep, expected[1::2], atol=110e-6 / L * 2e-3)
    moments, forces = bearing_reactions(part, screw)
    size = max(abs(pulls).max(), 1e-3)
    np.testing.assert_allclose(moments * np.exp(-0.6j), pulls[[1, -1]], atol=2e-4 * size)
    np.testing.assert_allclose(forces * np.exp(-0.6j), pulls[[0, -2]], atol=2 * 2e-4 * size / L)


def test_a_straight_thread_off_its_journals_is_not_bent():
    """Neither as keys nor as a table read between centres."""
    screw = in_springs("fixed-fixed", 3000.0)
    s = np.array([0.0, 0.2, 0.41])
    keys = RunOut(eccentricity=30e-6j, tilt=1e-4)
    table = RunOut(table=(s, 30e-6j + 1e-4 * s), table_mounted=False)
    for part in (keys, table):
        total = sum(amount * shape(NODES)[0] for _, amount, shape in centreline_shapes(part, screw))
        np.testing.assert_allclose(total, 30e-6j + 1e-4 * NODES, atol=1e-12)
        assert np.abs(bearing_reactions(part, screw)).max() < 1e-9


def test_largest_offset_holds_for_every_height_and_direction():
    rng = np.random.default_rng(1)
    for ends in ENDS:
        screw = in_springs(ends, 3000.0)
        part = RunOut(eccentricity=20e-6, tilt=1e-4, bow=130e-6)
        bound = run_out.largest_offset(part, screw, 0.33)
        s = rng.uniform(0, 0.33, 500)
        turns = np.exp(2j * np.pi * rng.uniform(size=(3, 500)))
        shapes = centreline_shapes(part, screw)
        r = np.abs(sum(t * a * shape(s)[0] for t, (_, a, shape) in zip(turns, shapes, strict=True)))
        assert 0.8 * bound < r.max() <= bound
