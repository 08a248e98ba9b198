"""What software leaves of a machine over its whole travel, beside joints and better screws.

Shift and turn per layer from a table of the machine itself, X and Y in whole steps, without friction: as
levers are told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedsim.analysis.metrics import widest
from bedsim.analysis.travel import whole_travel
from bedsim.compensate.correction import Correction, moves_in_steps, sideways, stepped_extents
from bedsim.compensate.phase import USUAL
from bedsim.compensate.printed import RestingMachine, at_rest
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM, UM

STEPS_WORTH = 2.0
"""An error below so many steps of X and Y is not worth it: what the steps add is as large.  Our choice, from
trials: 1.1 um became up to 6 on steps of 5."""


def against_size(before: float, worst: float, largest: float, limit: float, step: float) -> list[str]:
    """What the sizes alone say against shift and turn, a sentence each: `before` and `worst` with steps m
    peak to valley, `largest` move m with its `limit`, `step` m of X and Y."""
    said = []
    if largest > limit:
        said.append(
            f"the nozzle would have to go {number(largest / MM)} mm, more than the limit of "
            f"{number(limit / MM)} mm: look for the fault in the machine or the scenario first"
        )
    if before < STEPS_WORTH * step:
        said.append(
            f"the error of {_um(before)} is below {STEPS_WORTH:g} steps of X and Y ({_um(step)} each): "
            f"rounding to steps leaves up to {_um(worst)}"
        )
    elif worst >= before:
        said.append(f"with steps of {_um(step)} up to {_um(worst)} would be left of {_um(before)}")
    return said


def _um(length: float) -> str:
    return f"{number(length / UM, 2)} µm"


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftwareGain:
    """Sideways error m, peak to valley at the worst place, over the whole travel and without friction:
    `before`; after shift and turn with X and Y in steps of `step`, `stepped` in the middle and `worst`;
    `late` by 5 degrees; `largest`: longest move of the nozzle."""

    step: float
    before: float
    stepped: float
    worst: float
    late: float
    largest: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnTable:
    """A machine's own table over a print, without friction; `leads` m of its screws; `nozzle` (l, p, 2) m:
    how the nozzle goes by it in steps, for the lines that show the middle (`moves_in_steps`)."""

    rest: RestingMachine
    table: Correction
    nozzle: Array
    leads: Array
    step: float

    def left(self, by: Array | None = None) -> tuple[float, float]:
        """What it leaves, in the middle and at worst, of the machine whose screws stand `by` (c,) m on."""
        pose = self.rest.pose(by)
        moves = self.table.moves(self.rest.job.probes)
        lateral = self.rest.errors(pose)["lateral_error"]
        return stepped_extents(self.rest.top, moves, lateral - moves, self.step)

    def late(self, phi: float) -> float:
        """What it leaves, in the middle, where all screws stand `phi` rad further on."""
        return self.left(phi / (2 * np.pi) * self.leads)[0]

    def on(self, loaded: LoadedScenario) -> float:
        """What it leaves of another machine, of the same lines, over the travel that both have."""
        other = at_rest(whole_travel(loaded))
        own = self.rest.linear.layers
        if not np.array_equal(own, other.linear.layers):
            own = own[own <= other.job.program.layers]
            other = at_rest(whole_travel(loaded), own)
        left = other.errors(other.pose())["lateral_error"] - self.nozzle[: own.size]
        return float(widest(other.top, left).max())

    @property
    def gain(self) -> SoftwareGain:
        """All that is told of it."""
        now, (middle, worst) = self.rest.errors(self.rest.pose())["lateral_error"], self.left()
        return SoftwareGain(
            step=self.step,
            before=float(widest(self.rest.top, now).max()),
            stepped=middle,
            worst=worst,
            late=self.late(USUAL),
            largest=self.table.largest(self.rest.job.probes),
        )


def plane_step(loaded: LoadedScenario) -> float:
    """Step m of the machine's own X and Y."""
    return loaded.scenario.motion.plane_step_um * UM


def travel_table(loaded: LoadedScenario, step: float) -> OwnTable:
    """Shift and turn by layer of a machine over its whole travel; `step` m of X and Y.  Raises as
    `make_job` does."""
    return own_table(whole_travel(loaded), step)


def own_table(loaded: LoadedScenario, step: float) -> OwnTable:
    """The same over the print of the scenario."""
    rest = at_rest(loaded)
    leads = np.array([c.screw.lead_mm for c in loaded.scenario.corner]) * MM
    pose = rest.pose()
    table = sideways(pose, rest.top, rest.zero)
    moves = table.moves(rest.job.probes)
    nozzle = moves_in_steps(rest.top, moves, rest.errors(pose)["lateral_error"] - moves, step)
    return OwnTable(rest=rest, table=table, nozzle=nozzle, leads=leads, step=step)


def software_sentence(found: SoftwareGain) -> str:
    """What software takes off over the travel, and on what that hangs."""
    head = (
        f"Software instead (bedsim compensate): shift and turn per layer leave {_um(found.stepped)} "
        f"sideways, up to {_um(found.worst)}, of {_um(found.before)} with X and Y in steps of "
        f"{_um(found.step)}, over the whole travel and without friction"
    )
    if found.worst >= found.before or found.before < STEPS_WORTH * found.step:
        return f"{head}: not worth it."
    return (
        f"{head}; {_um(found.late)} where the screws stand 5° off, and nothing is gained from 60° on. It "
        "cancels, and holds as long as the screws' angle is known."
    )
