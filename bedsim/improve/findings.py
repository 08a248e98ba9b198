"""The whole answer: what gains most, what is unusual, sets, the cheapest that reaches a target, checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from bedsim.analysis.cautions import cautions
from bedsim.analysis.travel import of_first_object
from bedsim.background import each
from bedsim.compensate.software import SoftwareGain
from bedsim.improve import doubt, sets
from bedsim.improve.answers import Standing, WorstAnswer
from bedsim.improve.checks import Checked, FrictionRun
from bedsim.improve.doubt import Drawn, Holds, Tolerance
from bedsim.improve.lever import Lever
from bedsim.improve.levers import LEVERS
from bedsim.improve.ranking import Aim, Trial, trials
from bedsim.improve.runs import CHECKED, RunWords, runs
from bedsim.improve.sets import Cheapest, Stage, silent
from bedsim.improve.side_effects import Effect, effects
from bedsim.improve.single_changes import Gain, gain_of, single_changes
from bedsim.improve.steps import LeverStep, Prices, changed
from bedsim.improve.taken import by_software, table_of
from bedsim.improve.unusual import Unusual, returns, unusual
from bedsim.ranges.split import Split, split_of_travel
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import Shown

SET_DRAWS = 30
"""Drawn machines that a set must bring to the target."""
CANCELS = 3.0
"""Parts that together are so many times the whole cancel each other."""

FIRST_OF_MANY = "Objects are printed one after the other: the first is taken, as high as the screws allow."


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Gain):
    """Steps with all that is to be known of them.

    `split`: what is left, in parts (None of software, which leaves steps of X and Y); `cancels`: by a
    number that must be met, or by parts of the error that take each other off; `check`: what the
    propagator says, where it was asked.
    """

    effects: tuple[Effect, ...]
    holds: Holds | None
    tolerance: Tolerance | None
    split: Split | None
    cancels: bool
    check: Checked | None = None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Improvement(Shown):
    """Everything `bedsim improve` says, SI; `gains`: the likely machine's levers, best first; `software`:
    what shift and turn leave, of the sideways error; `target` m."""

    title: str
    aim: Aim
    place: str
    now: WorstAnswer
    stands: Standing
    split: Split
    software: SoftwareGain | None
    gains: tuple[Told, ...]
    unusual: tuple[Unusual, ...]
    by_run: tuple[Checked, ...]
    together: tuple[Checked, ...]
    best_set: Told | None
    target: float | None
    probability: float
    cheapest: Cheapest | None
    cheapest_told: Told | None
    run: FrictionRun | None
    run_refused: str
    tried: int
    cautions: tuple[str, ...]


def improve(
    loaded: LoadedScenario,
    *,
    aim: Aim = "lateral",
    target: float | None = None,
    probability: float = 0.9,
    prices: Prices | None = None,
    with_runs: bool = True,
    levers: Sequence[Lever] = LEVERS,
    stage: Stage = silent,
) -> Improvement:
    """Find what to change; of objects one after the other the first is taken.  `target`: m, of the aimed
    error; `prices`: EUR by the names of levers, beside the assumed classes; `with_runs` False leaves the
    propagator's checks out.

    Raises ModelError or InputError where the machine as it is cannot be computed.
    """
    several, loaded = loaded, of_first_object(loaded)
    own_prices = prices or {}
    alone = single_changes(loaded, aim, levers, stage)
    now, stands, every, singles, ranked = alone.now, alone.stands, alone.every, alone.tried, alone.best
    with stage(len(returns(loaded)), "what is unusual") as progress:
        strange = unusual(loaded, now, progress)
    found = sets.beam(loaded, now, singles, aim, stage)
    best = sets.worth_having(found, singles, aim)
    with stage(SET_DRAWS, "machines drawn") as progress:
        machines = doubt.drawn_machines(loaded, SET_DRAWS, progress)
    least = _cheapest(loaded, machines, singles, found, aim, target, probability, own_prices, stage)
    wanted = [*ranked, *([best] if best is not None and len(best.steps) > 1 else [])]
    paid = trials(loaded, now, [least.steps]) if least is not None and least.steps else []
    teller = _Teller(loaded, stands, machines[: doubt.DRAWS], aim, own_prices)
    told = _all_told(teller, [*wanted, *paid], stage)
    words = RunWords(winners={})
    if with_runs:
        words = _runs(loaded, told, len(ranked), every, machines, aim, stage)
    told = [replace(one, check=words.winners.get(k)) for k, one in enumerate(told)]
    split = split_of_travel(loaded)
    return Improvement(
        title=loaded.scenario.title,
        aim=aim,
        place=split.place,
        now=now,
        stands=stands,
        split=split,
        software=table_of(loaded, ()).gain if aim == "lateral" else None,
        gains=tuple(told[: len(ranked)]),
        unusual=tuple(strange),
        by_run=words.alone,
        together=words.together,
        best_set=told[len(ranked)] if len(wanted) > len(ranked) else None,
        target=target,
        probability=probability,
        cheapest=least,
        cheapest_told=told[-1] if paid else None,
        run=words.now,
        run_refused=words.refused,
        tried=len(singles) + len(found) + (least.tried if least is not None else 0),
        cautions=(*[FIRST_OF_MANY] * (several is not loaded), *cautions(loaded.scenario)),
    )


def _all_told(teller: _Teller, found: Sequence[Trial], stage: Stage) -> list[Told]:
    with stage(len(found), "whether gains hold") as progress:
        return each([partial(teller.tell, one) for one in found], progress)


def _cheapest(
    loaded: LoadedScenario,
    machines: Sequence[Drawn],
    singles: Sequence[Trial],
    found: Sequence[Trial],
    aim: Aim,
    target: float | None,
    probability: float,
    prices: Prices,
    stage: Stage,
) -> Cheapest | None:
    if target is None or not machines:
        return None
    options = sets.options_for(singles, found, aim)
    with stage(len([*sets.by_price(options, prices)]), "sets by price") as progress:
        return sets.cheapest(loaded, machines, options, aim, target, probability, prices, progress)


def _runs(
    loaded: LoadedScenario,
    told: Sequence[Told],
    ranked: int,
    every: Sequence[LeverStep],
    machines: Sequence[Drawn],
    aim: Aim,
    stage: Stage,
) -> RunWords:
    """The propagator's word on the first winners and the sets, and on what lives by friction."""
    winners = {
        k: one.trial.steps for k, one in enumerate(told) if not one.refused and (k < CHECKED or k >= ranked)
    }
    return runs(loaded, winners, every, machines, aim, stage)


@dataclass(frozen=True, slots=True)
class _Teller:
    """What all that is told has in common."""

    loaded: LoadedScenario
    stands: Standing
    machines: Sequence[Drawn]
    aim: Aim
    prices: Prices

    def tell(self, one: Trial) -> Told:
        """Side effects, doubts, tolerance and what is left of the error."""
        gain = gain_of(self.loaded, one, self.stands, self.prices)
        if one.after is None or gain.stands is None:
            return Told(
                trial=one,
                cost=gain.cost,
                stands=None,
                weakened="",
                effects=(),
                holds=None,
                tolerance=None,
                split=None,
                cancels=False,
            )
        software = by_software(one.steps)
        split = None if software else split_of_travel(changed(self.loaded, one.steps))
        return Told(
            trial=one,
            cost=gain.cost,
            stands=gain.stands,
            weakened=gain.weakened,
            effects=effects(one.before, one.after, self.stands, gain.stands),
            holds=doubt.holds(self.loaded, one.steps, self.machines, self.aim) if self.machines else None,
            tolerance=doubt.tolerance(self.loaded, one, self.aim),
            split=split,
            cancels=any(s.cancels for s in one.steps) or (split is not None and split.cancelled > CANCELS),
        )
