"""What was learnt in words."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from bedsim.analysis.printed import quantity, rounded, span
from bedsim.learn.answers import AnswerSpread
from bedsim.learn.faults import Fault, unseen_axes, unseen_signs
from bedsim.learn.learned import Learned, quiet_series
from bedsim.learn.observations import BandReading, Series
from bedsim.learn.unknowns import LEAST_SPREAD, value_at
from bedsim.number_text import number
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario

SURE = 0.9
"""Share of the machines that agree from which on a screw is named: so sure claims were right nine times in
ten (`HITS`), those of 80 to 90 % three times in four."""
KNOWN, UNKNOWN, WALLS = (
    "jogged under a gauge, their screws known",
    "jogged under a gauge, their screws unknown",
    "read by the walls of a frame",
)
HITS = {
    KNOWN: {0.9: (134, 126), 0.6: (130, 85), 0.0: (135, 60)},
    UNKNOWN: {0.9: (19, 16), 0.6: (156, 102), 0.0: (266, 126)},
    WALLS: {0.9: (54, 48), 0.6: (40, 29), 0.0: (31, 16)},
}
"""Claims of at least that share of the machines: how many were made of invented machines of all kinds of
joints, with friction, and how many were right (tests/learn/by_hand.py)."""
TIED = 0.7
"""Correlation of two unknowns from which on the readings do not tell them apart."""
MOST_TIED = 5
NARROWED = 0.85
"""Part of its spread before below which a number counts as learnt."""
MOST_NEXT = 5
FORECASTS = {KNOWN: (11, 74, 77, 15), UNKNOWN: (15, 72, 69, 35)}
"""Invented machines, what the first of the list was told to leave and what it left in the middle, and within
what two of three came of it, % (tests/learn/planned_by_hand.py)."""
WORTH_TELLING = 0.9
"""Part of the spread left by a reading below which it is told.  Readings that tell nothing leave 0.99 of it
by `next_readings`, one of twenty 0.94 or less, one of fifty 0.91 (852, their machines' answers shuffled)."""

SPOILT = "? It spoils the answer above"
FAULTS = {
    "reading": "{where}: this reading is off by {size} against the rest: left out here, take it again",
    "slip": "the gauge slipped {where} by {size}: the series counts as two here",
    "wrong sign": "{where} reads with the wrong sign: turned round, it fits all the rest",
    "series": "{where} holds a motion once per turn of {size} that no screw can make beside the other "
    "readings: does the stand give, or are probe or axis wrong" + SPOILT,
    "bands": "{where} do not fit the rest, by {size}: is it misread" + SPOILT,
    "measurement": "{where} does not agree with the rest: is it right" + SPOILT,
}


def lines(found: Learned, changed: str = "") -> Iterator[str]:
    """The whole answer; a line that begins with no space is a sentence to be wrapped.  `changed` names the
    change of which it was asked."""
    if any(FAULTS[fault.kind].endswith(SPOILT) for fault in found.faults):
        yield "These readings contradict each other (below): what follows is not to be relied on."
    yield _answer("The bed strays", "sideways", found.before, found.after, "lateral", found.fit is not None)
    yield _answer("It strays", "in height", found.before, found.after, "height", found.fit is not None)
    if found.changed_after is not None and found.changed_before is not None:
        yield _answer(
            f"With {changed}", "sideways", found.changed_before, found.changed_after, "lateral", True
        )
        if found.gain is not None:
            low, middle, high = np.quantile(found.gain, (0.05, 0.5, 0.95), method="weibull")
            yield (
                f"That is {rounded(middle)} of this machine's ({rounded(low)} to {rounded(high)}). What is "
                "read on one machine tells little of it with other joints, but for heights by ruler."
            )
    yield (
        "Ranges hold the truth nine times in ten; worst place of the bed, peak to valley, without friction "
        "and vibration. Bow, eccentricity and travel of a screw are taken as known to "
        f"{quantity(LEAST_SPREAD, 'm')} at best, where `bedsim run` takes them as they are given."
    )
    if found.fit is not None:
        yield ""
        yield from screw_lines(found.unknowns.loaded, found.after)
        yield hit_rate(found.after, _how(found))
        yield ""
        yield from _doubts(found)
        yield from _told_apart(found)
    yield ""
    yield from _next(found)


def _answer(head: str, way: str, before: AnswerSpread, after: AnswerSpread, name: str, read: bool) -> str:
    low, middle, high = after.ends(name)
    text = f"{head} {span(low, high, 'm')} {way} ({quantity(middle, 'm')} likely)"
    if not read:
        return f"{text}, before any reading."
    first, _, last = before.ends(name)
    return f"{text}; before these readings {span(first, last, 'm')}."


def screw_lines(loaded: LoadedScenario, after: AnswerSpread) -> Iterator[str]:
    """Every screw's share, and which is guilty, as sure as that is."""
    names = [c.name for c in loaded.scenario.corner]
    who, sure = after.claim()
    low, middle, high = after.share_ends()
    share = (
        f"{100 * middle[who]:.0f} % of the sideways motion ({100 * low[who]:.0f} to {100 * high[who]:.0f} %)"
    )
    if sure >= SURE:
        yield f"The screw at {names[who]} does most: {share}."
    else:
        yield (
            f"These readings cannot tell which screw does most; likeliest the one at {names[who]}, {share}, "
            f"in {100 * sure:.0f} % of the machines that agree with them."
        )
    order = np.argsort(-middle)
    for k in order:
        most = float(np.mean(after.shares.argmax(axis=1) == k))
        yield (
            f"  {names[k]:<16}{100 * middle[k]:6.0f} %  ({100 * low[k]:.0f} to {100 * high[k]:.0f} %), most "
            f"in {100 * most:.0f} % of these machines"
        )


def hit_rate(after: AnswerSpread, how: str) -> str:
    """How often so sure a claim was right, where the truth was known, of machines read as in `HITS`."""
    least = max(share for share in HITS[how] if share <= after.claim()[1])
    made, right = HITS[how][least]
    return f"Claims about as sure were right for {right} of {made} invented machines {how} (with friction)."


def _how(found: Learned) -> str:
    """Like which machines of `HITS` this one was read."""
    assert found.fit is not None
    kinds = [type(one) for one in found.fit.model.observations]
    if BandReading in kinds and Series not in kinds:
        return WALLS
    return KNOWN if any(vector.mean for vector in found.unknowns.vectors) else UNKNOWN


def _doubts(found: Learned) -> Iterator[str]:
    """What contradicts what, and what the readings are blind to."""
    assert found.fit is not None
    for fault in found.faults:
        yield f"Contradiction: {fault_text(fault)}."
    if not found.faults:
        odd = found.fit.chance < 0.01
        yield (
            f"The readings as a whole fit worse than chance allows ({number(100 * found.fit.chance, 1)} %), "
            "and no single one is to blame: is this the machine that was read?"
            if odd
            else "No reading contradicts the others."
        )
    if found.friction_fault:
        yield f"Friction is left out, the ranges are too narrow: {found.friction_fault}"
    quiet = [one.name for one in quiet_series(found.fit)]
    if quiet:
        yield (
            f"The bed moves less than the gauge's noise: {', '.join(quiet)}. Such series tell little: take a "
            "finer gauge, or gauge the screws."
        )
    yield from _stand(found)
    yield from _soft(found)


def _stand(found: Learned) -> Iterator[str]:
    """What control series say of the gauge's stand, and along which axes one is missing."""
    assert found.fit is not None
    for one in found.stands:
        if one.moves:
            yield (
                f"Contradiction: {one.where}: the stand itself moves {quantity(one.amplitude, 'm')} once per "
                f"turn along {one.axis}: make it stand and gauge along {one.axis} again; the answer above "
                "takes it for screws."
            )
        else:
            most = quantity(one.amplitude + 2 * one.sigma, "m")
            yield f"Control along {one.axis}: the stand moves less than {most} once per turn."
    unseen = unseen_axes(found.fit, found.stands)
    if unseen:
        yield (
            f"Not seen along {' and '.join(unseen)}: a stand or gantry that moves 3 µm once per turn looks "
            "like a bent screw. Take the control series against a fixed point of the frame (bedsim learn "
            "--recipe jog)."
        )
    signs = unseen_signs(found.flips)
    if signs:
        yield (
            f"Not noticed either: a wrong sign of {' or '.join(dict.fromkeys(signs))}. The same axis at a "
            "second place would tell."
        )


def _soft(found: Learned) -> Iterator[str]:
    """Bearings far softer than thought that nobody would notice, and what the answer would then be."""
    unseen = [one for one in found.soft if not one.noticed]
    if unseen:
        worst = max(unseen, key=lambda one: abs(one.off))
        off = 100 * (math.exp(abs(worst.off)) - 1)
        yield (
            "Not noticed: bearings ten times softer than their range, of the screw at "
            f"{', '.join(one.corner for one in unseen)}. The answer would be off by {number(off, 2)} % at "
            f"worst ({worst.corner}). Push and pull at the nut, its carriage loosened, shows them (bedsim "
            "learn --recipe stiffness)."
        )


def fault_text(fault: Fault) -> str:
    """What in the readings does not agree, in words."""
    return FAULTS[fault.kind].format(where=fault.where, size=quantity(fault.size, "m"))


def _told_apart(found: Learned) -> Iterator[str]:
    """Numbers that were narrowed, and pairs that only go together."""
    assert found.fit is not None
    P, keys = found.fit.P, found.unknowns.keys
    spread = np.sqrt(np.diag(P))
    order = [k for k in np.argsort(spread) if spread[k] < NARROWED and k < len(keys)][:MOST_TIED]
    for k in order:
        low, high = key_ends(found, int(k))
        key = keys[k]
        yield f"  {key.key}: {number(low)} to {number(high)}, before {number(key.low)} to {number(key.high)}"
    pairs = _pairs(P / np.outer(spread, spread))
    if pairs:
        names = _names(found)
        told = "; ".join(f"{names[i]} and {names[j]}" for i, j in pairs[:MOST_TIED])
        yield f"Known only together: {told}."


def key_ends(found: Learned, k: int) -> tuple[float, float]:
    """5 and 95 % of a key's value among the machines that agree."""
    low, high = np.quantile(found.machines[:, k], (0.05, 0.95), method="weibull")
    key = found.unknowns.keys[k]
    return value_at(key, float(low)), value_at(key, float(high))


def _pairs(correlation: Array) -> list[tuple[int, int]]:
    upper = np.abs(np.triu(correlation, 1))
    places = np.argwhere(upper > TIED)
    return sorted(((int(i), int(j)) for i, j in places), key=lambda ij: -upper[ij])


def _names(found: Learned) -> list[str]:
    corners = [c.name for c in found.unknowns.loaded.scenario.corner]
    vectors = [f"{v.part} at {corners[v.corner]} ({v.name.split()[-1]})" for v in found.unknowns.vectors]
    return [key.key for key in found.unknowns.keys] + vectors


def _next(found: Learned) -> Iterator[str]:
    """What to read next, by what a quarter of an hour brings."""
    worth = [one for one in found.following if one.narrows < WORTH_TELLING][:MOST_NEXT]
    if not worth:
        yield "Next: no reading is sure to narrow the sideways error by more than a tenth."
        return
    yield "Next, by what a quarter of an hour of work narrows the range sideways (plan again after each):"
    for one in worth:
        yield f"  to {100 * one.narrows:3.0f} % in {one.minutes:2.0f} minutes: {one.name}"
    how = "" if found.fit is None else _how(found)
    if how in FORECASTS:
        count, told, left, within = FORECASTS[how]
        yield (
            f"Of {count} invented machines {how}, the first of such a list was told to leave {told} % and "
            f"left {left} % in the middle, two of three within {within} % of what was told."
        )
