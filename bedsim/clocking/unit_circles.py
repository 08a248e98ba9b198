"""Smallest value of a quadratic form in unit vectors of the plane: the mathematics of clocking.

    J(x) = constant + 2 b.x + x.S x,    x = (cos a_1, sin a_1, ..., cos a_m, sin a_m)

Many forms are solved at once: from many starts exact minimisation over one angle after the other, then
Newton's method on all angles.  A Lagrangian condition proves most results to be the best there are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.results.layers import Array

SWEEPS, ROUGH_SWEEPS = 12, 4
NEWTON_STEPS = 40
SAMPLES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """Quadratic forms (f,): `S` (f, 2m, 2m) symmetric, `b` (f, 2m), `constant` (f,)."""

    S: Array
    b: Array
    constant: Array

    @property
    def angles(self) -> int:
        """Number of angles m."""
        return self.b.shape[-1] // 2

    def only(self, k: int) -> Form:
        """One form, its axis kept."""
        return self.some(np.array([k]))

    def some(self, which: NDArray[np.int64]) -> Form:
        """Some of the forms, in the order asked for."""
        return Form(S=self.S[which], b=self.b[which], constant=self.constant[which])


def unit_vectors(angle: Array) -> Array:
    """(..., m) angles to (..., 2m) cosines and sines, interleaved."""
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1).reshape(*angle.shape[:-1], -1)


def values(form: Form, angle: Array) -> Array:
    """J (f, k) at angles (f, k, m) rad; a leading axis of one goes with every form."""
    x = unit_vectors(angle)
    return form.constant[:, None] + np.sum(x * (x @ form.S + 2 * form.b[:, None]), axis=-1)


def average(form: Form) -> Array:
    """J (f,) averaged over all angles: constant + tr(S)/2."""
    return np.asarray(form.constant + np.trace(form.S, axis1=1, axis2=2) / 2)


def _derivatives(form: Form, angle: Array) -> tuple[Array, Array]:
    """Gradient (f, k, m) and second derivatives (f, k, m, m)."""
    m = form.angles
    x = unit_vectors(angle)
    push = 2 * (x @ form.S + form.b[:, None])
    tangent = unit_vectors(angle + np.pi / 2)
    pairs = (*x.shape[:-1], m, 2)
    gradient = np.sum(push.reshape(pairs) * tangent.reshape(pairs), axis=-1)
    spread = np.zeros((*x.shape[:-1], 2 * m, m))
    for c in range(m):
        spread[..., 2 * c : 2 * c + 2, c] = tangent[..., 2 * c : 2 * c + 2]
    second = 2 * np.swapaxes(spread, -1, -2) @ form.S[:, None] @ spread
    inward = np.sum(push.reshape(pairs) * x.reshape(pairs), axis=-1)
    second[..., np.arange(m), np.arange(m)] -= inward
    return gradient, second


def best_single(p: Array, q: Array, r: Array, s: Array) -> Array:
    """Angle that minimises p cos 2a + q sin 2a + r cos a + s sin a (elementwise).

    The function has at most two minima: the best of sixteen samples lies in the basin of the lowest (or of
    one as low), and Newton's method finds its bottom.
    """
    a = np.arange(SAMPLES) * 2 * np.pi / SAMPLES
    waves = np.stack([np.cos(2 * a), np.sin(2 * a), np.cos(a), np.sin(a)])
    angle = a[np.argmin(np.stack([p, q, r, s], axis=-1) @ waves, axis=-1)]
    for _ in range(6):
        c2, s2, c1, s1 = np.cos(2 * angle), np.sin(2 * angle), np.cos(angle), np.sin(angle)
        slope = 2 * (q * c2 - p * s2) + s * c1 - r * s1
        curvature = np.abs(-4 * (p * c2 + q * s2) - r * c1 - s * s1)
        step = slope / np.where(curvature > 0, curvature, 1.0)
        angle = angle - np.clip(step, -np.pi / SAMPLES, np.pi / SAMPLES)
    return np.asarray(angle)


def _sweep(form: Form, angle: Array) -> Array:
    """Exact minimisation over each angle in turn, the others held."""
    angle = angle.copy()
    for c in range(form.angles):
        x = unit_vectors(angle)
        own = slice(2 * c, 2 * c + 2)
        x[..., own] = 0.0
        pull = 2 * (x @ form.S[:, :, own] + form.b[:, None, own])
        block = form.S[:, own, own]
        p = np.broadcast_to(((block[:, 0, 0] - block[:, 1, 1]) / 2)[:, None], angle.shape[:-1])
        q = np.broadcast_to(block[:, 0, 1][:, None], angle.shape[:-1])
        angle[..., c] = best_single(p, q, pull[..., 0], pull[..., 1])
    return angle


def _newton(form: Form, angle: Array) -> Array:
    """Newton's method with the second derivatives made positive; a step that does not help is halved."""
    now = values(form, angle)
    for _ in range(NEWTON_STEPS):
        gradient, second = _derivatives(form, angle)
        square, vectors = np.linalg.eigh(second)
        floor = 1e-12 * np.abs(square).max(axis=-1, keepdims=True) + 1e-300
        along = np.einsum("fkij,fki->fkj", vectors, gradient) / np.maximum(np.abs(square), floor)
        step = np.einsum("fkij,fkj->fki", vectors, along)
        step /= np.maximum(1.0, np.abs(step).max(axis=-1, keepdims=True) / 0.5)
        share = np.ones(now.shape)
        for _ in range(8):
            after = values(form, angle - share[..., None] * step)
            share = np.where(after > now, share / 2, share)
        better = values(form, angle - share[..., None] * step) <= now
        if not np.any(better & (np.abs(step).max(axis=-1) > 1e-12)):
            break
        angle = np.where(better[..., None], angle - share[..., None] * step, angle)
        now = values(form, angle)
    return angle


def starts(m: int, per_angle: int) -> Array:
    """Starting angles (1, k, m): an even grid over all angles but the first, which begins at 0."""
    grid = np.meshgrid(*[np.arange(per_angle) * 2 * np.pi / per_angle] * (m - 1), indexing="ij")
    rest = np.stack([g.ravel() for g in grid], axis=-1) if m > 1 else np.zeros((1, 0))
    return np.concatenate([np.zeros((rest.shape[0], 1)), rest], axis=1)[None]


def minimise(form: Form, start: Array | None = None, kept: int = 3) -> tuple[Array, Array]:
    """Angles (f, m) rad and values (f,) of the lowest minimum found for every form.

    All starts are swept; the best `kept` of each form go on to Newton's method.
    """
    start = starts(form.angles, 6 if form.angles <= 4 else 3) if start is None else start
    angle = np.broadcast_to(start, (form.S.shape[0], *start.shape[1:]))
    for _ in range(SWEEPS):
        angle = _sweep(form, angle)
    order = np.argsort(values(form, angle), axis=1)[:, :kept, None]
    angle = _newton(form, np.take_along_axis(angle, order, axis=1))
    found = values(form, angle)
    best = np.argmin(found, axis=1)
    rows = np.arange(best.size)
    return np.mod(angle[rows, best], 2 * np.pi), found[rows, best]


def roughly(form: Form) -> Array:
    """Values (f,) near the lowest of every form, from few starts and sweeps: to tell good forms from poor."""
    start = starts(form.angles, 3)
    angle = np.broadcast_to(start, (form.S.shape[0], *start.shape[1:]))
    for _ in range(ROUGH_SWEEPS):
        angle = _sweep(form, angle)
    return np.asarray(values(form, angle).min(axis=1))


def is_proven(form: Form, angle: Array) -> bool:
    """Whether no angles at all give the one form a lower value than the minimum (m,) rad.

    With l_c = -x_c.(S x + b)_c and T = S + diag(l) a minimum has T x = -b, and every other y of unit vectors
    J(y) - J(x) = (y - x).T (y - x): where T has no negative eigenvalue nothing is lower.  Sufficient, not
    necessary.  Source: [Boyd2004] 5.2.4 and appendix B.1 (strong duality); the identity is worked out here.
    """
    x = unit_vectors(angle)
    own = -np.sum(((form.S[0] @ x + form.b[0]) * x).reshape(-1, 2), axis=1)
    smallest = np.linalg.eigvalsh(form.S[0] + np.diag(np.repeat(own, 2)))[0]
    return bool(smallest >= -1e-9 * np.abs(form.S[0]).sum())


def averaged(form: Form, spread: Array) -> Form:
    """The mean of J when every angle is off by an independent, even part within +-spread (m,) rad.

    E[e^{ja}] = sin(w)/w for a in +-w, E[e^{2ja}] = sin(2w)/(2w); cross terms shrink by the product of the
    first, a vector's own square by the second about its mean.  Again a form of the same kind.  Derivation.
    """
    first, second = np.sinc(spread / np.pi), np.sinc(2 * spread / np.pi)
    scale = np.repeat(first, 2)
    S = form.S * np.outer(scale, scale)
    constant = form.constant.copy()
    for c in range(form.angles):
        own = slice(2 * c, 2 * c + 2)
        block = form.S[:, own, own]
        S[:, own, own] = second[c] * block
        constant = constant + (1 - second[c]) / 2 * np.trace(block, axis1=1, axis2=2)
    return Form(S=S, b=form.b * scale, constant=constant)


def worst_within(form: Form, angle: Array, spread: Array) -> tuple[Array, Array]:
    """Largest J (k,) of the one form within +-spread (m,) rad about angles (k, m), and those angles (k, m).

    The best of a grid over the box, then one angle after the other on a fine grid: low by less than 1 %.
    """
    m = form.angles
    levels = np.linspace(-1, 1, 5 if m <= 4 else 3)
    grid = np.stack(np.meshgrid(*[levels] * m, indexing="ij"), axis=-1).reshape(-1, m) * spread
    tried = angle[:, None] + grid
    found = _many_values(form, tried)
    at = tried[np.arange(angle.shape[0]), np.argmax(found, axis=1)]
    fine = np.linspace(-1, 1, 33)
    for _ in range(2):
        for c in range(m):
            line = np.repeat(at[:, None], fine.size, axis=1)
            line[:, :, c] = angle[:, None, c] + fine * spread[c]
            at = line[np.arange(angle.shape[0]), np.argmax(_many_values(form, line), axis=1)]
    return _many_values(form, at[:, None])[:, 0], at


def _many_values(form: Form, angle: Array) -> Array:
    """J (k, g) of the one form at angles (k, g, m)."""
    flat = angle.reshape(1, -1, angle.shape[-1])
    return values(form, flat)[0].reshape(angle.shape[:-1])


def minimise_worst(form: Form, candidates: Array, spread: Array) -> tuple[Array, float]:
    """Angles (m,) and value of the smallest worst case within +-spread, from candidates (k, m).

    A pattern search (the worst case has kinks, so no derivatives): each angle up and down, all together, the
    step halved from 20 degrees to a quarter degree.  Local: the starts decide.
    """
    m = form.angles
    moves = np.concatenate([np.eye(m), -np.eye(m), np.ones((1, m)), -np.ones((1, m))])
    found = worst_within(form, candidates, spread)[0]
    at, best = candidates[np.argmin(found)], float(found.min())
    step = np.deg2rad(20.0)
    while step > np.deg2rad(0.25):
        tried = at + step * moves
        worst = worst_within(form, tried, spread)[0]
        if worst.min() < best * (1 - 1e-9):
            at, best = tried[np.argmin(worst)], float(worst.min())
        else:
            step /= 2
    return np.mod(at, 2 * np.pi), best
