"""All readings of a machine together: the fit, what it answers before and after, and what to read next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bedsim.learn.answers import AnswerSpread, Changed, LearntAnswer, answer_of, pull_of, spread_of
from bedsim.learn.faults import Fault, Flip, Stand, faults_of, flips_of, mended, stand_of
from bedsim.learn.fit import Fit, disturbed, fit
from bedsim.learn.friction import friction_of
from bedsim.learn.model import Model
from bedsim.learn.next_reading import NextReading, next_readings
from bedsim.learn.observations import Observation, Series
from bedsim.learn.soft_bearings import SoftBearings, soft_bearings
from bedsim.learn.unknowns import LotSpread, Unknowns, unknowns_of
from bedsim.ranges.draws import Draw, draws
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import Shown

DRAWS = 60
"""Machines before and after; ranges by ranks are right for any number."""
MOST_MENDED = 3
"""Faults that are taken out of the readings one after the other; with more nobody would trust the rest."""

Progress = Callable[[int], None]


@dataclass(frozen=True, kw_only=True, repr=False)
class Learned(Shown):
    """`fit` is None without readings; `machines` (d, n): machines that agree with all readings; `before`,
    `after`: their answers without and with the readings; `changed_before`, `changed_after`: of the changed
    machine, None where none was asked for; `faults`: what contradicts the rest, taken out where it can be
    mended; `flips`: every series turned round; `soft`: screws in bearings far softer than thought; `stands`:
    what control series say of the gauge's stand; `friction_fault`: why friction was left out, "" where it was
    not; `pull` (n,): slope of the answer's logarithm at the likeliest machine, None without readings;
    `following`: readings not taken yet, best first."""

    unknowns: Unknowns
    fit: Fit | None
    machines: Array
    before: AnswerSpread
    after: AnswerSpread
    changed_before: AnswerSpread | None
    changed_after: AnswerSpread | None
    faults: tuple[Fault, ...]
    flips: tuple[Flip, ...]
    soft: tuple[SoftBearings, ...]
    stands: tuple[Stand, ...]
    friction_fault: str
    pull: Array | None
    following: tuple[NextReading, ...]

    @property
    def gain(self) -> Array | None:
        """What the change gains in the sideways error (d,): with over without, of each machine alike."""
        if self.changed_after is None or self.after.lost or self.changed_after.lost:
            return None
        return self.changed_after.lateral / self.after.lateral


def fitted(unknowns: Unknowns, observations: Sequence[Observation]) -> tuple[Fit, str]:
    """Fit, take friction off at the optimum, and fit again; and why friction was left out, "" where it was
    not.  Raises ModelError or InputError where the scenario's own machine is none."""
    model = Model(unknowns=unknowns, observations=tuple(observations))
    first = fit(model)
    taken = friction_of(first)
    if taken.fault:
        return first, taken.fault
    return fit(replace(model, observations=taken.observations), taken.values, first.u), ""


def learn(
    loaded: LoadedScenario,
    observations: Sequence[Observation],
    *,
    lot: LotSpread | None = None,
    measured: frozenset[str] = frozenset(),
    changed: LoadedScenario | None = None,
    controls: Sequence[Series] = (),
    sigma: float,
    count: int,
    progress: Progress = lambda done: None,
) -> Learned:
    """Learn a machine from its readings; `lot`: spreads of screws that were not gauged, `measured`: keys
    that were measured by themselves, `changed`: the machine after a change, of which it is asked too,
    `controls`: series of a gauge against a fixed point of the frame, `sigma` m of a gauge not read yet.

    Raises ModelError or InputError where the scenario's own machine is none.
    """
    unknowns = unknowns_of(loaded, lot, measured)
    free = np.random.default_rng(2).normal(size=(count, unknowns.count))
    found, fault, faults, flips = without_faults(unknowns, observations)
    machines = disturbed(found, count, progress=progress) if found is not None else free
    before = spread_of(unknowns, free)
    after = spread_of(unknowns, machines) if found is not None else before
    other = None if changed is None else Changed(unknowns=unknowns_of(changed, lot, measured), own=unknowns)
    by_draw = draws(count)
    changed_after = None if other is None else _changed(other, machines, by_draw)
    asked = after if changed_after is None else changed_after
    return Learned(
        unknowns=unknowns,
        fit=found,
        machines=machines,
        before=before,
        after=after,
        changed_before=None if other is None else _changed(other, free, by_draw),
        changed_after=changed_after,
        faults=tuple(faults),
        flips=tuple(flips),
        soft=() if found is None else tuple(soft_bearings(found)),
        stands=tuple(stand_of(one) for one in controls),
        friction_fault=fault,
        pull=None if found is None else pull_of(partial(_asked, unknowns, other), found.u),
        following=tuple(next_readings(unknowns, machines[asked.built], asked.lateral, sigma)),
    )


def without_faults(
    unknowns: Unknowns, observations: Sequence[Observation]
) -> tuple[Fit | None, str, list[Fault], list[Flip]]:
    """Fit, and fit again without what contradicts the rest, fault by fault; the last may be one that nobody
    can mend."""
    faults: list[Fault] = []
    if not observations:
        return None, "", faults, []
    rest: Sequence[Observation] | None = observations
    while rest is not None:
        found, fault = fitted(unknowns, rest)
        flips = flips_of(found)
        new = faults_of(found, flips) if len(faults) < MOST_MENDED else []
        faults += new
        rest = mended(rest, new[0]) if new else None
    return found, fault, faults, flips


def _changed(other: Changed, machines: Array, by_draw: Sequence[Draw]) -> AnswerSpread:
    return spread_of(
        other.unknowns, [other.place(u, draw) for u, draw in zip(machines, by_draw, strict=True)]
    )


def _asked(unknowns: Unknowns, other: Changed | None, u: Array) -> LearntAnswer:
    """The answer at u of the machine of which is asked: the changed one where there is one."""
    if other is None:
        return answer_of(unknowns, u)
    return answer_of(other.unknowns, other.place(u, Draw(seed=1, number=0)))


def quiet_series(found: Fit) -> list[Series]:
    """Series in the plane that move less than their readings' noise."""
    return [
        one
        for one in found.model.observations
        if isinstance(one, Series)
        and one.axis != "z"
        and float(np.std(one.value)) < 1.5 * float(np.sqrt(np.mean(one.sigma**2)))
    ]
