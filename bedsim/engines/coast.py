"""The end of a ring-down in one go: modes move freely, and what is left of their motion still rubs the bristles.

When motions are far below the breakaway travels, slip hardly disturbs them: they are the free motion of the
modes, and the path X of every contact is the integral of its speed along it.  At rest zeta = -L g, so

    dg = -phi dX,      phi = g + zeta = (1 - L) g + what does not change

The integral is taken at instants that lie closest while there is most motion; what two halves of them differ
by tells its error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.modes import LayerModes, Real, Working, standing
from bedsim.engines.steps import Carried

Array = NDArray[np.float64]

INSTANTS = 128
SEEN = 8  # every so many of them is reported
FAINT = 1e-4  # of the fastest mode's speed at any contact: modes below do not count
PASSES = 2
STAIRS = 1 / 4
PATH = 0.1  # breakaways in which bristles are rubbed off at once, by the midpoint rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Coast:
    """A free end: `time` (t,) s from its beginning and motions eta (t, n, m) then, the state at its end,
    `path` (c, m) breakaways, `doubt` (c, m) of it, and row forces integrated (b, m)."""

    time: Array
    seen: Array
    end: Carried
    path: Array
    doubt: Array
    impulse: Array


def coast(layer: LayerModes, now: Carried, rest: Array, span: float) -> Coast:
    """Bristles and modes after `span` s, where known forces alone would hold modes at `rest` (n, m)."""
    rows = layer.rows
    b, c = rows.bristles, rows.contacts
    mu = exponential.rate(layer.frequency, layer.damping)
    slowest = float(layer.damping.min())
    reach = -np.expm1(-slowest * span)
    part = (np.arange(INSTANTS) + 0.5) / INSTANTS * reach
    time, share = -np.log1p(-part) / slowest, reach / (INSTANTS * slowest) / (1 - part)
    following = layer.following

    def every(of_contacts: Array) -> Array:
        return np.concatenate([of_contacts, of_contacts[: b - c]])

    def swung(u: NDArray[np.complex128]) -> Array:
        return (u.real[:, None] @ rows.place[..., :b])[:, 0].T

    def deflected(change: Array) -> Array:
        return (following @ change.T[:, :, None])[..., 0].T

    before = rest - layer.given_way(now.g).T
    after = before
    for _ in range(PASSES):
        drift = (after - before) * (slowest / reach)
        free = layer.amplitude(now.motion - np.stack([before, drift]))
        speed = _speeds(layer, mu * free, mu, time)
        path = (speed @ share).T
        times = max(1, int(np.ceil(float(path.max(initial=0.0)) / PATH)))
        step, phi, rubbed = every(path) / times, now.phi - swung(free), np.zeros_like(now.phi)
        for _ in range(times):
            change = -step * (phi - deflected(step / 2 * phi))
            rubbed += change
            phi = phi + deflected(change)
        g = now.g.copy()
        g[:b] += rubbed
        after = rest - layer.given_way(g).T
    halves = [2 * (speed[..., k::2] @ share[k::2]).T for k in (0, 1)]
    own = np.empty_like(path)
    rows.lengths(((after - before).T[:, None] @ rows.place[..., :b])[:, 0].T ** 2, own)
    late = (speed @ (share * time)).T / np.maximum(path, np.finfo(float).tiny)
    gone = np.append(time[::SEEN], span)
    u = exponential.power(mu, gone) * free[:, None]
    on = np.append(part[::SEEN], reach)[:, None, None] / reach
    end = np.stack(exponential.motion(u[:, -1], layer.frequency, layer.damping)).swapaxes(1, 2)
    return Coast(
        time=gone,
        seen=np.moveaxis(u.real, 0, -1) + before + on * (after - before),
        end=Carried(motion=end + np.stack([after, drift * (1 - reach)]), phi=phi + swung(u[:, -1]), g=g, rate=np.zeros_like(g)),
        path=path,
        doubt=np.maximum(np.abs(halves[0] - halves[1]) / 2, STAIRS * own),
        impulse=span * g[:b] - every(late) * rubbed,
    )


def _speeds(layer: LayerModes, start: NDArray[np.complex128], mu: NDArray[np.complex128], time: Array) -> Working:
    """Speeds (m, c, t) of the contacts at some instants of a free motion that begins with the amplitudes
    `start` (m, n) of eta'."""
    rows = layer.rows
    place = rows.place[..., : rows.bristles]
    size = (np.abs(start)[..., None] * np.abs(place).max(axis=2, keepdims=True)).max(axis=(0, 2))
    alive = size >= FAINT * size.max()
    turned = exponential.power(mu[:, alive], time)
    first = start[:, None, alive]
    eta = first.real.astype(Real) * turned.real.astype(Real)
    eta -= first.imag.astype(Real) * turned.imag.astype(Real)
    speed = np.swapaxes(place[:, alive], 1, 2).astype(Real) @ np.swapaxes(eta, 1, 2)
    speed *= speed
    found = np.empty((speed.shape[0], rows.contacts, time.size), dtype=Real)
    rows.lengths(speed, found)
    return found
