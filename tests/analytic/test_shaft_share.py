"""The part of a shaft's mass that moves with its nut, [Rayleigh]: the static deflection curve by finite
elements [Przemieniecki], the nut where the curve is told for: at the free end, else at mid-span."""

import numpy as np
import pytest
from scipy.integrate import trapezoid

from bedsim.model.build import SHAFT_SHARE

COUNT = 200
HELD = {
    "fixed-free": ([0, 1], 1.0),
    "supported-supported": ([0, 2 * COUNT], 0.5),
    "fixed-supported": ([0, 1, 2 * COUNT], 0.5),
    "fixed-fixed": ([0, 1, 2 * COUNT, 2 * COUNT + 1], 0.5),
}


@pytest.mark.parametrize("ends", HELD)
def test_share_is_the_mean_square_of_the_deflection_curve(ends):
    """To the two digits in which that of fixed-supported is given."""
    h, size = 1.0 / COUNT, 2 * (COUNT + 1)
    bends = np.array(
        [
            [12, 6 * h, -12, 6 * h],
            [6 * h, 4 * h**2, -6 * h, 2 * h**2],
            [-12, -6 * h, 12, -6 * h],
            [6 * h, 2 * h**2, -6 * h, 4 * h**2],
        ]
    )
    K = np.zeros((size, size))
    for e in range(COUNT):
        K[2 * e : 2 * e + 4, 2 * e : 2 * e + 4] += bends / h**3
    held, place = HELD[ends]
    free = np.setdiff1d(np.arange(size), held)
    load = np.zeros(size)
    at = 2 * round(place * COUNT)
    load[at] = 1.0
    curve = np.zeros(size)
    curve[free] = np.linalg.solve(K[np.ix_(free, free)], load[free])
    deflection = curve[::2] / curve[at]
    assert SHAFT_SHARE[ends] == pytest.approx(trapezoid(deflection**2, dx=h), abs=5e-3)
