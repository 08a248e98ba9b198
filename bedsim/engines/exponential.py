"""Exact discretisation of natural modes, the matrix exponential in closed form.

    eta'' + 2 d eta' + w^2 eta = p(t)        u = eta - i (eta' + d eta)/wd,   u' = mu u - i p/wd,   mu = -d +
    i wd

With p linear over a step h (first-order hold) u1 = A u0 + b0 p0 + b1 p1, A = exp(mu h), exact for any h; b0,
b1 are the integrals of the impulse response against the hold and the ramp of p.  Source: [VanLoan1978] for
the augmented exponential; tests compare with scipy.linalg.expm.
"""

from __future__ import annotations

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


def step(frequency: Array, damping: Array, length: Array | float) -> tuple[Complex, Complex, Complex]:
    """A, b0, b1 of one step of `length` s."""
    wd = damped(frequency, damping)
    mu = -damping + 1j * wd
    x = mu * length
    whole: Complex = np.asarray(np.expm1(x), dtype=complex)
    push: Complex = np.asarray(-1j / wd, dtype=complex)
    hold = push * whole / mu
    # (exp(x) - 1 - x)/x^2 loses digits where x is small: its series there
    small = np.abs(x) < 1e-2
    safe = np.where(small, 1.0, x)
    series = 0.5 + x / 6 * (1 + x / 4 * (1 + x / 5 * (1 + x / 6)))
    ramp = push * length * np.where(small, series, (whole - x) / safe**2)
    return whole + 1.0, hold - ramp, ramp


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
    A, b0, b1 = step(frequency, damping, spacing)
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
