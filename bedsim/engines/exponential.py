"""Exact discretisation of natural modes, the matrix exponential in closed form.

    eta'' + 2 d eta' + w^2 eta = p(t)        u = eta - i (eta' + d eta)/wd,   u' = mu u - i p/wd,   mu = -d +
    i wd

With p a polynomial over a step h the motion u1 = A u0 + ..., A = exp(mu h), is exact for any h: the integrals of
the impulse response against a hold, a ramp and a parabola.  Source: [VanLoan1978] for the augmented
exponential; tests compare with scipy.linalg.expm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DECAY = 20.0  # largest exponent by which a running sum is scaled up: leaves 7 digits of a sum's first terms


def damped(frequency: Array, damping: Array) -> Array:
    """Damped frequency rad/s of modes with `frequency` rad/s and decay `damping` = zeta w 1/s, zeta < 1."""
    return np.sqrt(frequency**2 - damping**2)


def amplitude(eta: Array, speed: Array, frequency: Array, damping: Array) -> Complex:
    """The complex amplitude u of modes at `eta` and `speed` = eta'."""
    return eta - 1j * (speed + damping * eta) / damped(frequency, damping)


def motion(u: Complex, frequency: Array, damping: Array) -> tuple[Array, Array]:
    """eta and eta' of the complex amplitude."""
    return u.real.copy(), -damping * u.real - damped(frequency, damping) * u.imag


def power(frequency: Array, damping: Array, time: NDArray[np.floating[Any]]) -> Complex:
    """Free motion exp(mu t) (s, t, n) of modes (s, n) after each of `time` (t,) s."""
    mu = -damping + 1j * damped(frequency, damping)
    return np.exp(mu[:, None] * time[:, None])


def step(
    frequency: Array, damping: Array, length: Array | float
) -> tuple[Complex, Complex, Complex, Complex]:
    """A, b0, b1, b2 of one step of `length` s: u1 = A u0 + b0 p0 + b1 (p1 - p0) + b2 (p1 - 2 p0 + p-1).

    b0, b1, b2 answer to a hold, to the ramp s and to the parabola s (s - 1)/2 over 0 < s < 1: the integrals
    phi1, phi2 and phi3 - phi2/2 of the exponential.  Without the last term p is linear over the step.
    """
    wd = damped(frequency, damping)
    mu = -damping + 1j * wd
    x = np.asarray(mu * length, dtype=complex)
    push = np.asarray(-1j * length / wd, dtype=complex)
    whole = np.expm1(x)
    # (exp(x) - 1 - x)/x^2 and the next one lose digits where x is small: their series there
    small = np.abs(x) < 0.3
    safe = np.where(small, 1.0, x)
    near = np.where(small, x, 0.0)
    second = np.where(small, _series(near, 2), (whole - safe) / safe**2)
    third = np.where(small, _series(near, 3), ((whole - safe) / safe**2 - 0.5) / safe)
    return whole + 1.0, push * whole / x, push * second, push * (third - second / 2)


def _series(x: Complex, order: int) -> Complex:
    """phi of an order, the sum of x^k/(k + order)!, for small x."""
    found: Complex = np.zeros_like(x)
    for k in reversed(range(12)):
        found = found * x + 1 / math.factorial(k + order)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Corners:
    """Equal spaces of `spacing` s between the corners k = 0 ... j of a polygon of forces.

    u_k = power_k (u_0 + first p_0 + sum of weight_i p_i over 0 < i < k) + last p_k for k > 0
    """

    spacing: float
    power: Complex  # (s, j+1, n): A^k
    weight: Complex  # (s, j, n), of i = 1 ... j
    first: Complex  # (s, n)
    last: Complex  # (s, n)


def corners(frequency: Array, damping: Array, spacing: float, most: int) -> Corners:
    """Tables for modes (s, n); as many corners as the running sum keeps its digits for, `most` at most."""
    count = max(1, min(most, int(DECAY / (float(damping.max()) * spacing))))
    A, hold, b1, _ = step(frequency, damping, spacing)
    b0 = hold - b1
    powers = power(frequency, damping, spacing * np.arange(count + 1))
    first = b0 / A
    return Corners(
        spacing=spacing, power=powers, weight=(first + b1)[:, None] / powers[:, 1:], first=first, last=b1
    )


def carried(table: Corners, start: Complex, force: Array) -> Complex:
    """Amplitudes (m, t, n) after each space of the grid of `force` (m, t+1, n), from `start` (m, n)."""
    found = np.empty((force.shape[0], force.shape[1] - 1, force.shape[2]), dtype=complex)
    longest = table.weight.shape[1]
    u = start
    for k in range(0, found.shape[1], longest):
        p = force[:, k : k + longest + 1]
        j = p.shape[1] - 1
        total = np.empty((p.shape[0], j, p.shape[2]), dtype=complex)
        total[:, 0] = u + table.first * p[:, 0]
        np.multiply(p[:, 1:-1], table.weight[:, : j - 1], out=total[:, 1:])
        np.cumsum(total, axis=1, out=total)
        total *= table.power[:, 1 : j + 1]
        total += table.last[:, None] * p[:, 1:]
        found[:, k : k + j] = total
        u = total[:, -1]
    return found
