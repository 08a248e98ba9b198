"""The shaft at the nut against an independent beam finite element, and its axial train against springs."""

import math
from dataclasses import replace

import numpy as np
import pytest
from beam_elements import beam, ends_held, held

from bedsim.components.screw import Screw, axial_compliances, in_series, shaft_stiffness

LENGTH = 0.3
STIFF, STIFF_TILT = 1e14, 1e11
SCREW = Screw(
    balls=False,
    diameter=10e-3,
    root_diameter=8e-3,
    pitch=2e-3,
    lead=5e-3,
    hand=1,
    length=LENGTH,
    ends="fixed-free",
    youngs_modulus=206e9,
    shear_modulus=79.4e9,
    density=7850.0,
    bearing_radial=STIFF,
    upper_bearing_radial=STIFF,
    bearing_tilt=STIFF_TILT,
    bearing_axial=80e6,
    coupling=80.0,
)
ENDS = ("fixed-free", "supported-supported", "fixed-supported", "fixed-fixed")


def nodes_with(position, count=12):
    """Nodes along the shaft, one of them at the nut."""
    return np.unique(np.concatenate([np.linspace(0, position, count), np.linspace(position, LENGTH, count)]))


def at_nut(matrix, nodes, position, fixed=()):
    """Stiffness (2, 2) at the nut: the compliance there, inverted."""
    k = 2 * int(np.argmin(abs(nodes - position)))
    free = [i for i in range(matrix.shape[0]) if i not in fixed]
    compliance = np.linalg.inv(held(matrix, fixed))
    where = [free.index(k), free.index(k + 1)]
    return np.linalg.inv(compliance[np.ix_(where, where)])


@pytest.mark.parametrize("ends", ENDS)
@pytest.mark.parametrize("position", [0.05, 0.13, 0.25])
def test_deflection_and_slope_with_stiff_bearings(ends, position):
    nodes = nodes_with(position)
    expected = at_nut(beam(nodes, SCREW.bending_stiffness)[0], nodes, position, ends_held(ends, len(nodes)))
    found = shaft_stiffness(replace(SCREW, ends=ends), np.array([position]))[0]
    np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-6 * abs(expected).max())


@pytest.mark.parametrize("ends", ENDS)
def test_deflection_and_slope_on_soft_bearings(ends):
    """Bearings as springs under the ends of the same beam."""
    position, radial, upper, tilt = 0.11, 3e6, 1e6, 900.0
    nodes = nodes_with(position)
    matrix = beam(nodes, SCREW.bending_stiffness)[0]
    matrix[0, 0] += radial
    if ends.startswith("fixed"):
        matrix[1, 1] += tilt
    if ends != "fixed-free":
        matrix[-2, -2] += upper
    if ends == "fixed-fixed":
        matrix[-1, -1] += tilt
    screw = replace(SCREW, ends=ends, bearing_radial=radial, upper_bearing_radial=upper, bearing_tilt=tilt)
    np.testing.assert_allclose(
        shaft_stiffness(screw, np.array([position]))[0], at_nut(matrix, nodes, position), rtol=1e-6
    )


def test_bearing_compliances_add_in_closed_form():
    """Fixed-free: [1/k_rad + a^2/k_phi, a/k_phi; a/k_phi, 1/k_phi] beside the beam's own: a rigid lever."""
    a, radial, tilt = 0.2, 5e6, 700.0
    own = shaft_stiffness(SCREW, np.array([a]))[0]
    lever = np.array([[1 / radial + a * a / tilt, a / tilt], [a / tilt, 1 / tilt]])
    found = shaft_stiffness(replace(SCREW, bearing_radial=radial, bearing_tilt=tilt), np.array([a]))[0]
    np.testing.assert_allclose(np.linalg.inv(found), np.linalg.inv(own) + lever, rtol=1e-6)


def test_the_nut_stands_in_series():
    plane = shaft_stiffness(SCREW, np.array([0.1, 0.2]))
    nut = np.diag([40e6, 1000.0])
    expected = np.linalg.inv(np.linalg.inv(plane) + np.diag([1 / 40e6, 1 / 1000.0]))
    np.testing.assert_allclose(in_series(plane, np.broadcast_to(nut, plane.shape)), expected, rtol=1e-9)


@pytest.mark.parametrize("ends", ["fixed-free", "fixed-supported", "fixed-fixed"])
def test_axial_train_against_springs_in_a_row(ends):
    """A chain of rod pieces between spring bearings, solved as a network; unit force at the nut."""
    position, pieces = 0.12, 40
    screw = replace(SCREW, ends=ends)
    rod = screw.youngs_modulus * math.pi / 4 * screw.root_diameter**2 / (LENGTH / pieces)
    matrix = np.zeros((pieces + 1, pieces + 1))
    for k in range(pieces):
        matrix[k : k + 2, k : k + 2] += rod * np.array([[1, -1], [-1, 1]])
    matrix[0, 0] += screw.bearing_axial
    if ends == "fixed-fixed":
        matrix[-1, -1] += screw.bearing_axial
    k = round(position / LENGTH * pieces)
    expected = np.linalg.inv(matrix)[k, k]
    parts = axial_compliances(screw, np.array([position]))
    assert parts["shaft"][0] + parts["thrust bearing"][0] == pytest.approx(expected, rel=1e-9)


def test_torsion_seen_along_the_axis():
    """Energy: a force F twists the shaft by F (lead/2 pi)/k and sinks by lead/2 pi of that."""
    position, force = 0.2, 7.0
    torque = force * SCREW.lead / (2 * math.pi)
    twist = torque * position / (SCREW.shear_modulus * math.pi * SCREW.root_diameter**4 / 32)
    parts = axial_compliances(SCREW, np.array([position]))
    assert force * parts["torsion"][0] == pytest.approx(twist * SCREW.lead / (2 * math.pi), rel=1e-12)
    wound = torque / SCREW.coupling
    assert force * parts["coupling"][0] == pytest.approx(wound * SCREW.lead / (2 * math.pi), rel=1e-12)
