"""Steps together.  Every set is worked out as a machine: gains of its steps never add up nor multiply, and of
pairs of good steps a good part are worse than the better of the two."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from functools import partial

from bedsim.background import each
from bedsim.compensate.software import OwnTable
from bedsim.errors import BedsimError
from bedsim.improve.answers import WorstAnswer
from bedsim.improve.doubt import Drawn
from bedsim.improve.ranking import Aim, Progress, Trial, trials
from bedsim.improve.side_effects import refused
from bedsim.improve.steps import LeverStep, Prices
from bedsim.improve.taken import answer_of, by_software, own_table_of
from bedsim.scenario.load import LoadedScenario

BEAM = 5
"""Sets that are gone on with at each size: that found the best triple where all were tried."""
LARGEST = 3
POOL = 30
"""Steps that are tried together, one of each lever, those that do most alone."""
CHEAP_POOL = 18
"""Steps of which the cheapest set is sought."""
FAR = 1.3
"""Factor of the target beyond which the likely machine is too far off for most drawn ones.  Our choice."""
SIDE_BY_SIDE = 12
"""Sets that are tried before the first of them is looked at: two processes share them."""
EFFECT = 1.005
"""A step alone does something where it changes the error by this factor."""
WORTH_A_STEP = 1.1
"""Factor that a further step must add."""

Stage = Callable[[int, str], AbstractContextManager[Progress]]
"""Opens a stage of the work: how many evaluations, and what is done; gives what takes the number done."""


def silent(total: int, what: str) -> AbstractContextManager[Progress]:
    """Tell nobody."""
    return nullcontext(lambda done: None)


def pool_of(singles: Sequence[Trial], aim: Aim) -> list[LeverStep]:
    """The best option of every lever that does anything alone, for better or worse, what does most first."""
    best: dict[str, Trial] = {}
    for one in sorted(singles, key=lambda t: -t.gain(aim)):
        if one.after is not None and not one.refused:
            best.setdefault(one.steps[0].lever.name, one)
    acting = [t for t in best.values() if abs(math.log(t.gain(aim))) > math.log(EFFECT)]
    ordered = sorted(acting, key=lambda t: -abs(math.log(t.gain(aim))))
    return [t.steps[0] for t in ordered[:POOL]]


def go_together(steps: Sequence[LeverStep]) -> bool:
    """Whether steps set different keys, and none levels with what another sets level with it."""
    keys: list[str] = [k for s in steps for k in s.keys]
    levels = {(c.key, c.level_with) for s in steps for c in s.option.changes if c.level_with}
    return len(set(keys)) == len(keys) and not any((b, a) in levels for a, b in levels)


def beam(
    loaded: LoadedScenario, before: WorstAnswer, singles: Sequence[Trial], aim: Aim, stage: Stage = silent
) -> list[Trial]:
    """The best sets found of two and three steps, best first, beginning from the best singles; without
    software, which leaves its steps of any machine."""
    mechanical = [t for t in singles if not by_software(t.steps)]
    pool = pool_of(mechanical, aim)
    front = sorted((t for t in mechanical if t.after and not t.refused), key=lambda t: -t.gain(aim))
    front, found = _one_per_lever(front)[:BEAM], []
    for size in range(2, LARGEST + 1):
        tried = _grown([t.steps for t in front], pool)
        with stage(len(tried), f"sets of {size}") as progress:
            grown = [t for t in trials(loaded, before, tried, progress) if not t.refused]
        found += grown
        front = sorted(grown, key=lambda t: -t.gain(aim))[:BEAM]
    return sorted(found, key=lambda t: -t.gain(aim))


def _one_per_lever(found: Sequence[Trial]) -> list[Trial]:
    kept: dict[str, Trial] = {}
    for one in found:
        kept.setdefault(one.steps[0].lever.name, one)
    return [*kept.values()]


def _grown(sets: Sequence[Sequence[LeverStep]], pool: Sequence[LeverStep]) -> list[tuple[LeverStep, ...]]:
    """Every set with one more step, each once."""
    found: dict[frozenset[tuple[str, ...]], tuple[LeverStep, ...]] = {}
    for steps, more in itertools.product(sets, pool):
        grown = (*steps, more)
        if go_together(grown):
            found.setdefault(frozenset((s.words, *sorted(s.keys)) for s in grown), grown)
    return [*found.values()]


def worth_having(found: Sequence[Trial], singles: Sequence[Trial], aim: Aim) -> Trial | None:
    """The best set, with no more steps than pay: a further one must add `WORTH_A_STEP`."""
    alone = [t for t in singles if not t.refused and t.after is not None]
    best = max(alone, key=lambda t: t.gain(aim), default=None)
    for size in range(2, LARGEST + 1):
        rivals = [t for t in found if len(t.steps) == size]
        rival = max(rivals, key=lambda t: t.gain(aim), default=None)
        if rival is not None and (best is None or rival.gain(aim) > WORTH_A_STEP * best.gain(aim)):
            best = rival
    return best


# ---- the cheapest that is good enough ------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Cheapest:
    """The cheapest set that reaches the target often enough (no steps: the machine as it is), or None with
    the surest that was seen; shares of the drawn machines that reach it."""

    steps: tuple[LeverStep, ...] | None
    cost: float
    share: float
    now: float
    surest: tuple[LeverStep, ...]
    surest_share: float
    tried: int


def cheapest(
    loaded: LoadedScenario,
    machines: Sequence[Drawn],
    options: Sequence[LeverStep],
    aim: Aim,
    target: float,
    probability: float,
    prices: Prices,
    progress: Progress = lambda done: None,
) -> Cheapest:
    """Try sets in the order of their price, those alike in price with fewer steps first; a set is dropped at
    the draw with which it fails too often.  The first that is left is the cheapest of these options.

    `target` m; `probability`: share of the drawn machines that must reach it.
    """
    now = sum(_value(m.before, aim) <= target for m in machines) / len(machines)
    if now >= probability:
        return Cheapest(steps=(), cost=0.0, share=now, now=now, surest=(), surest_share=now, tried=0)
    surest: tuple[LeverStep, ...] = ()
    best, tried = now, 0
    may_fail = math.floor((1.0 - probability) * len(machines) + 1e-9)
    for cost, steps, passed in _shares(loaded, by_price(options, prices), machines, aim, target, may_fail):
        tried += 1
        progress(tried)
        if passed > best:
            surest, best = steps, passed
        if passed >= probability - 1e-9:
            return Cheapest(
                steps=steps, cost=cost, share=passed, now=now, surest=steps, surest_share=passed, tried=tried
            )
    return Cheapest(
        steps=None, cost=math.nan, share=math.nan, now=now, surest=surest, surest_share=best, tried=tried
    )


def _shares(
    loaded: LoadedScenario,
    sets: Iterator[tuple[float, tuple[LeverStep, ...]]],
    machines: Sequence[Drawn],
    aim: Aim,
    target: float,
    may_fail: int,
) -> Iterator[tuple[float, tuple[LeverStep, ...], float]]:
    """Price, steps and share of the machines that reach the target, in order, some sets side by side."""
    while some := [*itertools.islice(sets, SIDE_BY_SIDE)]:
        works = [partial(_passes, loaded, steps, machines, aim, target, may_fail) for _, steps in some]
        for (cost, steps), passed in zip(some, each(works), strict=True):
            yield cost, steps, passed


def by_price(options: Sequence[LeverStep], prices: Prices) -> Iterator[tuple[float, tuple[LeverStep, ...]]]:
    """All sets of up to `LARGEST` steps that go together, cheapest first."""
    sets = [s for n in range(1, LARGEST + 1) for s in itertools.combinations(options, n) if go_together(s)]
    costs = [sum(step.cost(prices) for step in s) for s in sets]
    order = sorted(range(len(sets)), key=lambda k: (costs[k], len(sets[k])))
    return ((costs[k], sets[k]) for k in order)


def _passes(
    loaded: LoadedScenario,
    steps: Sequence[LeverStep],
    machines: Sequence[Drawn],
    aim: Aim,
    target: float,
    may_fail: int,
) -> float:
    """Share of the machines that steps bring to the target; of those seen until it failed once too often.
    None of them where the likely machine is far from it."""
    try:
        table = own_table_of(loaded, steps)
        if _value(answer_of(loaded, steps, table), aim) > FAR * target:
            return 0.0
    except BedsimError:
        return 0.0
    failed = 0
    for seen, machine in enumerate(machines, start=1):
        failed += not _reaches(loaded, steps, table, machine, aim, target)
        if failed > may_fail:
            return min(1.0 - failed / seen, (seen - failed) / len(machines))
    return 1.0 - failed / len(machines)


def _reaches(
    loaded: LoadedScenario,
    steps: Sequence[LeverStep],
    table: OwnTable | None,
    machine: Drawn,
    aim: Aim,
    target: float,
) -> bool:
    try:
        after = answer_of(loaded, steps, table, machine.draw)
    except BedsimError:
        return False
    return _value(after, aim) <= target and not refused(machine.before, after)


def _value(found: WorstAnswer | None, aim: Aim) -> float:
    return math.inf if found is None else float(getattr(found, aim))


def options_for(singles: Sequence[Trial], sets: Sequence[Trial], aim: Aim) -> list[LeverStep]:
    """Steps of which the cheapest set is sought: those of the best sets, then those that gain most alone,
    several options of a lever where they cost differently or work differently."""
    chosen: dict[tuple[str, tuple[str, ...]], LeverStep] = {}
    best = sorted((t for t in singles if t.after and not t.refused), key=lambda t: -t.gain(aim))
    told = [t.steps[0] for t in best if t.gain(aim) > EFFECT]
    for step in [*(s for t in sets[:10] for s in t.steps), *told]:
        same = [k for k in chosen if k[0].startswith(step.lever.name)]
        if len(same) < 2 and len(chosen) < CHEAP_POOL:
            chosen.setdefault((step.lever.name + step.option.words, step.corners), step)
    return [*chosen.values()]
