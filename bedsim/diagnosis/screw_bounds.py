"""How far off the screws of a machine may be before it is rather the wrong machine."""

from __future__ import annotations

import numpy as np

from bedsim.components.row import CauseName
from bedsim.components.run_out import largest_offset
from bedsim.model import convert
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Corner
from bedsim.units import UM
from bedsim.wall.bands import Source

BEYOND = 5.0
"""Times the largest that a scenario gives, or that screws usually have.  Our assumption."""
USUAL_OFFSET = 100 * UM
"""Distance of a bent screw from its axis (0.2 mm TIR), where the scenario gives less.  Our assumption."""
USUAL_TRAVEL = 123 * UM
"""Once-per-turn travel error of a poor screw, where the scenario gives less: the largest of the field test
in `screws.lots.CLASS_7_FIELD_TEST`; whether from zero or from peak to valley is not known, the larger is
taken.
"""


def screw_bounds(loaded: LoadedScenario, sources: tuple[Source, ...]) -> Array:
    """Amplitudes (s,) m that no screw of the machine has: BEYOND times the largest of all its screws.

    Of all screws, for a reading is there to find the one that is worse than was thought.
    """
    corners = loaded.scenario.corner
    largest = {
        CauseName.RUN_OUT: max(USUAL_OFFSET, *(_offset(loaded, c) for c in corners)),
        CauseName.ONCE_PER_TURN: max(
            USUAL_TRAVEL, *(c.screw.travel.once_per_turn_pv_um / 2 * UM for c in corners)
        ),
    }
    return np.array([BEYOND * largest[cause] for cause, _ in sources])


def _offset(loaded: LoadedScenario, corner: Corner) -> float:
    """Largest distance (m) of the thread from its axis over the free length, all parts taken as one way."""
    bent, shaft = convert.make_run_out(corner, loaded.tables), convert.make_screw(corner)
    return largest_offset(bent, shaft, shaft.length)
