"""Shapes of the plate: a complete set of polynomials, slopes by differences."""

import numpy as np
import pytest

from bedsim.components import mount
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
