"""Exact discretisation of natural modes: the matrix exponential in closed form.

    eta'' + 2 d eta' + w^2 eta = p(t)
    u = eta - i (eta' + d eta)/wd,   u' = mu u - i p/wd,   mu = -d + i wd,   wd^2 = w^2 - d^2

With p a polynomial over a step h, u1 = exp(mu h) u0 + integrals of exp(mu (h - t)) against a hold, a ramp,
a parabola and a cubic, which are phi functions of mu h: exact for any h.  Source: [VanLoan1978] for the
augmented exponential; tests compare with scipy.linalg.expm.
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


def rate(frequency: Array, damping: Array) -> Complex:
    """mu of modes: the rate at which their free amplitude turns and decays."""
    return np.asarray(-damping + 1j * damped(frequency, damping))


def power(mu: Complex, time: NDArray[np.floating[Any]]) -> Complex:
    """Free motion exp(mu t) (..., t, n) of modes (..., n) after each of `time` (t,) s."""
    found: Complex = np.exp(mu[..., None, :] * time[:, None])
    return found


def step(
    frequency: Array, damping: Array, length: Array | float
) -> tuple[Complex, Complex, Complex, Complex, Complex]:
    """A, b0, b1, b2, b3 of one step of `length` s under p = c0 + c1 s + c2 s^2 + c3 s^3, 0 < s < 1:
    u1 = A u0 + b0 c0 + b1 c1 + b2 c2 + b3 c3."""
    A, *answers = step_of(rate(frequency, damping), length)
    push = -1j / damped(frequency, damping)
    return A, *(push * x for x in answers)  # type: ignore[return-value]


def step_of(mu: Complex, length: Array | float) -> tuple[Complex, Complex, Complex, Complex, Complex]:
    """Likewise of u' = mu u + p: length times the integrals k! phi_k+1 of the exponential."""
    x = np.asarray(mu * length, dtype=complex)
    whole = np.expm1(x)
    # (exp(x) - 1 - x)/x^2 and those that follow lose digits where x is small: their series there
    small = np.abs(x) < 0.3
    safe = np.where(small, 1.0, x)
    near = np.where(small, x, 0.0)
    found, phi = [whole / x], whole / safe
    for k in (1, 2, 3):
        phi = (phi - 1 / math.factorial(k)) / safe
        found.append(math.factorial(k) * np.where(small, _series(near, k + 1), phi))
    A, hold, ramp, square, cube = (
        np.asarray(y, dtype=complex) for y in (whole + 1.0, *(length * y for y in found))
    )
    return A, hold, ramp, square, cube


def _series(x: Complex, order: int) -> Complex:
    """phi of an order, the sum of x^k/(k + order)!, for small x."""
    found: Complex = np.zeros_like(x)
    for k in reversed(range(12)):
        found = found * x + 1 / math.factorial(k + order)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstOrderHold:
    """Coefficients for forces that are linear between nodes k = 0 ... j, `spacing` s apart.

    u_k = power_k (u_0 + first p_0 + sum of weight_i p_i over 0 < i < k) + last p_k for k > 0
    """

    spacing: float
    power: Complex  # (j+1, n): A^k
    weight: Complex  # (j, n), of i = 1 ... j
    first: Complex  # (n,)
    last: Complex  # (n,)


def first_order_hold(mu: Complex, spacing: float, most: int) -> FirstOrderHold:
    """Coefficients for u' = mu u + p (n,), for as many nodes, at most `most`, as the weights of the running
    sum stay within what double precision resolves."""
    count = max(1, min(most, int(DECAY / (float(-mu.real.min()) * spacing))))
    A, hold, ramp, *_ = step_of(mu, spacing)
    powers = np.ones((count + 1, mu.size), dtype=complex)
    powers[1:] = A
    np.cumprod(powers, axis=0, out=powers)
    first = (hold - ramp) / A
    return FirstOrderHold(
        spacing=spacing, power=powers, weight=(first + ramp) / powers[1:], first=first, last=ramp
    )


def carried(table: FirstOrderHold, start: Complex, force: NDArray[Any]) -> Complex:
    """Amplitudes (m, t, n) at the end of each space of the grid of `force` (m, t+1, n), from `start` (m,
    n)."""
    found = np.empty((force.shape[0], force.shape[1] - 1, force.shape[2]), dtype=complex)
    longest = table.weight.shape[0]
    u = start
    for k in range(0, found.shape[1], longest):
        p = force[:, k : k + longest + 1]
        j = p.shape[1] - 1
        total = np.empty((p.shape[0], j, p.shape[2]), dtype=complex)
        total[:, 0] = u + table.first * p[:, 0]
        np.multiply(p[:, 1:-1], table.weight[: j - 1], out=total[:, 1:])
        np.cumsum(total, axis=1, out=total)
        total *= table.power[1 : j + 1]
        total += table.last * p[:, 1:]
        found[:, k : k + j] = total
        u = total[:, -1]
    return found
