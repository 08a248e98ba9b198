"""Defaults of a helical coupling against the energy of a curved beam, integrated along its helix.

Unit loads at the middle of one end against the other, held one (Castigliano): compliance = integral of B^T S
B ds, B the section forces, S the section's own compliance in twist and in bending about its two axes.  A
beam of aluminium, 70 and 26 GPa; rectangle b across, t along the axis: b t^3/3 (1 - 0.63 t/b) in twist, from
memory.  Slits of 0.5 mm.
"""

import numpy as np
import pytest

from bedsim.scenario.defaults import default_ranges
from bedsim.scenario.derived_defaults import coupling_twists

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
E, G = 70e9, 26e9
MADE = {  # outside, bore, thickness, turns
    "low": (19e-3, 10e-3, 1.2e-3, 4.0),
    "likely": (22e-3, 9e-3, 1.8e-3, 3.5),
    "high": (25e-3, 8e-3, 2.5e-3, 2.5),
}


def compliance(outside, bore, t, turns):
    """(6, 6) for forces x, y, z and moments x, y, z at the middle of the coupling."""
    b, radius, pitch = (outside - bore) / 2, (outside + bore) / 4, t + 0.5e-3
    angle = (np.arange(4000) + 0.5) / 4000 * 2 * np.pi * turns
    rise = pitch / (2 * np.pi)
    ds = np.hypot(radius, rise) * 2 * np.pi * turns / 4000
    section = np.diag([1 / (G * b * t**3 / 3 * (1 - 0.63 * t / b)), 12 / (E * b * t**3), 12 / (E * t * b**3)])
    total = np.zeros((6, 6))
    for a in angle:
        place = np.array([radius * np.cos(a), radius * np.sin(a), rise * a - pitch * turns / 2])
        along = np.array([-radius * np.sin(a), radius * np.cos(a), rise])
        along /= np.linalg.norm(along)
        across = np.array([np.cos(a), np.sin(a), 0.0])
        axes = np.stack([along, across, np.cross(along, across)])
        x, y, z = -place
        arm = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
        B = axes @ np.hstack([arm, np.eye(3)])
        total += B.T @ section @ B * ds
    return total


def found(name):
    """N/um sideways and along, N m/rad of tilt and twist; sideways with the ends kept parallel."""
    whole = compliance(*MADE[name])
    stiff = np.linalg.inv(whole)
    return {
        "radial_n_per_um": 1e-6 * np.sqrt(stiff[0, 0] * stiff[1, 1]),
        "axial_n_per_um": 1e-6 / whole[2, 2],
        "tilt_nm_per_rad": 1 / np.sqrt(whole[3, 3] * whole[4, 4]),
        "coupling_nm_per_rad": 1 / whole[5, 5],
    }


@pytest.mark.parametrize("name", MADE)
def test_defaults_are_those_of_the_helix(name):
    for key, value in found(name).items():
        given = default_ranges("coupling", "helical").get(key, coupling_twists()["helical"])
        assert getattr(given, name) == pytest.approx(value, rel=0.05), key  # two digits
