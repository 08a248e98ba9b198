"""What an error of the bristle forces at the start of a layer becomes in it: the bristles' law along a given
path, and what layers that were integrated twice tell beside it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.solved import Solved

Array = NDArray[np.float64]

FORGOTTEN = 60.0  # breakaways: after such a path nothing is left of a bristle's past
PARTS = 64  # in which the exponential of `sensitivity` is taken
HOLDS = 0.5  # a contact holds, if so much of its force is left after a layer
FORETOLD = 0.5  # of what is to be learnt must be foretold
TELLING = 0.03  # of the largest difference of starts: smaller ones tell nothing of what they do


def sensitivity(solved: Solved) -> tuple[Array, Array]:
    """Of a layer's bristle forces N: derivatives `carry` (k, d, d) of those at its end by those it starts
    from, along a given path, and `give` (k, n, d) of where its modes rest by those at its end.

    With g = phi - zeta and the bed at rest zeta = -L g, so phi = (1 - L) g.  Along the path X of a contact g'
    = -X' phi, hence g1 = exp(-X (1 - L)) g0; the exponential as a power of its first diagonal approximant.
    """
    layer, rows = solved.modes, solved.modes.rows
    b = rows.bristles
    compliance = -(rows.push[:, :b] / layer.frequency[:, None] ** 2)  # (k, b, n)
    one, stuck = np.eye(b), layer.bristle_compliance
    path = np.minimum(rows.every(solved.path).T, FORGOTTEN)  # (k, b)
    half = path[:, :, None] * stuck / (2 * PARTS)
    loose, limit = np.linalg.inv(stuck), rows.limit
    left = np.linalg.matrix_power(np.linalg.solve(one + half, one - half), PARTS) @ loose
    carry = np.empty_like(left)
    carry[:, rows.order[:, None], rows.order] = limit[:, :, None] * (stuck @ left) / limit[:, None]
    give = np.empty((limit.shape[0], layer.frequency.shape[1], b))
    give[:, :, rows.order] = np.swapaxes(compliance, 1, 2) @ loose / limit[:, None]
    return carry, give


def beside(limit: Array, by: Array, more: Array, carry: Array) -> Array:
    """What the forces at the begin of a layer do to those at its end beside `carry` (k, d, d), alike in all
    layers (d, d): how strongly the bed is shaken, which the quick contacts feel.  From layers stepped from
    two starts that differ `by` (k, d), and what their ends differ by beside it, `more` (k, d); `limit` (d,)
    N."""
    quick = np.diagonal(carry.mean(axis=0)) <= HOLDS
    told = np.where(quick, 1 / limit, 0.0)
    found = np.linalg.lstsq(by * told, more * told, rcond=TELLING)[0]
    return np.asarray(limit[:, None] * found.T / limit)


def believed(limit: Array, by: Array, more: Array, carry: Array) -> Array:
    """Likewise where every other layer foretells the others, and errors do not grow by it from layer to
    layer: bristles forget.  Else nothing, as where starts differ by less than what steps of unlike lengths
    make."""
    none, one, other = np.zeros(carry.shape[1:]), slice(0, None, 2), slice(1, None, 2)
    left = more[other] - by[other] @ beside(limit, by[one], more[one], carry[one]).T
    quick = np.diagonal(carry.mean(axis=0)) <= HOLDS
    known, missed = (np.linalg.norm((x / limit)[:, quick]) for x in (more[other], left))
    found = beside(limit, by, more, carry)
    grows = np.abs(np.linalg.eigvals(carry.mean(axis=0) + found)).max() >= 1
    return none if missed > FORETOLD * known or grows else found


def times(matrices: NDArray[Any], vectors: NDArray[Any]) -> Array:
    """Products (k, i) of matrices (k, i, j) with vectors (k, j)."""
    return np.asarray((matrices @ vectors[:, :, None])[..., 0])
