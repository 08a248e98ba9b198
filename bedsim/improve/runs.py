"""What the propagator adds to the answer: checks of the winners, and the levers that live by friction, alone,
over the machine's doubts and on top of the winners."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from bedsim.background import each
from bedsim.errors import BedsimError
from bedsim.improve import checks, sets
from bedsim.improve.checks import Checked, FrictionRun
from bedsim.improve.doubt import Drawn
from bedsim.improve.ranking import WORTH_TELLING, Aim
from bedsim.improve.steps import LeverStep
from bedsim.scenario.load import LoadedScenario

CHECKED = 3
"""Winners that are run."""
FRICTION_TOLD = 3
"""Levers of friction that gain most, told with their doubts and tried in sets."""
FRICTION_DRAWS = 6
"""Machines that those are run on; a run takes as long as fifty answers without friction."""

Steps = tuple[LeverStep, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunWords:
    """The machine as it is (`now`; None with `refused`), `winners` by their place, what lives by friction
    `alone`, best first, and `together` with winners or with each other, where that pays."""

    now: FrictionRun | None = None
    refused: str = ""
    winners: dict[int, Checked]
    alone: tuple[Checked, ...] = ()
    together: tuple[Checked, ...] = ()


def runs(
    loaded: LoadedScenario,
    winners: dict[int, Steps],
    every: Sequence[LeverStep],
    machines: Sequence[Drawn],
    aim: Aim,
    stage: sets.Stage,
) -> RunWords:
    """Run the winners and every lever that only a run can tell."""
    by_run = [(step,) for step in every if step.option.by_run]
    with stage(len(winners) + len(by_run), "runs with friction") as progress:
        try:
            now = checks.run(loaded)
        except BedsimError as fault:
            return RunWords(refused=str(fault), winners={})
        works = [partial(checks.check, loaded, now, s, aim) for s in (*winners.values(), *by_run)]
        found = each(works, progress)
    checked = dict(zip(winners, found, strict=False))
    alone = sorted(found[len(winners) :], key=lambda c: -c.found if c.run else 0.0)
    best = [c for c in alone if c.run is not None and c.found > WORTH_TELLING][:FRICTION_TOLD]
    some = machines[:FRICTION_DRAWS] if best else ()
    with stage((1 + len(best)) * len(some), "friction over the doubts") as progress:
        doubted = checks.doubts(loaded, best, some, aim, progress) if some else best
    return RunWords(
        now=now,
        winners=checked,
        alone=(*doubted, *(c for c in alone if c not in best)),
        together=_together(loaded, now, [*checked.values()], best, aim, stage),
    )


def _together(
    loaded: LoadedScenario,
    now: FrictionRun,
    winners: Sequence[Checked],
    best: Sequence[Checked],
    aim: Aim,
    stage: sets.Stage,
) -> tuple[Checked, ...]:
    """Winners with a lever of friction, and pairs of those, that gain more than each of the two by as much as
    a further step must; best first."""
    bases = [w for w in winners if w.run is not None]
    pairs = [*itertools.product(bases, best), *itertools.combinations(best, 2)]
    pairs = [(a, b) for a, b in pairs if sets.go_together((*a.steps, *b.steps))]
    with stage(len(pairs), "sets with levers of friction") as progress:
        works = [partial(checks.check, loaded, now, (*a.steps, *b.steps), aim) for a, b in pairs]
        found = each(works, progress)
    paying = [
        one
        for one, (a, b) in zip(found, pairs, strict=True)
        if one.run is not None and one.found > sets.WORTH_A_STEP * max(a.found, b.found)
    ]
    return tuple(sorted(paying, key=lambda c: -c.found))[:FRICTION_TOLD]
