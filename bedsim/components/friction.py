"""Dry friction, one law everywhere: the rate-independent bristle.

    f' = k_b (v - |v| f / F_c),   |f| <= F_c,   k_b = F_c / breakaway,   force on the pair = -f

Source: [Dahl1968] for one direction, exponent 1; the planar form replaces the sign of the speed by its
direction, so that f tends to F_c v/|v|.  Over a straight increment D (length s, direction u) the law
integrates exactly, path length taking the place of time:

    f1 = F_c u + (f0 - F_c u) exp(-s / breakaway)

Limits: no difference between static and kinetic friction; under a steady bias with vibration on top the
bristle relaxes by exp(-path / breakaway), which a real contact with a true stick zone does less (see
tests/analytic).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def group_matrix(group: NDArray[np.int64]) -> Array:
    """Matrix (d, d) that sums squares over the rows of the same planar contact: `group` (d,) names the
    contact."""
    return (group[:, None] == group[None, :]).astype(float)


def path_length(increment: Array, groups: Array) -> Array:
    """Length (..., d) m of each contact's straight increment (..., d), repeated for its rows."""
    return np.sqrt((increment * increment) @ groups)


def after_increment(force: Array, increment: Array, groups: Array, limit: Array, breakaway: Array) -> Array:
    """Bristle force (..., d) N after the straight `increment` (..., d) m, starting from `force` (..., d) N.

    `limit` (..., d) N is F_c, `breakaway` (d,) m; exact for a straight path of any length.
    """
    length = path_length(increment, groups)
    x = length / breakaway
    # (1 - exp(-x))/x tends to 1 for x -> 0: a contact that does not move keeps its force
    mean = np.where(x > 1e-12, -np.expm1(-x) / np.maximum(x, 1e-12), 1.0)
    return force * np.exp(-x) + limit * increment / breakaway * mean


def increment_tangent(force: Array, increment: Array, groups: Array, limit: Array, breakaway: Array) -> Array:
    """Derivative (..., d, d) N/m of `after_increment` by the increment."""
    return after_and_tangent(force, increment, groups, limit, breakaway)[1]


def after_and_tangent(
    force: Array, increment: Array, groups: Array, limit: Array, breakaway: Array
) -> tuple[Array, Array]:
    """`after_increment` and its derivative (..., d, d) N/m by the increment."""
    length = path_length(increment, groups)
    x = length / breakaway
    small = x < 1e-9
    safe = np.where(small, 1.0, x)
    decay = np.exp(-x)
    mean = np.where(small, 1.0, -np.expm1(-safe) / safe)
    slope = np.where(small, -0.5, (decay - mean) / safe)  # d mean / d x
    direction = increment / np.maximum(length, 1e-300)
    steep, held = limit / breakaway, force * decay
    # rows of one contact couple through the length they share
    by_length = (steep * increment * slope - held) / breakaway
    tangent = by_length[..., :, None] * direction[..., None, :] * groups
    index = np.arange(force.shape[-1])
    tangent[..., index, index] += steep * mean
    return held + steep * increment * mean, tangent


def rate(force: Array, speed: Array, groups: Array, limit: Array, breakaway: Array) -> Array:
    """The rate form f' (..., d) N/s for the sliding speed (..., d) m/s."""
    magnitude = np.sqrt((speed * speed) @ groups)
    return (limit * speed - magnitude * force) / breakaway


def scaled_to_limit(force: Array, groups: Array, limit: Array) -> Array:
    """Bristle force brought back to F_c where a falling normal load has left it above."""
    magnitude = np.sqrt((force * force) @ groups)
    return force * np.minimum(1.0, limit / np.maximum(magnitude, 1e-300))
