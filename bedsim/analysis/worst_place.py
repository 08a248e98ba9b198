"""Where on the bed the error is worst: the plate's corners, whatever probes a scenario lists.

Every error of a rigid bed at a point is affine in the point's place (x, y), layer by layer.  Its
peak-to-valley, a maximum of differences of such functions, is convex in (x, y), and a convex function on a
rectangle is largest at a corner [Boyd2004, 3.2.3].  So is the amplitude of a band, the modulus of an affine
function.  On four screws the plate's twist adds a term in x y to the height, affine along every edge and
every line parallel to one: still a corner.  With five screws or more squares come in: a grid is searched for
the height as well.  Sideways the bent plate moves as the flat one.  Derived.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import probe_points
from bedsim.units import MM

Array = NDArray[np.float64]

GRID = 9
"""Places along each edge that are searched where more than four screws bend the plate."""


def worst_places(loaded: LoadedScenario) -> tuple[tuple[str, ...], Array]:
    """Names and places (p, 2) m of the points of which one is the worst of the plate: the probes, among which
    are the plate's corners, and a grid where more than four screws bend the plate."""
    names, points = probe_points(loaded)
    if len(loaded.scenario.corner) <= 4:
        return names, points
    bed = loaded.scenario.bed
    half = np.array([bed.size_x_mm, bed.size_y_mm]) / 2 * MM
    grid = np.array([*itertools.product(np.linspace(-1.0, 1.0, GRID), repeat=2)]) * half
    more = [at for at in grid if not np.isclose(points, at).all(axis=1).any()]
    told = (f"x {at[0] / MM:.0f}, y {at[1] / MM:.0f} mm" for at in more)
    return (*names, *told), np.vstack([points, *more])
