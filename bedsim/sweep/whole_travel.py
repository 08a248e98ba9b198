"""What the printers of a sweep do over their whole travel: the target is asked of the print, and a low print
shows one stretch of the screws.

The first printers of every cell, with the luck they have in the sweep, print as high as their screws allow,
and the plan's print beside it, both without friction and play at layers that stand for all.  Screws are
sorted and clocked by what is printed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from bedsim.analysis.linear_machine import sampled_layers
from bedsim.analysis.travel import tallest, whole_travel
from bedsim.errors import BedsimError
from bedsim.results.sweep import CellResult
from bedsim.sweep.drawing import BLOCK, block_amounts
from bedsim.sweep.figures import Tally
from bedsim.sweep.plan import Cell, Plan, by_group
from bedsim.sweep.response import gains, run_out_gram
from bedsim.sweep.tasks import Order, has_target, meets, ready

Told = tuple[float, float, float]
"""Height of the print (m), median sideways error (m), share that meets the target (NaN without one)."""


def with_travel(plan: Plan, order: Order, cells: Sequence[CellResult]) -> Iterator[CellResult]:
    """The finished cells with their whole travel beside this print; as they are where a print uses all of
    it, or the machine cannot be computed over it."""
    found: dict[int, tuple[Told, Told]] = {}
    for group in by_group(plan.cells):
        loaded = group[0].loaded
        if loaded.scenario.print.section or tallest(loaded) <= loaded.scenario.print.layers:
            continue
        tall = [replace(c, loaded=whole_travel(c.loaded)) for c in group]
        try:
            pairs = [*zip(_over(group, order), _over(tall, order), strict=True)]
        except BedsimError:  # a machine may print and yet not stand further down its screws
            continue
        found |= zip((c.index for c in group), pairs, strict=True)
    for cell in cells:
        if cell.index in found:
            height, lateral, share = zip(*found[cell.index], strict=True)
            yield replace(cell, travel_height=height, travel_lateral=lateral, travel_share=share)
        else:
            yield cell


def _over(cells: Sequence[Cell], order: Order) -> Iterator[Told]:
    """What the first printers of cells of one machine show over their print."""
    prepared = ready(cells[0], friction=False)
    gram = run_out_gram(prepared) if any(c.clocking == "best" for c in cells) else None
    amounts = [
        block_amounts(prepared, c.lots, c.buy, gram if c.clocking == "best" else None, order.seed, 0)
        for c in cells
    ]
    tallies = [Tally(prepared.job, None, BLOCK, 0) for _ in cells]
    for chunk in gains(prepared, sampled_layers(prepared.job.program.layers)):
        for tally, drawn in zip(tallies, amounts, strict=True):
            tally.add(chunk.values(drawn.reshape(BLOCK, -1)))
    height = float(prepared.job.machine.stations.z[-1])
    for tally in tallies:
        met = meets(tally.lateral_pv, tally.height_pv, tally.stopped, order)
        yield height, float(np.median(tally.lateral_pv)), float(met.mean()) if has_target(order) else np.nan
