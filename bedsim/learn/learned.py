"""All readings of a machine together: the fit, what it answers before and after, and what to read next."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.errors import BedsimError
from bedsim.learn.answers import AnswerSpread, Changed, answer_of, spread_of
from bedsim.learn.faults import Fault, faults_of, stand_is_seen
from bedsim.learn.fit import Fit, disturbed, fit
from bedsim.learn.friction import friction_of
from bedsim.learn.model import Model
from bedsim.learn.next_reading import NextReading, Vantage, gradient, next_readings
from bedsim.learn.observations import Observation, Series
from bedsim.learn.unknowns import LotSpread, Unknowns, unknowns_of
from bedsim.ranges.draws import Draw, draws
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import Shown

DRAWS = 60
"""Machines before and after; ranges by ranks are right for any number."""
LOOKED_FROM = 3
"""Drawn machines from which a first reading is planned."""

Progress = Callable[[int], None]


@dataclass(frozen=True, kw_only=True, repr=False)
class Learned(Shown):
    """`fit` is None without readings; `machines` (d, n): machines that agree with all readings; `before`,
    `after`: their answers without and with the readings; `changed_before`, `changed_after`: of the changed
    machine, None where none was asked for; `friction_fault`: why friction was left out, "" where it was not;
    `pull` (n,): slope of the answer's logarithm at the likeliest machine; `following`: readings not taken
    yet, best first."""

    unknowns: Unknowns
    fit: Fit | None
    machines: Array
    before: AnswerSpread
    after: AnswerSpread
    changed_before: AnswerSpread | None
    changed_after: AnswerSpread | None
    faults: tuple[Fault, ...]
    stand_seen: bool
    friction_fault: str
    pull: Array
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
    sigma: float,
    count: int,
    progress: Progress = lambda done: None,
) -> Learned:
    """Learn a machine from its readings; `lot`: spreads of screws that were not gauged, `measured`: keys
    that were measured by themselves, `changed`: the machine after a change, of which it is asked too,
    `sigma` m of a gauge not read yet.

    Raises ModelError or InputError where the scenario's own machine is none.
    """
    unknowns = unknowns_of(loaded, lot, measured)
    free = np.random.default_rng(2).normal(size=(count, unknowns.count))
    found, fault = fitted(unknowns, observations) if observations else (None, "")
    machines = disturbed(found, count, progress=progress) if found is not None else free
    before = spread_of(unknowns, free)
    after = spread_of(unknowns, machines) if found is not None else before
    other = None if changed is None else Changed(unknowns=unknowns_of(changed, lot, measured), own=unknowns)
    by_draw = draws(count)
    places = _places(unknowns, found, free, other)
    return Learned(
        unknowns=unknowns,
        fit=found,
        machines=machines,
        before=before,
        after=after,
        changed_before=None if other is None else _changed(other, free, by_draw),
        changed_after=None if other is None else _changed(other, machines, by_draw),
        faults=tuple(faults_of(found)) if found is not None else (),
        stand_seen=found is None or stand_is_seen(found),
        friction_fault=fault,
        pull=places[0].gradient,
        following=tuple(next_readings(unknowns, places, sigma)),
    )


def _changed(other: Changed, machines: Array, by_draw: Sequence[Draw]) -> AnswerSpread:
    return spread_of(
        other.unknowns, [other.place(u, draw) for u, draw in zip(machines, by_draw, strict=True)]
    )


def _places(unknowns: Unknowns, found: Fit | None, free: Array, other: Changed | None) -> list[Vantage]:
    """From where the next reading is planned, for the answer of the changed machine where there is one:
    the likeliest machine, or some drawn ones that can be built."""

    def log_answer(u: Array) -> float:
        if other is None:
            return math.log(answer_of(unknowns, u).lateral)
        return math.log(answer_of(other.unknowns, other.place(u, Draw(seed=1, number=0))).lateral)

    if found is not None:
        return [Vantage(u=found.u, P=found.P, gradient=gradient(log_answer, found.u))]
    seen = []
    for u in free:
        with contextlib.suppress(BedsimError):
            seen.append(Vantage(u=u, P=np.eye(u.size), gradient=gradient(log_answer, u)))
        if len(seen) == LOOKED_FROM:
            break
    return seen


def quiet_series(found: Fit) -> list[Series]:
    """Series in the plane that move less than their readings' noise."""
    return [
        one
        for one in found.model.observations
        if isinstance(one, Series)
        and one.axis != "z"
        and float(np.std(one.value)) < 1.5 * float(np.sqrt(np.mean(one.sigma**2)))
    ]
