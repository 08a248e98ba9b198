"""What all blocks of a batch share in one layer: modes, forcing and tables of steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base, course, step_tables
from bedsim.engines.base import Job, Observer
from bedsim.engines.course import Course, Forcing, MotionPart
from bedsim.engines.modes import LayerModes, Real, Working, layer_modes
from bedsim.engines.step_control import StepControl
from bedsim.engines.step_tables import Tables
from bedsim.model.assembly import System

Array = NDArray[np.float64]
USUAL = 0.03  # damping ratio that step controls are meant for


@dataclass(frozen=True, slots=True, kw_only=True)
class Acting:
    """The modes with some of the rows alone, and what a unit of each row's force moves the probes by at rest
    (p, z), or (s, z, p): m."""

    layer: LayerModes
    weight: Working


@dataclass(frozen=True, kw_only=True)
class LayerProblem:
    """What all blocks of a batch share in one layer; tables are made once, when first asked for."""

    plan: Course
    layer: LayerModes
    control: StepControl
    observer: Observer
    index: NDArray[np.int64]  # of the plan's layers in the observer
    view: Array  # (s, v, n) all that is watched, per mode
    trailed: bool = False  # whether what contacts travel is kept
    made: dict[tuple[float, int, int, bytes], Tables] = field(default_factory=dict)
    answered: dict[tuple[float, int, bytes], Working] = field(default_factory=dict)
    forcings: dict[MotionPart, Forcing] = field(default_factory=dict)

    @property
    def probes(self) -> Array:
        """Motion of the probes per mode (s, p, n): heights, then both lateral directions."""
        return base.probes_of(self.observer, self.view)

    @property
    def damping_ratio(self) -> float:
        """Of the mode that rings longest in cycles."""
        return round(float((self.layer.damping / self.layer.frequency).min()), 12)

    @property
    def damping_factor(self) -> float:
        """Factor on the errors allowed, 1 at a damping ratio of `USUAL` or more: an error of a motion acts
        on the bristles for as long as it rings, inversely to the damping ratio."""
        return min(1.0, self.damping_ratio / USUAL)

    @cached_property
    def whole(self) -> Acting:
        """All rows."""
        return Acting(layer=self.layer, weight=row_weight(self.layer, self.probes))

    @cached_property
    def smooth(self) -> Acting:
        """All rows but those of stops, which hardly ever act."""
        if self.layer.rows.parts.gap.size == 0:
            return self.whole
        layer = replace(self.layer, rows=self.layer.rows.without_stops())
        return Acting(layer=layer, weight=row_weight(layer, self.probes))

    @cached_property
    def to_stops(self) -> Working:
        """Maps (s, 2 stops, n) from eta to where stops stand."""
        return np.swapaxes(self.layer.rows.place[..., self.layer.rows.stops], 1, 2).astype(Real)

    def tables(self, acting: Acting, spacing: float, width: int, pace: Array | float) -> Tables:
        """The tables for a spacing s of the common clock where the first `width` of some rows act; `pace` of
        the layers' own."""
        key = (alike(spacing), acting.layer.rows.size, width, _alike_paces(pace))
        if key not in self.made:
            self.made[key] = step_tables.tables(acting.layer, spacing * pace, width)
        return self.made[key]

    def answers(self, spacing: float, spaces: int, pace: Array | float) -> Working:
        """Response of the modes over such a step to known forces at so many instants and one."""
        key = (alike(spacing), spaces, _alike_paces(pace))
        if key not in self.answered:
            self.answered[key] = step_tables.answers(self.layer, spacing * pace, spaces)
        return self.answered[key]

    def forcing(self, parts: Sequence[MotionPart]) -> list[Forcing]:
        """The known forcing of parts of the motion."""
        new = [part for part in parts if part not in self.forcings]
        if new:
            self.forcings.update(zip(new, course.forcings(self.plan, self.layer, new), strict=True))
        return [self.forcings[part] for part in parts]


def layer_problem(
    job: Job,
    system: System,
    observer: Observer,
    index: NDArray[np.int64],
    control: StepControl,
    *,
    trailed: bool = False,
) -> LayerProblem:
    """What all members share in the layers `index` of a system; `trailed`: keep what contacts travel."""
    modes = layer_modes(job, system, index)
    return LayerProblem(
        plan=course.course(job, system.layers[index]),
        layer=modes,
        control=control,
        observer=observer,
        index=index,
        view=base.view(observer, index) @ modes.modes,
        trailed=trailed,
    )


class Problems:
    """Layers of one machine side by side, those that were asked for last kept: passes through all layers ask
    for the same ones again."""

    def __init__(self, job: Job, control: StepControl) -> None:
        self._job, self._control = job, control
        self._layers = np.zeros(0, dtype=np.int64)
        self._last: LayerProblem | None = None

    def of(self, layers: NDArray[np.int64]) -> LayerProblem:
        """The problem of some layers, each of a member."""
        if self._last is None or not np.array_equal(layers, self._layers):
            system = self._job.machine.system(layers)
            observer = base.make_observer(self._job.machine, system, self._job.probes)
            every = np.arange(layers.size)
            self._layers = layers
            self._last = layer_problem(self._job, system, observer, every, self._control)
        return self._last


def alike(spacing: float) -> float:
    """What spacings that differ in rounding alone have in common."""
    return float(f"{spacing:.9g}")


def _alike_paces(pace: Array | float) -> bytes:
    return np.round(pace, 9).tobytes()


def row_weight(layer: LayerModes, probes: Array) -> Working:
    """What a unit of each row's force moves the probes by at rest (p, z), or (s, z, p): m."""
    return step_tables.matrix((layer.rows.push / layer.frequency[:, None] ** 2) @ np.swapaxes(probes, 1, 2))


def mapped(maps: NDArray[Any], values: NDArray[Any]) -> NDArray[Any]:
    """Products (t, i, m) of maps (s, i, j) with values (t, j, m)."""
    table = maps[0] if maps.shape[0] == 1 else np.swapaxes(maps, 1, 2)
    out = np.empty((values.shape[0], maps.shape[1], values.shape[2]), dtype=values.dtype)
    return step_tables.apply(table, values, out)
