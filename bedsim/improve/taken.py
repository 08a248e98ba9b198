"""What a machine does with some steps taken, software among them.

Software changes nothing but the sideways error: of the likely machine its own table leaves steps of X and Y,
of a drawn one what the table of the likely one leaves besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bedsim.compensate.advice import LIMIT
from bedsim.compensate.software import OwnTable, against_size, plane_step, travel_table
from bedsim.improve.answers import WorstAnswer, answer
from bedsim.improve.steps import LeverStep, changed
from bedsim.ranges.draws import Draw
from bedsim.scenario.load import LoadedScenario


def by_software(steps: Sequence[LeverStep]) -> bool:
    """Whether one of the steps is software."""
    return any(step.software for step in steps)


def table_of(loaded: LoadedScenario, steps: Sequence[LeverStep]) -> OwnTable:
    """The table of the likely machine with the other steps taken.  Raises as `answer_of` does."""
    return travel_table(changed(loaded, steps), plane_step(loaded))


def answer_of(loaded: LoadedScenario, steps: Sequence[LeverStep], draw: Draw | None = None) -> WorstAnswer:
    """The machine with some steps taken, at its likely values or as drawn.  Raises ModelError or InputError
    where there is none."""
    machine = changed(loaded, steps, draw)
    found = answer(machine)
    if not by_software(steps):
        return found
    return replace(found, lateral=table_of(loaded, steps).on(machine))


def software_refused(loaded: LoadedScenario, steps: Sequence[LeverStep]) -> str:
    """Why software is not to be used on the machine; "" where nothing speaks against it, or none is."""
    if not by_software(steps):
        return ""
    found = table_of(loaded, steps).gain
    return "; ".join(against_size(found.before, found.worst, found.largest, LIMIT, found.step))
