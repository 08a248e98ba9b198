"""The end of a ring-down in one go: modes move freely, and what is left of their motion still rubs the bristles.

Where motions are far below the breakaway travels, slip hardly disturbs them: they are the free motion of the
modes about a rest that drifts, and the path X of every contact is the integral of its speed along it.  At rest
zeta = -L g, so

    dg = -phi dX,      phi = g + zeta = (1 - L) g + what does not change

and X nears its end like exp(-d t) with the slowest mode's decay d, the drift with it.  The integral is taken at
instants that lie closest while there is most motion; what two halves of them differ by tells its error.  That g
gives way in stairs, twice a period, is left out: beside the ramp |cos| has 2/3 of its slope at twice the
frequency, to which a mode answers with a third, so stairs may pass for 2/9 of the drift (`STAIRS`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.modes import LayerModes, Real, Working, standing
from bedsim.engines.steps import Carried

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PLACES, PHASES, CLOSE = 16, 4, 4
OVER = 0.999
FAINT = 1e-4  # of the fastest mode's speed at any contact: modes below do not count
PATH = 0.1  # breakaways in which bristles are rubbed off at once, by the midpoint rule
PERIODS, STAIRS, LEAST = 2, 64, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What is seen ahead from the pace at which contacts move: modes rest at `before` (n, m) now and `after`
    at the end, and `doubt` (b, m) of the row forces then."""

    before: Array
    after: Array
    doubt: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Coast:
    """A free end: `time` (t,) s from its beginning and motions eta (t, n, m) then, the state at its end,
    `path` (c, m) breakaways, `rate` of it 1/s at the end, `doubt` (b, m) of the row forces there, and these
    integrated (b, m)."""

    time: Array
    seen: Array
    end: Carried
    path: Array
    rate: Array
    doubt: Array
    impulse: Array


def outlook(layer: LayerModes, now: Carried, rest: Array, span: float, rate: Array) -> Outlook:
    """The `span` s ahead where known forces alone would hold modes at `rest` (n, m) and contacts move at a
    `rate` (c, m) 1/s now."""
    rows = layer.rows
    slowest, reach = _reach(layer, span)
    before = rest - layer.given_way(now.g).T
    phi = now.phi - _at_rows(layer, now.motion[0] - before)
    rubbed, _ = _rubbed(layer, phi, rate * (reach / slowest))
    after = before - layer.given_way(rubbed).T
    own = np.empty_like(rate)
    rows.lengths(_at_rows(layer, after - before) ** 2, own)
    path = rate * (reach / slowest)
    doubt = own * own / np.maximum(path, own) / 2
    return Outlook(before=before, after=after, doubt=_every(layer, doubt) * phi)


def coast(layer: LayerModes, now: Carried, rest: Array, span: float, ahead: Outlook) -> Coast:
    """Bristles and modes after `span` s, where known forces alone would hold modes at `rest` (n, m)."""
    b = layer.rows.bristles
    slowest, reach = _reach(layer, span)
    part = (np.arange(PLACES) + 0.5) / PLACES * reach
    place, share = -np.log1p(-part) / slowest, reach / (PLACES * slowest) / (1 - part)
    near = (np.arange(PHASES) - (PHASES - 1) / 2) * (np.pi / PHASES / float(layer.frequency.min()))
    time = (place[:, None] + near).ravel()
    drift = (ahead.after - ahead.before) * (slowest / reach)
    mu = exponential.rate(layer.frequency, layer.damping)
    first = layer.amplitude(now.motion - standing(ahead.before))
    free = first - layer.amplitude(np.stack([0 * drift, drift]))
    phi = now.phi - _at_rows(layer, free.real.T)
    free = first + _stairs(layer, mu, free, phi)
    speed = _speeds(layer, mu, free, time)
    speed = speed.reshape(*speed.shape[:2], PLACES, PHASES).mean(axis=3)
    path = (speed @ share).T
    halves = [2 * (speed[..., k::2] @ share[k::2]).T for k in (0, 1)]
    late = (speed @ (share * place)).T / np.maximum(path, np.finfo(float).tiny)
    rubbed, phi = _rubbed(layer, phi, path)
    g = now.g.copy()
    g[:b] += rubbed
    after = rest - layer.given_way(g).T
    gone = np.append(time[: CLOSE * PHASES], place[CLOSE:])
    gone = np.append(np.sort(gone[(gone > 0) & (gone < span)]), span)
    u = exponential.power(mu, gone) * free[:, None]
    on = (np.expm1(-slowest * gone) / -reach)[:, None, None]
    seen = np.moveaxis(u.real, 0, -1) + ahead.before + on * (after - ahead.before)
    left = u[:, -1]
    if reach < OVER:  # stairs go on as they do at the beginning
        left = left - _stairs(layer, mu, left, phi) - layer.amplitude(np.stack([0 * drift, drift * (1 - reach)]))
    end = np.stack(exponential.motion(left, layer.frequency, layer.damping)).swapaxes(1, 2)
    return Coast(
        time=gone,
        seen=seen,
        end=Carried(
            motion=end + np.stack([after, drift * (1 - reach)]),
            phi=phi + _at_rows(layer, end[0]),
            g=g,
            rate=np.zeros_like(g),
        ),
        path=path,
        rate=path * (slowest * (1 - reach) / reach),
        doubt=_every(layer, np.abs(halves[0] - halves[1]) / 2) * phi,
        impulse=span * g[:b] - _every(layer, late) * rubbed,
    )


def _reach(layer: LayerModes, span: float) -> tuple[float, float]:
    """The slowest mode's decay d 1/s, and the share 1 - exp(-d span) of what happens within the span."""
    slowest = float(layer.damping.min())
    return slowest, float(-np.expm1(-slowest * span))


def _at_rows(layer: LayerModes, eta: Array) -> Array:
    """Places (b, m) of the bristles at eta (n, m)."""
    return np.asarray((eta.T[:, None] @ layer.rows.place[..., : layer.rows.bristles])[:, 0].T)


def _every(layer: LayerModes, of_contacts: Array) -> Array:
    """Values (b, m) of bristles from those of their contacts (c, m)."""
    return np.concatenate([of_contacts, of_contacts[: layer.rows.bristles - layer.rows.contacts]])


def _rubbed(layer: LayerModes, phi: Array, path: Array) -> tuple[Array, Array]:
    """What row forces (b, m) lose along a path (c, m) at rest, and phi (b, m) then."""
    following = layer.following

    def moved(change: Array) -> Array:
        return np.asarray((following @ change.T[:, :, None])[..., 0].T)

    times = max(1, int(np.ceil(float(path.max(initial=0.0)) / PATH)))
    step, rubbed = _every(layer, path) / times, np.zeros_like(phi)
    for _ in range(times):
        change = -step * (phi - moved(step / 2 * phi))
        rubbed += change
        phi = phi + moved(change)
    return rubbed, phi


def _stairs(layer: LayerModes, mu: Complex, free: Complex, phi: Array) -> Complex:
    """By how much free motions begin off the amplitudes `free` (m, n) that modes have about their rest, as these
    answer to stairs and ramp of g: averaged over a few periods.  Modes too quick for that are over soon."""
    rows, b, c = layer.rows, layer.rows.bristles, layer.rows.contacts
    slowest = float(layer.damping.min())
    time = np.linspace(0, PERIODS * 2 * np.pi / float(layer.frequency.min()), STAIRS + 1)
    speed = _speeds(layer, mu, free, time)
    path = np.zeros_like(speed)
    np.cumsum((speed[..., 1:] + speed[..., :-1]) * Real(time[1] / 2), axis=-1, out=path[..., 1:])
    rate = path[..., -1:] * (slowest / -np.expm1(-slowest * time[-1]))
    w, d = layer.frequency, layer.damping
    slow = np.flatnonzero((2 * np.pi * PERIODS > LEAST * time[1] * w).all(axis=0))
    mu, w, d = mu[:, slow], w[:, slow], d[:, slow]
    turns = time[:, None] * w[:, None] / (2 * np.pi * PERIODS)
    weight = np.where(turns < 1, 1 - np.cos(2 * np.pi * turns), 0.0)
    weight /= weight.sum(axis=1, keepdims=True)
    later = (np.cumsum(weight[:, ::-1], axis=1)[:, ::-1] - weight / 2) * time[1]
    back = exponential.power(-mu, time)
    fading = np.exp(-slowest * time)[:, None] / w[:, None] ** 2
    ramp = exponential.amplitude((1 / w[:, None] ** 2 - fading) / slowest, fading, w[:, None], d[:, None])
    driven = (-1j / exponential.damped(w, d))[:, None] * later * back
    lost = (weight * back * ramp).sum(axis=1)[:, None]
    found = np.zeros_like(free)
    push = np.ascontiguousarray(rows.push[:, :b, slow], dtype=Real) * phi.T[..., None].astype(Real)
    for part, of_path, of_rate in ((1, driven.real, lost.real), (1j, driven.imag, lost.imag)):
        answer = path @ of_path.astype(Real) - rate * of_rate.astype(Real)
        found[:, slow] += part * (
            np.einsum("mcn,mcn->mn", answer, push[:, :c]) + np.einsum("mcn,mcn->mn", answer[:, : b - c], push[:, c:])
        )
    return found


def _speeds(layer: LayerModes, mu: Complex, free: Complex, time: Array) -> Working:
    """Speeds (m, c, t) of the contacts at some instants of a free motion from amplitudes `free` (m, n)."""
    rows, start = layer.rows, mu * free
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
