"""Which screw makes the bands, as a ranking that says how sure it is, from one file of readings."""

from __future__ import annotations

from pathlib import Path

from bedsim.learn.answers import AnswerSpread, spread_of
from bedsim.learn.fit import disturbed
from bedsim.learn.learned import fitted
from bedsim.learn.lot_spread import spread_named
from bedsim.learn.reading_files import read_files
from bedsim.learn.unknowns import unknowns_of
from bedsim.scenario.load import LoadedScenario

MACHINES = 40


def ranked(loaded: LoadedScenario, path: Path, screws: str, sigma: float) -> AnswerSpread | None:
    """Answers of machines that agree with a file of readings, what the scenario says of screws and machine
    counted (`screws` as in `spread_named`); None where the file holds nothing of the lead.

    Raises InputError for a screw's grade that there is none of.
    """
    lot = spread_named(loaded, screws)
    read = read_files([path], loaded, sigma)
    if not read.observations:
        return None
    unknowns = unknowns_of(loaded, lot)
    return spread_of(unknowns, disturbed(fitted(unknowns, read.observations)[0], MACHINES))
