"""The answer as a range: what uncertain numbers leave open, and which of them to measure next."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

from bedsim.analysis.figures import metric_values
from bedsim.analysis.linear_machine import linear_chunk, shortened, without_play
from bedsim.analysis.summary import Influence, Ranges
from bedsim.background import Shared
from bedsim.engines import base
from bedsim.engines.equilibrium import is_linear
from bedsim.errors import BedsimError
from bedsim.quantities import FIGURES
from bedsim.ranges.alone import (
    NOTHING_WITHOUT_FRICTION,
    RANGED,
    SELDOM,
    Alone,
    LikelyMachine,
    Swing,
    Values,
    each_alone,
    figures_of,
    half_differences,
    last_name,
    leads_of,
    likely_machine,
    minus,
    seldom_moving,
    spread_moments,
)
from bedsim.ranges.coarse_friction import coarse_chunks, likeness
from bedsim.results.layers import Array, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.simulation import layer_result, make_job

CONTACT_KEYS: Mapping[str, int] = {
    "friction_coefficient": 1,
    "friction_n": 1,
    "drag_torque_n_mm": 1,
    "magnet_force_n": 1,
    "flank_angle_deg": 1,
    "breakaway_um": -1,
    "drag_breakaway_deg": -1,
    "clearance_um": -1,
}
"""Keys that set friction and play, and whether their high end makes contacts hold more (1) or less (-1)."""

FRICTION_LAYERS = 30
"""Layers over which friction is followed for a range."""
WORTH_FRICTION = 0.2
"""Share of the other keys' range from which on every contact key is varied alone (4 % of the squares).  Our
choice.
"""

SIGNED = tuple(q.name for q in FIGURES if q.ranged == "differences")
"""Figures that can pass zero: a mount that is pressed at one end of a range may lift off at the other."""

SMALLEST_FACTOR = 0.05
"""No key alone is believed to lower an answer further: there the model's other errors rule.  Our choice."""

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Ranges with a sentence on how they were found, and keys that could not be varied with the reason;
    `spread` as in `results.layers.Open`, layer by layer.
    """

    ranges: Ranges
    method: str
    spread: Array
    left_out: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Swings:
    """What every key does without friction, what those of contacts do with it, and keys that could not be
    varied with the reason; `spread`: of the errors layer by layer, without friction.
    """

    without_friction: tuple[Swing, ...]
    contacts: tuple[Swing, ...]
    left_out: tuple[tuple[str, str], ...]
    spread: Array


class Variation:
    """Every uncertain key alone between its low and its high, begun in the background where there is a second
    core, with other work `beside`.

    Every key without friction over all layers (`linear_machine`).  Then the keys of contacts with friction
    over the first layers: all together at their weakest and their strongest, and each alone if that moves the
    answer by a fifth of the range or more.  Limits: two keys that are bad only together are missed.
    """

    def __init__(self, loaded: LoadedScenario, beside: Sequence[Callable[[], Any]] = ()) -> None:
        self._loaded, self._beside = loaded, len(beside)
        seldom = [key for key in loaded.ranges if key.key.endswith(SELDOM)]
        others = [key for key in loaded.ranges if key not in seldom]
        self._keys = [*seldom, *others]
        alone = [partial(self._alone, each_alone, [key]) for key in others]
        first = partial(_together, loaded), partial(self._alone, seldom_moving, seldom)
        self._found: Shared[Any] = Shared([*beside, *first, *alone])

    @cached_property
    def _likely(self) -> LikelyMachine:
        """In each process that does a part of the work: it is quicker worked out than waited for."""
        return likely_machine(self._loaded)

    def _alone(self, way: Callable[..., list[Alone]], keys: Sequence[Range]) -> list[Alone]:
        return way(self._loaded, keys, self._likely)

    def swings(self, progress: Progress = lambda done: None) -> Swings:
        """What was found; `progress` is told the number of evaluations done, of about `steps_needed`."""
        loaded = self._loaded
        spread = spread_moments(half_differences(self._likely.layers, self._likely.layers))
        swings, left_out = [], []
        together, *works = self._results(progress)[self._beside :]
        told = dict(zip(self._keys, (one for work in works for one in work), strict=True))
        for key in loaded.ranges:
            one = told[key]
            if one.swing is None:
                left_out.append((key.key, one.fault))
                continue
            swings.append(one.swing)
            spread = spread if one.half is None else spread + spread_moments(one.half)
        contacts = _contact_swings(loaded, swings, together)
        progress(steps_needed(loaded))
        return Swings(
            without_friction=tuple(swings), contacts=tuple(contacts), left_out=tuple(left_out), spread=spread
        )

    def beside(self, progress: Progress = lambda done: None) -> list[Any]:
        """What was worked out beside; waits for the keys too."""
        return self._results(progress)[: self._beside]

    def _results(self, progress: Progress) -> list[Any]:
        return self._found.results(lambda done: progress(max(0, 2 * (done - self._beside) - 1)))


def vary(loaded: LoadedScenario, progress: Progress = lambda done: None) -> Swings:
    """What uncertain keys do, see `Variation`."""
    return Variation(loaded).swings(progress)


def find_ranges(run: Run, loaded: LoadedScenario, swings: Swings) -> Found:
    """Ranges about the run's answer.

    Range = answer exp(-sqrt(sum d^2)) to answer exp(sqrt(sum u^2)), where d and u are the logarithms of the
    factors by which each key alone lowers and raises the answer: keys are independent and their effects
    multiply, as those of stiffness, length and run-out do.  Source: root-sum-square of relative
    contributions, [GUM] 5.1.6; one-sided swings in place of derivatives are our choice, for ranges that are
    not symmetric.  Figures that can pass zero (SIGNED) have no factors: their differences join, [GUM] 5.1.2;
    so do those by which an answer rises that one key alone raises more than twentyfold: it lies near zero.
    """
    likely = metric_values(run.layers, leads_of(loaded))
    every, contacts = swings.without_friction, swings.contacts
    low, high = _combined(likely, (*every, *contacts))
    alone = [s for s in contacts if s.key is not None]
    return Found(
        ranges=Ranges(low=low, high=high, influences=_influences(every, alone)),
        method=_method(len(every), contacts, alone, loaded.scenario.print.layers),
        spread=swings.spread,
        left_out=swings.left_out,
    )


def steps_needed(loaded: LoadedScenario) -> int:
    """About how many evaluations `vary` reports as progress."""
    return 2 * len(loaded.ranges) + 2


def _influences(swings: Sequence[Swing], contacts: Sequence[Swing]) -> tuple[Influence, ...]:
    """Every key once, largest swing first; contact keys with what they do by friction."""
    sizes: dict[Range, float] = {}
    for swing in (*swings, *contacts):
        assert swing.key is not None
        sizes[swing.key] = math.hypot(sizes.get(swing.key, 0.0), swing.size("lateral_pv"))
    ordered = sorted(sizes.items(), key=lambda item: -item[1])
    return tuple(Influence(key=k.key, basis=k.basis, swing=size) for k, size in ordered)


def _method(count: int, contacts: Sequence[Swing], alone: Sequence[Swing], layers: int) -> str:
    text = (
        f"Ranges: {count} uncertain keys, each alone at its low and high, factors joined by root-sum-square"
    )
    if not contacts:
        return f"{text}; without friction."
    how = f"{len(alone)} keys of friction and play each alone" if alone else "friction and play together"
    first = min(layers, FRICTION_LAYERS)
    return f"{text}; without friction, then {how} with friction (at rest, first {first} layers)."


# ---- friction -----------------------------------------------------------------------------------------


def _together(loaded: LoadedScenario) -> tuple[Values, Swing] | None:
    """What friction and play add at their likely values, and what their keys do to that all together; None
    where they have none, or no equilibrium."""
    if not _contact_keys(loaded) or is_linear(make_job(loaded).machine):
        return None
    weak, strong = contact_ends(loaded)
    middle, at_weakest, at_strongest = _friction_parts(loaded, [{}, weak, strong])
    if middle is None:
        return None
    ends = _change(at_weakest, middle), _change(at_strongest, middle)
    return middle, Swing(key=None, at_low=ends[0], at_high=ends[1])


def _contact_swings(
    loaded: LoadedScenario, swings: Sequence[Swing], found: tuple[Values, Swing] | None
) -> list[Swing]:
    """What the keys of friction and play do: one swing of all together, or one of each key if they matter."""
    if found is None:
        return []
    middle, together = found
    if not _matters(together, swings):
        return [together]
    keys = _contact_keys(loaded)
    every = [{k.key: value} for k in keys for value in (k.low, k.high)]
    ends = _friction_parts(loaded, every)
    return [
        Swing(key=key, at_low=_change(low, middle), at_high=_change(high, middle))
        for key, low, high in zip(keys, ends[::2], ends[1::2], strict=True)
    ]


def contact_ends(loaded: LoadedScenario) -> tuple[Values, Values]:
    """Values of all uncertain keys of contacts where they hold least, and where they hold most."""
    ends = [(k, (k.low, k.high)[:: CONTACT_KEYS[last_name(k)]]) for k in _contact_keys(loaded)]
    return {k.key: weak for k, (weak, _) in ends}, {k.key: strong for k, (_, strong) in ends}


def _contact_keys(loaded: LoadedScenario) -> list[Range]:
    return [key for key in loaded.ranges if last_name(key) in CONTACT_KEYS]


def _matters(together: Swing, swings: Sequence[Swing]) -> bool:
    return any(
        together.size(name) > WORTH_FRICTION * math.hypot(*(s.size(name) for s in swings))
        for name in ("lateral_pv", "height_pv")
    )


def _change(values: Values | None, middle: Values) -> Values:
    """What friction adds more with other values; nothing where that machine finds no equilibrium."""
    return dict.fromkeys(RANGED, 0.0) if values is None else minus(values, middle)


def _number(value: float) -> float:
    return 0.0 if math.isnan(value) else value


def _friction_parts(loaded: LoadedScenario, changes: Sequence[Values]) -> list[Values | None]:
    """What friction and play add to the figures of the first layers, for every set of changed values; None
    where a machine cannot be built or finds no equilibrium.  Machines of one likeness go side by side.
    """
    found: list[Values | None] = [None] * len(changes)
    groups: dict[tuple[object, ...], dict[int, tuple[LoadedScenario, base.Job]]] = {}
    for k, values in enumerate(changes):
        with contextlib.suppress(BedsimError):
            other = loaded.with_values(values) if values else loaded
            job = shortened(make_job(other), FRICTION_LAYERS)
            groups.setdefault(likeness(job), {})[k] = other, job
    stills: dict[tuple[tuple[str, float], ...], Values] = {}
    for group in groups.values():
        for k, chunk in _coarse({k: job for k, (_, job) in group.items()}).items():
            other, job = group[k]
            acting = tuple(
                (key, value)
                for key, value in changes[k].items()
                if key.rpartition(".")[2] not in NOTHING_WITHOUT_FRICTION
            )
            if acting not in stills:  # without friction machines are alike that differ in it alone
                stills[acting] = _still(other, job)
            rubbing = figures_of(layer_result(other, job, [chunk]), leads_of(other))
            found[k] = minus(rubbing, stills[acting])
    return found


def _still(loaded: LoadedScenario, job: base.Job) -> Values:
    """Figures of a machine and its job without friction and play."""
    fitted = without_play(loaded)
    alike = job if fitted is loaded else shortened(make_job(fitted), FRICTION_LAYERS)
    return figures_of(layer_result(loaded, alike, [linear_chunk(alike)]), leads_of(loaded))


def _coarse(jobs: Mapping[int, base.Job]) -> dict[int, base.Chunk]:
    """Chunks of machines that are alike; one by one, without those that find no equilibrium, if one does
    not.
    """
    try:
        return dict(zip(jobs, coarse_chunks([*jobs.values()]), strict=True))
    except BedsimError:
        if len(jobs) == 1:
            return {}
    return {k: chunk for one, job in jobs.items() for k, chunk in _coarse({one: job}).items()}


# ---- combination --------------------------------------------------------------------------------------


def _combined(likely: Values, swings: Sequence[Swing]) -> tuple[dict[str, float], dict[str, float]]:
    low, high = {}, {}
    for name in RANGED:
        value = likely[name]
        if math.isnan(value):
            continue
        changes = [[_number(s.at_low[name]), _number(s.at_high[name]), 0.0] for s in swings]
        if name in SIGNED or value == 0.0:
            down = math.hypot(*(min(c) for c in changes)) if name in SIGNED else 0.0
            low[name], high[name] = value - down, value + math.hypot(*(max(c) for c in changes))
            continue
        rise = [max(c) / value for c in changes]
        if max(rise, default=0.0) > 1 / SMALLEST_FACTOR:  # it lies near a zero of its own: no factors there
            up = math.log1p(math.hypot(*rise))
        else:
            up = math.hypot(*map(math.log1p, rise))
        down = math.hypot(*(math.log1p(max(min(c) / value, SMALLEST_FACTOR - 1)) for c in changes))
        low[name], high[name] = value * math.exp(-down), value * math.exp(up)
    return low, high
