"""The answer in words and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from bedsim.analysis.printed import quantity, rounded
from bedsim.compensate.software import software_sentence
from bedsim.improve.checks import Checked
from bedsim.improve.doubt import Holds, Tolerance
from bedsim.improve.findings import Improvement, Told
from bedsim.improve.ranking import WORTH_TELLING, Aim
from bedsim.improve.steps import SET_WITHIN_MM
from bedsim.improve.unusual import Return, Unusual
from bedsim.ranges.split import Split, split_lines, why
from bedsim.scenario.keys import unit_of

WAY = {"lateral": "sideways", "height": "in height"}
UNUSUAL_TOLD = 6
APART = 1.1
"""Factor between told and found from which on it is pointed out."""


def times(factor: float) -> str:
    """A gain, "x 3.1"."""
    return "unknown" if math.isnan(factor) else f"x {rounded(factor)}"


def _error(found: Any, aim: Aim) -> str:
    return "unknown" if found is None else quantity(getattr(found, aim), "m")


def lines(found: Improvement) -> Iterator[str]:
    """The whole answer for a terminal; a line that begins with no space is a sentence to be wrapped."""
    yield headline(found)
    yield ""
    if found.aim == "lateral":
        yield from split_lines(found.split)
        yield ""
    if found.target is not None:
        yield _target_sentence(found)
        yield ""
    yield "What gains most, each change alone:"
    yield from _gain_rows(found)
    if found.best_set is not None:
        yield ""
        yield "Together, as one machine:"
        yield from _told_rows(found.best_set, found.aim)
    yield ""
    yield "What is unusual here and costs you:"
    yield from _unusual_rows(found)
    if found.by_run:
        yield ""
        yield "What friction decides, run with the propagator:"
        yield from _run_rows(found)
    yield ""
    yield from notes(found)


def headline(found: Improvement) -> str:
    """One sentence: the error, its reason, and the best single cure."""
    error = f"{_error(found.now, found.aim)} {WAY[found.aim]}"
    text = f"Over its whole travel the bed strays {error} at {found.place}"
    if found.aim == "lateral":
        text += f": {why(found.split)}"
    best = next((t for t in found.gains if not t.refused), None)
    if best is None:
        return f"{text}. No single change that was tried gains anything."
    after = best.trial.after
    gain = times(best.trial.gain(found.aim))
    return f"{text}. Best single change: {best.trial.words}: {_error(after, found.aim)} ({gain})."


def _target_sentence(found: Improvement) -> str:
    least, wanted = found.cheapest, f"{quantity(found.target or 0.0, 'm')} {WAY[found.aim]}"
    if least is None:
        return f"Target {wanted}: no machine could be drawn within its doubts."
    if least.steps == ():
        return f"Target {wanted}: the machine as it is reaches it with {100 * least.now:.0f} %."
    if least.steps is None:
        surest = " + ".join(s.words for s in least.surest)
        best = (
            f"the surest set seen, {surest}, has {100 * least.surest_share:.0f} %"
            if surest
            else "none comes near"
        )
        return (
            f"Target {wanted} with {100 * found.probability:.0f} %: no set of up to three of the changes "
            f"tried reaches it ({least.tried} sets); {best}."
        )
    told = found.cheapest_told
    assert told is not None
    ends = f"{_error(found.now, found.aim)} to {_error(told.trial.after, found.aim)}"
    text = (
        f"Cheapest: {least.cost:.0f} EUR of {told.trial.words}: {ends}, reaches {wanted} with "
        f"{100 * least.share:.0f} % (as it is: {100 * least.now:.0f} %)."
    )
    return f"{text} {_left(told)}{_check_words(told.check, found.aim)}"


def _left(told: Told) -> str:
    return f"What is left: {why(told.split)}." if told.split is not None else ""


def _check_words(check: Checked | None, aim: Aim) -> str:
    if check is None:
        return ""
    if check.run is None:
        return f" No run with friction: {check.refused}"
    text = f" Run with friction: {times(check.found)} ({times(check.told)} without)"
    ratio = max(check.told, check.found) / max(min(check.told, check.found), 1e-9)
    return text + (" - friction decides here." if ratio > APART else ".")


def _gain_rows(found: Improvement) -> Iterator[str]:
    if not found.gains:
        yield "  nothing that was tried gains anything"
    for told in found.gains:
        yield from _told_rows(told, found.aim)


def _told_rows(told: Told, aim: Aim) -> Iterator[str]:
    trial = told.trial
    price = f"{told.cost:.0f} EUR" if told.cost else "free"
    yield f"  {times(trial.gain(aim)):<8}{trial.words}  ({price}): {_error(trial.after, aim)} left"
    if told.refused:
        yield f"          refused: {told.refused}"
    if told.holds is not None:
        yield f"          {_holds_words(told.holds)}{_cancel_words(told)}"
    beside = [e.text for e in told.effects if e.moved]
    other: Aim = "height" if aim == "lateral" else "lateral"
    if abs(math.log(max(trial.gain(other), 1e-9))) > math.log(WORTH_TELLING):
        beside.insert(0, f"{WAY[other]} {_error(trial.before, other)} to {_error(trial.after, other)}")
    if beside:
        yield f"          side effects: {'; '.join(beside)}"
    if told.check is not None:
        yield f"         {_check_words(told.check, aim)}"


def _holds_words(holds: Holds) -> str:
    if math.isnan(holds.middle):
        return "no drawn machine can be built this way"
    text = f"over the machine's doubts {times(holds.low)} / {rounded(holds.middle)} / {rounded(holds.high)}"
    word = "holds" if holds.low > 1.0 else "unsure"
    harm = f", worse in {100 * holds.harms:.0f} %" if holds.harms > 0 else ""
    return f"{word}: {text} (10/50/90 %){harm}"


def _cancel_words(told: Told) -> str:
    if not told.cancels:
        return ""
    if told.tolerance is None:
        return "; works by cancelling"
    return f"; works by cancelling: {_tolerance_words(told.tolerance)}"


def _tolerance_words(tolerance: Tolerance) -> str:
    return f"{rounded(tolerance.off)} {tolerance.unit} off leaves {times(tolerance.gain)}"


def _unusual_rows(found: Improvement) -> Iterator[str]:
    if not found.unusual:
        yield "  nothing"
    for one in found.unusual[:UNUSUAL_TOLD]:
        yield f"  {times(one.cost):<8}{_return_words(one.back)}  ({_gains(one)})"


def _return_words(back: Return) -> str:
    unit = unit_of(back.key)
    ends = f"{back.now:.3g} where {back.usual:.3g} {unit}".rstrip() + " is usual"
    outside = ", out of the ordinary" if back.outside else ""
    return f"{back.key}{f', {back.place}' if back.place else ''}: {ends}{outside}"


def _gains(one: Unusual) -> str:
    parts = [
        f"{WAY[a]} {times(g)}"
        for a, g in (("lateral", one.lateral), ("height", one.height))
        if g > WORTH_TELLING
    ]
    return ", ".join(parts)


def _run_rows(found: Improvement) -> Iterator[str]:
    for one in found.by_run:
        if one.run is None:
            yield f"  {'-':<8}{one.steps[0].words}: {one.refused}"
        elif one.moves:
            yield f"  {times(one.found):<8}{one.steps[0].words} ({_error(one.run, found.aim)} left)"
            if one.holds is not None:
                yield f"          {_holds_words(one.holds)}"
    if not any(c.moves for c in found.by_run):
        yield f"  nothing moves it by more than 2 % ({len(found.by_run)} changes)"
    for one in found.together:
        words = " + ".join(step.words for step in one.steps)
        yield f"  {times(one.found):<8}{words} ({_error(one.run, found.aim)} left)"


def notes(found: Improvement) -> Iterator[str]:
    """How it was found and what to keep in mind."""
    yield (
        f"{found.tried} machines over their whole travel (the tallest print that the screws allow) at the "
        "worst place of the plate, without friction and vibration; gains are errors before over after, never "
        "added. Doubts: uncertain keys drawn from their ranges, the same "
        f"draw with and without; heights set to within {SET_WITHIN_MM:g} mm. Prices are classes, assumed, "
        "where none is given."
    )
    if found.run is not None:
        told = quantity(getattr(found.run, f"told_{found.aim}"), "m")
        yield (
            f"With friction (propagator, {found.run.layers} layers begun where the band at the lead is "
            f"largest on the travel): {_error(found.run, found.aim)} {WAY[found.aim]} as the machine is; "
            f"without friction {told} there. Gains with friction are gains there."
        )
    elif found.run_refused:
        yield f"Not run with friction: {found.run_refused}"
    if found.software is not None:
        yield software_sentence(found.software)
    yield (
        "Before it is built: bedsim size on the changed machine (whether it holds, turns and lasts). What to "
        "measure first: bedsim run."
    )
    yield from found.cautions


# ---- JSON ----------------------------------------------------------------------------------------------


def as_json(found: Improvement) -> dict[str, Any]:
    """The answer as plain values: lengths m, forces N, angles rad, prices EUR."""
    least = found.cheapest
    return {
        "title": found.title,
        "aim": found.aim,
        "worst_place": found.place,
        "error_m": getattr(found.now, found.aim),
        "lateral_m": found.now.lateral,
        "height_m": found.now.height,
        "split": _split_json(found.split),
        "software": None if found.software is None else asdict(found.software),
        "gains": [_told_json(t, found.aim) for t in found.gains],
        "set": None if found.best_set is None else _told_json(found.best_set, found.aim),
        "unusual": [_unusual_json(u) for u in found.unusual],
        "with_friction": [_checked_json(c) for c in found.by_run],
        "with_friction_together": [_checked_json(c) for c in found.together],
        "target_m": found.target,
        "probability": found.probability if found.target is not None else None,
        "cheapest": None
        if least is None
        else {
            "reached": least.steps is not None,
            "cost_eur": None if least.steps is None else least.cost,
            "changes": [] if least.steps is None else [s.words for s in least.steps],
            "share": None if least.steps is None else least.share,
            "share_now": least.now,
            "sets_tried": least.tried,
            "told": None if found.cheapest_told is None else _told_json(found.cheapest_told, found.aim),
        },
        "notes": [*notes(found)],
    }


def _split_json(split: Split | None) -> dict[str, Any] | None:
    if split is None:
        return None
    return {
        "whole_m": split.whole,
        "place": split.place,
        "direction_deg": split.direction,
        "parts": [{"cause": c, "path": p, "m": v} for (c, p), v in split.parts.items()],
    }


def _told_json(told: Told, aim: Aim) -> dict[str, Any]:
    trial = told.trial
    return {
        "changes": [{"do": s.words, "lever": s.lever.name, "keys": sorted(s.keys)} for s in trial.steps],
        "gain": trial.gain(aim),
        "error_m": None if trial.after is None else getattr(trial.after, aim),
        "cost_eur": told.cost,
        "refused": told.refused or None,
        "cancels": told.cancels,
        "tolerance": None if told.tolerance is None else _tolerance_json(told.tolerance),
        "holds": _holds_json(told.holds),
        "beside": {e.key: {"before": _number(e.before), "after": _number(e.after)} for e in told.effects},
        "split": _split_json(told.split),
        "check": None if told.check is None else _checked_json(told.check),
    }


def _tolerance_json(tolerance: Tolerance) -> Mapping[str, Any]:
    return {"off": tolerance.off, "unit": tolerance.unit, "gain": tolerance.gain}


def _unusual_json(one: Unusual) -> dict[str, Any]:
    back = one.back
    return {
        "key": back.key,
        "corners": list(back.corners),
        "now": back.now,
        "usual": back.usual,
        "unit": unit_of(back.key),
        "outside": back.outside,
        "lateral_gain": one.lateral,
        "height_gain": one.height,
    }


def _checked_json(check: Checked) -> dict[str, Any]:
    return {
        "changes": [s.words for s in check.steps],
        "told": _number(check.told),
        "found": _number(check.found),
        "refused": check.refused or None,
        "holds": _holds_json(check.holds),
    }


def _holds_json(holds: Holds | None) -> dict[str, float | None] | None:
    return None if holds is None else {k: _number(getattr(holds, k)) for k in holds.__slots__}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
