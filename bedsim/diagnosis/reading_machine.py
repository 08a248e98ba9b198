"""What readings show beyond the linear answer at layer 1: friction, and what changes along the way.

The machine is read again as it was read: by a gauge while one lead is jogged down, or by the bands of a
print.  Friction follows slow steps (`coarse_friction`).
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis.linear_machine import (
    LinearMachine,
    jogged_down,
    linear_machine,
    own_imposed,
    poses,
    shortened,
    without_play,
)
from bedsim.components.row import CauseName
from bedsim.diagnosis.least_squares import Complex, in_parts, turned_response
from bedsim.diagnosis.readings import AXES, Reading
from bedsim.diagnosis.screw_bounds import BEYOND
from bedsim.engines import base
from bedsim.engines.equilibrium import is_linear
from bedsim.errors import BedsimError
from bedsim.ranges.coarse_friction import coarse_chunks
from bedsim.ranges.swings import FRICTION_LAYERS, contact_ends
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, probe_points, relative_errors
from bedsim.units import MM
from bedsim.wall.bands import Source, wave_phasors
from bedsim.wall.relief import wall_normal, wall_relief

EIGHTHS = 8
STEPS_PER_EIGHTH = 3
"""Slow steps of an eighth of a turn under a gauge, 15 degrees each: friction to 2 %."""
FRICTION_LEADS = 3
"""Leads of a print over which friction is followed: what it does comes back with every turn."""
ROUNDS = 8
SETTLED = 0.05
"""Uncertainties by which a reading may still move when the fit is done."""
STEP = 0.1
"""Part of the largest source of its kind by which each is moved to see the slope.  Our choice."""
LEAST_STEP = 1e-6  # m

_PARTS = {
    CauseName.RUN_OUT: (("eccentricity x", 1), ("eccentricity y", 1)),
    CauseName.ONCE_PER_TURN: (("cos", 1), ("sin", -1)),
}
"""Machine's sources that are the real and the imaginary part of a source, with their signs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingMachine:
    """A machine and how it was read.  `rows` (m, s): the linear answer at layer 1 of readings (m,)."""

    loaded: LoadedScenario
    readings: tuple[Reading, ...]
    sources: tuple[Source, ...]
    rows: Complex
    job: base.Job  # over which friction is followed
    near: LinearMachine  # the same without friction
    whole: LinearMachine  # without friction over all that is read
    times: float = 1.0  # per turn, of the waves that are read

    @property
    def printed(self) -> bool:
        """Whether bands were read; else a gauge."""
        return self.readings[0].wavelength is not None

    @property
    def moves_freely(self) -> bool:
        """Whether nothing rubs."""
        return is_linear(self.job.machine)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """Reading = `added` (m,) m + `response` (m, s) x + `mirrored` (m, s) conj(x), near the screws `sources`
    (s,) m."""

    response: Complex
    mirrored: Complex
    added: Complex
    sources: Complex


def reading_machine(
    loaded: LoadedScenario, readings: Sequence[Reading], sources: Sequence[Source], rows: Complex
) -> ReadingMachine:
    """Make the machine of a scenario ready to be read as `readings` were, `rows` (m, s) from `reading_rows`.

    Raises ModelError or InputError where it cannot be built.
    """
    job = make_job(loaded)
    printed = readings[0].wavelength is not None
    fitted = make_job(without_play(loaded))
    lead = loaded.scenario.corner[0].screw.lead_mm * MM
    return ReadingMachine(
        loaded=loaded,
        readings=tuple(readings),
        sources=tuple(sources),
        rows=rows,
        job=_followed(job, lead, printed),
        near=linear_machine(_followed(fitted, lead, printed)),
        whole=linear_machine(fitted if printed else _followed(fitted, lead, printed)),
    )


def _followed(job: base.Job, lead: float, printed: bool) -> base.Job:
    """The first leads of the print, or one lead jogged down in eighths."""
    if printed:
        turns = math.ceil(FRICTION_LEADS * lead / float(job.machine.stations.thickness[0]))
        return shortened(job, max(turns, FRICTION_LAYERS))
    return jogged_down(job, lead / EIGHTHS, EIGHTHS)


def beyond(machine: ReadingMachine, sources: Complex) -> Complex:
    """What readings (k, m) m of screws (k, s) m show beyond the linear answer at layer 1.

    Friction: the machine in slow steps, run-in included, less the machine without friction and play on the
    same way.  Besides, stiffness changes along the way, and for bands the lever of the tilt.  Raises
    SolverError where friction finds no equilibrium.  Limits: slow motion; bands of shipped machines differ
    from the propagator's by 0.08 um or less.
    """
    found = np.zeros((len(sources), len(machine.readings)), complex)
    for corner, turn in dict.fromkeys((r.turned, r.turn) for r in machine.readings):
        which = [k for k, r in enumerate(machine.readings) if (r.turned, r.turn) == (corner, turn)]
        here = turned_response(sources, machine.sources, corner, turn, hands(machine.loaded))
        amounts = _amounts(machine, here)
        if not machine.moves_freely:
            found[:, which] += _friction(machine, amounts, which)
        found[:, which] += _on_the_way(machine, amounts, which)
    return found


def wave_rows(machine: ReadingMachine, pose: Complex) -> Complex:
    """Readings (m, s) of bed poses Re(pose (b, s) e^{j times psi}), with the lever that grows with the print.

    Source: `relative_errors`.  Poses that run ahead by a quarter of the wave give the imaginary part; what
    turns against a source is left out, as in `once_per_turn_response`.
    """
    settings = machine.loaded.scenario
    layers = np.arange(
        machine.job.program.layers + 1
    )  # one before the first, that every layer lies on another
    psi = 2 * np.pi * (layers - 1) * settings.print.layer_mm / settings.corner[0].screw.lead_mm
    waves = pose.T[:, None, :] * np.exp(1j * machine.times * psi)[:, None]
    every = range(len(machine.readings))
    along, across = (
        _phasors(machine, layers[1:], np.stack(_reliefs(machine, errors, every))[:, :, 1:])
        for errors in (relative_errors(machine.job, layers, w) for w in (waves.real, -waves.imag))
    )
    return np.asarray((along - 1j * across) / 2).T


def _phasors(machine: ReadingMachine, layers: np.ndarray, series: Array) -> Complex:
    """Waves (k, m) in reliefs (m, k, l) of layers (l,)."""
    settings = machine.loaded.scenario
    height = (layers - 1) * settings.print.layer_mm * MM
    frequency = np.array([machine.times / (settings.corner[0].screw.lead_mm * MM)])
    return np.asarray(wave_phasors(height, frequency, series.T)[0])


def _friction(machine: ReadingMachine, amounts: Array, which: Sequence[int]) -> Complex:
    least = 1 if machine.printed else STEPS_PER_EIGHTH
    chunks = coarse_chunks([replace(machine.job, amounts=a[None]) for a in amounts], least)
    rubbing = np.concatenate([c.pose for c in chunks])
    free = _read(machine, machine.job, _poses(machine.near, amounts, weight=True), which)
    return np.asarray(_read(machine, machine.job, rubbing, which) - free)


def _on_the_way(machine: ReadingMachine, amounts: Array, which: Sequence[int]) -> Complex:
    """What the machine without friction shows beyond its answer with the stiffness of layer 1."""
    whole = machine.whole
    layers = np.append(0, whole.layers)  # one before the first, so that every layer lies on another
    first = np.zeros((layers.size, whole.weights.shape[1]))
    first[:, 0] = 1.0
    same = _poses(replace(whole, layers=layers, weights=first), amounts, weight=False)
    other = _poses(whole, amounts, weight=False)
    start = _read(machine, whole.job, same, which, at_start=True)
    return np.asarray(_read(machine, whole.job, other, which) - start)


def _poses(linear: LinearMachine, amounts: Array, *, weight: bool) -> Array:
    return poses(linear, own_imposed(linear, amounts), weight=weight)


def _amounts(machine: ReadingMachine, sources: Complex) -> Array:
    """Strengths (k, all) of the machine's sources for screws (k, s); it has no other imperfections."""
    job, hand = machine.job, hands(machine.loaded)
    place = {
        (s.cause, job.machine.corner_names[s.corner], s.name): k for k, s in enumerate(job.machine.sources)
    }
    found = np.zeros((len(sources), job.machine.amounts.size))
    for x, (cause, corner) in zip(sources.T, machine.sources, strict=True):
        (real, _), (imaginary, sign) = _PARTS[cause]
        found[:, place[cause, corner, real]] = x.real
        found[:, place[cause, corner, imaginary]] = sign * hand[corner] * x.imag
    return found


def hands(loaded: LoadedScenario) -> dict[str, int]:
    """+1 for a right-hand thread, -1 for a left-hand one, by corner."""
    return {c.name: 1 if c.screw.hand == "right" else -1 for c in loaded.scenario.corner}


def _read(
    machine: ReadingMachine, job: base.Job, pose: Array, which: Sequence[int], *, at_start: bool = False
) -> Complex:
    """Readings (k, which) from bed poses (k, l, b) from layer 1 on.

    `at_start`: from layer 0 on, all of them on the bed, where a gauge stands in any case.
    """
    skip = int(at_start)
    layers = np.arange(1, pose.shape[1] + 1) - skip
    on_bed = at_start or not machine.printed
    errors = relative_errors(job, np.zeros_like(layers) if on_bed else layers, pose)
    shown = _reliefs if machine.printed else _gauges
    series = np.stack(shown(machine, errors, which))[:, :, skip:]
    if machine.printed:
        return _phasors(machine, layers[skip:], series)
    psi = 2 * np.pi * (layers[skip:] - 1) / EIGHTHS
    return np.asarray(2 / EIGHTHS * series @ np.exp(-1j * psi)).T


def _gauges(machine: ReadingMachine, errors: Mapping[str, Array], which: Sequence[int]) -> list[Array]:
    names = probe_points(machine.loaded)[0]
    moved = np.concatenate([errors["lateral_raw"], errors["height_raw"][..., None]], axis=-1)
    return [moved[:, :, names.index(r.probe), AXES.index(r.place)] for r in _some(machine, which)]


def _reliefs(machine: ReadingMachine, errors: Mapping[str, Array], which: Sequence[int]) -> list[Array]:
    names, settings = probe_points(machine.loaded)[0], machine.loaded.scenario.print
    return [
        wall_relief(
            errors["lateral_error"][:, :, names.index(r.probe)],
            errors["height_error"][:, :, names.index(r.probe)],
            normal=wall_normal(r.place)[1],
            line_width=settings.line_width_mm * MM,
            layer_height=settings.layer_mm * MM,
        )
        for r in _some(machine, which)
    ]


def _some(machine: ReadingMachine, which: Sequence[int]) -> list[Reading]:
    return [machine.readings[k] for k in which]


def frictionless(machine: ReadingMachine) -> About:
    """The linear answer at layer 1 alone."""
    none = np.zeros_like(machine.rows)
    return About(response=machine.rows, mirrored=none, added=none[:, 0], sources=none[0])


def about(machine: ReadingMachine, bound: Array) -> About:
    """The machine near the screws that its readings tell.

    Newton's method on reading = rows x + beyond(x).  The slope has a part that turns with a source and one
    that turns against it: friction of a given size answers to a push across the motion, not along it.  With
    both, weighted least squares and its covariance hold with friction.  Each round takes the likeliest
    screws, with `bound` (s,) m over `BEYOND` as a standard deviation so that what readings do not see stays
    small; friction is not looked at beyond `bound`.  Raises SolverError where friction finds no equilibrium.
    """
    here = _within(_likely(frictionless(machine), _values(machine), _sigma(machine), bound), bound)
    for _ in range(ROUNDS):
        found = _slope(machine, here)
        before, here = here, _within(_likely(found, _values(machine), _sigma(machine), bound), bound)
        if np.max(np.abs(_answer(found, here - before)) / _sigma(machine)) < SETTLED:
            break
    return found


def _within(x: Complex, bound: Array) -> Complex:
    return x * np.minimum(1, bound / np.maximum(np.abs(x), bound))


def _values(machine: ReadingMachine) -> Complex:
    return np.array([r.value for r in machine.readings])


def _sigma(machine: ReadingMachine) -> Array:
    return np.array([r.sigma for r in machine.readings])


def _answer(near: About, x: Complex) -> Complex:
    return near.response @ x + near.mirrored @ x.conj()


def _likely(near: About, values: Complex, sigma: Array, bound: Array) -> Complex:
    """Sources (s,) of the least misfit^2 + (x BEYOND/bound)^2."""
    wanted = (values - near.added) / sigma
    weighted = in_parts(near.response, near.mirrored) / np.tile(sigma, 2)[:, None]
    stacked = np.vstack([weighted, np.diag(BEYOND / np.tile(bound, 2))])
    target = np.concatenate([wanted.real, wanted.imag, np.zeros(2 * bound.size)])
    real, imaginary = np.split(np.linalg.lstsq(stacked, target, rcond=None)[0], 2)
    return np.asarray(real + 1j * imaginary)


def _slope(machine: ReadingMachine, x: Complex) -> About:
    """Value and slope at sources (s,), each moved along and across."""
    step = _steps(machine.sources, np.abs(x))
    tried = np.concatenate([x[None], x + np.diag(step), x + 1j * np.diag(step)])
    here, along, across = np.split(beyond(machine, tried), [1, 1 + x.size])
    along, across = ((part - here).T / step for part in (along, across))
    near = About(
        response=machine.rows + (along - 1j * across) / 2,
        mirrored=(along + 1j * across) / 2,
        added=np.zeros_like(here[0]),
        sources=x,
    )
    return replace(near, added=here[0] + machine.rows @ x - _answer(near, x))


def _steps(sources: Sequence[Source], size: Array) -> Array:
    causes = np.array([cause for cause, _ in sources])
    return np.array([max(LEAST_STEP, STEP * size[causes == cause].max()) for cause in causes])


def friction_range(machine: ReadingMachine, near: About, bound: Array) -> Array:
    """By how much (s,) m each source is off where friction is at the low or the high end of its keys' ranges:
    half of what lies between.

    What changes in the readings, by the slope; zero without ranges, and where an end finds no equilibrium.
    """
    ends = []
    for values in contact_ends(machine.loaded) if not machine.moves_freely else ():
        with contextlib.suppress(BedsimError):
            other = machine.loaded.with_values(values) if values else machine.loaded
            again = reading_machine(other, machine.readings, machine.sources, machine.rows)
            ends.append(beyond(again, near.sources[None])[0])
    if len(ends) < 2:
        return np.zeros(near.sources.size)
    change = replace(near, added=np.zeros_like(near.added))
    return np.abs(_likely(change, (ends[1] - ends[0]) / 2, _sigma(machine), bound))
