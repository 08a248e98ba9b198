"""Modes that an accelerometer showed, beside those that the machine has by its scenario."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from bedsim.engines import base
from bedsim.metrology.vibration_fit import RingingMode
from bedsim.model.build import build_machine
from bedsim.scenario.load import LoadedScenario
from bedsim.shake import disturbance

Array = NDArray[np.float64]

FARTHEST = 1.5  # a scenario's frequencies are seldom off by more than this factor, our assumption
AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineMode:
    """`frequency` [Hz] as a tap finds it, damping ratio, and how the place of the logger moves (3,), of
    length 1."""

    frequency: float
    damping: float
    direction: Array


def machine_modes(loaded: LoadedScenario, place: tuple[float, float] = (0.0, 0.0)) -> tuple[MachineMode, ...]:
    """Modes at the first layer, bristles stuck, seen at a `place` [m] of the bed; those that do not move it
    (rotors) are left out.  Raises ModelError."""
    machine = build_machine(loaded.scenario, loaded.tables)
    system = machine.system(np.array([1]))
    observer = base.make_observer(machine, system, np.array([place]))
    found = disturbance.modes(machine, system)
    moved = np.vstack([observer.lateral[0, 0], observer.height]) @ found.shape
    size = np.linalg.norm(moved, axis=0)
    return tuple(
        MachineMode(
            frequency=float(w) / (2 * math.pi),
            damping=float(decay / w),
            direction=np.abs(moved[:, k]) / size[k],
        )
        for k, (w, decay) in enumerate(zip(found.frequency, found.decay, strict=True))
        if size[k] > 0.05 * size.max()
    )


def matched(
    seen: Sequence[RingingMode], axes: Sequence[str], modes: Sequence[MachineMode]
) -> tuple[MachineMode | None, ...]:
    """The machine's mode behind every mode seen, each taken once; None where none is near.

    The assignment (Hungarian method, scipy.optimize.linear_sum_assignment) with the least sum of |ln of
    the frequencies' ratio| and of how far the directions differ, 1 - |cos|: our choice.  A mode stays alone
    rather than to be farther off than `FARTHEST`.
    """
    rows = [AXES.index(axis) for axis in axes]
    far = math.log(FARTHEST) + 1
    cost = np.full((len(seen), len(modes) + len(seen)), far)
    for i, one in enumerate(seen):
        for k, mode in enumerate(modes):
            off = abs(math.log(one.frequency / mode.frequency))
            shown = mode.direction[rows]
            along = float(one.direction @ shown) / max(float(np.linalg.norm(shown)), 1e-9)
            cost[i, k] = off + 1 - along if off <= math.log(FARTHEST) else 2 * far
    chosen = linear_sum_assignment(cost)[1]
    return tuple(modes[int(k)] if k < len(modes) else None for k in chosen)
