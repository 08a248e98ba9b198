"""Free decay: the end of a ring-down in closed form, by averaging over the vibration.

Where motions are far below the breakaway travels slip hardly disturbs them: every mode decays freely, as
exp(mu t), about a rest position that drifts slowly while vibration relaxes the bristles.  What is asked is
how far they relax.  Along the path X of a contact, the integral of its speed |zeta'|, the bristle's law is
dg = -phi dX; at rest zeta = -L g with L the compliance at the contacts, so that

    dg = -phi dX,      phi = g + zeta = (1 - L) g + constant

which is integrated in X by the midpoint rule (`_relaxed`).  X nears its end like exp(-d t), d the decay
rate of the slowest mode, and the drift of the rest position with it.

1. Amplitude.  Modes also respond to the mean ramp of g and to its steps at every reversal, so the amplitude
   that decays freely is not that of the motion now: the difference is averaged over a few periods
   (`_driven`).
2. Quadrature.  |zeta'| is not smooth.  The integral over time is taken by the midpoint rule in 1 - exp(-d
   t), densest where there is most motion, every place averaged over phases spread over half a period of
   the slowest mode, which outlasts the others.
3. Error.  The two halves of the places give X twice: their difference is the uncertainty of X.  That the
   drift itself adds to the speeds is neglected; it amounts to half the square of its share (`forecast`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import exponential
from bedsim.engines.modes import LayerModes, Real, Working, standing
from bedsim.engines.steps import ModalState

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PLACES, PHASES = 16, 4  # at which speeds are taken
CLOSE = 2  # so many places are reported with all phases, and every so-many-th of the others
PERIODS, INSTANTS = 2, 64  # of the slowest mode over which what g drives is averaged, and instants in them
LEAST = 8  # instants in the periods of a mode: quicker ones are left as they are, they are over soon
GONE = 1e-3  # of the motion at the beginning: when no more is left nothing more is reported
FAINT = 1e-4  # of the quickest mode's speed at any contact: modes below do not count
PATH = 0.1  # breakaways: longest step of the midpoint rule along the path


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What the present slip rates predict: modes rest at `before` (n, m) now, which drifts by `drift` (n,
    m) 1/s; `uncertainty` (b, m) of the row forces when all is over."""

    before: Array
    drift: Array
    uncertainty: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeDecay:
    """A free decay: `time` (t,) s from its beginning and eta (t, n, m) then, the state at its end, `path`
    (c, m) breakaways and its `rate` 1/s then, `uncertainty` (b, m) of the row forces when all is over, and
    these integrated, `impulse` (b, m) s."""

    time: Array
    seen: Array
    end: ModalState
    path: Array
    rate: Array
    uncertainty: Array
    impulse: Array


def forecast(layer: LayerModes, now: ModalState, rest: Array, rate: Array) -> Forecast:
    """Drift and uncertainty to expect where known forces alone would hold modes at `rest` (n, m) and
    contacts slip at a `rate` (c, m) 1/s now."""
    slowest = float(layer.damping.min())
    before = rest - layer.deflection_under(now.g).T
    path = rate / slowest
    released, phi = _relaxed(layer, now.phi - _at_rows(layer, now.motion[0] - before), path)
    moved = -layer.deflection_under(released).T
    own = np.empty(path.shape, dtype=Real)
    layer.rows.lengths((_at_rows(layer, moved) ** 2).astype(Real), own)
    uncertainty = own * own / np.maximum(path, own) / 2
    return Forecast(before=before, drift=moved * slowest, uncertainty=layer.rows.every(uncertainty) * phi)


def decayed(layer: LayerModes, now: ModalState, rest: Array, span: float, ahead: Forecast) -> FreeDecay:
    """Bristles and modes after `span` s, where known forces alone would hold modes at `rest` (n, m)."""
    b = layer.rows.bristles
    slowest = float(layer.damping.min())
    reach = float(-np.expm1(-slowest * span))
    part = (np.arange(PLACES) + 0.5) / PLACES * reach
    place, share = -np.log1p(-part) / slowest, reach / (PLACES * slowest) / (1 - part)
    phase = np.linspace(1 - PHASES, PHASES - 1, PHASES) * (np.pi / 2 / PHASES / float(layer.frequency.min()))
    mu = exponential.rate(layer.frequency, layer.damping)
    ramp = layer.amplitude(standing(ahead.drift)[::-1])
    motion = layer.amplitude(now.motion - standing(ahead.before))
    free = motion - ramp
    phi = now.phi - _at_rows(layer, free.real.T)
    free = motion + _driven(layer, mu, free, phi)
    speed = _speeds(layer, mu, free, place, phase)
    speed = speed.reshape(*speed.shape[:2], PLACES, PHASES).mean(axis=3)
    path = (speed @ share).T
    halves = [2 * (speed[..., k::2] @ share[k::2]).T for k in (0, 1)]
    late = (speed @ (share * place)).T / np.maximum(path, np.finfo(float).tiny)
    released, phi = _relaxed(layer, phi, path)
    g = now.g.copy()
    g[:b] += released
    after = rest - layer.deflection_under(g).T
    time = np.append((place[:CLOSE, None] + phase).ravel(), place[CLOSE::CLOSE])
    last = min(span, -np.log(GONE) / slowest)
    time = np.append(np.sort(time[(time > 0) & (time < last)]), last)
    u = exponential.power(mu, time) * free[:, None]
    drifted = (np.expm1(-slowest * time) / -reach)[:, None, None]
    left = exponential.power(mu, np.array([span]))[:, 0] * free
    if last == span:  # what g drives goes on as at the beginning
        left = left - _driven(layer, mu, left, phi)
    end = np.stack(exponential.motion(left, layer.frequency, layer.damping)).swapaxes(1, 2)
    seen = np.moveaxis(u.real, 0, -1) + ahead.before + drifted * (after - ahead.before)
    if last == span:
        seen[-1] = end[0] + after
    return FreeDecay(
        time=time,
        seen=seen,
        end=ModalState(
            motion=end + standing(after), phi=phi + _at_rows(layer, end[0]), g=g, rate=np.zeros_like(g)
        ),
        path=path,
        rate=path * (slowest * (1 - reach) / reach),
        uncertainty=layer.rows.every(np.abs(halves[0] - halves[1]) / (2 * reach)) * phi,
        impulse=span * g[:b] - layer.rows.every(late) * released,
    )


def _at_rows(layer: LayerModes, eta: Array) -> Array:
    """Displacement (b, m) of the bristle rows at eta (n, m)."""
    return np.asarray((eta.T[:, None] @ layer.rows.place[..., : layer.rows.bristles])[:, 0].T)


def _relaxed(layer: LayerModes, phi: Array, path: Array) -> tuple[Array, Array]:
    """Change of the row forces (b, m) as bristles relax along a path (c, m) with the bed at rest, and phi
    (b, m) then: the midpoint rule in parts of at most `PATH`."""
    compliance = layer.bristle_compliance

    def moved(change: Array) -> Array:
        return np.asarray((compliance @ change.T[:, :, None])[..., 0].T)

    times = max(1, int(np.ceil(float(path.max(initial=0.0)) / PATH)))
    step, released = layer.rows.every(path) / times, np.zeros_like(phi)
    for _ in range(times):
        change = -step * (phi - moved(step / 2 * phi))
        released += change
        phi = phi + moved(change)
    return released, phi


def _driven(layer: LayerModes, mu: Complex, free: Complex, phi: Array) -> Complex:
    """Correction (m, n) from the amplitude of the motion about the rest position to the amplitude that decays
    freely, approximately `free`: the two differ by the response to the ramp of g and to its steps at
    reversals, averaged over a few periods.

    With p what g drives a mode with and s the smooth response to its mean ramp, the amplitude beside s is
    exp(mu t) (u0 + integral of exp(-mu t) (-i/wd) p - exp(-mu t) s); what is added to u0 is averaged.
    """
    rows, b, c = layer.rows, layer.rows.bristles, layer.rows.contacts
    slowest = float(layer.damping.min())
    time = np.linspace(0, PERIODS * 2 * np.pi / float(layer.frequency.min()), INSTANTS)
    when = time[::PHASES], time[:PHASES]
    speed = _speeds(layer, mu, free, *when)
    path = np.zeros_like(speed)
    np.cumsum((speed[..., 1:] + speed[..., :-1]) * Real(time[1] / 2), axis=-1, out=path[..., 1:])
    rate = path[..., -1:] * Real(slowest / -np.expm1(-slowest * time[-1]))
    slow = np.flatnonzero((2 * np.pi * PERIODS > LEAST * time[1] * layer.frequency).all(axis=0))
    mu, w, d = mu[:, slow], layer.frequency[:, None, slow], layer.damping[:, None, slow]
    turns = time[:, None] * w / (2 * np.pi * PERIODS)
    weight = np.where(turns < 1, 1 - np.cos(2 * np.pi * turns), 0.0)
    weight /= weight.sum(axis=1, keepdims=True)
    later = (np.cumsum(weight[:, ::-1], axis=1)[:, ::-1] - weight / 2) * time[1]
    back = _turned(-mu, *when)
    of_path = -1j / exponential.damped(w, d) * later * back
    fading = np.exp(-slowest * time)[:, None]
    smooth = exponential.amplitude((1 - fading) / slowest / w**2, fading / w**2, w, d)
    of_rate = (weight * back * smooth).sum(axis=1)[:, None]
    push = rows.push[:, :b, slow].astype(Real) * phi.T[..., None].astype(Real)
    found = np.zeros_like(free)
    for unit, x, y in ((1, of_path.real, of_rate.real), (1j, of_path.imag, of_rate.imag)):
        answer = path @ x.astype(Real) - rate * y.astype(Real)
        sums = [(answer, push[:, :c]), (answer[:, : b - c], push[:, c:])]
        found[:, slow] += unit * sum(np.einsum("mcn,mcn->mn", *pair) for pair in sums)
    return found


def _turned(mu: Complex, late: Array, later: Array) -> Complex:
    """exp(mu t) (s, t, n) of mu (s, n) at instants `late` (i,), and `later` (j,) than each."""
    found = exponential.power(mu, late)[:, :, None] * exponential.power(mu, later)[:, None]
    return np.asarray(found.reshape(mu.shape[0], -1, mu.shape[1]))


def _speeds(layer: LayerModes, mu: Complex, free: Complex, late: Array, later: Array) -> Working:
    """Speeds (m, c, t) of the contacts in a free motion from amplitudes `free` (m, n), at instants as in
    `_turned`."""
    rows, start = layer.rows, mu * free
    place = rows.place[..., : rows.bristles]
    size = (np.abs(start)[..., None] * np.abs(place).max(axis=2, keepdims=True, initial=0.0)).max(axis=(0, 2))
    alive = size >= FAINT * size.max()
    turned = _turned(mu[:, alive], late, later)
    first = start[:, None, alive]
    eta = first.real.astype(Real) * turned.real.astype(Real)
    eta -= first.imag.astype(Real) * turned.imag.astype(Real)
    speed = np.swapaxes(place[:, alive], 1, 2).astype(Real) @ np.swapaxes(eta, 1, 2)
    speed *= speed
    found = np.empty((speed.shape[0], rows.contacts, speed.shape[2]), dtype=Real)
    rows.lengths(speed, found)
    return found
