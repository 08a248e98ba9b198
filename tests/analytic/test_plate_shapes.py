"""Shapes of the plate: a complete set of polynomials, slopes by differences."""

import numpy as np
import pytest
import sympy

from bedsim.components import mount
from bedsim.components.bed import Bed
from bedsim.components.frame import Coordinates
from bedsim.components.plate import EXPONENTS, PlateShapes


def test_shapes_are_all_monomials_of_degree_two_to_four_once():
    """3 + 4 + 5 of them, low degrees first; the twist, which four supports force, before all."""
    every = {(i, n - i) for n in (2, 3, 4) for i in range(n + 1)}
    assert set(EXPONENTS) == every and len(EXPONENTS) == 12
    degree = [i + j for i, j in EXPONENTS]
    assert EXPONENTS[0] == (1, 1) and degree == sorted(degree)


@pytest.mark.parametrize("bed", [5, 6, 9])
def test_rotation_of_a_bent_bed_is_the_slope_of_its_surface(bed):
    """Right-handed: a surface that rises along y turns about +x, one that rises along x about -y."""
    coordinates = Coordinates(corners=bed, shapes=bed - 3)
    shapes, step = PlateShapes(count=bed - 3, x=0.2, y=0.15), 1e-6
    x, y = 0.11, -0.07

    def height(at_x, at_y):
        return mount.bed_point(coordinates, np.array([at_x, at_y, 0.0]), shapes.at(at_x, at_y))[2]

    by_x = (height(x + step, y) - height(x - step, y)) / (2 * step)
    by_y = (height(x, y + step) - height(x, y - step)) / (2 * step)
    turned = mount.bed_rotation(coordinates, shapes.at(x, y))
    assert turned[0] == pytest.approx(by_y, abs=1e-6)
    assert turned[1] == pytest.approx(-by_x, abs=1e-6)


def test_stiffness_is_the_work_of_the_plates_moments():
    """M_x = D (k_x + nu k_y), M_y = D (k_y + nu k_x), M_xy = D (1 - nu) k_xy ([Timoshenko-Plates]),
    each on the curvatures of the other shape, integrated by sympy."""
    x, y = sympy.symbols("x y")
    bed = Bed(
        mass=2.0,
        inertia=np.ones(3),
        centre=np.zeros(3),
        size=np.array([0.4, 0.3]),
        thickness=6e-3,
        shear_modulus=26e9,
        expansion=0.0,
        temperature_rise=0.0,
    )
    nu = sympy.Rational(33, 100)
    rigidity = 2 * 26e9 * (1 + 0.33) * 6e-3**3 / (12 * (1 - 0.33**2))  # E t^3 / 12 (1 - nu^2)
    shapes = [(x / 0.2) ** i * (y / 0.15) ** j for i, j in EXPONENTS]
    curved = [(sympy.diff(w, x, 2), sympy.diff(w, y, 2), sympy.diff(w, x, y)) for w in shapes]

    def work(a, b):
        moment = (a[0] + nu * a[1], a[1] + nu * a[0], 2 * (1 - nu) * a[2])
        density = sum(m * k for m, k in zip(moment, b, strict=True))
        return rigidity * float(sympy.integrate(density, (x, "-0.2", "0.2"), (y, "-0.15", "0.15")))

    expected = np.array([[work(a, b) for b in curved] for a in curved])
    found = PlateShapes(count=12, x=0.2, y=0.15).stiffness(bed)
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9 * expected.max())
