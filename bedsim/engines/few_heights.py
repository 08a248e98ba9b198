"""Many layers from few of them: what matrices give changes smoothly with height and is interpolated.

A polynomial through values near Chebyshev's points of the height; imperfections, which change quickly, are
taken at every layer.  Source: [Berrut2004].
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial.chebyshev import chebvander
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_AT_ONCE = 64  # layers: what they take of the nodes stays within the processor's cache


def nodes_among(place: Array, count: int) -> Indices:
    """Numbers of about `count` of rising places (l,) near Chebyshev's points; of all where they are not more,
    or fall once."""
    if place.size <= count or np.any(np.diff(place) <= 0):
        return np.arange(place.size)
    between = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / (count - 1))
    wanted = place[0] + (place[-1] - place[0]) * between
    found = np.round(np.interp(wanted, place, np.arange(float(place.size))))
    return np.unique(found.astype(np.intp))


def weights_of(place: Array, nodes: Indices) -> Array:
    """What places (l,) take (l, k) from values at the nodes (k,) among them."""
    if nodes.size == place.size:
        return np.eye(place.size)
    first, last = place[nodes[0]], place[nodes[-1]]
    at, through = (
        chebvander((2 * x - first - last) / (last - first), nodes.size - 1) for x in (place, place[nodes])
    )
    return np.asarray(at @ np.linalg.inv(through))


def moved(weights: Array, gain: Array, sag: Array | None, imposed: Array) -> Array:
    """Motions (m, l, n) under imposed extensions (m, l, r) and, where there is a `sag` (k, n), the weight:
    `gain` (k, n, r) of one extension at the nodes."""
    used = np.flatnonzero(imposed.any(axis=(0, 1)))
    rows = gain[:, :, used].swapaxes(1, 2).reshape(-1, gain.shape[1])  # (k r, n)
    q = np.empty((*imposed.shape[:-1], gain.shape[1]))
    for own, found in zip(imposed[:, :, used], q, strict=True):
        for first in range(0, own.shape[0], _AT_ONCE):
            some = slice(first, first + _AT_ONCE)
            at_nodes = weights[some, :, None] * own[some, None]
            np.matmul(at_nodes.reshape(at_nodes.shape[0], -1), rows, out=found[some])
    return q if sag is None else q + weights @ sag
