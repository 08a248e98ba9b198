"""How a stiff plate shares loads, side pushes and heights among its supports."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bedsim.errors import ModelError

Floats = NDArray[np.float64]


def support_loads(points: ArrayLike, loads: ArrayLike, at: ArrayLike) -> Floats:
    """Return the vertical load [N] of each support, shape (n,), under loads [N] shape (m,) `at` (m, 2) [m].

    N_i = sum_j W_j (1/n + r_i S^-1 r_j), r from the centroid of the supports, S = sum r_i r_i^T.
    Exact statics for three supports; for more, a stiff plate on equal springs.
    Source: derived (equilibrium of force and two moments; least squares beyond three).
    Raises ModelError when the supports stand on one line.
    """
    arms, inverse = _centred(points)
    r = np.asarray(at, dtype=float) - np.asarray(points, dtype=float).mean(axis=0)
    share = 1.0 / len(arms) + arms @ inverse @ r.T
    return np.asarray(share @ np.asarray(loads, dtype=float), dtype=float)


def overturning_loads(points: ArrayLike, moment: float) -> Floats:
    """Return by how much [N] each support is relieved, shape (n,), by a moment [N m] in its worst direction.

    dN_i = M |S^-1 r_i|.  Source: as `support_loads`.
    """
    arms, inverse = _centred(points)
    return np.asarray(moment * np.linalg.norm(arms @ inverse, axis=1), dtype=float)


def tilt_per_height(points: ArrayLike) -> Floats:
    """Return the tilt [rad/m], shape (n,), of the plate when one support alone is raised or sinks.

    |grad| = |S^-1 r_i|, for three supports one over the distance from corner i to the line through the
    others; for more, the best-fit plane.  Source: derived.
    """
    return overturning_loads(points, 1.0)


def _centred(points: ArrayLike) -> tuple[Floats, Floats]:
    p = np.asarray(points, dtype=float)
    arms = p - p.mean(axis=0)
    spread = arms.T @ arms
    if len(p) < 3 or np.linalg.cond(spread) > 1e12:
        raise ModelError(
            "The supports stand on one line: they cannot carry a plate. Move one of them sideways."
        )
    return arms, np.linalg.inv(spread)
