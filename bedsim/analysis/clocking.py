"""Which screw at which corner, turned by how much, for the least lateral error that levelling leaves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis import unit_circles
from bedsim.analysis.clocking_response import (
    Response,
    ScrewInHand,
    degrees,
    extents,
    lateral_forms,
    response_of,
    screws_in_hand,
)
from bedsim.analysis.clocking_search import AIMS, Work, assignments, proven, search
from bedsim.errors import InputError
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Screw
from bedsim.scenario.spares import Spare
from bedsim.simulation import probe_points
from bedsim.units import DEG, MM

MISCLOCKED_DEG = (5.0, 15.0)
CORRECTION_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One choice of screws (number per corner) and clockings (c,) rad with what it gives, m.

    RMS of the lateral error about its mean over the layers and the chosen probes: as placed, expected (root
    of the mean square) and worst after levelling; peak-to-valleys as placed, and at that worst levelling.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Misclocked:
    """The worst that clockings off by up to `degrees` each do: RMS and peak-to-valley, m."""

    degrees: float
    rms: float
    lateral_pv: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Everything `bedsim clock` tells; `curve` (k, 3): correction, RMS as it is and as advised, m."""

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

    @property
    def gain(self) -> float:
        """Part of the expected error after levelling that the advice takes away, 0 to 1."""
        return 1 - self.best.expected / self.now.expected if self.now.expected > 0 else 0.0


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
    place_now = sets.index(tuple(range(len(clocking_now))))
    found = search(work, progress)
    settings = {a: _setting(work, *found[a]) for a in AIMS}
    best_set, best_clocking = found[aim]
    return Advice(
        title=loaded.scenario.title,
        aim=aim,
        probes=names,
        correction=correction,
        turned_by_levelling=spread,
        now=_setting(work, place_now, clocking_now),
        best=settings[aim],
        others=tuple((a, settings[a]) for a in AIMS if a != aim),
        by_chance=math.sqrt(float(unit_circles.average(forms)[place_now])),
        proven=aim != "worst" and proven(work, found[aim], aim),
        sets=len(sets),
        misclocked=tuple(_misclocked(work, best_set, best_clocking, off) for off in MISCLOCKED_DEG),
        placements=_placements(loaded, hand, settings[aim], clocking_now),
        left_over=tuple(s.label for k, s in enumerate(hand) if k not in settings[aim].screw),
        curve=_curve(work, (place_now, clocking_now), found[aim], loaded, correction),
        response=response,
        chosen_probes=tuple(chosen),
    )


def levelling_turn(screws: Sequence[Screw], correction: float) -> Array:
    """Turn (c,) rad of every screw that a correction of its corner's height (m) makes: 2 pi correction/lead.

    Derivation: one turn is one lead. Half a turn at most, for more is the same as less.
    """
    leads = np.array([s.lead_mm for s in screws]) * MM
    return np.minimum(2 * np.pi * correction / leads, np.pi)


def _probes(loaded: LoadedScenario, probe: str | None) -> tuple[list[int], tuple[str, ...]]:
    names = probe_points(loaded)[0]
    if probe is None:
        return list(range(len(names))), names
    if probe not in names:
        raise InputError(f"--probe = {probe}: there is no such probe. Allowed: {', '.join(names)}")
    return [names.index(probe)], (probe,)


# ---- what a choice gives ------------------------------------------------------------------------------


def _root(value: float) -> float:
    return math.sqrt(max(value, 0.0))


def _setting(work: Work, k: int, clocking: Array) -> Setting:
    form, screw = work.form(k), work.sets[k]
    worst, at = unit_circles.worst_within(form, clocking[None], work.spread)
    lateral, height = extents(work.response.errors(screw, clocking), work.probes)
    return Setting(
        screw=screw,
        clocking=clocking,
        placed=_root(unit_circles.values(form, clocking[None, None])[0, 0]),
        expected=_root(unit_circles.values(work.averaged().only(k), clocking[None, None])[0, 0]),
        worst=_root(worst[0]),
        lateral_pv=lateral,
        height_pv=height,
        worst_lateral_pv=extents(work.response.errors(screw, at[0]), work.probes)[0],
    )


def _misclocked(work: Work, k: int, clocking: Array, off_deg: float) -> Misclocked:
    """The largest RMS within the box, and the largest peak-to-valley at its corners."""
    off = off_deg * DEG
    worst, _ = unit_circles.worst_within(work.form(k), clocking[None], np.full(clocking.size, off))
    signs = np.stack(np.meshgrid(*[[-1, 1]] * clocking.size, indexing="ij"), axis=-1).reshape(
        -1, clocking.size
    )
    pv = max(extents(work.response.errors(work.sets[k], clocking + off * s), work.probes)[0] for s in signs)
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
    loaded: LoadedScenario, hand: Sequence[ScrewInHand], best: Setting, clocking_now: Array
) -> tuple[Placement, ...]:
    found = []
    for c, corner in enumerate(loaded.scenario.corner):
        screw = hand[best.screw[c]]
        moved = screw.corner != c
        clocking = degrees(best.clocking)[c] * DEG
        against = 0.0 if moved else clocking_now[c]
        turn = degrees(np.array([clocking - against]))[0] * DEG
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
