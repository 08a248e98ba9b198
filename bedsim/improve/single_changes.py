"""Every change alone in the likely machine: what it gains over the whole travel, without friction.

The same numbers head `bedsim improve` and stand in a report; whether a gain holds over the machine's doubts,
with friction and beside other changes is for `findings.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bedsim.analysis.travel import of_first_object
from bedsim.improve.answers import Standing, WorstAnswer, answer, standing
from bedsim.improve.lever import Lever
from bedsim.improve.levers import LEVERS
from bedsim.improve.ranking import Aim, Trial, best_of_each_lever, trials
from bedsim.improve.sets import Stage, silent
from bedsim.improve.side_effects import weakened
from bedsim.improve.steps import LeverStep, Prices, changed, every_step
from bedsim.scenario.load import LoadedScenario

TOLD = 8
"""Levers that are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """A change with its price (EUR), how the screws stand then (None: no such machine), and why it is
    refused for their strength ("": it is not)."""

    trial: Trial
    cost: float
    stands: Standing | None
    weakened: str

    @property
    def refused(self) -> str:
        """Why it is not to be done; "" where nothing speaks against it."""
        return self.trial.refused or self.weakened


@dataclass(frozen=True, slots=True, kw_only=True)
class Singles:
    """The machine as it is, every step there is, those that were tried, and the best of each lever, best
    first."""

    now: WorstAnswer
    stands: Standing
    every: tuple[LeverStep, ...]
    tried: tuple[Trial, ...]
    best: tuple[Trial, ...]


def single_changes(
    loaded: LoadedScenario,
    aim: Aim = "lateral",
    levers: Sequence[Lever] = LEVERS,
    stage: Stage = silent,
) -> Singles:
    """Try every change alone, but for those that only a run with friction can tell; of objects one after the
    other the first is printed.

    Raises ModelError or InputError where the machine as it is cannot be computed.
    """
    loaded = of_first_object(loaded)
    now, stands = answer(loaded), standing(loaded)
    every = every_step(loaded, levers)
    alone = [(step,) for step in every if not step.option.by_run]
    with stage(len(alone), "single changes") as progress:
        tried = trials(loaded, now, alone, progress)
    return Singles(
        now=now,
        stands=stands,
        every=tuple(every),
        tried=tuple(tried),
        best=tuple(best_of_each_lever(tried, aim)[:TOLD]),
    )


def gain_of(loaded: LoadedScenario, one: Trial, stands: Standing, prices: Prices) -> Gain:
    """A trial with its price and what it does to the screws, which stand so now."""
    cost = sum(step.cost(prices) for step in one.steps)
    if one.after is None:
        return Gain(trial=one, cost=cost, stands=None, weakened="")
    then = standing(changed(loaded, one.steps))
    return Gain(trial=one, cost=cost, stands=then, weakened=weakened(stands, then))
