"""Which screw at which corner, turned by how much, for the least lateral error that levelling leaves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.clocking import unit_circles
from bedsim.clocking.common_turn import STAYS, with_least_turning
from bedsim.clocking.response import (
    Response,
    ScrewInHand,
    degrees,
    extents,
    lateral_forms,
    response_of,
    screws_in_hand,
)
from bedsim.clocking.rest import Rest, rest_of
from bedsim.clocking.search import AIMS, SAME, Work, assignments, proven, search
from bedsim.errors import InputError
from bedsim.results.layers import Array
from bedsim.scenario.keys import completed, nearest
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import ScrewKeys
from bedsim.scenario.spares import Spare
from bedsim.simulation import probe_points
from bedsim.units import DEG, MM, UM

MISCLOCKED_DEG = (5.0, 15.0)
CORRECTION_MM = 0.5
LITTLE_GAIN = 0.1
"""Part of the error below which clocking is not worth the work.  Our assumption."""
LITTLE = 0.5 * UM
"""RMS (m) that is not worth the work: bands of so little are not seen at leads of 5 mm and more on walls of
up to 50 mm (`visibility`, the most sensitive of its studies).  Our assumption.
"""
NOTHING = 1e-9
"""Errors (m) that differ by less are alike, however small they are: rounding.  Our assumption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One choice of screws (number per corner) and clockings (c,) rad with what it gives, m.

    RMS of the lateral error about its mean over an object's layers, over the chosen probes: as placed,
    expected (root of the mean square) and worst after levelling; peak-to-valleys as placed, and at that worst
    levelling.
    """

    screw: tuple[int, ...]
    clocking: Array
    placed: float
    expected: float
    worst: float
    lateral_pv: float
    height_pv: float
    worst_lateral_pv: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """What to do at one corner: `turn` rad against now, or against the clocking zero if `moved`.

    `nut_shift` m: how far the turn alone takes the nut up (+) or down along its screw; NaN if moved.
    """

    corner: str
    screw: str
    moved: bool
    clocking: float
    turn: float
    nut_shift: float

    @property
    def turned(self) -> bool:
        """Whether the screw is to be turned in its coupling."""
        return abs(self.turn) >= STAYS

    @property
    def worked_on(self) -> bool:
        """Whether there is anything to do."""
        return self.moved or self.turned


@dataclass(frozen=True, slots=True, kw_only=True)
class Misclocked:
    """The worst that clockings off by up to `degrees` each do: RMS and peak-to-valley, m."""

    degrees: float
    rms: float
    lateral_pv: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Everything `bedsim clock` tells; `curve` (k, 3): correction, RMS as it is and as `best`, m.

    `placements` carry out `best` where that is worth the work, and leave every screw where it is elsewhere.
    """

    title: str
    aim: str
    probes: tuple[str, ...]
    correction: float
    turned_by_levelling: Array  # (c,) rad
    now: Setting
    best: Setting
    others: tuple[tuple[str, Setting], ...]
    by_chance: float
    proven: bool
    sets: int
    misclocked: tuple[Misclocked, ...]
    placements: tuple[Placement, ...]
    left_over: tuple[str, ...]
    curve: Array
    response: Response
    chosen_probes: tuple[int, ...]
    rest: Rest

    @property
    def least_placed(self) -> float:
        """The least RMS (m) as placed that was found for any aim."""
        return min(s.placed for s in (self.best, *(s for _, s in self.others)))

    @property
    def gain(self) -> float:
        """Part of the error that is aimed at which `best` takes away; negative where it is worse."""
        now, best = getattr(self.now, self.aim), getattr(self.best, self.aim)
        return 1 - best / now if now > 0 else 0.0

    @property
    def gains_little(self) -> bool:
        """Whether what is gained is too little, against the error or by itself."""
        gained = getattr(self.now, self.aim) - getattr(self.best, self.aim)
        return bool(self.gain < LITTLE_GAIN or gained < LITTLE)

    @property
    def worse_as_placed(self) -> bool:
        """Whether the bed would stray more until it is levelled, by more than counts as alike."""
        return self.best.placed > max(self.now.placed * (1 + SAME), self.now.placed + NOTHING)

    @property
    def leave(self) -> bool:
        """Whether every screw stays as it is."""
        return not any(p.worked_on for p in self.placements)

    @property
    def name_of_best(self) -> str:
        """What `best` is called: nothing is advised where it is not worth the work."""
        return "best found" if self.leave else "advised"


def advise(
    loaded: LoadedScenario,
    *,
    spares: Sequence[Spare] = (),
    probe: str | None = None,
    correction: float = CORRECTION_MM * MM,
    aim: str = "expected",
    swap: bool = True,
    progress: Callable[[int], None] = lambda done: None,
) -> Advice:
    """Find screws and clockings of the least lateral error at a probe, or over the whole bed.

    Minimised is the RMS over layers and probes, for it is a quadratic form in unit vectors (`unit_circles`);
    peak-to-valleys are told beside it.  `correction` m: each corner is levelled by an independent amount
    within +-correction, evenly distributed (our assumption), which turns its screw by 360 degrees x
    correction/lead.  Limits: frictionless machine with fitting nuts; the screw as mounted.
    Of clockings that differ by a turn common to all screws the one with the least work is taken.
    `progress` is told how many of `sets_to_search` are done.
    Raises InputError for an unknown probe, spares where screws differ, or too many sets.
    """
    chosen, names = _probes(loaded, probe)
    hand = screws_in_hand(loaded, spares)
    sets = assignments(loaded, hand, swap)
    response = response_of(loaded, hand)
    forms = lateral_forms(response, sets, chosen)
    spread = levelling_turn([c.screw for c in loaded.scenario.corner], correction)
    work = Work(response=response, sets=sets, forms=forms, spread=spread, probes=chosen)
    clocking_now = np.array([c.screw.clocking_deg for c in loaded.scenario.corner]) * DEG
    hand_now = tuple(range(len(clocking_now)))
    place_now = sets.index(hand_now)
    found = search(work, progress)
    best = _with_least_work(loaded, work, found[aim], aim)
    settings = {a: _setting(work, *found[a]) for a in AIMS} | {aim: best}
    advice = Advice(
        title=loaded.scenario.title,
        aim=aim,
        probes=names,
        correction=correction,
        turned_by_levelling=spread,
        now=_setting(work, place_now, clocking_now),
        best=best,
        others=tuple((a, settings[a]) for a in AIMS if a != aim),
        by_chance=math.sqrt(float(unit_circles.average(forms)[place_now])),
        proven=aim != "worst" and proven(work, found[aim], aim),
        sets=len(sets),
        misclocked=tuple(_misclocked(work, found[aim][0], best.clocking, off) for off in MISCLOCKED_DEG),
        placements=_placements(loaded, hand, best),
        left_over=tuple(s.label for k, s in enumerate(hand) if k not in best.screw),
        curve=_curve(work, (place_now, clocking_now), (found[aim][0], best.clocking), loaded, correction),
        response=response,
        chosen_probes=tuple(chosen),
        rest=rest_of(response, (hand_now, clocking_now), (best.screw, best.clocking), chosen),
    )
    return left_alone(loaded, advice) if advice.gains_little or advice.worse_as_placed else advice


def left_alone(loaded: LoadedScenario, advice: Advice) -> Advice:
    """The same findings with every screw left where it is."""
    hand = advice.response.screws
    return replace(
        advice,
        placements=_placements(loaded, hand, advice.now),
        left_over=tuple(s.label for s in hand if s.corner is None),
    )


def _with_least_work(loaded: LoadedScenario, work: Work, found: tuple[int, Array], aim: str) -> Setting:
    """What was found, less the turn common to all screws where the error does not depend on it."""
    k, clocking = found
    best = _setting(work, k, clocking)
    most = max(getattr(best, aim) * (1 + SAME), getattr(best, aim) + NOTHING)
    begin = _counted_from(loaded, work.response.screws, best)
    hand = np.array([1.0 if c.screw.hand == "right" else -1.0 for c in loaded.scenario.corner])
    kept = np.array([work.response.screws[s].corner == c for c, s in enumerate(best.screw)])
    for eased in with_least_turning(clocking, begin, hand, kept):
        setting = _setting(work, k, eased)
        if getattr(setting, aim) <= most:
            return setting
    return best


def _counted_from(loaded: LoadedScenario, hand: Sequence[ScrewInHand], setting: Setting) -> Array:
    """Clocking (c,) rad from which each turn counts: now, or zero where another screw is put in."""
    corners = loaded.scenario.corner
    return np.array(
        [
            corner.screw.clocking_deg * DEG if hand[setting.screw[c]].corner == c else 0.0
            for c, corner in enumerate(corners)
        ]
    )


def levelling_turn(screws: Sequence[ScrewKeys], correction: float) -> Array:
    """Turn (c,) rad of every screw that a correction of its corner's height (m) makes: 2 pi correction/lead.

    Derivation: one turn is one lead. Half a turn at most, for more is the same as less.
    """
    leads = np.array([s.lead_mm for s in screws]) * MM
    return np.minimum(2 * np.pi * correction / leads, np.pi)


def _probes(loaded: LoadedScenario, probe: str | None) -> tuple[list[int], tuple[str, ...]]:
    names = probe_points(loaded)[0]
    if probe is None:  # the scenario's own, which come first
        own = len(loaded.scenario.probe)
        return list(range(own)), names[:own]
    probe = completed(probe, names)
    if probe not in names:
        near = nearest(probe, names)
        hint = f". Did you mean {near}?" if near else "."
        raise InputError(f"--probe = {probe}: there is no such probe. Allowed: {', '.join(names)}{hint}")
    return [names.index(probe)], (probe,)


# ---- what a choice gives ------------------------------------------------------------------------------


def _root(value: float) -> float:
    return math.sqrt(max(value, 0.0))


def _setting(work: Work, k: int, clocking: Array) -> Setting:
    form, screw = work.form(k), work.sets[k]
    worst, at = unit_circles.worst_within(form, clocking[None], work.spread)
    walls = work.response.walls
    lateral, height = extents(work.response.errors(screw, clocking), work.probes, walls)
    return Setting(
        screw=screw,
        clocking=clocking,
        placed=_root(unit_circles.values(form, clocking[None, None])[0, 0]),
        expected=_root(unit_circles.values(work.averaged().only(k), clocking[None, None])[0, 0]),
        worst=_root(worst[0]),
        lateral_pv=lateral,
        height_pv=height,
        worst_lateral_pv=extents(work.response.errors(screw, at[0]), work.probes, walls)[0],
    )


def _misclocked(work: Work, k: int, clocking: Array, off_deg: float) -> Misclocked:
    """The largest RMS within the box, and the largest peak-to-valley at its corners."""
    off = off_deg * DEG
    worst, _ = unit_circles.worst_within(work.form(k), clocking[None], np.full(clocking.size, off))
    signs = np.stack(np.meshgrid(*[[-1, 1]] * clocking.size, indexing="ij"), axis=-1).reshape(
        -1, clocking.size
    )
    moved = (work.response.errors(work.sets[k], clocking + off * s) for s in signs)
    pv = max(extents(errors, work.probes, work.response.walls)[0] for errors in moved)
    return Misclocked(degrees=off_deg, rms=_root(worst[0]), lateral_pv=pv)


def _curve(
    work: Work, now: tuple[int, Array], best: tuple[int, Array], loaded: LoadedScenario, correction: float
) -> Array:
    """Expected RMS over corrections up to three times the given one, or a quarter lead."""
    screws = [c.screw for c in loaded.scenario.corner]
    longest = max(3 * correction, max(s.lead_mm for s in screws) * MM / 4)
    rows = []
    for c in np.linspace(0.0, longest, 25):
        form = unit_circles.averaged(work.forms, levelling_turn(screws, c))
        row = [_root(unit_circles.values(form.only(k), a[None, None])[0, 0]) for k, a in (now, best)]
        rows.append((c, *row))
    return np.array(rows)


def _placements(
    loaded: LoadedScenario, hand: Sequence[ScrewInHand], setting: Setting
) -> tuple[Placement, ...]:
    begin = _counted_from(loaded, hand, setting)
    found = []
    for c, corner in enumerate(loaded.scenario.corner):
        screw = hand[setting.screw[c]]
        moved = screw.corner != c
        clocking = degrees(setting.clocking)[c] * DEG
        turn = degrees(setting.clocking - begin)[c] * DEG
        hand_of_thread = 1.0 if corner.screw.hand == "right" else -1.0
        shift = -hand_of_thread * corner.screw.lead_mm * MM * turn / (2 * np.pi)
        found.append(
            Placement(
                corner=corner.name,
                screw=screw.label,
                moved=moved,
                clocking=clocking,
                turn=turn,
                nut_shift=math.nan if moved else shift,
            )
        )
    return tuple(found)
