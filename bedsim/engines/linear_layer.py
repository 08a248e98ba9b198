"""A layer without friction: its motion in closed form, as long as no elastic element acts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, exponential, free
from bedsim.engines.course import MotionPart
from bedsim.engines.exponential import FirstOrderHold
from bedsim.engines.layer_integrator import LayerIntegrator
from bedsim.engines.layer_problem import alike
from bedsim.engines.modes import Real, mixed

Array = NDArray[np.float64]


def linear_layer(integrator: LayerIntegrator, parts: Sequence[MotionPart]) -> tuple[Array, Array] | None:
    """A layer in which nothing but modes and dampers acts; None if an elastic element is touched."""
    problem, layer = integrator.problem, integrator.problem.layer
    plan = problem.plan
    motions = free.free(layer)
    tables: dict[float, FirstOrderHold] = {}
    for part, known in zip(parts, problem.forcing(parts), strict=True):
        length = alike(known.spacing)
        if length not in tables:
            tables[length] = exponential.first_order_hold(motions.mu, known.spacing, free.LONGEST)
        found, kept = free.driven(motions, tables[length], known, integrator.mix, integrator.now.motion)
        rest = mixed(known.rest, integrator.mix)
        if not _linear(integrator, found, known.imposed[:, kept]):
            return None
        integrator.store((found[:, 0] - rest).astype(Real), part.start + kept * known.spacing, rest)
        integrator.imposed.append(known.imposed[:, kept])
        integrator.now = replace(integrator.now, motion=found[-1])
        integrator.time = part.end
    last, rest = integrator.at_end()
    printing, finish = plan.printing, plan.finish
    time, found, mean, bound = free.decayed(
        motions,
        integrator.now.motion,
        rest,
        problem.probes[0],
        finish - integrator.time,
        printing - integrator.time,
    )
    if not _linear(integrator, found, last):
        return None
    integrator.store((found[:, 0] - rest).astype(Real), integrator.time + time, rest)
    integrator.time += float(time[-1])
    integrator.now = replace(integrator.now, motion=found[-1])
    return bound, mean.T


def _linear(integrator: LayerIntegrator, found: Array, imposed: Array) -> bool:
    """Whether motions (t, 2, n, m) touch no stop and stay in the motors' linear range."""
    rows = integrator.problem.layer.rows
    if not rows.parts.present:
        return True
    place = integrator.elastic_places(found[:, 0], imposed)
    none = np.zeros((place.shape[0], rows.bristles + rows.dampers, place.shape[2]))
    return rows.idle(np.concatenate([none, place], axis=1), base.LINEAR_LOAD_ANGLE)
