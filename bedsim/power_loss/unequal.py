"""Corners that do not move alike: one holds while the others drop, one coupling slips, one driver stops."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import base
from bedsim.errors import SolverError
from bedsim.model.assembly import Machine, System
from bedsim.model.joint_parts import bed_load
from bedsim.power_loss.back_driving import Falling
from bedsim.power_loss.fall import Fall, fall
from bedsim.scenario.event_keys import PowerLoss
from bedsim.scenario.load import LoadedScenario
from bedsim.sizing import holding, loads
from bedsim.sizing.numbers import CornerNumbers, MachineNumbers
from bedsim.tilt import tilted, tilting
from bedsim.tilt.report import limit_words, limits_of, named_limit, supports_of
from bedsim.tilt.tilting import Supports, Tilted, TiltLimit

Array = NDArray[np.float64]

HALVINGS = 30

HOLDS = "one corner holds while the others drop"
SLIPS = "one coupling slips"
STOPS = "one driver stops while the others lift"

TOO_STEEP = TiltLimit(
    kind="45 degrees, followed no further", corner="all", used=lambda bed: bed.angle, allowed=tilting.STEEPEST
)
"""What ends a course where nothing else does: there, or where corners are too far apart for any plane."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnequalRow:
    """What corners that move apart lead to, up to the first limit: SI.

    `difference` m of height, `tilt` rad, `side_force` N on the guide that is pushed most; `end` says what
    ended it.
    """

    case: str
    corner: str
    difference: float
    tilt: float
    time: float
    top_speed: float
    side_force: float
    end: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Racked:
    """What judges a racked bed: its mounts, the machine behind them and the limits of both."""

    numbers: MachineNumbers
    supports: Supports
    machine: Machine
    system: System
    limits: list[TiltLimit]
    groove_friction: Array  # (c,)
    weight: Array  # (c,) N of bed and part on the mounts

    def bed(self, height: Array) -> Tilted:
        """The bed that follows from heights (c,) m of the corners."""
        return tilting.tilt_of_heights(self.supports, height)

    def limit(self, height: Array) -> TiltLimit | None:
        """The limit passed by most of its allowance, or None."""
        try:
            bed = self.bed(height)
        except SolverError:
            return TOO_STEEP
        return named_limit(self.limits, bed) or named_limit([TOO_STEEP], bed)

    def side_force(self, height: Array) -> float:
        """Largest push N on a guide: springs of the machine, friction of the grooves, and their slope.

        |F_springs| + mu F + F tan(tilt): the groove may be the part that tilts.  Source: statics.
        """
        bed = self.bed(height)
        q, imposed = tilted.strain_response(self.machine, self.system, bed)
        observer = base.make_observer(self.machine, self.system, np.zeros((1, 2)))
        springs = base.extremes(observer, 0, q[None], imposed[None])["side_force"]
        weight = np.maximum(self.weight, 0.0)
        grooved = np.array([c.grooved for c in self.numbers.corners])
        return float(np.max(springs + grooved * weight * (self.groove_friction + math.tan(bed.angle))))


def unequal_rows(
    loaded: LoadedScenario,
    numbers: MachineNumbers,
    machine: Machine,
    system: Falling,
    room: Array,
    lowest: Falling,
) -> list[UnequalRow]:
    """All unequal cases of all corners; `system` and `room` (c,) m as for the fall of the whole bed.

    Drops begin at the first layer of the last object and lifting where the bed is `lowest`: there the way is
    longest.
    """
    scenario, laid = loaded.scenario, machine.stations
    high = int(laid.first[-1])
    racked = _racked(loaded, numbers, machine, high, bed_load(scenario, high - 1))
    down = _racked(loaded, numbers, machine, laid.lowest, bed_load(scenario, laid.lowest))
    keys = scenario.power_loss or PowerLoss()
    belt = scenario.drive.topology == "belt"
    rows = []
    for k, corner in enumerate(numbers.corners):
        if not belt:
            held = replace(system, held=np.arange(len(numbers.corners)) == k)
            rows.append(_falling_row(racked, HOLDS, corner, fall(held, room, longest=keys.longest_s)))
        loose = _slipping(system, corner, k)
        rows.append(_falling_row(racked, SLIPS, corner, fall(loose, room, longest=keys.longest_s)))
        if not belt:
            rows.append(_lifting_row(down, corner, k, lowest))
    return rows


def _racked(
    loaded: LoadedScenario, numbers: MachineNumbers, machine: Machine, layer: int, weight: Array
) -> Racked:
    system = machine.system(np.array([layer]))
    limits = limits_of(loaded, numbers, machine, system, 0.0)
    return Racked(
        numbers=numbers,
        supports=supports_of(loaded.scenario),
        machine=machine,
        system=system,
        limits=[x for x in limits if not x.of_screw],
        groove_friction=np.array([c.mount.friction_coefficient for c in loaded.scenario.corner]),
        weight=weight,
    )


def _slipping(system: Falling, corner: CornerNumbers, k: int) -> Falling:
    """Corner k's screw without its motor, the others held by theirs."""
    inertia, detent = system.inertia.copy(), system.detent.copy()
    inertia[k] = corner.screw.shaft.inertia
    detent[k] = 0.0
    count = system.radius.size
    return replace(system, inertia=inertia, detent=detent, group=np.arange(count), held=np.arange(count) != k)


def _falling_row(racked: Racked, case: str, corner: CornerNumbers, course: Fall) -> UnequalRow:
    """The course of a fall up to the first limit that the tilting bed passes."""
    last, found = _first_passed(racked, course.height)
    height = course.height[last]
    end = limit_words(found) if found else course.end
    return UnequalRow(
        case=case,
        corner=corner.name,
        difference=float(np.ptp(height)),
        tilt=racked.bed(height).angle,
        time=float(course.time[last]),
        top_speed=float(-course.speed[: last + 1].min()),
        side_force=racked.side_force(height),
        end=end,
    )


def _first_passed(racked: Racked, height: Array) -> tuple[int, TiltLimit | None]:
    """Index of the first instant (t, c) at which a limit is passed, by halving; the last if none is, the one
    before where only the steepness ends it."""
    last = height.shape[0] - 1
    if racked.limit(height[last]) is None:
        return last, None
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if racked.limit(height[middle]) else (middle, high)
    found = racked.limit(height[high])
    return (low if found is TOO_STEEP else high), found


def _lifting_row(racked: Racked, corner: CornerNumbers, k: int, system: Falling) -> UnequalRow:
    """One corner stays while the others go up at travel speed, until a limit or a motor that loses steps."""
    others = np.arange(system.radius.size) != k
    way = float(
        min(
            c.screw.shaft.length - c.screw.shaft.root_diameter - c.nut_low
            for c, moves in zip(racked.numbers.corners, others, strict=True)
            if moves
        )
    )
    low, high = 0.0, max(way, 0.0)
    end = _lifting_end(racked, system, others * high)
    if end is not None:
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            now = _lifting_end(racked, system, others * middle)
            low, high, end = (low, middle, now) if now is not None else (middle, high, end)
    at = high if end is None else low
    height = others * at
    speed = racked.numbers.duty.speed
    return UnequalRow(
        case=STOPS,
        corner=corner.name,
        difference=at,
        tilt=racked.bed(height).angle,
        time=at / speed,
        top_speed=speed,
        side_force=racked.side_force(height),
        end=end or "upper end of a screw",
    )


def _lifting_end(racked: Racked, system: Falling, height: Array) -> str | None:
    """What ends the lifting at heights (c,) m: a motor that cannot push so much, or a limit of the tilt."""
    push = system.weight + system.racking @ height
    for c, need, moves in zip(racked.numbers.corners, push, height > 0, strict=True):
        motor = c.motor
        at_screw = motor.holding_torque * motor.gear_ratio * motor.gear_efficiency
        strength = holding.thrust_of_motor(
            at_screw, c.screw.shaft.lead, loads.efficiency_raising(c.screw, c.screw.friction[0])
        )
        if moves and need > strength:
            return f"motor at {c.name} loses steps"
    found = racked.limit(height)
    return None if found is None else limit_words(found)
