"""What readings hold beyond the frictionless machine: friction, play, and stiffness that changes on the way.

The likeliest machine is read again with friction in slow steps (`ranges.coarse_friction`), as it was read:
under a gauge while a lead is jogged down, or by the first leads of a print.  The difference is taken off the
readings.  How much of it is not known comes from friction at both ends of its ranges, and from a share of the
difference and of the whole motion once per turn: friction lags, so that it is no white noise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.linear_machine import jogged_down, linear_machine, own_imposed, poses, shortened
from bedsim.engines import base
from bedsim.engines.base import Job
from bedsim.errors import BedsimError
from bedsim.learn.fit import Fit
from bedsim.learn.model import AXES, At, Model, relief_waves
from bedsim.learn.observations import BandReading, ModelDoubt, Observation, Series
from bedsim.ranges.coarse_friction import coarse_chunks
from bedsim.ranges.swings import contact_ends
from bedsim.results.layers import Array
from bedsim.simulation import probe_points, relative_errors
from bedsim.units import MM, UM

STEPS_PER_EIGHTH = 3
LEADS = 3
"""Leads of a print over which friction is followed."""
WHITE = 0.1 * UM
"""Least model error of a single reading."""
WHITE_SHARE = 0.3
"""Of what friction does, as model error of a single reading."""
TURNING_SHARE = 0.03
"""Of the whole motion once per turn, as model error of that motion."""
DEPARTURE_SHARE = 0.3
"""Of what friction does once per turn, as model error of that.  All three are our choice, after trials on
bolted machines; what coverage they give is measured by tests/learn/by_hand.py."""


_Clocked = tuple[int | None, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What friction adds to readings (m,), each observation with its model error, and why friction could not
    be followed ("" where it could)."""

    values: Array
    observations: tuple[Observation, ...]
    fault: str = ""


def friction_of(found: Fit) -> Taken:
    """Read the likeliest machine with friction."""
    model = found.model
    kinds = dict.fromkeys(
        (isinstance(one, BandReading), one.clocked, one.by)
        for one in model.observations
        if isinstance(one, BandReading | Series)
    )
    at = model.at(found.u)
    weak, strong = contact_ends(at.loaded)
    own = {key.key for key in model.unknowns.keys}
    changes: list[Mapping[str, float]] = [{}, _others(weak, own), _others(strong, own)]
    jogged: dict[_Clocked, Array] = {}
    printed: dict[_Clocked, tuple[Array, Array]] = {}
    try:
        for bands, corner, by in kinds:
            jobs = [model.unknowns.real_job(found.u, change) for change in changes]
            turned = [_clocked(at, job, corner, by) for job in jobs]
            if bands:
                printed[corner, by] = _printed(at, turned)
            else:
                jogged[corner, by] = _jogged(model, at, turned)
    except BedsimError as fault:
        zero = np.zeros(sum(one.value.size for one in model.observations))
        return Taken(values=zero, observations=model.observations, fault=str(fault))
    return _taken(model, at, jogged, printed)


def _others(values: Mapping[str, float], own: set[str]) -> dict[str, float]:
    return {key: value for key, value in values.items() if key not in own}


def _clocked(at: At, job: Job, corner: int | None, by: float) -> Job:
    """The job with one screw turned in its coupling."""
    if corner is None:
        return job
    amounts = job.amounts.copy()
    amounts[0, at.turning] = at.clocking(corner, by) @ amounts[0, at.turning]
    return replace(job, amounts=amounts)


def _jogged(model: Model, at: At, jobs: Sequence[Job]) -> Array:
    """Motion (3, p, 3, t) m at the model's turns beyond the frictionless machine that keeps the first layer's
    stiffness."""
    lead = at.loaded.scenario.corner[0].screw.lead_mm * MM
    step = lead / 8
    last = math.ceil(float(model.turns.max()) / (np.pi / 4) - 1e-6)
    down = [jogged_down(job, step, last + 1) for job in jobs]
    rubbing = np.concatenate([chunk.pose for chunk in coarse_chunks(down, STEPS_PER_EIGHTH)])
    up, flat, _ = base.probe_maps(jobs[0].machine, jobs[0].probes)
    moved = np.concatenate(
        [
            np.einsum("pkb,ntb->npkt", flat, rubbing),
            np.einsum("pb,ntb->npt", up, rubbing)[:, :, None],
        ],
        axis=2,
    )
    grid = np.arange(last + 1) * np.pi / 4
    strengths = np.append(jobs[0].amounts[0, at.turning], 1.0)
    free = np.einsum("pkst,s->pkt", at.gauge(grid), strengths)
    beyond = moved - free
    return np.apply_along_axis(lambda series: np.interp(model.turns, grid, series), -1, beyond)


def _printed(at: At, jobs: Sequence[Job]) -> tuple[Array, Array]:
    """Lateral (3, l, p, 2) and height (3, l, p) errors m of the first leads beyond the frictionless
    machine's."""
    lead = at.loaded.scenario.corner[0].screw.lead_mm * MM
    count = 1 + int(np.searchsorted(jobs[0].program.stations.z, LEADS * lead * (1 - 1e-9)))
    short = [shortened(job, count) for job in jobs]
    rubbing = np.concatenate([chunk.pose for chunk in coarse_chunks(short)])
    linear = linear_machine(shortened(at.job, count))
    free = poses(linear, own_imposed(linear, jobs[0].amounts))
    layers = linear.layers
    errors = relative_errors(short[0], layers, rubbing - free)
    return errors["lateral_error"], errors["height_error"]


def _taken(
    model: Model,
    at: At,
    jogged: Mapping[_Clocked, Array],
    printed: Mapping[_Clocked, tuple[Array, Array]],
) -> Taken:
    values: list[Array] = []
    observations: list[Observation] = []
    motion = _motion(model, at)
    for one in model.observations:
        if not isinstance(one, BandReading | Series):
            values.append(np.zeros(one.value.size))
            observations.append(one)
            continue
        three = (
            _of_bands(at, one, printed[one.clocked, one.by])
            if isinstance(one, BandReading)
            else _of_series(model, at, one, jogged[one.clocked, one.by])
        )
        observations.append(replace(one, error=_error(one, three, motion)))
        values.append(three[0])
    return Taken(values=np.concatenate(values), observations=tuple(observations))


def _of_series(model: Model, at: At, one: Series, found: Array) -> Array:
    """What friction adds (3, k) m to a series: likely, weak and strong."""
    probe = probe_points(at.loaded)[0].index(one.probe)
    where = np.searchsorted(model.turns, np.round(one.turn, 9))
    return found[:, probe, AXES.index(one.axis)][:, where]


def _of_bands(at: At, one: BandReading, found: tuple[Array, Array]) -> Array:
    """What friction adds (3, 2) m to bands."""
    lateral, height = found
    probe = probe_points(at.loaded)[0].index(one.reading.probe)
    lead = at.loaded.scenario.corner[0].screw.lead_mm * MM
    wave = relief_waves(at.loaded, lateral[:, :, probe], height[:, :, probe], one.reading.place, lead)
    return np.stack([wave.real, wave.imag], axis=-1)


def _motion(model: Model, at: At) -> float:
    """Root of the mean square (m) of what in-plane readings show about their means."""
    shown = [
        float(np.var(one.value)) if isinstance(one, Series) else float(one.value @ one.value) / 2
        for one in model.observations
        if isinstance(one, BandReading) or (isinstance(one, Series) and one.axis != "z")
    ]
    return math.sqrt(float(np.mean(shown))) if shown else 0.0


def _error(one: Series | BandReading, three: Array, motion: float) -> ModelDoubt:
    """Model error of a series or of bands."""
    if isinstance(one, Series):
        centred = three - three.mean(axis=1, keepdims=True)
        waves = 2 / one.turn.size * centred @ np.exp(-1j * one.turn)
    else:
        centred, waves = three, three[:, 0] + 1j * three[:, 1]
    ends = abs(waves[1] - waves[2]) / 2
    return ModelDoubt(
        white=WHITE + WHITE_SHARE * float(np.sqrt(np.mean(centred[0] ** 2))),
        turning=math.hypot(
            TURNING_SHARE * math.sqrt(2) * motion, ends / 1.645, DEPARTURE_SHARE * abs(waves[0])
        ),
    )
