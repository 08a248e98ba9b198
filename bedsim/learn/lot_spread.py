"""How far off the screws of a grade are, where nobody has gauged them."""

from __future__ import annotations

import numpy as np

from bedsim.errors import InputError
from bedsim.learn.unknowns import LotSpread
from bedsim.scenario.load import LoadedScenario
from bedsim.screws.drawing import draw
from bedsim.screws.lots import CLASS_7_FIELD_TEST, Dimensions, graded_lot
from bedsim.units import MM, UM

UNKNOWN: LotSpread = {"eccentricity": 20 * UM, "bow": 60 * UM, "travel": 28 * UM}
"""Of cheap rolled screws of no grade: bent by 0.1 to 0.3 mm TIR (common practice, no source), travel of the
field test in `screws.lots`."""
DRAWN = 400
"""Screws of which the spread is taken: to 4 %."""


def spread_named(loaded: LoadedScenario, screws: str) -> LotSpread | None:
    """Spread of screws that are "gauged" (None: as the scenario says), "unknown", or of a grade.

    Raises InputError for any other name.
    """
    if screws == "gauged":
        return None
    if screws == "unknown":
        return UNKNOWN
    try:
        return lot_spread(loaded, screws)
    except InputError as fault:
        rule = "must be gauged, unknown or a grade such as C7"
        raise InputError(f"--screws {screws}: {rule}: {fault}") from None


def lot_spread(loaded: LoadedScenario, grade: str) -> LotSpread:
    """Standard deviation (m) of each component of eccentricity, bow and once-per-turn travel of a lot of a
    grade ("C7", "ISO 5"), drawn as `sweep` draws it, dimensions those of the first screw.

    Where the grade does not limit the travel once per turn, a field test stands in.  Raises InputError for an
    unknown grade.
    """
    screw = loaded.scenario.corner[0].screw
    dimensions = Dimensions(
        length=screw.length_mm * MM,
        diameter=screw.diameter_mm * MM,
        lead=screw.lead_mm * MM,
        free_end=screw.ends in ("fixed-free", "motor-free"),
    )
    lot = graded_lot(f"lot of {grade}", grade, dimensions, once_per_turn=CLASS_7_FIELD_TEST)
    drawn = draw(lot, DRAWN, np.random.default_rng(1))
    vectors = {"eccentricity": drawn.eccentricity, "bow": drawn.bow, "travel": drawn.once_per_turn}
    return {part: float(np.sqrt(np.mean(np.abs(x) ** 2) / 2)) for part, x in vectors.items()}
