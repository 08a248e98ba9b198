"""The likeliest machine under all readings, how sure it is, and other machines that would have read alike.

Gauss-Newton on |r|^2 + |u|^2, with r = W (y - f(u)) whitened and u standard normal: step = P (A^T r - u),
P = (1 + A^T A)^-1, halved until the sum falls.  At the end P is the covariance of u and V = 1 - A P A^T that
of r.  Source: Bayes with a normal prior, linearised; any textbook on inverse problems.  A straight draw from
(u, P) would not agree with the readings, since stiffness times bend is curved: other machines come from
readings and prior that are disturbed within what they are sure of, and fitted again.

Limits.  Where nobody gauged the screws a reading is a product of keys and screws.  The likeliest pair of both
leaves out how many screws would do (the determinant of the readings' covariance with the screws integrated
out), so that motion goes to the keys and screws come out small: on 93 machines on rolling joints made by this
very model the truth had the mean rank 0.56 in height among the machines told (0.50 would be right, 0.47 with
the keys held), with 0.88 inside the range of 90 %.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy

from bedsim.errors import ModelError
from bedsim.learn.model import Model
from bedsim.learn.unknowns import FURTHEST
from bedsim.results.layers import Array

STEP = 0.05
"""Of an unknown key, for a slope: forward, in standard deviations.  Central ones differ by 0.2 %."""
ROUNDS = 10
SETTLED = 0.01
"""Fall of the sum at which a fit is done: a chi-square of some tens."""
HALVINGS = 6
REFITS = 4
"""Steps of a disturbed machine to its own optimum, at most."""
ARRIVED = 0.05
"""Length of a step, in standard deviations, after which a disturbed machine stays: the next is a tenth."""
BLIND = 1e-6
"""Slope of a whitened reading below which it does not see a key."""

Progress = Callable[[int], None]


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The likeliest machine `u` (n,) with covariance `P` (n, n); `left` (w,) whitened readings left over,
    `slope` (w, n) of the whitened model; `weights` (w, m); `taken` (m,) m taken off the readings beforehand;
    `rounds` that it took."""

    model: Model
    u: Array
    P: Array
    left: Array
    slope: Array
    weights: Array
    taken: Array
    rounds: int

    @property
    def sum(self) -> float:
        """|r|^2 + |u|^2: a chi-square of as many degrees of freedom as there are whitened readings."""
        return float(self.left @ self.left + self.u @ self.u)

    @property
    def chance(self) -> float:
        """Probability of a larger sum by chance."""
        return float(scipy.stats.chi2.sf(self.sum, self.left.size))


def fit(model: Model, taken: Array | None = None, start: Array | None = None) -> Fit:
    """Find the likeliest machine.  Raises ModelError or InputError where the machine at the start is none."""
    weights = scipy.linalg.block_diag(*(one.weights() for one in model.observations))
    values = np.concatenate([one.value for one in model.observations])
    off = np.zeros(values.size) if taken is None else taken
    u = np.zeros(model.unknowns.count) if start is None else start
    left, slope = _look(model, weights, values - off, u)
    seen = np.abs(slope).max(axis=0, initial=0.0) > BLIND
    rounds = 0
    while rounds < ROUNDS:
        rounds += 1
        before = left @ left + u @ u
        u, left, slope = _round(model, weights, values - off, u, left, slope)
        if before - (left @ left + u @ u) < SETTLED:
            break
        left, slope = _look(model, weights, values - off, u, seen)
    return Fit(
        model=model,
        u=u,
        P=covariance(slope),
        left=left,
        slope=slope,
        weights=weights,
        taken=off,
        rounds=rounds,
    )


def covariance(slope: Array) -> Array:
    """Covariance (n, n) of unknowns that readings of a whitened slope (w, n) leave.

    (1 + A^T A)^-1 = 1 - A^T (1 + A A^T)^-1 A: whichever is smaller.
    """
    readings, unknowns = slope.shape
    if readings < unknowns:
        inner = np.linalg.solve(np.eye(readings) + slope @ slope.T, slope)
        return np.asarray(np.eye(unknowns) - slope.T @ inner)
    return np.asarray(np.linalg.inv(np.eye(unknowns) + slope.T @ slope))


def _round(
    model: Model, weights: Array, values: Array, u: Array, left: Array, slope: Array
) -> tuple[Array, Array, Array]:
    """Steps with one slope of the keys, as long as each lowers the sum."""
    for _ in range(REFITS):
        found = _step(model, weights, values, u, left, slope)
        if found is None:
            break
        fell = left @ left + u @ u - (found[1] @ found[1] + found[0] @ found[0])
        u, left, slope = found
        if fell < SETTLED:
            break
    return u, left, slope


def _step(
    model: Model, weights: Array, values: Array, u: Array, left: Array, slope: Array
) -> tuple[Array, Array, Array] | None:
    """One step downhill: the new place, what is left over there, the slope with the screws' own part anew;
    None where there is no way down."""
    way = covariance(slope) @ (slope.T @ left - u)
    for halved in range(HALVINGS):
        to = np.clip(u + way / 2**halved, -FURTHEST, FURTHEST)
        try:
            new, own = _left(model, weights, values, to)
        except ModelError:
            continue
        if new @ new + to @ to < left @ left + u @ u:
            return to, new, np.hstack([slope[:, : -own.shape[1]], own])
    return None


def _left(model: Model, weights: Array, values: Array, u: Array) -> tuple[Array, Array]:
    """What is left over (w,) at u, and the slope of the screws' vectors (w, v): exact."""
    fixed, rows = model.parts(model.at(u))
    unknowns = model.unknowns
    return weights @ (values - fixed - rows @ unknowns.amounts(u)), weights @ rows * unknowns.spreads()


def _look(
    model: Model, weights: Array, values: Array, u: Array, seen: Array | None = None
) -> tuple[Array, Array]:
    """What is left over (w,) at u and the whole slope (w, n); keys not `seen` (n,) are blind."""
    left, own = _left(model, weights, values, u)
    keys = len(model.unknowns.keys)
    slope = np.zeros((left.size, keys))
    for k in range(keys) if seen is None else np.flatnonzero(seen[:keys]):
        to, by = beside(u, int(k))
        slope[:, k] = (left - _left(model, weights, values, to)[0]) / by
    return left, np.hstack([slope, own])


def beside(u: Array, k: int) -> tuple[Array, float]:
    """A place beside u along one unknown, towards its likely value, and how far that is."""
    by = STEP if u[k] <= 0 else -STEP
    to = u.copy()
    to[k] += by
    return to, by


def disturbed(found: Fit, count: int, seed: int = 1, progress: Progress = lambda done: None) -> Array:
    """Other machines (count, n) that the readings leave possible: readings disturbed by their own
    uncertainty, the prior's centre by one standard deviation, fitted again.

    Source: randomised maximum likelihood; exact where the model is linear, tested against a sample.
    """
    rng = np.random.default_rng(seed)
    machines = []
    for number in range(count):
        noise, centre = rng.normal(size=found.left.size), rng.normal(size=found.u.size)
        machines.append(refitted(found, noise, centre))
        progress(number + 1)
    return np.array(machines)


def refitted(found: Fit, added: Array, centre: Array) -> Array:
    """The likeliest machine (n,) if `added` (w,) stood in the whitened readings too and the prior had its
    middle at `centre` (n,): a few steps, the keys' slopes as they are at the optimum."""
    values = np.concatenate([one.value for one in found.model.observations]) - found.taken
    u, left, slope = found.u, found.left, found.slope
    for refit in range(REFITS):
        if refit > 0:
            left, own = _left(found.model, found.weights, values, u)
            slope = np.hstack([slope[:, : -own.shape[1]], own])
        step = covariance(slope) @ (slope.T @ (left + added) - (u - centre))
        u = np.clip(u + step, -FURTHEST, FURTHEST)
        if np.linalg.norm(step) < ARRIVED:
            break
    return u
