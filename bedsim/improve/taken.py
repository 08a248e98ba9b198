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


def own_table_of(loaded: LoadedScenario, steps: Sequence[LeverStep]) -> OwnTable | None:
    """The table that steps go by; None without software among them.  Raises as `answer_of` does."""
    return table_of(loaded, steps) if by_software(steps) else None


def table_of(loaded: LoadedScenario, steps: Sequence[LeverStep]) -> OwnTable:
    """The table of the likely machine with the other steps taken.  Raises as `answer_of` does."""
    return travel_table(changed(loaded, steps), plane_step(loaded))


def answer_of(
    loaded: LoadedScenario, steps: Sequence[LeverStep], table: OwnTable | None, draw: Draw | None = None
) -> WorstAnswer:
    """The machine with some steps taken and their `own_table_of`, at its likely values or as drawn.  Raises
    ModelError or InputError where there is none."""
    machine = changed(loaded, steps, draw)
    found = answer(machine)
    return found if table is None else replace(found, lateral=table.on(machine))


def software_refused(table: OwnTable | None) -> str:
    """Why software is not to be used on the machine; "" where nothing speaks against it, or none is."""
    if table is None:
        return ""
    found = table.gain
    return "; ".join(against_size(found.before, found.worst, found.largest, LIMIT, found.step))
