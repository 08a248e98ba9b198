"""Where on the bed the error is worst: the plate's corners, whatever probes a scenario lists.

Every error of a rigid bed at a point is affine in the point's place (x, y), layer by layer.  Its
peak-to-valley, a maximum of differences of such functions, is convex in (x, y), and a convex function on a
rectangle is largest at a corner [Boyd2004, 3.2.3].  On four screws the plate's twist adds a term in x y,
affine along every edge and every line parallel to one: still a corner.  With five screws or more squares come
in: a grid is searched as well.  Derived.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import probe_points
from bedsim.units import MM

Array = NDArray[np.float64]

GRID = 9
"""Places along each edge that are searched where more than four screws bend the plate."""
CORNERS = {"front left": (-1, -1), "front right": (1, -1), "back right": (1, 1), "back left": (-1, 1)}


def worst_places(loaded: LoadedScenario) -> tuple[tuple[str, ...], Array]:
    """Names and places (p, 2) m of the points of which one is the worst of the plate, and of the scenario's
    own probes, which may stand beside it."""
    bed = loaded.scenario.bed
    half = np.array([bed.size_x_mm, bed.size_y_mm]) / 2 * MM
    places = {name: np.array(side) * half for name, side in CORNERS.items()}
    if len(loaded.scenario.corner) > 4:
        steps = np.linspace(-1.0, 1.0, GRID)
        for x, y in itertools.product(steps, steps):
            at = np.array([x, y]) * half
            places[f"x {at[0] / MM:.0f}, y {at[1] / MM:.0f} mm"] = at
    names, points = probe_points(loaded)
    own = {n: p for n, p in zip(names, points, strict=True) if not _stands_there(p, places.values())}
    places |= {n if n not in places else f"probe {n}": p for n, p in own.items()}
    return tuple(places), np.array([*places.values()])


def _stands_there(point: Array, others: Iterable[Array]) -> bool:
    return any(np.allclose(point, other) for other in others)
