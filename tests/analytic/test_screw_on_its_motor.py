"""A screw that its motor alone holds, against beam finite elements of motor shaft, coupling and screw.

The elements stand beside this file; motor bearings, coupling and upper bearing are springs in the same
matrix, the coupling's two sides two nodes at one place.  Nothing of the code under test goes into it.
"""

from dataclasses import replace

import numpy as np
import pytest
from beam_elements import beam

from bedsim.components import column, run_out
from bedsim.components.motor_end import MotorEnd
from bedsim.components.run_out import RunOut
from bedsim.components.screw import Screw, buckling_load, shaft_stiffness
from bedsim.errors import ModelError
from bedsim.sizing.critical_speed import first_bending_frequency, first_frequency_on_bearings

E = 206e9
JAW = {"coupling_radial": 0.4e6, "coupling_tilt": 5.0}
SLEEVE = {"coupling_radial": 100e6, "coupling_tilt": 400.0}
MOTOR = {"bearing_radial": 8e6, "span": 0.032, "overhang": 0.020, "shaft_diameter": 5e-3}
FREE = Screw(
    balls=False,
    diameter=8e-3,
    root_diameter=6.2e-3,
    pitch=2e-3,
    lead=2e-3,
    hand=1,
    length=0.4,
    ends="fixed-free",
    youngs_modulus=E,
    shear_modulus=79e9,
    density=7850.0,
    bearing_radial=1.0,  # not there
    upper_bearing_radial=10e6,
    bearing_tilt=1.0,  # not there
    bearing_axial=1e6,
    coupling=40.0,
    motor_end=MotorEnd(**MOTOR, **JAW),
)
SCREWS = [
    replace(FREE, ends=ends, motor_end=MotorEnd(**MOTOR, **kind))
    for ends in ("fixed-free", "fixed-supported")
    for kind in (JAW, SLEEVE)
]
NUT = 0.23
PIECES = 12


def _inertia(diameter):
    return np.pi / 64 * diameter**4


def whole(screw, load=0.0, aside=0.0, turned=0.0):
    """Stiffness of shaft and screw, what the coupling's bores push with, and the node of the nut.

    Nodes: lower bearing, upper bearing, coupling on the motor's side; then the screw from its lower end up.
    The rotor between the bearings is 1e6 times as stiff as the shaft.
    """
    end = screw.motor_end
    shaft = np.array([0.0, end.span, end.span + end.overhang])
    nodes = np.concatenate([np.linspace(0, NUT, PIECES + 1), np.linspace(NUT, screw.length, PIECES + 1)[1:]])
    K = np.zeros((6 + 2 * len(nodes),) * 2)
    bending = E * _inertia(end.shaft_diameter)
    K[:4, :4] += beam(shaft[:2], 1e6 * bending)[0]
    K[2:6, 2:6] += beam(shaft[1:], bending)[0]
    K[0, 0] += end.bearing_radial
    K[2, 2] += end.bearing_radial
    K[6:, 6:] += beam(nodes, E * _inertia(screw.root_diameter))[0]
    below = beam(nodes[: PIECES + 1], 1.0)[1]
    K[6 : 6 + below.shape[0], 6 : 6 + below.shape[0]] -= load * below
    force = np.zeros(K.shape[0])
    for k, (stiff, out) in enumerate(((end.coupling_radial, aside), (end.coupling_tilt, turned))):
        pair = np.array([-1.0, 1.0])
        where = [4 + k, 6 + k]
        K[np.ix_(where, where)] += stiff * np.outer(pair, pair)
        force[where] += stiff * out * pair
    if screw.ends == "fixed-supported":
        K[-2, -2] += screw.upper_bearing_radial
    return K, force, 6 + 2 * PIECES


@pytest.mark.parametrize("screw", SCREWS, ids=lambda s: f"{s.ends} {s.motor_end.coupling_tilt:g}")
@pytest.mark.parametrize("load", [0.0, 15.0])
def test_stiffness_at_the_nut_is_that_of_elements(screw, load):
    K, _, at = whole(screw, load)
    flexible = np.linalg.inv(K)[at : at + 2, at : at + 2]
    found = shaft_stiffness(screw, np.array([NUT]), load)[0]
    assert np.linalg.inv(found) == pytest.approx(flexible, rel=2e-5)


def test_the_end_of_a_motor_shaft_by_hand():
    """5 mm shaft, 20 mm beyond the upper of two bearings of 8 N/um 32 mm apart, nothing else: x = 0.625.

    Moved aside by 1 N: (1.625^2 + 0.625^2)/8e6 + 0.02^3/(3 x 6.3200) = 3.789e-7 + 4.219e-7 m.
    Turned by 1 N m: 2/(0.032^2 x 8e6) + 0.02/6.3200 = 2.441e-4 + 3.165e-3 rad.
    """
    bare = MotorEnd(**MOTOR, coupling_radial=1e15, coupling_tilt=1e15).compliance
    assert bare[0, 0] == pytest.approx(8.008e-7, rel=1e-3)
    assert bare[1, 1] == pytest.approx(3.409e-3, rel=1e-3)
    assert bare[0, 1] == pytest.approx(2.25 / (0.032 * 8e6) + 0.02**2 / (2 * 6.32), rel=1e-3)
    assert bare[0, 1] == bare[1, 0]


@pytest.mark.parametrize("screw", SCREWS, ids=lambda s: f"{s.ends} {s.motor_end.coupling_tilt:g}")
@pytest.mark.parametrize("bores", [(30e-6, 0.0), (0.0, 7.5e-4), (20e-6, -5e-4)])
def test_bores_out_of_line_put_the_screw_where_elements_put_it(screw, bores):
    K, force, at = whole(screw, aside=bores[0], turned=bores[1])
    place = np.linalg.solve(K, force)[at : at + 2]
    bent = RunOut(coupling_offset=bores[0] + 0j, coupling_angle=bores[1] + 0j)
    shapes = run_out.coupling_shapes(bent, screw)
    found = sum(amount * np.array(shape(np.array([NUT])))[:, 0] for _, amount, shape in shapes)
    assert found.real == pytest.approx(place, rel=2e-5, abs=1e-12)
    assert np.abs(found.imag).max() == 0.0


def test_a_bow_on_a_motor_is_drawn_as_elements_draw_it():
    """The free half sine as an imposed curvature: E I u'' on the screw's own elements."""
    screw = SCREWS[3]
    K, _, at = whole(screw)
    nodes = np.concatenate([np.linspace(0, NUT, PIECES + 1), np.linspace(NUT, screw.length, PIECES + 1)[1:]])
    k = np.pi / screw.length
    free = np.stack([np.sin(k * nodes), k * np.cos(k * nodes)], axis=1).ravel()
    force = np.zeros(K.shape[0])
    force[6:] = beam(nodes, E * _inertia(screw.root_diameter))[0] @ free
    place = np.linalg.solve(K, force)[at : at + 2]
    found = run_out.bow_shape(screw)(np.array([NUT]))
    assert np.array(found)[:, 0] == pytest.approx(place, rel=1e-4)


def test_bearing_reactions_count_the_bores():
    """A supported screw in a crooked coupling is pressed into its upper bearing; a free one is not."""
    bent = RunOut(coupling_offset=30e-6 + 0j, coupling_angle=1e-3j)
    K, force, _ = whole(SCREWS[3], aside=30e-6)
    top = np.linalg.solve(K, force)[-2] * SCREWS[3].upper_bearing_radial
    _, forces = run_out.bearing_reactions(bent, SCREWS[3])
    assert forces[1].real == pytest.approx(-top, rel=1e-4)
    assert np.abs(run_out.bearing_reactions(bent, SCREWS[1])).max() == 0.0
    assert run_out.coupling_shapes(bent, replace(FREE, motor_end=None)) == []


def test_a_screw_on_a_soft_coupling_leans_on_its_nut():
    """A stiff bar on a hinge of k stands alone up to P = k/a; beyond it the nut has to hold P/a.

    Jaw of 5 N m/rad in series with the shaft's 3.41e-3 rad/(N m): k = 4.916; at 230 mm 21.4 N.
    """
    stiff = replace(FREE, youngs_modulus=1e6 * E, motor_end=MotorEnd(**MOTOR, **JAW))
    place = np.array([NUT])
    hinge = 1 / FREE.motor_end.compliance[1, 1]
    assert buckling_load(stiff, place) == pytest.approx(hinge / NUT, rel=2e-3)
    pushed = 1 / np.linalg.inv(shaft_stiffness(stiff, place, 60.0)[0])[0, 0]
    assert pushed == pytest.approx(-(60.0 - hinge / NUT) / NUT, rel=5e-3)


def test_its_span_must_stand_between_coupling_and_nut():
    """With the nut held fast: a hinged and clamped column at the softest, 2.046 pi^2 E I/a^2."""
    column_load = 2.046 * np.pi**2 * FREE.bending_stiffness / NUT**2
    assert shaft_stiffness(FREE, np.array([NUT]), 0.9 * column_load) is not None
    with pytest.raises(ModelError, match="buckling load"):
        shaft_stiffness(FREE, np.array([NUT]), column.clamped_load(NUT, FREE.bending_stiffness))


@pytest.mark.parametrize("ends", ["fixed-free", "fixed-supported"])
def test_the_first_frequency_on_stiff_bearings_is_the_catalogue_s(ends):
    """[Blevins] table 8-1: 1.8751 and 3.9266."""
    firm = replace(FREE, ends=ends, motor_end=None, bearing_radial=1e9, bearing_tilt=1e7)
    firm = replace(firm, upper_bearing_radial=1e9)
    printed = first_bending_frequency(
        youngs_modulus=E, density=7850.0, root_diameter=6.2e-3, free_length=0.4, ends=ends
    )
    assert first_frequency_on_bearings(firm) == pytest.approx(printed, rel=1e-4)


def test_a_bar_on_a_hinge_swings_as_a_pendulum_turned_over():
    """f = sqrt(k/(m L^2/3))/(2 pi) of a stiff bar."""
    stiff = replace(FREE, youngs_modulus=1e6 * E)
    sideways, mixed, turned = FREE.motor_end.compliance[[0, 0, 1], [0, 1, 1]]
    mass = FREE.density * FREE.area * FREE.length
    found = first_frequency_on_bearings(stiff)
    assert found == pytest.approx(np.sqrt(3 / turned / mass) / FREE.length / (2 * np.pi), rel=0.01)
    assert max(sideways, mixed * FREE.length) < 0.02 * turned * FREE.length**2
