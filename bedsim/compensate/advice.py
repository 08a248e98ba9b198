"""The whole answer of `bedsim compensate`: what can be taken off, what is left, how well the phase must
be known, what a height map does, and whether it is worth it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis import linear_machine
from bedsim.analysis.figures import places_of_worst
from bedsim.analysis.travel import whole_travel
from bedsim.compensate.correction import Correction
from bedsim.compensate.height_map import HeightMaps, height_maps
from bedsim.compensate.phase import TOLD_MM, PhaseNeeds, phase_needs
from bedsim.compensate.printed import Progress, at_rest, silent
from bedsim.compensate.software import SoftwareGain, plane_step, travel_table
from bedsim.compensate.ways import (
    HEIGHT,
    MOTORS,
    Base,
    LeftCause,
    Stage,
    Way,
    base_run,
    from_other_side,
    shift_leaves,
    ways,
    whole_microsteps,
)
from bedsim.compensate.worth import MACHINES, Worth, over_machines, worth
from bedsim.errors import BedsimError
from bedsim.ranges.shares import source_poses
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import Shown
from bedsim.simulation import make_job
from bedsim.units import MM, UM

HOMING = 0.05 * MM
"""Doubt of homing where nothing else is said: a switch or a probe repeats to a few hundredths.  Assumed."""
LIMIT = 0.3 * MM
"""Longest correction.  Our choice: what is further off is to be mended, not compensated."""
WITHIN = 5.0 * UM
"""How far off a height map may be.  Our choice."""
MAP_TURN = 0.1 * MM
"""Levelling of one screw that is told of the map where no doubt of it is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked: `step` of X and Y, doubts of `homing` and `levelling` either way, `limit`,
    `within`; m."""

    step: float
    homing: float = HOMING
    levelling: float = 0.0
    limit: float = LIMIT
    within: float = WITHIN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TableRows:
    """What is written, layer by layer: `layer`, `top` and `commanded` height m, `whole` (shift and turn),
    `shift` alone, `common` (l,) m for all motors and `motors` (l, c) m, both in whole microsteps (none
    where there is no such way)."""

    layer: NDArray[np.int64]
    top: Array
    commanded: Array
    whole: Correction
    shift: Correction
    common: Array | None
    motors: Array | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Compensation(Shown):
    """Everything `bedsim compensate` says, SI; `shift_leaves`: what each cause leaves after a shift
    alone; `travel`: what `improve` says of it, over the whole travel without friction (none where that
    cannot be followed); `leads`: the shortest and the longest, m."""

    title: str
    asked: Asked
    place: str
    corners: tuple[str, ...]
    centre: Array
    layers: LayerResult
    ways: tuple[Way, ...]
    shift_leaves: tuple[LeftCause, ...]
    phase: PhaseNeeds
    maps: HeightMaps
    worth: Worth
    travel: SoftwareGain | None
    rows: TableRows
    leads: tuple[float, float]

    @property
    def refused(self) -> tuple[str, ...]:
        """What speaks against shift and turn."""
        return self.worth.refused


@contextmanager
def quiet(total: int, what: str) -> Iterator[Progress]:
    """No progress."""
    yield silent


def compensate(loaded: LoadedScenario, asked: Asked | None = None, stage: Stage = quiet) -> Compensation:
    """Work out what a machine can take off its own print.

    Raises ModelError, InputError or SolverError where the print as it is cannot be computed.
    """
    wanted = asked or Asked(step=plane_step(loaded))
    job = make_job(loaded)
    with stage(job.program.layers, "the print as it is") as progress:
        base = base_run(loaded, job, wanted.step, progress)
    rest = at_rest(loaded)
    with stage(job.program.layers, "from the other side") as progress:
        other = from_other_side(base, progress)
    told = ways(base, other, stage)
    with stage(2 * len(TOLD_MM), "phase") as progress:
        phase = phase_needs(loaded, rest, wanted.homing, wanted.levelling, progress)
    with stage(MACHINES, "machines drawn") as progress:
        over = over_machines(loaded, rest, progress)
    with stage(job.program.layers, "5° late") as progress:
        judged = worth(
            base, rest, limit=wanted.limit, expected_share=phase.share, over=over, progress=progress
        )
    leads = [c.screw.lead_mm * MM for c in loaded.scenario.corner]
    return Compensation(
        title=loaded.scenario.title,
        asked=wanted,
        place=places_of_worst(base.layers)["lateral_pv"],
        corners=base.layers.corner_name,
        centre=base.centre,
        layers=base.layers,
        ways=told,
        shift_leaves=shift_leaves(base, _poses_by_cause(linear_machine.without_play(loaded))),
        phase=phase,
        maps=_maps(loaded, base, other, wanted),
        worth=judged,
        travel=software_over_travel(loaded, wanted.step),
        rows=_rows(base, told),
        leads=(min(leads), max(leads)),
    )


def software_over_travel(loaded: LoadedScenario, step: float) -> SoftwareGain | None:
    """What `improve` tells of shift and turn; none where the travel cannot be followed."""
    try:
        return travel_table(loaded, step).gain
    except BedsimError:
        return None


def _poses_by_cause(loaded: LoadedScenario) -> dict[str, Array]:
    """Raw poses (l, b) of every cause, all corners together."""
    found: dict[str, Array] = {}
    for (cause, _), pose in source_poses(loaded)[1].items():
        found[cause] = found[cause] + pose if cause in found else pose
    return found


def _maps(loaded: LoadedScenario, base: Base, other: LayerResult | str, asked: Asked) -> HeightMaps:
    """Over the whole travel where one object is printed."""
    one = np.unique(base.job.machine.stations.first).size == 1
    return height_maps(
        loaded,
        at_rest(whole_travel(loaded) if one else loaded),
        homing=asked.homing or HOMING,
        levelling=asked.levelling or MAP_TURN,
        within=asked.within,
        sides=None if isinstance(other, str) else (base.layers, other),
    )


def _rows(base: Base, told: tuple[Way, ...]) -> TableRows:
    there = {way.name for way in told if way.left is not None}
    corners = base.microstep.size
    common = whole_microsteps(base, np.repeat(base.common[:, None], corners, axis=1))[:, 0]
    return TableRows(
        layer=base.layers.layer,
        top=base.layers.print_height,
        commanded=base.layers.commanded_height,
        whole=base.whole,
        shift=base.shift,
        common=common if HEIGHT in there else None,
        motors=whole_microsteps(base, base.heights) if MOTORS in there else None,
    )
