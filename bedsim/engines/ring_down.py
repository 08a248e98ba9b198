"""A layer after its commanded motion: steps as long as errors allow, then one free decay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, free, free_decay, known_forcing
from bedsim.engines.free_decay import Forecast
from bedsim.engines.layer_integrator import LayerIntegrator, Trail
from bedsim.engines.layer_problem import mapped
from bedsim.engines.modes import Real, mixed, standing
from bedsim.engines.step_control import INSTANT, spaces
from bedsim.engines.steps import ModalState

Array = NDArray[np.float64]
REPORT, SELDOM = free.REPORT, 3.2e-2  # s: motions reported this close, and where nothing is left to see
WATCHED = 2e-3  # s: longest step while the probes still move by more than what counts as settled
RINGING = 0.15  # damping ratio beyond which a ring-down is over before averages over its periods mean much


def ring_down(integrator: LayerIntegrator) -> tuple[Array, Array]:
    """Integrate until nothing moves or the layer ends: the bound (m,) m of what is left at the probes, and
    the mean (m, n) of eta in print."""
    problem, layer, control = integrator.problem, integrator.problem.layer, integrator.problem.control
    plan, rows = problem.plan, layer.rows
    last, rest = integrator.at_end()
    resting = standing(rest)
    offset = (rest.T[:, None] @ rows.place)[:, 0].T[rows.bristles + rows.dampers :]
    offset -= mixed((last[:, 0] @ rows.parts.imposed.T).T, integrator.mix)
    known = known_forcing.constant_forcing(rows.bristles, offset)
    probes = np.abs(np.swapaxes(problem.probes, 1, 2))
    printing, finish = plan.printing, plan.finish
    shortened = 1.0  # where contacts are too stiff for the shortest step
    watched = max(1, sum(x <= WATCHED for x in control.rest))
    integrator.level = min(integrator.level, watched - 1)
    while True:
        bound = np.max(_amplitudes(integrator, rest)[:, None] @ probes, axis=(1, 2))
        if bound.max() < control.still or finish - integrator.time < INSTANT:
            return bound, mean_motion(integrator, rest)
        if integrator.began is None and integrator.time > printing - INSTANT:
            integrator.began, integrator.impulse = integrator.now, np.zeros_like(integrator.now.motion[0])
        left = (printing if integrator.began is None else finish) - integrator.time
        if bound.max() < base.SETTLED and _free_decay(integrator, rest, last, left):
            continue
        spacing = control.rest[integrator.level] * shortened
        count = integrator.longest
        if left < spacing * count:
            count = 2 * spaces(left, 2 * spacing)  # errors are estimated on pairs of steps
            spacing = left / count
        every = REPORT if bound.max() > base.SETTLED / 2 else SELDOM
        found = integrator.integrate(spacing, known, resting, count, every)
        if found.touched and spacing > control.touch + INSTANT:
            integrator.level, shortened = 0, min(shortened, control.touch / control.rest[0])
            continue
        if integrator.rejected(found):
            continue
        if integrator.too_coarse(spacing, found, integrator.allowed):
            shortened = spacing / control.rest[0] / 2
            continue
        if found.taken < count:
            shortened = control.halved(spacing) / control.rest[0]
        integrator.keep(spacing, found, resting)
        if found.taken:
            decay = float(layer.damping.min())
            integrator.rate = found.path * (decay / np.expm1(decay * spacing * found.taken))
        widest = len(control.rest) if bound.max() < base.SETTLED else watched
        integrator.choose_level(spacing, found, 0 if found.touched else widest - 1)


def _free_decay(integrator: LayerIntegrator, rest: Array, last: Array, span: float) -> bool:
    """Advance by `span` s in one free decay with imposed extensions as they are `last`; False, and nothing
    done, where its uncertainty at the probes is more than allowed, where dampers or stops act, or damping
    is too high."""
    problem, layer = integrator.problem, integrator.problem.layer
    rows = layer.rows
    if problem.damping_ratio > RINGING or rows.dampers or integrator.stopped():
        return False
    # with more than a breakaway to go motions are not small
    if integrator.rate is None or integrator.rate.max(initial=0.0) >= layer.damping.min():
        return False
    allowed = problem.control.decay if integrator.began is not None else problem.control.decay / 2
    ahead = free_decay.forecast(layer, integrator.now, rest, integrator.rate)
    error = integrator.probe_error(ahead.uncertainty)
    if error.max() > allowed:
        return False
    now, uncertainty = _elastic_at_rest(integrator, ahead, last)
    error += integrator.probe_error(uncertainty)
    if error.max() > allowed:
        return False
    found = free_decay.decayed(layer, now, rest, span, ahead)
    error += integrator.probe_error(found.uncertainty)
    if error.max() > allowed:
        return False
    if rows.parts.present and not rows.clear(integrator.elastic_places(found.seen, last)):
        return False
    integrator.store((found.seen - rest).astype(Real), integrator.time + found.time, rest)
    integrator.time += span
    if problem.trailed:
        still = np.zeros((1, *integrator.now.phi.shape))
        integrator.trails.append(Trail(time=np.array([integrator.time]), moved=still, path=found.path[None]))
    integrator.path, integrator.rate = integrator.path + found.path, found.rate
    integrator.now = found.end
    if integrator.impulse is not None:
        impulse = np.concatenate([found.impulse, span * now.g[rows.bristles :]])
        integrator.impulse += (impulse.T[:, None] @ rows.push)[:, 0].T
    return True


def _elastic_at_rest(integrator: LayerIntegrator, ahead: Forecast, last: Array) -> tuple[ModalState, Array]:
    """The state with the forces that elastic elements have at rest, and the uncertainty (z, m) of these
    forces: their slope there times the displacement by which modes still swing and their rest position
    drifts."""
    layer, now = integrator.problem.layer, integrator.now
    rows, first = layer.rows, layer.rows.bristles
    g, uncertainty = now.g.copy(), np.zeros_like(now.g)
    if not integrator.untouched():
        place = integrator.elastic_places(ahead.before[None], last)[0]
        way = np.abs(layer.amplitude(now.motion - standing(ahead.before))).T
        way = way + np.abs(ahead.drift) / float(layer.damping.min())
        reach = mapped(np.abs(np.swapaxes(rows.place[..., first:], 1, 2)), way[None])[0]
        g[first:], uncertainty[first:] = rows.held(place, reach)
    return replace(now, g=g), uncertainty


def mean_motion(integrator: LayerIntegrator, rest: Array) -> Array:
    """Mean (m, n) of eta over printing, which known forcing alone would leave at `rest` (n, m).

    The mode's equation integrated: w^2 mean(eta) = mean(p) - (eta' + 2 d eta, end less start)/span; what had
    died out before the end rests.
    """
    layer, plan = integrator.problem.layer, integrator.problem.plan
    square = layer.frequency**2
    held = layer.deflection_under(integrator.now.g)
    still = rest.T - held
    if integrator.began is None or integrator.impulse is None:
        return still
    finish = plan.finishes[:, None]
    left, span = np.maximum(0.0, finish - integrator.time), finish - plan.printing
    mean = rest.T - (integrator.impulse.T / square + left * held) / span
    start, start_speed = (x.T for x in integrator.began.motion)
    end, end_speed = (x.T for x in integrator.now.motion)
    end, end_speed = np.where(left > INSTANT, still, end), np.where(left > INSTANT, 0.0, end_speed)
    return np.asarray(mean - (end_speed - start_speed + 2 * layer.damping * (end - start)) / span / square)


def _amplitudes(integrator: LayerIntegrator, rest: Array) -> Array:
    """Amplitude (m, n) of every mode about its rest under the row forces as they are."""
    layer = integrator.problem.layer
    still = rest - layer.deflection_under(integrator.now.g).T
    return np.abs(layer.amplitude(integrator.now.motion - standing(still)))
