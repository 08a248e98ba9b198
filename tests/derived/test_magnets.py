"""Disc magnets against an independent library (magpylib, surface integration of the field), and against
theory.

magpylib: Ortner and Coliado Bandeira, SoftwareX 11 (2020) 100466.  Its force routine meshes the target; 5 x
10^3 cells leave about 1e-4.
"""

import math

import numpy as np
import pytest

from bedsim.sizing import magnets
from bedsim.units import MM

magpylib = pytest.importorskip("magpylib", minversion="5.2")

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
CASES = [
    # diameter 1, thickness 1, diameter 2, thickness 2, gap, offset (mm)
    (10, 5, 10, 5, 1.0, 0.0),
    (10, 5, 10, 5, 1.0, 1.0),
    (8, 3, 8, 3, 6.0, 1.0),
    (10, 10, 10, 10, 1.0, 2.0),
    (12, 4, 8, 3, 2.0, 1.5),
]


def disc(diameter_mm, thickness_mm, remanence=1.3):
    return magnets.Disc(radius=diameter_mm * MM / 2, thickness=thickness_mm * MM, remanence=remanence)


def library_force(d1, t1, d2, t2, gap, offset):
    """Force on the upper of two discs, in the library's frame: z up, offset along x."""
    height = (t1 / 2 + gap + t2 / 2) * MM
    lower = magpylib.magnet.Cylinder(polarization=(0, 0, 1.3), dimension=(d1 * MM, t1 * MM))
    upper = magpylib.magnet.Cylinder(
        polarization=(0, 0, 1.3), dimension=(d2 * MM, t2 * MM), position=(offset * MM, 0, height)
    )
    force, _ = magpylib.getFT(lower, upper, pivot="centroid", meshing=5000)
    return np.asarray(force)


@pytest.mark.parametrize("case", CASES)
def test_force_agrees_with_an_independent_library(case):
    """Axial pull and recentring force, on the axis and beside it, equal and unequal discs."""
    d1, t1, d2, t2, gap, offset = case
    x, _, z = library_force(*case)
    pull = magnets.attraction(disc(d1, t1), disc(d2, t2), gap * MM, offset * MM)
    back = magnets.recentring_force(disc(d1, t1), disc(d2, t2), gap * MM, offset * MM)
    assert pull == pytest.approx(-z, rel=1e-3)
    assert back == pytest.approx(-x, rel=1e-3, abs=1e-6 * pull)


@pytest.mark.parametrize(
    ("case", "pull", "back"),
    [
        ((10, 5, 1, 0), 18.9990, 0.0),
        ((10, 5, 1, 1), 17.7904, 3.7392),
        ((10, 5, 2, 0.5), 12.7096, 1.1541),
        ((8, 3, 6, 0), 1.1621, 0.0),
        ((8, 3, 6, 1), 1.1254, 0.1864),
        ((10, 10, 1, 2), 23.0091, 8.4094),
    ],
)
def test_force_agrees_with_values_computed_once(case, pull, back):
    """Computed from the same integral by another program, not published (1.3 T, equal discs)."""
    d, t, gap, offset = case
    pair = (disc(d, t), disc(d, t), gap * MM, offset * MM)
    assert magnets.attraction(*pair) == pytest.approx(pull, abs=1e-4)
    assert magnets.recentring_force(*pair) == pytest.approx(back, abs=1e-4)


def test_touching_long_magnets_reach_the_pressure_of_the_field():
    """B^2/(2 mu0) times the area: the textbook pull of two long magnets face to face, 52.81 N at 10 mm, 1.3
    T.
    """
    pull = magnets.attraction(disc(10, 1e4), disc(10, 1e4), 0.0)
    assert pull == pytest.approx(1.3**2 / (2 * magnets.MU0) * math.pi * (5 * MM) ** 2, rel=3e-4)


def test_far_magnets_act_as_dipoles():
    """3 mu0 m1 m2/(2 pi d^4), standard magnetostatics; at 40 radii the finite size is worth 0.3 %."""
    d = 200 * MM
    moment = 1.3 / magnets.MU0 * math.pi * (5 * MM) ** 2 * 5 * MM
    dipole = 3 * magnets.MU0 * moment**2 / (2 * math.pi * d**4)
    assert magnets.attraction(disc(10, 5), disc(10, 5), d - 5 * MM) == pytest.approx(dipole, rel=3e-3)


@pytest.mark.parametrize(("d", "t", "gap"), [(10, 5, 1.0), (8, 3, 6.0), (12, 2, 0.5)])
def test_stiffnesses_are_the_derivatives_of_the_forces(d, t, gap):
    """Lateral stiffness is the slope of the recentring force and half the axial one (Earnshaw)."""
    a, g, h = disc(d, t), gap * MM, 1e-6
    axial = (magnets.attraction(a, a, g + h) - magnets.attraction(a, a, g - h)) / (2 * h)
    lateral = magnets.recentring_force(a, a, g, h) / h
    assert magnets.axial_stiffness(a, a, g) == pytest.approx(axial, rel=1e-6)
    assert magnets.lateral_stiffness(a, a, g) == pytest.approx(lateral, rel=1e-6)
    assert lateral == pytest.approx(-axial / 2, rel=1e-5)


def test_warm_magnets_pull_with_the_square_of_remanence():
    """60 K at -0.11 %/K: 0.934 of the remanence, 0.872 of the force."""
    warm = magnets.remanence_when_warm(1.3, 60)
    cold_pull = magnets.attraction(disc(10, 5), disc(10, 5), 1 * MM)
    warm_pull = magnets.attraction(disc(10, 5, warm), disc(10, 5, warm), 1 * MM)
    assert warm_pull / cold_pull == pytest.approx(0.934**2, rel=1e-9)
