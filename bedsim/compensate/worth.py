"""Whether it is worth it: before, after, after the steps of X and Y, out of phase, and over the machine's
doubts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bedsim.analysis.metrics import widest
from bedsim.background import each
from bedsim.compensate.correction import Correction, sideways, stepped_extents
from bedsim.compensate.phase import USUAL
from bedsim.compensate.printed import Progress, RestingMachine, at_rest, printed, turned
from bedsim.compensate.software import against_size
from bedsim.compensate.ways import Base
from bedsim.errors import BedsimError
from bedsim.ranges.draws import Draw, draws
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM

MACHINES = 30
"""Machines drawn from the scenario's ranges."""
ENDS = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True, kw_only=True)
class OverMachines:
    """A table from likely values on machines drawn from the ranges, without friction: error (m) before
    and left at 10, 50 and 90 %, and the share of the machines that it makes worse; `count` of them
    could be built."""

    count: int
    before: tuple[float, float, float]
    left: tuple[float, float, float]
    harms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Sideways error (m, peak to valley, worst place) of the print: `before`; `after` shift and turn from
    a run with friction, and `modelled` from a machine without; `stepped` and `stepped_worst` with the
    steps of X and Y; `late` 5 degrees of homing off, and `late_stepped`; `largest`: longest move of
    the nozzle; `limit`: the longest that is allowed; `refused`: why it is not to be done, none where
    nothing speaks against it."""

    before: float
    after: float
    modelled: float
    stepped: float
    stepped_worst: float
    late: float
    late_stepped: float
    over: OverMachines | None
    largest: float
    limit: float
    refused: tuple[str, ...]

    @property
    def gain(self) -> float:
        """Error before over what is left with steps, in the middle."""
        return self.before / max(self.stepped, 1e-10)


def worth(
    base: Base,
    rest: RestingMachine,
    *,
    limit: float,
    expected_share: float,
    over: OverMachines | None,
    progress: Progress,
) -> Worth:
    """Judge shift and turn.  `expected_share`: what the doubt of the phase leaves on average, of the
    error."""
    top, places = base.layers.print_height, base.layers.probe_position
    moves = base.whole.moves(places)
    before = float(widest(top, base.layers.lateral_error).max())
    exact = base.layers.lateral_error - moves
    middle, worst = stepped_extents(top, moves, exact, base.step)
    late = _late(base, progress) - moves
    late_middle, _ = stepped_extents(top, moves, late, base.step)
    model = sideways(rest.pose(), rest.top, rest.zero).moves(places)
    found = Worth(
        before=before,
        after=float(widest(top, exact).max()),
        modelled=float(widest(rest.top, base.layers.lateral_error[rest.at] - model).max()),
        stepped=middle,
        stepped_worst=worst,
        late=float(widest(top, late).max()),
        late_stepped=late_middle,
        over=over,
        largest=base.whole.largest(places),
        limit=limit,
        refused=(),
    )
    return replace(found, refused=tuple(_against(found, base.step, expected_share)))


def _late(base: Base, progress: Progress) -> Array:
    """Lateral error (l, p, 2) of the machine whose screws stand 5 degrees further on than its table
    believes."""
    leads = np.array([c.screw.lead_mm for c in base.loaded.scenario.corner]) * MM
    by = USUAL / (2 * np.pi) * leads
    return printed(base.loaded, turned(base.job, by), progress).lateral_error


def _against(found: Worth, step: float, share: float) -> list[str]:
    """What speaks against it, a sentence each."""
    said = against_size(found.before, found.stepped_worst, found.largest, found.limit, step)
    if share >= 1.0:
        said.append(
            f"the screws' angle is not known well enough: on average {100 * share:.0f} % of the error would "
            "be left"
        )
    if found.over is not None and found.over.harms > 0.5:
        said.append(
            f"a table from these likely values makes {100 * found.over.harms:.0f} % of the machines within "
            "their ranges worse"
        )
    return said


# ---- over the ranges --------------------------------------------------------------------------------------


def over_machines(
    loaded: LoadedScenario, rest: RestingMachine, progress: Callable[[int], None] = lambda done: None
) -> OverMachines | None:
    """The likely machine's table on drawn machines, or on those that agree with what was learnt; None
    where no key has a range."""
    if not loaded.ranges and loaded.knowledge is None:
        return None
    places = rest.job.probes
    table = sideways(rest.pose(), rest.top, rest.zero)
    drawn = draws(MACHINES, knowledge=loaded.knowledge)
    found = each([partial(_before_and_left, loaded, draw, table, places) for draw in drawn], progress)
    pairs = np.array([pair for pair in found if pair is not None])
    if not pairs.size:
        return None
    before, left = pairs.T
    return OverMachines(
        count=len(pairs), before=_ends(before), left=_ends(left), harms=float(np.mean(left > before))
    )


def _ends(values: Array) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, ENDS)
    return float(low), float(middle), float(high)


def _before_and_left(
    loaded: LoadedScenario, draw: Draw, table: Correction, places: Array
) -> tuple[float, float] | None:
    try:
        rest = at_rest(loaded.with_values(draw.values(loaded.ranges)))
    except BedsimError:
        return None
    lateral = rest.errors(rest.pose())["lateral_error"]
    top = rest.top
    return float(widest(top, lateral).max()), float(widest(top, lateral - table.moves(places)).max())
