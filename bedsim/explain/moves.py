"""Which answers a key moves in one machine, and which keys move a figure.

A number goes to its low and its high (a tenth less and more where the scenario is sure of it), a choice to
its other values; everything else stays.  What moves is found by the functions behind `run`'s ranges and
`size`: the machine at rest, with friction where that matters.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from bedsim.analysis.figures import METRICS, Metric, metric_text
from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.sizing_report import size_scenario
from bedsim.errors import BedsimError
from bedsim.explain.scenario_entries import tables
from bedsim.number_text import number
from bedsim.ranges.alone import RANGED, Swing, linear_values
from bedsim.ranges.swings import vary
from bedsim.scenario.keys import PARTS, unit_of
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.ranges import Range
from bedsim.scenario.reference import KeyText, key_texts
from bedsim.sizing.table import Check

SURE = 0.1
"""Share by which a number is moved of which the scenario is sure."""
WORTH_TELLING = 0.01
"""Change below which an answer counts as unmoved."""
TOLD = 8
"""Keys or rows that are told."""
FIGURES = {metric.name: metric for metric in METRICS if metric.name in RANGED}

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerMove:
    """What becomes of one answer: as it is, and at each of the key's other values, as told; `share`: by how
    much at most."""

    answer: str
    now: str
    then: tuple[str, ...]
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyMoves:
    """What a key moves: the value that it has, those it was given, and the answers that follow; `left_out`:
    why there is nothing to tell."""

    key: str
    now: str
    tried: tuple[str, ...]
    moves: tuple[AnswerMove, ...] = ()
    left_out: str = ""


def moved_by(loaded: LoadedScenario, key: str) -> list[KeyMoves]:
    """What a key moves in a machine; one of several corners that differ counts for each of them."""
    ranges = [r for r in loaded.ranges if _common(r.key) == key]
    if ranges:
        return [_of_number(loaded, one) for one in ranges]
    value = _value(loaded, key)
    if isinstance(value, float):
        by = SURE * abs(value)
        if not by:
            return [
                KeyMoves(key=key, now="0", tried=(), left_out="It is 0 here: give it a value or a range.")
            ]
        sure = Range(
            key=key,
            low=value - by,
            likely=value,
            high=value + by,
            basis="",
            source="",
            unit=unit_of(key),
        )
        return [_of_number(loaded, sure)]
    others = _choices(key)
    if value is None or not others:
        return [
            KeyMoves(key=key, now=str(value), tried=(), left_out="It is not a number or choice given here.")
        ]
    return [_of_choice(loaded, key, str(value), [o for o in others if o != value])]


def _common(key: str) -> str:
    """The key without its corner."""
    steps = key.split(".")
    return ".".join(steps[2:]) if steps[0] == "corner" and len(steps) > 3 else key


def _value(loaded: LoadedScenario, key: str) -> object:
    """The value of a key in the machine, at the first corner of a part; None where there is none."""
    steps = key.split(".")
    holder: object = loaded.scenario.corner[0] if steps[0] in PARTS else loaded.scenario
    for step in steps:
        holder = getattr(holder, step, None)
    return holder


def _choices(key: str) -> list[str]:
    """The values of a choice."""
    told = key_text(key)
    return told.allowed.split(" or ") if told is not None and " or " in told.allowed else []


def key_text(key: str) -> KeyText | None:
    """What is told of a key, or None where there is no such key."""
    table, _, name = key.rpartition(".")
    found = (one for at, of in tables() if at == table for one in key_texts(of, at))
    return next((one for one in found if one.name == name), None)


def _of_number(loaded: LoadedScenario, key: Range) -> KeyMoves:
    ends = (key.low, key.high)
    tried = tuple(f"{number(end)} {key.unit}".strip() for end in ends)
    now = f"{number(key.likely)} {key.unit}".strip()
    try:
        found = vary(replace(loaded, ranges=(key,)))
    except BedsimError as fault:
        return KeyMoves(key=key.key, now=now, tried=tried, left_out=str(fault))
    if found.left_out:
        return KeyMoves(key=key.key, now=now, tried=tried, left_out=found.left_out[0][1])
    middle = linear_values(without_play(loaded))
    swings = (*found.without_friction, *found.contacts)
    then = [
        {name: middle[name] + sum(_end(swing, end)[name] for swing in swings) for name in RANGED}
        for end in (0, 1)
    ]
    changed = [{key.key: end} for end in ends]
    moves = (*_figures(middle, then), *_rows(loaded, changed))
    return KeyMoves(key=key.key, now=now, tried=tried, moves=moves)


def _end(swing: Swing, end: int) -> Mapping[str, float]:
    return swing.at_high if end else swing.at_low


def _of_choice(loaded: LoadedScenario, key: str, now: str, others: list[str]) -> KeyMoves:
    middle = linear_values(without_play(loaded))
    tried, then, why = [], [], []
    for other in others:
        try:
            then.append(linear_values(without_play(loaded.with_values({key: other}))))
            tried.append(other)
        except BedsimError as fault:
            why.append(f"{other}: {' '.join(str(fault).split())}")
    moves = (*_figures(middle, then), *_rows(loaded, [{key: other} for other in tried]))
    return KeyMoves(key=key, now=now, tried=tuple(tried), moves=moves, left_out="; ".join(why))


def _figures(
    now: Mapping[str, float], then: list[Mapping[str, float]] | list[dict[str, float]]
) -> list[AnswerMove]:
    found = [
        AnswerMove(
            answer=metric.text,
            now=metric_text(metric, now[name]),
            then=tuple(metric_text(metric, other[name]) for other in then),
            share=max((_share(now[name], other[name]) for other in then), default=0.0),
        )
        for name, metric in FIGURES.items()
    ]
    return _worth(found)


def _worth(found: list[AnswerMove]) -> list[AnswerMove]:
    return sorted((m for m in found if m.share > WORTH_TELLING), key=lambda m: -m.share)[:TOLD]


def _share(now: float, then: float) -> float:
    if math.isnan(now) or math.isnan(then):
        return 0.0
    size = max(abs(now), abs(then))
    return abs(then - now) / size if size > 0 and math.isfinite(size) else 0.0


def _rows(loaded: LoadedScenario, changes: list[dict[str, float]] | list[dict[str, str]]) -> list[AnswerMove]:
    """Rows of `size` that move, each at the corner where it moves most."""
    now = {(c.key, c.name, c.corner): c for c in size_scenario(loaded).all_checks}
    then: list[Mapping[tuple[str, str, str], Check]] = []
    for values in changes:
        try:
            checks = size_scenario(loaded.with_values(values)).all_checks
        except BedsimError:
            checks = ()
        then.append({(c.key, c.name, c.corner): c for c in checks})
    best: dict[str, AnswerMove] = {}
    for place, check in now.items():
        values_then = [other[place].value if place in other else math.nan for other in then]
        move = AnswerMove(
            answer=f"size: {check.subject}: {check.name}",
            now=f"{number(check.value)} {check.measured.name}".strip(),
            then=tuple(
                "no such row" if math.isnan(v) else f"{number(v)} {check.measured.name}".strip()
                for v in values_then
            ),
            share=max((_share(check.value, v) for v in values_then), default=0.0),
        )
        if check.key not in best or move.share > best[check.key].share:
            best[check.key] = move
    return _worth(list(best.values()))


def keys_that_move(loaded: LoadedScenario, figure: str, progress: Progress) -> list[tuple[str, str]]:
    """The uncertain keys that move a figure most, with by how much from low to high."""
    metric = FIGURES[figure]
    found = vary(loaded, progress)
    swings = [s for s in (*found.without_friction, *found.contacts) if s.key is not None]
    sizes: dict[str, float] = {}
    for swing in swings:
        assert swing.key is not None
        sizes[swing.key.key] = math.hypot(sizes.get(swing.key.key, 0.0), swing.size(figure))
    ordered = sorted(((k, v) for k, v in sizes.items() if v > 0), key=lambda one: -one[1])[:TOLD]
    return [(key, metric_text(metric, size)) for key, size in ordered]


def value_here(loaded: LoadedScenario, figure: str) -> str:
    """A figure of the machine at rest without friction."""
    metric: Metric = FIGURES[figure]
    return metric_text(metric, linear_values(without_play(loaded))[figure])


def row_here(loaded: LoadedScenario, row: str) -> Iterator[tuple[str, str]]:
    """A row of `size` at every corner, with limit and margin."""
    for check in size_scenario(loaded).all_checks:
        if check.key == row:
            unit = check.measured.name
            told = f"{number(check.value)} {unit}".strip()
            if check.limit is not None and check.margin is not None:
                told += f", limit {number(check.limit)} {unit}, margin {number(check.margin)}"
            yield check.corner or "machine", told
