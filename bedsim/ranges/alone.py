"""What an uncertain key does alone, without friction and play: its swing of every figure, and of the errors
layer by layer.

A machine is worked out anew for either end of a key.  Keys that mostly move nothing are looked at together
first, at a few layers of the print: two machines tell of all of them.  Limit: keys among these whose effects
cancel, to within `NOTHING`, at all layers looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.figures import OF_ERRORS, metric_values
from bedsim.analysis.linear_machine import (
    LinearMachine,
    chunk_of,
    linear_chunk,
    linear_machine,
    of_layers,
    sampled_layers,
    shortened,
    without_play,
)
from bedsim.engines.base import Job
from bedsim.errors import BedsimError
from bedsim.quantities import FIGURES
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.simulation import layer_result, make_job
from bedsim.units import MM

Values = Mapping[str, float]
Seen = Callable[[LayerResult], LayerResult]
"""What a part shows of a machine's layers: all of it, or less what software takes off."""

RANGED = (*(m.name for m in OF_ERRORS), *(q.name for q in FIGURES if q.ranged))
"""Figures that get a range: those a machine at rest has.  Vibration and the load's own minimum get none."""

NOTHING_WITHOUT_FRICTION = (
    "friction_coefficient",
    "friction_n",
    "drag_torque_n_mm",
    "breakaway_um",
    "drag_breakaway_deg",
    "ratio",
    "motor_ratio",
    "screw_ratio",
    "guide_ratio",
    "joint_ratio",
    "mount_ratio",
    "bed_ratio",
    "inertia_kg_cm2",
    "rotor_inertia_g_cm2",
)
"""Keys that do nothing to a machine at rest without friction and play."""

NOTHING = 1e-4
"""Share of a quantity's largest value that keys must move it by at some layer, else they move nothing: what
is less changes no range by more than that share of the answer.  Our choice."""
LOOKED_AT = 40
"""Layers that tell it, and those below each of them."""
TOLD_BY = (
    "lateral_error",
    "height_error",
    "thickness_error",
    "joint_excursion",
    "side_force",
    "load_angle",
    "mount_force",
)
SELDOM = (
    "place_error_1_deg",
    "place_error_2_deg",
    "place_error_3_deg",
    "place_error_4_deg",
    "place_error_1_phase_deg",
    "place_error_2_phase_deg",
    "place_error_3_phase_deg",
    "place_error_4_phase_deg",
    "detent_torque_n_m",
    "temperature_rise_k",
    "expansion_um_per_m_k",
    "joint.travel_mm",
    "joint.height_mm",
    "carriage.height_mm",
)
"""Ends of keys that mostly move nothing at rest without friction: rotors rest at full steps, a warm bed grows
evenly, joints between planes have no height."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """What a key does to every figure at its low and its high end, against its likely value."""

    key: Range | None  # None: all keys of contacts together
    at_low: Values
    at_high: Values

    def size(self, name: str) -> float:
        """Largest minus smallest value of a figure."""
        three = (0.0, self.at_low[name], self.at_high[name])
        told = [v for v in three if not math.isnan(v)]
        return max(told) - min(told)


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyMachine:
    """The likely machine without friction: its layers and figures; `few`, layers at which keys are looked at
    together, all of a low print, and what it shows `there`."""

    layers: LayerResult
    figures: Values
    few: NDArray[np.int64]
    there: LayerResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    """What a key does: its `swing`, and `half_differences` of its ends, None where it does nothing; `fault`:
    why it cannot be varied."""

    swing: Swing | None = None
    half: Array | None = None
    fault: str = ""


def likely_machine(loaded: LoadedScenario) -> LikelyMachine:
    """Work it out.  Raises as `simulation.make_job`."""
    fitted, job, linear = _solved(loaded)
    few = linear.layers
    if np.all(job.program.stations.first == 1):  # of one object
        some = sampled_layers(few.size, LOOKED_AT)
        few = np.unique(np.append(some, np.maximum(some - 1, 1)))
    every = layer_result(fitted, job, [chunk_of(linear)])
    there = layer_result(fitted, job, [chunk_of(of_layers(linear, few))])
    return LikelyMachine(layers=every, figures=figures_of(every, leads_of(loaded)), few=few, there=there)


def each_alone(loaded: LoadedScenario, keys: Sequence[Range], likely: LikelyMachine) -> list[Alone]:
    """What each of some keys does."""
    return [_alone(loaded, key, likely) for key in keys]


def seldom_moving(loaded: LoadedScenario, keys: Sequence[Range], likely: LikelyMachine) -> list[Alone]:
    """The same of keys that mostly move nothing: one by one only if all together move anything."""
    if len(keys) > 1 and not any(
        _move(loaded, {key.key: getattr(key, end) for key in keys}, likely) for end in ("low", "high")
    ):
        still = dict.fromkeys(RANGED, 0.0)
        return [Alone(swing=Swing(key=key, at_low=still, at_high=still)) for key in keys]
    return each_alone(loaded, keys, likely)


def _move(loaded: LoadedScenario, values: Mapping[str, float], likely: LikelyMachine) -> bool:
    """Whether values move anything at the few layers; of a machine that cannot be: yes."""
    try:
        return _few_move(_solved(loaded.with_values(values)), likely)
    except BedsimError:
        return True


def _alone(loaded: LoadedScenario, key: Range, likely: LikelyMachine) -> Alone:
    idle, leads = last_name(key) in NOTHING_WITHOUT_FRICTION, leads_of(loaded)
    try:
        ends = [
            likely.layers if idle or value == key.likely else _end(loaded, key, value)
            for value in (key.low, key.high)
        ]
    except BedsimError as fault:
        return Alone(fault=str(fault))
    at_low, at_high = (
        minus(likely.figures if end is likely.layers else figures_of(end, leads), likely.figures)
        for end in ends
    )
    moves = any(end is not likely.layers for end in ends)
    return Alone(
        swing=Swing(key=key, at_low=at_low, at_high=at_high),
        half=half_differences(*ends) if moves else None,
    )


def _end(loaded: LoadedScenario, key: Range, value: float) -> LayerResult:
    """The layers with a key at one end."""
    other, job, linear = _solved(loaded.with_values({key.key: value}))
    return layer_result(other, job, [chunk_of(linear)])


def _solved(loaded: LoadedScenario) -> tuple[LoadedScenario, Job, LinearMachine]:
    fitted = without_play(loaded)
    job = make_job(fitted)
    return fitted, job, linear_machine(job)


def _few_move(solved: tuple[LoadedScenario, Job, LinearMachine], likely: LikelyMachine) -> bool:
    """Whether any quantity is another at some of the few layers, by more than `NOTHING` of its largest value
    there; what is no number counts where it is one on one side.  Of a low print: yes, without a look."""
    loaded, job, linear = solved
    if likely.few.size == linear.layers.size:
        return True
    few = layer_result(loaded, job, [chunk_of(of_layers(linear, likely.few))])
    for name in TOLD_BY:
        now, before = getattr(few, name), getattr(likely.there, name)
        told = np.isfinite(before)
        if np.any(told != np.isfinite(now)):
            return True
        if np.abs(now - before)[told].max(initial=0.0) > NOTHING * np.abs(before[told]).max(initial=0.0):
            return True
    return False


def half_differences(low: LayerResult, high: LayerResult) -> Array:
    """Half the differences (n, p, 3) m of two machines' errors: sideways x and y, height."""
    sideways, height = high.lateral_error - low.lateral_error, high.height_error - low.height_error
    return np.concatenate([sideways, height[..., None]], axis=-1) / 2.0


def spread_moments(half: Array) -> Array:
    """Products (n, p, m) of half the differences of two machines' errors (n, p, 3), in the order of
    `SPREAD_MOMENTS`.

    Summed over independent keys they give the half range of anything linear in the errors, a wall's relief
    among them, by root-sum-square.  Source: [GUM] 5.1.2, 5.2.2 (products of one key's contributions to two
    errors).
    """
    x, y, h = np.moveaxis(half, -1, 0)
    s = np.diff(h, axis=0, prepend=h[:1])
    return np.stack([x * x, x * y, y * y, x * s, y * s, s * s, h * h], axis=-1)


def as_they_are(layers: LayerResult) -> LayerResult:
    """Layers of which nothing is taken off."""
    return layers


def linear_values(loaded: LoadedScenario, layers: int | None = None, seen: Seen = as_they_are) -> Values:
    """Figures of the machine without friction, stops and play."""
    return figures_of(seen(linear_layers(loaded, layers)), leads_of(loaded))


def linear_layers(loaded: LoadedScenario, layers: int | None = None) -> LayerResult:
    """The machine without friction, of the first so many layers."""
    job = make_job(loaded)
    job = job if layers is None else shortened(job, layers)
    return layer_result(loaded, job, [linear_chunk(job)])


def figures_of(layers: LayerResult, leads: Sequence[float]) -> Values:
    """The figures that get a range."""
    found = metric_values(layers, leads)
    return {name: found[name] for name in RANGED}


def minus(values: Values, others: Values) -> Values:
    """Differences of figures."""
    return {name: values[name] - others[name] for name in RANGED}


def leads_of(loaded: LoadedScenario) -> list[float]:
    """Lead of every corner's screw, m."""
    return [c.screw.lead_mm * MM for c in loaded.scenario.corner]


def last_name(key: Range) -> str:
    """The last part of a key's name."""
    return key.key.rsplit(".", 1)[-1]
