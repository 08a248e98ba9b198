"""A print beside itself with what software takes off: shift and turn per layer, X and Y in whole steps.

The bed moves as it did, so that everything but the sideways error is the same.  The table is one of the very
machine (`bedsim.compensate`); over doubts it stays that of the likely machine, and the drawn one departs
from it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.printed import quantity
from bedsim.comparison.compared import Compared
from bedsim.compensate.advice import LIMIT
from bedsim.compensate.software import against_size
from bedsim.compensate.ways import Base, remains, software_moves
from bedsim.number_text import number
from bedsim.ranges.alone import linear_layers
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.units import UM


def with_software(item: Compared, step: float) -> Compared:
    """The same run as a part shows it that is printed with shift and turn, X and Y in steps of `step` m: at
    every place the line of which half show more."""
    base = Base(loaded=item.loaded, job=make_job(item.loaded), layers=item.run.layers, step=step)
    shown = less(item.run.layers, software_moves(base))
    return Compared(
        label=f"{item.label}, compensated",
        run=replace(item.run, layers=shown, answer=None, open=None),
        loaded=item.loaded,
        software=_words(base, item.label),
    )


def less(layers: LayerResult, moves: Array) -> LayerResult:
    """Layers of which the nozzle's moves (l, p, 2) m are taken off, of the first ones where they are
    fewer."""
    return replace(layers, lateral_error=layers.lateral_error - moves[: len(layers.layer)])


def seen_with_software(loaded: LoadedScenario, step: float) -> Callable[[LayerResult], LayerResult]:
    """What a part shows of machines within the doubts, printed with the table of the likely one, without
    friction."""
    likely = linear_layers(without_play(loaded))
    base = Base(loaded=loaded, job=make_job(loaded), layers=likely, step=step)
    return partial(less, moves=software_moves(base))


def _words(base: Base, label: str) -> str:
    moves = base.whole.moves(base.layers.probe_position)
    before, left, largest = (
        remains(base),
        remains(base, moves),
        base.whole.largest(base.layers.probe_position),
    )
    steps = f"in steps of {number(base.step / UM)} µm" if base.step else "as fine as wanted"
    against = against_size(before.lateral, left.stepped_worst, largest, LIMIT, base.step)
    return (
        f"{label}, compensated: shift and turn per layer by a table of this machine itself, X and Y "
        f"{steps}: of all lines at a place the one in the middle, up to "
        f"{quantity(left.stepped_worst, 'm')} at worst. It holds as long as the screws' angle is known; "
        "ranges keep the table of the likely machine. "
        + (
            "Rounding to steps leaves lines from layer to layer that are no band of one length: the "
            "picture of the wall shows them, what is said of bands does not. "
            if base.step
            else ""
        )
        + (
            f"Not to be done: {'; '.join(against)}."
            if against
            else "How well the angle must be known, and whether it is worth it: bedsim compensate."
        )
    )
