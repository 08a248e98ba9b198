"""A straight span under thrust: the exact beam-column, without cancellation where the thrust is small."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CLAMPED = 4 * math.pi**2  # x at which a span buckles between two clamped ends; no support holds it longer
TERMS = 40  # of each series at most: to rounding for -900 < x < CLAMPED, tension far beyond any screw's
ROUNDING = 1e-18  # of the first term, 1: what the terms left out may be


def _tails(x: Array, orders: Array) -> Array:
    """c_k(x) = sum over n of (-x)^n/(k + 2n)! for some k, (k, n), from the smallest term up."""
    k = orders[:, None]
    found = np.ones((k.size, *x.shape))
    for n in range(_terms(float(np.abs(x).max(initial=0.0))), 0, -1):
        found = 1.0 - found * x / ((k + 2 * n) * (k + 2 * n - 1))
    return found / np.array([[math.factorial(int(order))] for order in orders])


def _terms(x: float) -> int:
    """Terms after the first up to which they count at |x|, those of the slowest series."""
    term = 1.0
    for n in range(1, TERMS + 1):
        term *= x / ((3 + 2 * n) * (2 + 2 * n))
        if term < ROUNDING:
            return n - 1
    return TERMS


def span_stiffness(length: Array, bending_stiffness: float, thrust: Array | float = 0.0) -> Array:
    """Stiffness (n, 4, 4) of Euler-Bernoulli spans (n,) m under thrust (n,) N for (v, slope) at both ends.

    Thrust presses positive, keeps its direction and stands at both ends of the span; negative: tension.  From
    E I v'''' + P v'' = 0, with x = P l^2/EI, in the functions c_k(x) = sum (-x)^n/(k + 2n)!, so that c_1 =
    sin(sqrt x)/sqrt x and c_2 = (1 - cos(sqrt x))/x: the stability functions are c_1, c_2, c_2 - c_3 and c_3
    over c_3 - 2 c_4, and become 12, 6, 4 and 2 without thrust.  Source: [Timoshenko] (beam-columns; the form
    in c_k derived).  Limits: small slopes, no shear; thrust below what buckles the span between clamped ends.
    """
    length, thrust = np.broadcast_arrays(np.asarray(length, dtype=float), np.asarray(thrust, dtype=float))
    x = thrust * length**2 / bending_stiffness
    c3, c4 = _tails(x, np.array([3.0, 4.0]))
    c1, c2 = 1.0 - x * c3, 0.5 - x * c4
    shear, moment, near, far = np.array([c1, c2 * length, (c2 - c3) * length**2, c3 * length**2])
    k = np.array(
        [
            [shear, moment, -shear, moment],
            [moment, near, -moment, far],
            [-shear, -moment, shear, -moment],
            [moment, far, -moment, near],
        ]
    )
    return np.moveaxis(k * bending_stiffness / ((c3 - 2.0 * c4) * length**3), -1, 0)


def clamped_load(length: Array, bending_stiffness: float) -> Array:
    """Thrust (n,) N that buckles spans (n,) m between clamped ends: 4 pi^2 EI/l^2.  Source: [Timoshenko]."""
    return CLAMPED * bending_stiffness / length**2


def stands(plane: Array) -> NDArray[np.bool_]:
    """Whether stiffnesses (n, 2, 2) for deflection and slope are positive definite, (n,)."""
    determinant = plane[:, 0, 0] * plane[:, 1, 1] - plane[:, 0, 1] * plane[:, 1, 0]
    return (plane[:, 0, 0] > 0.0) & (determinant > 0.0)
