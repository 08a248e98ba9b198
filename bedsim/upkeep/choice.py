"""The choice between machines: a table of what each does, what decides alone, and a score of its parts.

Weights are the user's.  A criterion that is not known for every machine has no part in the score, and that is
told.  No score stands without its parts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from bedsim.analysis.requirements import Requirement
from bedsim.scenario.upkeep_keys import Weights
from bedsim.units import UM
from bedsim.upkeep.noise import level_difference
from bedsim.upkeep.use import years_words

Part = Callable[[float, float], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """What is compared of one machine; None where it is not known, `why` for what is missing.

    `figures`: of the run, SI; `hold`: torque held over torque needed without current; `back_driving`: lowest
    friction over that below which the load turns the screw; `load`: half the buckling load over the push;
    `life` years; `upkeep` jobs by hand a year; `rolling` m/s of the ball circle, None without balls; `price`
    in the user's currency.
    """

    name: str
    kind: str
    figures: Mapping[str, float]
    hold: float
    back_driving: float
    load: float
    life: float | None
    upkeep: float
    rolling: float | None
    price: float | None
    currency: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table: values of all machines (None: not known), their parts of the score (0 to 1,
    None where it has none), the weight."""

    name: str
    unit: str
    values: tuple[float | None, ...]
    weight: float
    parts: tuple[float, ...] | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One requirement and which machines meet it."""

    words: str
    met: tuple[bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineChoice:
    """The whole table; `scores` None without weights."""

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    lines: tuple[Line, ...]
    needs: tuple[Need, ...]
    scores: tuple[float, ...] | None
    verdict: str
    notes: tuple[str, ...]


def _most(value: float, best: float) -> float:
    return 1.0 if value == best else value / best


def _least(value: float, best: float) -> float:
    return 1.0 if value == best else best / value


def _held(value: float, _: float) -> float:
    return min(value, 1.0)


def _quiet(value: float, best: float) -> float:
    return float(10.0 ** (-(value - best) / 20.0))


def choose(
    machines: Sequence[Candidate],
    weights: Weights,
    requirements: Sequence[Requirement],
    life_years: float | None,
) -> MachineChoice:
    """Set machines side by side; `life_years` that screw or nut must last, where the user gave hours."""
    lines = (*_error_lines(machines, weights), *_other_lines(machines, weights))
    needs = _needs(machines, requirements, life_years)
    scores = _scores(lines, len(machines))
    return MachineChoice(
        names=tuple(m.name for m in machines),
        kinds=tuple(m.kind for m in machines),
        lines=lines,
        needs=needs,
        scores=scores,
        verdict=_verdict(machines, needs, scores),
        notes=tuple(f"{m.name}: {words}" for m in machines for words in m.why),
    )


def _error_lines(machines: Sequence[Candidate], weights: Weights) -> list[Line]:
    """The two errors share their weight."""
    named = (
        ("lateral_pv", "error sideways, peak to valley"),
        ("height_pv", "error in height, peak to valley"),
    )
    found = []
    for key, words in named:
        values = [m.figures[key] / UM if key in m.figures else None for m in machines]
        note = "as bedsim run; half of the weight of error each"
        found.append(_line(words, "µm", values, weights.error / 2.0, _least, note))
    return found


def _other_lines(machines: Sequence[Candidate], weights: Weights) -> list[Line]:
    currency = next((m.currency for m in machines if m.currency), "")
    return [
        _line(
            "hold without current, held over needed",
            "",
            [m.hold for m in machines],
            weights.hold,
            _held,
            "at the lowest friction, unshaken, worst corner; from 1 on it counts as held",
        ),
        _line(
            "friction over that at which the load turns it",
            "",
            [m.back_driving for m in machines],
            weights.back_driving,
            _most,
            "lowest friction; above 1 the screw holds by itself",
        ),
        _line(
            "half the buckling load over the push",
            "",
            [m.load for m in machines],
            weights.load,
            _most,
            "worst corner",
        ),
        _line(
            "life of screw or nut",
            "years",
            [m.life for m in machines],
            weights.life,
            _most,
            "ball: nominal life; plain: to the play allowed, at the high wear rate",
        ),
        _line(
            "jobs by hand",
            "a year",
            [m.upkeep for m in machines],
            weights.upkeep,
            _least,
            "from the calendar",
        ),
        _line(
            "noise of the balls against the first's",
            "dB",
            _levels(machines),
            weights.noise,
            _quiet,
            "9.8 dB per doubling of rolling speed, read of a guide, not a screw; part: ratio of pressures",
        ),
        _line(
            "price of the screws",
            currency,
            [m.price for m in machines],
            weights.price,
            _least,
            "your prices, a brake where one is needed",
        ),
    ]


def _levels(machines: Sequence[Candidate]) -> list[float | None]:
    """Differences dB to the first machine with balls."""
    first = next((m.rolling for m in machines if m.rolling is not None), 1.0)
    return [None if m.rolling is None else level_difference(first, m.rolling) for m in machines]


def _line(name: str, unit: str, values: Sequence[float | None], weight: float, part: Part, note: str) -> Line:
    known = [v for v in values if v is not None and not math.isnan(v)]
    parts = None
    if weight > 0 and len(known) == len(values):
        best = max(known) if part in (_most, _held) else min(known)
        parts = tuple(part(v, best) for v in known)
    return Line(name=name, unit=unit, values=tuple(values), weight=weight, parts=parts, note=note)


def _scores(lines: Sequence[Line], count: int) -> tuple[float, ...] | None:
    """Weighted means of the parts, over the lines that have them; None where none has."""
    scored = [line for line in lines if line.parts is not None]
    total = sum(line.weight for line in scored)
    if total == 0:
        return None
    return tuple(sum(x.weight * x.parts[i] for x in scored if x.parts) / total for i in range(count))


def _needs(
    machines: Sequence[Candidate], requirements: Sequence[Requirement], life_years: float | None
) -> tuple[Need, ...]:
    first = machines[0].figures
    needs = [
        Need(words=r.text, met=tuple(bool(m.figures) and r.holds(m.figures, first) for m in machines))
        for r in requirements
    ]
    if life_years is not None:
        met = tuple(m.life is not None and m.life >= life_years for m in machines)
        needs.append(Need(words=f"sizing.life_h: {years_words(12.0 * life_years)} of this use", met=met))
    return tuple(needs)


def _verdict(machines: Sequence[Candidate], needs: Sequence[Need], scores: tuple[float, ...] | None) -> str:
    names = [m.name for m in machines]
    meets = [all(need.met[i] for need in needs) for i in range(len(names))]
    for need in needs:
        if sum(need.met) == 1:
            return f"{need.words} decides alone: only {names[need.met.index(True)]} meets it" + (
                "." if any(meets) else ", and that one fails another."
            )
    if not any(meets):
        return "None meets every requirement: no score is told."
    left = [i for i, met in enumerate(meets) if met]
    if len(left) == 1:
        return f"The requirements together decide: only {names[left[0]]} meets all."
    out = [name for name, met in zip(names, meets, strict=True) if not met]
    gone = f"Out by a requirement: {', '.join(out)}. " if out else ""
    if scores is None:
        return f"{gone}No weight is given for what is known of all: no score. The table is yours to weigh."
    order = sorted(left, key=lambda i: -scores[i])
    best, second = order[0], order[1]
    return (
        f"{gone}By your weights {names[best]} comes first with {scores[best]:.2f}, {names[second]} next with "
        f"{scores[second]:.2f}; a score is no better than the weights and guesses in it."
    )
