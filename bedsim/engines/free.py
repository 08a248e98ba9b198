"""A layer without friction, stops and play: modes and explicit dampers alone, a linear system solved
exactly.

    x' = A x + p  for x = (eta, eta'),    u = E^-1 x  with the eigenvectors E of A,    u' = mu u + p

Without dampers the modes are eigenvectors already, each with its conjugate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, exponential
from bedsim.engines.course import Forcing
from bedsim.engines.exponential import FirstOrderHold
from bedsim.engines.modes import FORCE_UNIT, LayerModes, mixed, standing

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

REPORT = 2e-3  # s: motions reported this close
MOST_INSTANTS = 4096  # most instants reported of a ring-down
LONGEST = 128  # nodes in one running sum


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeMotion:
    """Eigenvalues mu (k,) 1/s of the free motions, and the maps to their amplitudes and back where dampers
    couple the modes: `into` (2 n, k), `out` (k, 2 n)."""

    layer: LayerModes
    mu: Complex
    into: Complex | None
    out: Complex | None

    def enter(self, motion: Array) -> Complex:
        """Amplitudes (m, k) of a motion (2, n, m)."""
        if self.into is not None:
            return motion.reshape(-1, motion.shape[2]).T @ self.into
        return self.layer.amplitude(motion)

    def leave(self, u: Complex) -> Array:
        """Motions (t, 2, n, m) of amplitudes (m, t, k)."""
        if self.out is not None:
            moved = (u @ self.out).real.reshape(*u.shape[:2], 2, -1)
        else:
            moved = np.stack(exponential.motion(u, self.layer.frequency, self.layer.damping), axis=2)
        return np.transpose(moved, (1, 2, 3, 0))

    def pushed(self, force: Array) -> Complex:
        """What modal forces (r, t, n) add to u'."""
        if self.into is not None:
            return force @ self.into[force.shape[2] :]
        wd = exponential.damped(self.layer.frequency, self.layer.damping)
        return np.asarray(force * (-1j / wd))


def free(layer: LayerModes) -> FreeMotion:
    """The free motions of a layer that all members share."""
    rows, w, d = layer.rows, layer.frequency[0], layer.damping[0]
    if rows.dampers == 0:
        return FreeMotion(layer=layer, mu=exponential.rate(w, d), into=None, out=None)
    b, n = rows.bristles, w.size
    at = slice(b, b + rows.dampers)
    coupling = rows.place[0, :, at] @ (rows.damping / FORCE_UNIT) @ rows.push[0, at]
    # counted in eta w and eta', which are of one size
    A = np.block([[np.zeros((n, n)), np.diag(w)], [-np.diag(w), -np.diag(2 * d) - coupling.T]])
    mu, vectors = np.linalg.eig(A)
    scale = np.concatenate([w, np.ones(n)])
    return FreeMotion(
        layer=layer,
        mu=mu,
        into=(np.linalg.inv(vectors) * scale).T,
        out=(vectors / scale[:, None]).T,
    )


def driven(
    motions: FreeMotion, table: FirstOrderHold, known: Forcing, mix: Array | None, start: Array
) -> tuple[Array, NDArray[np.int64]]:
    """Motions (t, 2, n, m) at some nodes of a piece, and which, from the motion `start` (2, n, m); `table`
    for its spacing.

    The force is a polygon that has the curve's integral: through a curve it exceeds the mean by spacing^2/12
    times the curvature, so nodes are taken a twelfth of the second difference lower.
    """
    force = np.transpose(known.force, (2, 0, 1)).copy()
    force[:, 1:-1] += (2 * force[:, 1:-1] - force[:, 2:] - force[:, :-2]) / 12
    none = np.zeros((force.shape[0], motions.mu.size), dtype=complex)
    u = exponential.carried(table, none, motions.pushed(force))
    stride = max(1, round(REPORT / known.spacing))
    kept = np.arange(known.spaces, 0, -stride)[::-1]
    rest = mixed(known.rest, mix)
    away = motions.enter(start - standing(rest))
    found = mixed(motions.leave(u[:, kept - 1]), mix)
    found = found + motions.leave(exponential.power(motions.mu, kept * known.spacing) * away[:, None])
    found[:, 0] += rest
    return found, kept


def decayed(
    motions: FreeMotion, start: Array, rest: Array, probes: Array, span: float, begin: float
) -> tuple[Array, Array, Array, Array]:
    """Ring-down about `rest` (n, m) from the motion `start` (2, n, m) for at most `span` s.

    Instants (t,) s from the start and motions (t, 2, n, m) then, the mean (n, m) of eta from `begin` to
    `span` s, and the bound (m,) m of what is left at the last instant at the probes (p, n).
    """
    away = motions.enter(start - standing(rest))
    n = rest.shape[0]
    reach = np.abs(probes.T if motions.out is None else motions.out[:, :n] @ probes.T)

    def bound(time: Array) -> Array:
        left = np.abs(away)[:, None] * np.exp(motions.mu.real * time[:, None])
        return np.asarray((left @ reach).max(axis=2))  # (m, t)

    def after(time: Array) -> Array:
        found = motions.leave(exponential.power(motions.mu, time) * away[:, None])
        found[:, 0] += rest
        return found

    most = min(int(span / REPORT), MOST_INSTANTS)
    time: Array = REPORT * np.arange(1.0, most)
    largest = bound(time[::16]).max(axis=0, initial=0.0)
    moving, unsettled = (16 * (1 + np.count_nonzero(largest > limit)) for limit in (base.STILL, base.SETTLED))
    time = np.concatenate([time[:unsettled], time[unsettled:moving:4]])
    if moving >= most or time.size == 0:
        time = np.append(time, span)
    # u integrates to u/mu
    first, last = exponential.power(motions.mu, np.array([begin, span]))
    mean = motions.leave((away * (last - first) / motions.mu / (span - begin))[:, None])[0, 0]
    return time, after(time), rest + mean, bound(time[-1:])[:, 0]
