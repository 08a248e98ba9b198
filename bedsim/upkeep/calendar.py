"""The calendar of jobs: what, when, why and how, from the intervals of wear and grease.

Where a rule gives a span the earlier end stands in the calendar.  Jobs marked "common practice" have no
source.
"""

from __future__ import annotations

import calendar as months_of_years
import datetime
import math
from collections.abc import Iterator
from dataclasses import dataclass

from bedsim import registry
from bedsim.model.joint_kind import joint_kind
from bedsim.scenario.schema import Scenario
from bedsim.sizing.numbers import MachineNumbers
from bedsim.units import UM
from bedsim.upkeep import grease
from bedsim.upkeep.use import DAYS_A_MONTH, Use, span_words, years_words
from bedsim.upkeep.wear import PlainWear

LONGEST = 600.0
"""Months: what comes later is told as such and has no day."""
PRACTICE = "common practice, no source"
LEVEL_SHARE = 0.1
"""Of a layer: corners that have sunk apart by so much are levelled anew (common practice)."""

OFF = "power off"
HOT = "hot parts"
MAGNETS = "magnets"
SOLVENTS = "solvents"
MOVES = "it moves"
CAUTIONS = {
    OFF: "power off, plug pulled, and the bed propped from below before hands go under it: it can come down",
    HOT: "let bed, nozzle and motors cool first",
    MAGNETS: "magnets pinch, pull tools and plates out of the hand, and harm implants and electronics",
    SOLVENTS: "solvents burn and their vapour does: nothing hot, no sparks, air and gloves; many attack "
    "plastic nuts, belts and seals",
    MOVES: "the bed moves under power: hands, tools and prints out of its way",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Chore:
    """A job: first after `first` months, then every `every` months (None: once).

    `by_hand`: not what the machine does alone; `cautions`: keys of `CAUTIONS`.
    """

    name: str
    first: float
    every: float | None
    why: str
    how: str
    cautions: tuple[str, ...]
    by_hand: bool = True

    @property
    def a_year(self) -> float:
        """How often in a year, in the long run."""
        return 12.0 / (self.every or max(self.first, 1.0 / DAYS_A_MONTH))


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the calendar is made from."""

    scenario: Scenario
    machine: MachineNumbers
    use: Use
    plain: PlainWear | None
    ball_life: float | None
    guide_life: float | None

    @property
    def has_balls(self) -> bool:
        """Whether any screw is a ball screw."""
        return any(c.screw.is_ball for c in self.machine.corners)

    @property
    def greased_guides(self) -> bool:
        """Whether any guide wants grease."""
        return any(registry.guide_kind(c.guide.kind).greased for c in self.scenario.corner)

    @property
    def dry_guides(self) -> bool:
        """Whether any guide runs on wheels without."""
        return any(not registry.guide_kind(c.guide.kind).greased for c in self.scenario.corner)

    @property
    def has_plain(self) -> bool:
        """Whether any screw is a plain one."""
        return any(not c.screw.is_ball for c in self.machine.corners)


def chores(facts: Facts) -> tuple[Chore, ...]:
    """All jobs, those that come first before the others."""
    found = [
        *_ball_screws(facts),
        *_plain_screws(facts),
        *_full_runs(facts),
        *_guides(facts),
        *_others(facts),
    ]
    return tuple(sorted(found, key=lambda c: (c.first, c.name)))


def _ball_screws(facts: Facts) -> Iterator[Chore]:
    if not facts.has_balls:
        return
    how = "wipe a hand's width of the thread: grey, dirty or dry means grease now"
    early = [(float(m), None) for m in grease.LOOKS[:-1]]
    for first, every in [*early, (float(grease.LOOKS[-1]), float(grease.LOOKS[-1]))]:
        yield Chore(
            name="Look at the grease of the ball screws",
            first=first,
            every=every,
            why="a maker's rule: after 1, 3 and 6 months, then every 6",
            how=how,
            cautions=(OFF, HOT),
        )
    distance, months = grease.regrease_months(facts.use, facts.machine.duty.speed)
    yield Chore(
        name="Grease the ball screws",
        first=_whole(months),
        every=_whole(months),
        why=f"12 months or 1,250 km, whichever comes first: that way takes {years_words(distance)} here; "
        "never later than 2 years, grease ages",
        how="wipe the thread clean, grease for ball screws without graphite or MoS2 into nut or thread, run "
        "the bed over its height, wipe off what comes out; how much: the nut maker's table (none was found)",
        cautions=(OFF, HOT, SOLVENTS, MOVES),
    )
    if facts.ball_life is not None and facts.ball_life <= LONGEST:
        yield Chore(
            name="Have ball screws ready: nominal life",
            first=facts.ball_life,
            every=None,
            why="90 % of like screws reach it; grit, rust and dry balls come before",
            how="feel each nut for rough spots by hand; a rough one is changed, with its screw",
            cautions=(OFF, HOT),
        )


def _plain_screws(facts: Facts) -> Iterator[Chore]:
    if not facts.has_plain:
        return
    low, high = grease.plain_months(facts.use)
    runs = facts.machine.duty.wear.runs
    if runs == "dry":
        yield Chore(
            name="Wipe the lead screws",
            first=3.0,
            every=3.0,
            why=f"dust and worn plastic grind ({PRACTICE})",
            how="a dry cloth held round the turning screw's thread by hand, screw turned by hand",
            cautions=(OFF, HOT),
        )
    else:
        word = "Oil" if runs == "oiled" else "Grease"
        yield Chore(
            name=f"{word} the lead screws",
            first=low,
            every=low,
            why=f"100 to 500 hours of running, taken as hours of printing: {span_words(low, high)}, a year "
            "at most",
            how="wipe the thread clean first; on plastic nuts only what their maker allows",
            cautions=(OFF, HOT, SOLVENTS),
        )
    if facts.plain is None:
        return
    yield from _nut_wear(facts, facts.plain)


def _nut_wear(facts: Facts, plain: PlainWear) -> Iterator[Chore]:
    first, last = plain.change
    every = min(max(first / 4.0, 1.0), 12.0)
    yield Chore(
        name="Measure the play of the plain nuts",
        first=every,
        every=every,
        why="a quarter of the shortest time to the limit, a year at most: wear is known to a factor of ten",
        how="dial gauge on the carriage, mount lifted off: lift and press the carriage by hand; the span is "
        f"the play, change the nut at {plain.limit / UM:.0f} µm",
        cautions=(OFF, HOT),
    )
    if first <= LONGEST:
        yield Chore(
            name="Change the plain nuts, if the play says so",
            first=first,
            every=None,
            why=f"{plain.limit / UM:.0f} µm of play after {span_words(first, last)} at {plain.corner}",
            how="all nuts together, then level the bed and set the first layer anew",
            cautions=(OFF, HOT),
        )
    rows = [row for row in plain.rows if row.uneven > 0]
    if rows:
        apart = LEVEL_SHARE * facts.machine.duty.layer * rows[0].months / rows[0].uneven
        if apart <= 60.0:
            yield Chore(
                name="Level the bed anew",
                first=max(apart, 1.0),
                every=max(apart, 1.0),
                why="unequal loads wear nuts unequally: by then the corners may differ by a tenth of a layer",
                how="as when the machine was set up, bed at its usual temperature",
                cautions=(HOT, MOVES),
            )


def _full_runs(facts: Facts) -> Iterator[Chore]:
    found = grease.prints_to_full_run(facts.use)
    if found is None or not (facts.has_balls or facts.greased_guides):
        return
    often, seldom = found
    months = often / facts.use.prints
    if months > LONGEST:
        return
    if often < 1.0:
        when = "before and after every print: one print alone is more than that"
    else:
        when = f"every {often:.0f} prints, every {seldom:.0f} at the latest"
    yield Chore(
        name="Run the bed over its height, five times",
        first=max(months, 1.0 / DAYS_A_MONTH),
        every=max(months, 1.0 / DAYS_A_MONTH),
        why=f"layers and hops are strokes of 30 mm or less, which starve the contacts: after 5,000 to 10,000 "
        f"({facts.use.strokes:.0f} a print): {when}",
        how="bed empty, down to its lowest place and up again; can stand at the start of the print's file",
        cautions=(MOVES,),
        by_hand=False,
    )


def _guides(facts: Facts) -> Iterator[Chore]:
    if facts.greased_guides:
        yield Chore(
            name="Look at the guides, wipe and grease them",
            first=grease.GUIDE_MONTHS,
            every=grease.GUIDE_MONTHS,
            why="a maker's rule: start with a day, double it while they are clean, three months at most",
            how="clean cloth along the rail or rod, thin film of grease; look for rust and dents",
            cautions=(OFF, HOT, SOLVENTS),
        )
    if facts.dry_guides:
        yield Chore(
            name="Look at the wheels",
            first=3.0,
            every=3.0,
            why=f"wheels get flats where they stand and loosen ({PRACTICE}; no rate of wear found)",
            how="turn each by hand against its rail: it turns with a little drag and without play; no grease",
            cautions=(OFF, HOT),
        )
    if facts.guide_life is not None and facts.guide_life <= LONGEST:
        yield Chore(
            name="Have guides ready: nominal life",
            first=facts.guide_life,
            every=None,
            why="90 % of like carriages reach it at the side force of the run; moments take from it",
            how="feel for rough spots along the whole way",
            cautions=(OFF, HOT),
        )


def _others(facts: Facts) -> Iterator[Chore]:
    if any(joint_kind(c.joint.kind).wears for c in facts.scenario.corner):
        yield Chore(
            name="Look at the joints between nuts and carriages",
            first=1.0,
            every=6.0,
            why=f"dents, rust and grit under balls or slides, cracks in flexures ({PRACTICE})",
            how="lift the bed off, part the joint; a dent that a finger nail feels: new plate, a hard disc "
            "at best; wipe balls and plates dry and clean",
            cautions=(OFF, HOT, MAGNETS),
        )
    if facts.scenario.drive.topology == "belt":
        yield Chore(
            name="Look at the belt",
            first=1.0,
            every=6.0,
            why=f"belts settle, then wear at their edges ({PRACTICE})",
            how="pluck it and hear the same note as when new; look for frayed teeth",
            cautions=(OFF, HOT),
        )
    yield Chore(
        name="Tighten couplings, nuts' and guides' bolts",
        first=1.0,
        every=12.0,
        why=f"heat and shaking loosen them in the first month most ({PRACTICE})",
        how="one after the other, marks across bolt heads tell later",
        cautions=(OFF, HOT),
    )


def _whole(months: float) -> float:
    """Whole months where there is one at least."""
    return float(math.floor(months)) if months >= 1.0 else months


def day_after(start: datetime.date, months: float) -> datetime.date:
    """The day so many months after another, days of a month clipped to its length; the greater care rounds
    parts of a month down to days, one at least."""
    whole = int(months)
    year, month = divmod(start.month - 1 + whole, 12)
    year, month = start.year + year, month + 1
    day = datetime.date(year, month, min(start.day, months_of_years.monthrange(year, month)[1]))
    days = int((months - whole) * DAYS_A_MONTH)
    return day + datetime.timedelta(days=days if whole or days else 1)
