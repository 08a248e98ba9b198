"""Exact discretisation of a natural mode, the matrix exponential in closed form.

    eta'' + 2 zeta w eta' + w^2 eta = p(t)        p linear over the step (first-order hold)

    (eta1, eta1') = A (eta0, eta0') + b0 p0 + b1 p1

A = exp([[0, 1], [-w^2, -2 zeta w]] h); b0, b1 from the same exponential augmented by the ramp of p, here by its closed form.
Source: [VanLoan1978] for the augmented exponential; tests compare with scipy.linalg.expm.  Exact for any step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of all modes: `own`, `cross` (2, n) act on (eta, eta') and on its swap; `start`, `end` (2, n) on p0, p1."""

    own: Array
    cross: Array
    start: Array
    end: Array

    def advance(self, y: Array) -> Array:
        """Free motion of y (..., 2, n)."""
        return self.own * y + self.cross * y[..., ::-1, :]


def step(frequency: Array, damping: Array, length: Array | float) -> Step:
    """The step of `length` s for modes (n,) of undamped `frequency` rad/s and decay `damping` = zeta w 1/s, zeta < 1.

    A column of lengths (j, 1) gives all arrays a middle axis (2, j, n).
    """
    w2, d, h = frequency**2, damping, length
    wd = np.sqrt(w2 - d * d)
    decay = np.exp(-d * h)
    c, s = np.cos(wd * h) * decay, np.sin(wd * h) * decay / wd
    a11, a12, a21, a22 = c + d * s, s, -w2 * s, c - d * s
    # integrals of the impulse response and of its ramp: particular solutions p/w^2 and (t - 2 d/w^2)/w^2
    hold = np.stack([(1 - a11) / w2, a12])
    ramp = np.stack([(h - 2 * d / w2 + 2 * d / w2 * a11 - a12) / w2, (1 + 2 * d / w2 * a21 - a22) / w2]) / h
    return Step(
        own=np.stack([a11, a22]),
        cross=np.stack([a12, a21]),
        start=hold - ramp,
        end=ramp,
    )
