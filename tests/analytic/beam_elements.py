"""A plain beam finite element of our own, to compare the screw's closed forms with.

Cubic Hermite shape functions, stiffness and string stiffness by Gauss quadrature of their derivatives;
nothing is taken from the code under test.
"""

import numpy as np
from numpy.polynomial import Polynomial

NODES, WEIGHTS = np.polynomial.legendre.leggauss(4)


def hermite(length):
    """Shape functions of (v, slope) at both ends over 0..length."""
    rows = [[1, 0, 0, 0], [0, 1, 0, 0], [1, length, length**2, length**3], [0, 1, 2 * length, 3 * length**2]]
    return [Polynomial(column) for column in np.linalg.inv(np.array(rows, dtype=float)).T]


def integral(first, second, length):
    x = (NODES + 1) / 2 * length
    return float(np.sum(WEIGHTS * first(x) * second(x)) * length / 2)


def beam(nodes, bending_stiffness):
    """Bending stiffness and string stiffness (2n, 2n) of a beam with nodes (n,) m; (v, slope) per node."""
    size = 2 * len(nodes)
    bending, string = np.zeros((size, size)), np.zeros((size, size))
    for k, length in enumerate(np.diff(nodes)):
        shapes = hermite(length)
        where = slice(2 * k, 2 * k + 4)
        for matrix, order, factor in ((bending, 2, bending_stiffness), (string, 1, 1.0)):
            slopes = [shape.deriv(order) for shape in shapes]
            matrix[where, where] += factor * np.array(
                [[integral(a, b, length) for b in slopes] for a in slopes]
            )
    return bending, string


def held(matrix, fixed):
    """The matrix without the coordinates that are held."""
    free = [k for k in range(matrix.shape[0]) if k not in fixed]
    return matrix[np.ix_(free, free)]


def ends_held(ends, nodes):
    """Coordinates a bearing holds, the lower end first."""
    last = 2 * nodes - 2
    lower = [0, 1] if ends.startswith("fixed") else [0]
    upper = {"fixed-free": [], "fixed-fixed": [last, last + 1]}.get(ends, [last])
    return lower + upper
