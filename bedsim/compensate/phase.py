"""How well the screws' angle must be known: a table that is late by phi leaves 2 sin(phi/2) of a sine.

sin(u + phi) - sin(u) = 2 sin(phi/2) cos(u + phi/2): 5 degrees leave 9 %, 30 degrees 52 %, from 60 degrees
on nothing is gained (derived).  A homing error of d turns every screw by 2 pi d/lead against the table,
levelling by d the screw that levels.  The law is that of one wave per turn; what is told here is the
machine itself, turned.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bedsim.analysis.metrics import widest
from bedsim.compensate.printed import RestingMachine
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.units import DEG, MM

USUAL = 5.0 * DEG
"""Error of phase that every answer tells: 0.07 mm of homing on a lead of 5 mm."""
DRAWS = 40
"""Draws of a doubt of single screws."""
EVENLY = 16
"""Places of a doubt that all screws share, evenly over it: one number needs no luck."""
TOLD_MM = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
"""Doubts of homing and of levelling, mm either way, of which the remainder is drawn."""
SEED = 1


def law(phi: float) -> float:
    """What a table late by `phi` rad leaves of a sine, as a share of it."""
    return 2.0 * abs(math.sin(phi / 2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class LateTable:
    """A table late by `phi` rad: `homing` m on the machine's longest lead and shortest, `full_steps` of
    the motor; shares that are left of the error by the law and by the machine itself, turned."""

    phi: float
    homing: float
    full_steps: float
    by_law: float
    by_machine: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtfulTable:
    """A doubt of `within` m either way of homing or of levelling: what a table then leaves on average and
    in the worst of twenty, as shares of the error; `harms`: the share of the draws in which it makes
    things worse."""

    cause: str
    within: float
    mean: float
    most: float
    harms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseNeeds:
    """What must be known of the phase.

    `late`: single errors; `doubts`: drawn; `half`, `none`: doubt of homing (m either way) at which half
    of the error, and on average all of it, is left (infinite where it never is); `asked`: the doubt that
    was given, with the error it leaves on average, `expected` m, of `before` m, both without friction.
    """

    late: tuple[LateTable, ...]
    doubts: tuple[DoubtfulTable, ...]
    half: float
    none: float
    homing: float
    levelling: float
    before: float
    expected: float
    harms: float

    @property
    def share(self) -> float:
        """Expected remainder over the error."""
        return self.expected / self.before if self.before > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Turned:
    """The machine turned against a table of its own, sideways, after shift and turn."""

    rest: RestingMachine
    now: Array
    leads: Array

    def left(self, by: Array) -> float:
        """Peak to valley (m) that a table of the machine as it was leaves where screws stand `by` (c,) m
        on."""
        late = self.rest.errors(self.rest.pose(by))["lateral_error"]
        return float(widest(self.rest.top, late - self.now).max())


def phase_needs(
    loaded: LoadedScenario,
    rest: RestingMachine,
    homing: float,
    levelling: float,
    progress: Callable[[int], None] = lambda done: None,
) -> PhaseNeeds:
    """What a doubt of `homing` and of `levelling` (m either way, evenly distributed, every screw's levelling
    independent) leaves, and what others do."""
    now = rest.errors(rest.pose())["lateral_error"]
    leads = np.array([c.screw.lead_mm for c in loaded.scenario.corner]) * MM
    machine = _Turned(rest=rest, now=now, leads=leads)
    before = float(widest(rest.top, now).max())
    scale = before or 1.0
    steps = [c.motor.steps_per_turn * c.motor.gear_ratio for c in loaded.scenario.corner]
    asked = _drawn(machine, homing, levelling)
    doubts = []
    for k, (cause, mm) in enumerate((c, mm) for c in ("homing", "levelling") for mm in TOLD_MM):
        own = (mm * MM, 0.0) if cause == "homing" else (0.0, mm * MM)
        doubts.append(_told(cause, mm * MM, _drawn(machine, *own) / scale))
        progress(k + 1)
    return PhaseNeeds(
        late=tuple(_late(machine, a * DEG, float(np.mean(steps)), scale) for a in (5, 15, 30, 60)),
        doubts=tuple(doubts),
        half=_until(machine, 0.5 * before),
        none=_until(machine, before),
        homing=homing,
        levelling=levelling,
        before=before,
        expected=float(asked.mean()),
        harms=float(np.mean(asked > before)) if before > 0 else 0.0,
    )


def _late(machine: _Turned, phi: float, full_steps: float, scale: float) -> LateTable:
    by = phi / (2 * math.pi) * machine.leads
    return LateTable(
        phi=phi,
        homing=float(by.max()),
        full_steps=phi / (2 * math.pi) * full_steps,
        by_law=law(phi),
        by_machine=machine.left(by) / scale,
    )


def _drawn(machine: _Turned, homing: float, levelling: float) -> Array:
    """What is left (d,) m over draws of the doubt; the same luck whatever its size."""
    luck = np.random.default_rng(SEED).uniform(-1.0, 1.0, (DRAWS, machine.leads.size + 1))
    shifts = homing * luck[:, :1] + levelling * luck[:, 1:]
    if levelling == 0.0:
        even = (np.arange(EVENLY) + 0.5) / EVENLY * 2.0 - 1.0
        shifts = homing * even[:, None] * np.ones(machine.leads.size)
    return np.array([machine.left(by) for by in shifts])


def _told(cause: str, within: float, left: Array) -> DoubtfulTable:
    return DoubtfulTable(
        cause=cause,
        within=within,
        mean=float(left.mean()),
        most=float(np.quantile(left, 0.95)),
        harms=float(np.mean(left > 1.0)),
    )


def _until(machine: _Turned, wanted: float) -> float:
    """Doubt of homing (m either way) at which so much is left on average; infinite where half a lead leaves
    less."""
    low, high = 0.0, float(machine.leads.max()) / 2
    if wanted <= 0 or _drawn(machine, high, 0.0).mean() < wanted:
        return math.inf
    for _ in range(8):
        middle = (low + high) / 2
        low, high = (middle, high) if _drawn(machine, middle, 0.0).mean() < wanted else (low, middle)
    return (low + high) / 2
