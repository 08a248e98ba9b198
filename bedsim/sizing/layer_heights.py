"""Layer heights that suit the motor: at which of them its place error is alike in every layer, and what it
leaves of the thickness at the others.

A stepper's place error repeats every four full steps: sum A_k cos(k theta + phi_k), theta the electrical
angle (`components.motor`).  A layer of r full steps goes on by theta = 2 pi r/4: errors of order
k are alike in every layer where k r/4 is whole.  So a multiple of four full steps leaves nothing at all, one
of two leaves the orders 1 and 3, one of one all but the fourth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from bedsim.number_text import number
from bedsim.units import MM, UM

Bounds = tuple[float, float, float]
"""Low, likely, high."""
PlaceErrors = Mapping[int, Bounds]
"""Amplitudes of a motor's place error, rad of the motor, by cycles per four full steps."""

WHOLE = 1e-6
"""Part of a step to which a layer counts as a whole number of them: rounding of what is written."""
MOST_LAYERS = 4096
"""Layers over which a pattern that never repeats is followed."""
GRIDS = ((4, "four full steps"), (2, "two full steps"), (1, "a full step"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Train:
    """What turns full steps into travel: lead [m], full steps per turn and microsteps of the motor, motor
    turns per turn of the screw."""

    lead: float
    steps_per_turn: int
    microsteps: int
    gear_ratio: float

    @property
    def full_step(self) -> float:
        """Travel [m] of one full step: lead/(steps i), i motor turns per screw turn."""
        return self.lead / (self.steps_per_turn * self.gear_ratio)

    @property
    def microstep(self) -> float:
        """Travel [m] of one microstep."""
        return self.full_step / self.microsteps


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerHeight:
    """A layer height [m], the coarsest of four, two, one full step and a microstep that it is a multiple of
    (empty: of none), and the peak-to-valley [m] of thickness that the motor leaves: low, likely, high."""

    height: float
    grid: str
    thickness: Bounds


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerHeights:
    """The height that is wanted, and those near it that are multiples of more, growing."""

    train: Train
    wanted: LayerHeight
    near: tuple[LayerHeight, ...]


def thickness_left(train: Train, height: float, amplitudes: PlaceErrors) -> tuple[float, float, float]:
    """Return the peak-to-valley [m] of the layers' thickness that the motor leaves: low, likely, high.

    `amplitudes`: rad of the motor by order, cycles per four full steps; phases unknown.  Two layers j apart
    differ in thickness by at most sum_k 4 A_k |sin(k theta/2) sin(j k theta/2)|, each order at its worst
    phase; the largest over j is told.  Heights that are no whole microsteps come out a microstep apart on
    top.  Derived (sums of cosines).
    """
    turn = 2 * np.pi * height / (4 * train.full_step)
    apart = np.arange(1, _layers_to_repeat(train, height) + 1)
    order = np.array(list(amplitudes))[:, None]
    waves = 4 * np.abs(np.sin(order * turn / 2) * np.sin(order * apart * turn / 2))
    travel = train.lead / (2 * np.pi * train.gear_ratio)
    rounded = 0.0 if _is_multiple(height, train.microstep) else train.microstep
    low, likely, high = (
        travel * float((np.array([a[k] for a in amplitudes.values()]) @ waves).max()) + rounded
        for k in range(3)
    )
    return low, likely, high


def _is_multiple(height: float, step: float) -> bool:
    count = height / step
    return count > 0.5 and abs(count - round(count)) < WHOLE * max(1.0, count)


def _layers_to_repeat(train: Train, height: float) -> int:
    """Layers after which the electrical angle comes back; of whole microsteps at most four times as many as
    a full step has."""
    share = Fraction(height / (4 * train.full_step)).limit_denominator(MOST_LAYERS)
    return share.denominator


def grid_of(train: Train, height: float) -> str:
    """Say what a height is a multiple of, the coarsest; empty where not even of a microstep."""
    grids = ((steps * train.full_step, name) for steps, name in GRIDS)
    found = (name for step, name in (*grids, (train.microstep, "a microstep")) if _is_multiple(height, step))
    return next(found, "")


def layer_heights(train: Train, wanted: float, amplitudes: PlaceErrors) -> LayerHeights:
    """Find the heights near the wanted one [m] that are multiples of four full steps, on both sides, and the
    nearest of two, one and a microstep; of grids no coarser than the wanted one's own there are none."""

    def told(height: float) -> LayerHeight:
        return LayerHeight(
            height=height, grid=grid_of(train, height), thickness=thickness_left(train, height, amplitudes)
        )

    found: dict[float, LayerHeight] = {}
    for height in _candidates(train, wanted):
        found.setdefault(round(height / UM, 3), told(height))
    near = tuple(found[key] for key in sorted(found))
    return LayerHeights(train=train, wanted=told(wanted), near=near)


def _candidates(train: Train, wanted: float) -> list[float]:
    found: list[float] = []
    for steps in (*(steps for steps, _ in GRIDS), 1 / train.microsteps):
        step = steps * train.full_step
        if _is_multiple(wanted, step):
            break
        below = math.floor(wanted / step)
        if steps == GRIDS[0][0]:
            found += [n * step for n in (below, below + 1) if n > 0]
        elif steps < 1:
            found.append(max(1, round(wanted / step)) * step)
        else:  # the even one is a multiple of the coarser grid
            found.append((below | 1) * step)
    return found


# ---- words --------------------------------------------------------------------------------------------


def sentence(found: LayerHeights) -> str:
    """What the wanted height leaves, and which ones near it leave less."""
    wanted, steps = found.wanted, found.wanted.height / found.train.full_step
    is_what = f"{_mm(wanted)} mm is {number(steps, 4)} full steps of the motor"
    if wanted.grid == GRIDS[0][1]:
        return f"{is_what}, a multiple of four: its place error is alike in every layer and leaves nothing."
    whole = "which even microsteps do not hit" if not wanted.grid else "not a multiple of four"
    return (
        f"{is_what}, {whole}: its place error leaves {_left(wanted)} of thickness from layer to layer, peak "
        f"to valley at the worst phase. Multiples near it: {_near(found)}."
    )


def _near(found: LayerHeights) -> str:
    rest = [h for h in found.near if h.grid != GRIDS[0][1]]
    told = (f"of {h.grid} {_mm(h)} mm, {_left(h)}" for h in rest)
    return "; ".join([f"of {GRIDS[0][1]} {friendly(found)}, nothing", *told])


def friendly(found: LayerHeights) -> str:
    """The heights that are multiples of four full steps, for a sentence: the wanted one, or those near it."""
    best = [h for h in (found.wanted, *found.near) if h.grid == GRIDS[0][1]]
    return " or ".join(_mm(h) for h in best) + " mm"


def _mm(height: LayerHeight) -> str:
    return number(height.height / MM, 4)


def _left(height: LayerHeight) -> str:
    low, likely, high = (number(v / UM, 2) for v in height.thickness)
    return f"{likely} µm ({low} to {high})"
