"""Single steps, each worked out whole and in its full size: a slope at the present value would rank as well
but tell half or twice the gain."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

from bedsim.background import each
from bedsim.errors import BedsimError
from bedsim.improve.answers import WorstAnswer
from bedsim.improve.side_effects import refused
from bedsim.improve.steps import LeverStep
from bedsim.improve.taken import answer_of, own_table_of, software_refused
from bedsim.scenario.load import LoadedScenario
from bedsim.units import UM

Aim = Literal["lateral", "height"]
Progress = Callable[[int], None]
SMALLEST = 1e-10
"""m; errors below it count as this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Steps taken together (often one) and what they make of the machine; `after` is None and `refused` says
    why where that cannot be had or must not be."""

    steps: tuple[LeverStep, ...]
    before: WorstAnswer
    after: WorstAnswer | None
    refused: str = ""

    def gain(self, aim: Aim) -> float:
        """Error before over after; 0 where there is no after."""
        if self.after is None:
            return 0.0
        return max(getattr(self.before, aim), SMALLEST) / max(getattr(self.after, aim), SMALLEST)

    @property
    def words(self) -> str:
        """What to do."""
        return " + ".join(step.words for step in self.steps)


def height_limit(loaded: LoadedScenario) -> float | None:
    """Target of the height error, m."""
    given = loaded.scenario.target.height_pv_um
    return None if given is None else given * UM


def trial(loaded: LoadedScenario, before: WorstAnswer, steps: Sequence[LeverStep]) -> Trial:
    """Take some steps."""
    taken = tuple(steps)
    try:
        table = own_table_of(loaded, taken)
        after, against = answer_of(loaded, taken, table), software_refused(table)
    except BedsimError as fault:
        return Trial(steps=taken, before=before, after=None, refused=f"no such machine: {fault}")
    why = refused(before, after, height_limit(loaded)) or against
    return Trial(steps=taken, before=before, after=after, refused=why)


def trials(
    loaded: LoadedScenario,
    before: WorstAnswer,
    sets: Iterable[Sequence[LeverStep]],
    progress: Progress = lambda done: None,
) -> list[Trial]:
    """Take sets of steps one by one, each from the machine as it is."""
    return each([partial(trial, loaded, before, steps) for steps in sets], progress)


def best_of_each_lever(found: Iterable[Trial], aim: Aim) -> list[Trial]:
    """The best option of every lever that gains, largest gain first; one that is refused only where the lever
    has no other that gains.  Of options that gain alike the one that holds: that removes before one that
    cancels, and a level before a number."""
    by_lever: dict[str, Trial] = {}
    for one in sorted(found, key=lambda t: -_worth(t, aim)):
        if one.after is not None and one.gain(aim) > WORTH_TELLING:
            by_lever.setdefault(one.steps[0].lever.name.partition(" ")[0], one)
    ordered = sorted(by_lever.values(), key=lambda t: -t.gain(aim))
    return [*(t for t in ordered if not t.refused), *(t for t in ordered if t.refused)]


WORTH_TELLING = 1.02
"""Gain from which on a lever is told.  Our choice."""
ALIKE = 1.05
"""Factor within which two gains count as alike."""


def _worth(one: Trial, aim: Aim) -> float:
    step = one.steps[0]
    bonus = ALIKE if step.levels else 1.0 / ALIKE if step.cancels else 1.0
    return (0.0 if one.refused else 1e9) + one.gain(aim) * bonus
