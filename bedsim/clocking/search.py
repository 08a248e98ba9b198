"""The search behind clocking: every way to place the screws, the best clockings of each, the best of all."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from bedsim.clocking import unit_circles
from bedsim.clocking.response import Response, ScrewInHand, interchangeable
from bedsim.clocking.unit_circles import Form
from bedsim.errors import InputError
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario

AIMS = ("expected", "worst", "placed")
"""What is minimised: mean over levelling, worst case over levelling, or the machine as placed."""
MOST_SETS = 12_000
AT_ONCE = 200
LOOKED_AT_CLOSELY = 60
"""Sets, by a rough search, whose best clockings are then found with care."""
SAME = 0.01
"""Errors that differ by less count as alike; then the choice that moves the fewest screws is taken."""
CARRIED = 5
"""Best assignments, by their expected error, that are searched again for the least worst case."""

Choice = tuple[float, int, Array]  # value m2, set number, clockings rad


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What is searched: a form per set of screws, turn by levelling (c,) rad, probes that count."""

    response: Response
    sets: list[tuple[int, ...]]
    forms: Form
    spread: Array
    probes: list[int]

    def form(self, k: int) -> Form:
        """The form of one set as placed."""
        return self.forms.only(k)

    def averaged(self) -> Form:
        """The forms of all sets, averaged over levelling."""
        return unit_circles.averaged(self.forms, self.spread)


def search(work: Work, progress: Callable[[int], None]) -> dict[str, tuple[int, Array]]:
    """Set number and clockings of the least error, for every aim."""
    as_placed = _least(work.forms, progress)
    expected = _least(work.averaged(), lambda done: progress(len(work.sets) + done))
    found = {"placed": _fewest_moved(work, as_placed), "expected": _fewest_moved(work, expected)}
    return found | {"worst": _least_worst(work, expected) if np.any(work.spread > 0) else found["placed"]}


def _least_worst(work: Work, expected: Sequence[Choice]) -> tuple[int, Array]:
    """From the clockings that are best expected and best as placed, for the sets that are best expected."""
    tried = []
    for _, k, clocking in expected[:CARRIED]:
        as_placed, _ = unit_circles.minimise(work.form(k))
        candidates = np.stack([clocking, as_placed[0]])
        at, value = unit_circles.minimise_worst(work.form(k), candidates, work.spread)
        tried.append((value, k, at))
    return _fewest_moved(work, sorted(tried, key=lambda item: item[0]))


def _fewest_moved(work: Work, ranked: Sequence[Choice]) -> tuple[int, Array]:
    """Of the choices as good as the first, the one that leaves most screws where they are."""
    best = ranked[0][0]  # a square, but rounding may leave it a little below zero
    good = [item for item in ranked if item[0] <= best + abs(best) * ((1 + SAME) ** 2 - 1)]
    _, k, clocking = min(good, key=lambda item: sum(s != c for c, s in enumerate(work.sets[item[1]])))
    return k, clocking


def _least(forms: Form, progress: Callable[[int], None]) -> list[Choice]:
    """Sets in order of their least value, with clockings; of very many only the most promising."""
    count = forms.b.shape[0]
    rough = []
    for first in range(0, count, AT_ONCE):
        rough.append(unit_circles.roughly(forms.some(np.arange(first, min(first + AT_ONCE, count)))))
        progress(min(first + AT_ONCE, count))
    chosen = np.argsort(np.concatenate(rough))[:LOOKED_AT_CLOSELY]
    angle, value = unit_circles.minimise(forms.some(chosen))
    found = [(float(v), int(k), a) for k, v, a in zip(chosen, value, angle, strict=True)]
    return sorted(found, key=lambda item: item[0])


def proven(work: Work, found: tuple[int, Array], aim: str) -> bool:
    """Whether the clockings found for a set are the best there are, as placed or expected."""
    form = work.forms if aim == "placed" else work.averaged()
    return unit_circles.is_proven(form.only(found[0]), found[1])


def sets_to_search(corners: int, spares: int) -> int:
    """Largest number of sets that `advise` reports as progress."""
    return 2 * math.perm(corners + spares, corners)


def assignments(loaded: LoadedScenario, hand: Sequence[ScrewInHand], swap: bool) -> list[tuple[int, ...]]:
    """Every way to put a screw at each corner; as they are is always among them.

    A corner's own screw goes only where the same size of screw is; a spare one needs all corners alike.
    """
    screws = [c.screw for c in loaded.scenario.corner]
    sizes = [interchangeable(s) for s in screws]
    as_it_is = tuple(range(len(screws)))
    spare = any(s.corner is None for s in hand)
    if spare and len(set(sizes)) > 1:
        raise InputError(
            "--spares: the corners have screws of different size, lead, hand or ends: a spare fits not "
            "all. Give every corner the same screw, or leave the spares out."
        )
    if not swap and not spare:
        return [as_it_is]
    count = math.perm(len(hand), len(screws))
    if count > MOST_SETS:
        raise InputError(
            f"--spares: {len(hand)} screws for {len(screws)} corners are {count} sets, at most {MOST_SETS} "
            "are tried. Leave the worst screws out."
        )
    return [
        chosen
        for chosen in permutations(range(len(hand)), len(screws))
        if all(_may_go(hand[s], c, sizes, swap) for c, s in enumerate(chosen))
    ]


def _may_go(screw: ScrewInHand, corner: int, sizes: Sequence[object], swap: bool) -> bool:
    if screw.corner is None or screw.corner == corner:
        return True
    return swap and sizes[screw.corner] == sizes[corner]
