"""What `bedsim compensate` says."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from bedsim.analysis.printed import FLOOR, quantity
from bedsim.compensate.advice import Compensation
from bedsim.compensate.phase import TOLD_MM, DoubtfulTable, PhaseNeeds
from bedsim.compensate.software import software_sentence
from bedsim.compensate.ways import AS_IT_IS, HEIGHT, LeftCause, Remains, Way
from bedsim.number_text import number
from bedsim.units import DEG, MM, UM

CAUTIONS = (
    "Caution: a changed program or table moves a hot, heavy machine. Look at it first without filament, "
    "hand on the switch, and far from its ends of travel. What is computed here is an aid to judgement "
    "and no proof.",
)
NEEDS = (
    "So a table needs the screws at the angle it was made for: an index mark on every screw, or homing to "
    "the screw's angle and not to the bed's height alone. After levelling, after a coupling was loosened and "
    "after lost steps it must be made again."
)


def headline(found: Compensation) -> str:
    """One sentence: worth it or not."""
    w, step = found.worth, found.asked.step
    if found.refused:
        return f"Leave the program as it is: {'; '.join(found.refused)}."
    stepped = (
        f", {_um(w.stepped)} with X and Y in steps of {told_step(step)} (up to {_um(w.stepped_worst)})"
        if step
        else ""
    )
    return (
        f"Worth it: of {_um(w.before)} sideways a shift and a turn per layer leave {_um(w.after)}{stepped}; "
        f"5° late {_um(w.late_stepped)}. It holds as long as the screws' angle is known."
    )


def lines(found: Compensation) -> Iterator[str]:
    """Everything, line by line; a line that begins with two spaces belongs to a table."""
    yield headline(found)
    yield from height_lines(found)
    yield ""
    yield from way_lines(found)
    yield ""
    yield from worth_lines(found)
    yield ""
    yield from phase_lines(found.phase, found.leads)
    yield ""
    yield from map_lines(found)
    yield ""
    yield from CAUTIONS


def height_lines(found: Compensation) -> Iterator[str]:
    """What is not said of X and Y: that heights would gain, where they halve the error at least."""
    left = {way.name: way.left.height for way in found.ways if way.left is not None}
    if HEIGHT in left and left[HEIGHT] >= FLOOR and 2 * left[HEIGHT] < left[AS_IT_IS]:
        yield (
            f"In height, one height per layer in whole microsteps (the word Z) leaves {_um(left[HEIGHT])} of "
            f"{_um(left[AS_IT_IS])}: in the table, not in a corrected copy, which moves X and Y alone."
        )


def way_lines(found: Compensation) -> Iterator[str]:
    """The ways beside each other, and what they leave by its cause."""
    step = found.asked.step
    steps = f"in steps of {told_step(step)}" if step else ""
    yield (
        "What can be taken off, with friction, hop and vibration (peak to valley at the worst place; of "
        "thickness a layer's largest error):"
    )
    head = ("", "sideways", *((steps, "at worst") if step else ()), "height", "thickness")
    yield from table([head, *(_way_row(way, bool(step)) for way in found.ways)])
    for way in found.ways:
        yield f"  {way.name}: {way.words}"
    yield "What is left, by its cause (each alone):"
    for way in found.ways:
        if way.causes:
            yield f"  {way.name}: {'; '.join(_cause(c) for c in way.causes if _told(c))}"
    told = [c for c in found.shift_leaves if c.lateral >= FLOOR]
    if told:
        yield f"  A shift alone leaves of {'; of '.join(f'{c.name} {_um(c.lateral)}' for c in told)}."


def _way_row(way: Way, stepped: bool) -> tuple[str, ...]:
    if way.left is None:
        return (way.name, f"not here: {way.refused}")
    left: Remains = way.left
    steps = (_um(left.stepped), _um(left.stepped_worst)) if stepped else ()
    return (way.name, _um(left.lateral), *steps, _um(left.height), _um(left.thickness))


def _told(cause: LeftCause) -> bool:
    return max(cause.lateral, cause.height) >= FLOOR


def _cause(cause: LeftCause) -> str:
    return f"{cause.name} {_um(max(cause.lateral, cause.height))}"


def worth_lines(found: Compensation) -> Iterator[str]:
    """Before and after, as it comes out on a machine."""
    w, step = found.worth, found.asked.step
    yield "What shift and turn make of the sideways error:"
    rows = [
        ("before", _um(w.before)),
        ("after, from a run with friction, in phase", _um(w.after)),
        ("after, from a machine without friction", _um(w.modelled)),
    ]
    if step:
        rows.append(
            (
                f"after, X and Y in steps of {told_step(step)}",
                f"{_um(w.stepped)}, up to {_um(w.stepped_worst)}",
            )
        )
    rows.append(("5° late (homing or levelling)", _um(w.late)))
    if step:
        rows.append(("5° late, in steps", _um(w.late_stepped)))
    yield from table(rows)
    if w.over is not None:
        o = w.over
        yield (
            f"  A table from the likely values, on {o.count} machines drawn from the ranges, without "
            "friction: "
            f"{_ends(o.left)} are left of {_ends(o.before)} (10, 50 and 90 %); it harms "
            f"{100 * o.harms:.0f} % "
            "of them. A table from readings of the machine itself is the better source (bedsim learn)."
        )
    if found.travel is not None:
        yield f"  {software_sentence(found.travel)}"
    yield f"  The nozzle goes up to {_um(w.largest)} off its program (limit {number(w.limit / MM)} mm)."


def phase_lines(phase: PhaseNeeds, leads: tuple[float, float]) -> Iterator[str]:
    """How well the screws' angle must be known."""
    lead = " to ".join(dict.fromkeys(number(v / MM) for v in leads))
    yield (
        f"How well the screws' angle must be known (lead {lead} mm; a table late by phi leaves 2 "
        "sin(phi/2) of "
        "a sine):"
    )
    head = ("late by", "homing off by", "full steps", "left by the law", "left by this machine")
    rows: list[tuple[str, ...]] = [
        (
            f"{late.phi / DEG:.0f}°",
            f"{number(late.homing / MM, 2)} mm",
            number(late.full_steps, 2),
            f"{100 * late.by_law:.0f} %",
            f"{100 * late.by_machine:.0f} %",
        )
        for late in phase.late
    ]
    yield from table([head, *rows])
    yield "  Left on average (in the worst of twenty) where the doubt is as large as, either way:"
    rows = [("", *(f"{mm:g} mm" for mm in TOLD_MM))]
    for cause, words in (("homing", "of homing"), ("levelling", "of levelling, every screw")):
        rows.append((words, *(_share(d) for d in phase.doubts if d.cause == cause)))
    yield from table(rows)
    asked = f"±{number(phase.homing / MM)} mm of homing"
    if phase.levelling:
        asked += f" and ±{number(phase.levelling / MM)} mm of levelling"
    yield (
        f"  With {asked}, {_um(phase.expected)} are left on average of {_um(phase.before)}, without "
        "friction; "
        f"{100 * phase.harms:.0f} % of the draws are worse than before. {_reach(phase)}"
    )
    yield f"  {NEEDS}"


def _share(told: DoubtfulTable) -> str:
    return f"{100 * told.mean:.0f} % ({100 * told.most:.0f} %)"


def _reach(phase: PhaseNeeds) -> str:
    if math.isinf(phase.half):
        return "No doubt of homing leaves half of it on average."
    none = (
        "no doubt of homing leaves all of it on average"
        if math.isinf(phase.none)
        else f"from ±{number(phase.none / MM, 2)} mm on nothing is gained on average"
    )
    return f"Half of it is left at ±{number(phase.half / MM, 2)} mm of homing; {none}."


def map_lines(found: Compensation) -> Iterator[str]:
    """Why a height map changes."""
    m = found.maps
    yield "Why a height map changes (over the whole plate, without friction):"
    yield "  levelling turns a screw: the corner goes where it is wanted, and the map changes besides"
    head = ("screw turned", f"by {number(m.screws[0].by / MM)} mm", "by any turn, at most")
    rows = [(s.corner, _um(s.change), _um(s.any_turn)) for s in m.screws]
    rows.append(
        ("all, homing off", f"{_um(m.homing_change)} (by {number(m.homing / MM)} mm)", _um(m.homing_any))
    )
    yield from table([head, *rows])
    travel = number(float(m.height[-1] - m.height[0]) / MM, 3)
    if math.isinf(m.true_for):
        yield (
            f"  Taken at layer 1 it stays within {told_step(m.within)} over all {travel} mm of travel "
            f"(largest change {_um(float(m.change.max()))})."
        )
    else:
        yield (
            f"  Taken at layer 1 it is off by more than {told_step(m.within)} from "
            f"{number(m.true_for / MM, 3)} mm "
            f"of travel on, by up to {_um(float(m.change.max()))} over {travel} mm."
        )
    if not math.isnan(m.reversal):
        yield (
            "  Probed with the bed coming from the other side than in the print it is "
            f"{_um(m.reversal)} off at "
            "layer 1 (friction): probe with the hop that the print has."
        )


def table(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Rows of columns below each other; a short row stands on its own."""
    full = [row for row in rows if len(row) == len(rows[0])]
    widths = [max(len(row[k]) for row in full) for k in range(len(rows[0]))]
    for row in rows:
        padded = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        yield "    " + "  ".join(padded).rstrip()


def _ends(values: tuple[float, float, float]) -> str:
    return ", ".join(number(v / UM, 2) for v in values) + " µm"


def told_step(length: float) -> str:
    """A length that was given, in µm."""
    return f"{number(length / UM)} µm"


def _um(length: float) -> str:
    return "0" if length == 0.0 else quantity(length, "m")
