"""Smooth functions of the height and the turn of the screws, and layers to learn them from.

Layers of one motion differ by two things: the machine that they meet, which changes slowly with the height z,
and the angle a at which they find screws and rotors.  What such a layer makes of a state is a function of
both, written as a sum of products of Legendre polynomials in z and harmonics cos k a, sin k a; the higher the
harmonic, the lower the degree that goes with it.  Its coefficients come from a few layers, by least squares.

These are chosen so that all coefficients are well known: the first by pivoted QR of the functions at all
layers, every further one where the prediction is least sure (the largest leverage).  Source: [GolubVanLoan]
5.4 for the pivoting; leverage as in the theory of optimal designs, from memory.  Harmonics that are one and
the same at the layers there are (their number in a turn is finite) drop out of the QR by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

SAME = 1e-6  # of the largest pivot: functions that are left with less are sums of the others


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """Values (l, k) of k independent functions at the l layers, and those `nodes` (n,) among them that the
    coefficients are learnt from."""

    values: Array
    nodes: Indices

    def weights(self) -> Array:
        """What the layers (l, n) take from values at the nodes."""
        return np.asarray(self.values @ np.linalg.pinv(self.values[self.nodes]))

    def smooth(self, values: Array) -> Array:
        """What of values (l, ...) at all layers is smooth."""
        return np.asarray(self.values @ (self.values.T @ values))


def functions(place: Array, angle: Array, degrees: Sequence[tuple[int, int]]) -> Array:
    """Values (l, k) at places (l,) within -1 to 1 and angles (l,) rad, of harmonics with their degrees."""
    powers = legendre.legvander(place, max(degree for _, degree in degrees))
    found = []
    for harmonic, degree in degrees:
        found.append(np.cos(harmonic * angle)[:, None] * powers[:, : degree + 1])
        if harmonic:
            found.append(np.sin(harmonic * angle)[:, None] * powers[:, : degree + 1])
    return np.concatenate(found, axis=1)


def independent(vectors: Array, least: float) -> Indices:
    """Numbers of independent ones among vectors (v, n): each time the one of which most is left beside those
    taken, down to `least` of the first.

    The order of QR with column pivoting.  Its triangle is Cholesky's of the Gram matrix, so that it is found
    by that with the same pivots, a column at a time as it is needed; scipy's QR, which needs all of the
    triangle, takes twice as long and a tenth of a second to import.  Source: [GolubVanLoan] 5.4.
    """
    left = np.einsum("vn,vn->v", vectors, vectors)
    most, first = min(vectors.shape), float(left.max())
    found, taken = np.zeros((vectors.shape[0], most)), []
    for j in range(most):
        k = int(np.argmax(left))
        if left[k] <= least**2 * first:
            break
        found[:, j] = (vectors @ vectors[k] - found[:, :j] @ found[k, :j]) / np.sqrt(left[k])
        left -= found[:, j] ** 2
        left[k] = -np.inf
        taken.append(k)
    return np.array(taken, dtype=np.intp)


def basis(values: Array, more: float) -> Basis:
    """The independent ones of functions with values (l, k), and `more` times as many layers to learn them
    from."""
    values = np.linalg.qr(values[:, independent(values.T, SAME)])[0]
    nodes = independent(values, 0.0)
    inverse = np.linalg.inv(values[nodes].T @ values[nodes])
    for _ in range(min(values.shape[0], round(more * values.shape[1])) - nodes.size):
        answer = values @ inverse
        lever = np.einsum("lk,lk->l", answer, values)
        lever[nodes] = 0.0
        worst = int(np.argmax(lever))
        nodes = np.append(nodes, worst)
        inverse -= np.outer(answer[worst], answer[worst]) / (1 + lever[worst])
    return Basis(values=values, nodes=np.sort(nodes))
