"""What `bedsim size --upkeep` prints: the calendar on one page, then wear, grease, noise and the choice."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from bedsim.cli.common import progress_of
from bedsim.cli.size_events import Answer, number
from bedsim.cli.text import listed, wrapped
from bedsim.errors import InputError
from bedsim.units import MM, MM_S, MPA, N_MM, UM

if TYPE_CHECKING:
    from bedsim.scenario.load import LoadedScenario
    from bedsim.upkeep.calendar import Chore
    from bedsim.upkeep.choice import Line, MachineChoice
    from bedsim.upkeep.report import NoiseAnswer, UpkeepReport
    from bedsim.upkeep.wear import Reversal

YEAR = 12.0


def upkeep(
    loaded: LoadedScenario,
    *,
    beside: Sequence[Path] = (),
    requirements: Sequence[str] = (),
    calendar: Path | None = None,
) -> Answer:
    """Compute the upkeep of a scenario, its choice beside others; write the calendar where it is asked for.

    Raises InputError before anything is written.
    """
    from bedsim.analysis.requirements import read_requirement
    from bedsim.scenario.load import load_scenario
    from bedsim.upkeep.report import upkeep_scenario

    if calendar is not None and (loaded.scenario.upkeep is None or not loaded.scenario.upkeep.first_date):
        raise InputError(
            f"{loaded.name}: upkeep.first_date: is missing, and a calendar file needs its first day. Give "
            'it as first_date = "2027-01-04", or --set upkeep.first_date=2027-01-04.'
        )
    others = [load_scenario(path, stage=progress_of) for path in beside]
    report = upkeep_scenario(loaded, others, [read_requirement(condition) for condition in requirements])
    lines = list(upkeep_lines(report))
    if calendar is not None:
        lines += ["", f"Calendar: {_written(report, calendar)}"]

    def draw(path: Path) -> Path:
        from bedsim.views.upkeep_plots import draw_upkeep

        return draw_upkeep(report, path)

    return Answer("upkeep", lines, draw, report)


def _written(report: UpkeepReport, path: Path) -> Path:
    from bedsim.files import make_folder, write_file
    from bedsim.upkeep.ical import calendar_file

    assert report.start is not None
    make_folder(path.parent)
    write_file(path, calendar_file(f"Upkeep: {report.title}", report.chores, report.start))
    return path


def upkeep_lines(report: UpkeepReport) -> Iterator[str]:
    """Give the lines of the whole report."""
    yield f"{report.title}: upkeep"
    yield from _calendar_lines(report)
    yield from _wear_lines(report)
    yield from _grease_lines(report)
    if report.noise is not None:
        yield from _noise_lines(report.noise)
    if report.choice is not None:
        yield from _choice_lines(report.choice)
    yield from listed("Missing", report.missing or ("nothing by these numbers",))
    yield from listed("Assumptions", report.assumptions)
    yield ""
    for line in report.cautions:
        yield from wrapped(line, "", "  ")


def _calendar_lines(report: UpkeepReport) -> Iterator[str]:
    from bedsim.upkeep.calendar import CAUTIONS

    yield ""
    yield "Calendar"
    for chore in report.chores:
        yield from wrapped(f"{when(chore, report.start)}: {chore.name}", "  ", "      ")
        yield from wrapped(f"why: {chore.why}")
        yield from wrapped(f"how: {chore.how}  [{', '.join(chore.cautions)}]")
    yield ""
    used = {name for chore in report.chores for name in chore.cautions}
    for name, words in CAUTIONS.items():
        if name in used:
            yield from wrapped(f"[{name}] {words}", "  ", "      ")


def when(chore: Chore, start: datetime.date | None) -> str:
    """Say when a job comes first, and how often."""
    from bedsim.upkeep.calendar import day_after

    first = f"after {_time(chore.first)}" if start is None else str(day_after(start, chore.first))
    if chore.every is None:
        return first
    often = f"every {_time(chore.every)}"
    return often if start is None and chore.every == chore.first else f"{first}, then {often}"


def _time(months: float) -> str:
    from bedsim.upkeep.use import DAYS_A_MONTH

    if months == 1.0:
        return "1 month"
    if months < 2.0:
        days = max(1, int(months * DAYS_A_MONTH))
        return "1 day" if days == 1 else f"{days} days"
    return _years(months) if months > 2 * YEAR else f"{number(months)} months"


def _years(months: float) -> str:
    from bedsim.upkeep.use import years_words

    return years_words(months)


def _wear_lines(report: UpkeepReport) -> Iterator[str]:
    from bedsim.upkeep.use import span_words

    yield ""
    yield "Wear"
    if report.plain is not None:
        plain = report.plain
        head = f"  {'plain nut at ' + plain.corner:<34} {'way km':>9}"
        yield f"{head} {'play, low µm':>13} {'high µm':>9} {'uneven µm':>11}"
        for row in plain.rows:
            cells = (row.travel / 1e3, row.play[0] / UM, row.play[1] / UM, row.uneven / UM)
            widths = zip(cells, (9, 13, 9, 11), strict=True)
            yield f"    {'after ' + _time(row.months):<32} " + " ".join(
                f"{number(x):>{w}}" for x, w in widths
            )
        yield from wrapped(
            f"change it at {plain.limit / UM:.0f} µm: after {span_words(*plain.change)}. Weight keeps one "
            "flank seated, so the bed sinks by what is worn off; uneven: how far corners have sunk apart, at "
            "most"
        )
        yield from wrapped(f"= h = k p s, Archard 1953; k: {plain.status}")
    if report.new is not None and report.worn is not None:
        yield from _reversal_lines(report.new, report.worn, report.hop)
    if report.ball_life is not None:
        corner, months = report.ball_life
        yield from wrapped(
            f"ball screw at {corner}: nominal life {_years(months)} of this use (90 % survive; ISO 3408-5)",
            "  ",
        )
    if report.guide_life is not None:
        yield from wrapped(
            f"guides: nominal life {_years(report.guide_life)}, (C/P)^3 50 km with the screws' "
            "side force; moments, dirt and short strokes take from it",
            "  ",
        )
    yield from _contact_lines(report)
    counted = (report.plain, report.ball_life, report.guide_life)
    if all(x is None for x in counted) and not report.contacts:
        yield "  nothing that can be counted: see what is missing"


def _reversal_lines(new: Reversal, worn: Reversal, hop: float) -> Iterator[str]:
    yield f"  {f'at a reversal (hop of {hop / MM:g} mm), from runs':<52} {'as given':>10} {'worn':>10}"
    for words, unit, values in (
        ("radial clearance", "µm", [r.clearance / UM for r in (new, worn)]),
        ("height that turning back costs, at most", "µm", [r.height / UM for r in (new, worn)]),
        ("sideways that it costs", "µm", [r.sideways / UM for r in (new, worn)]),
        ("error sideways with hops, peak to valley", "µm", [r.lateral_pv / UM for r in (new, worn)]),
        ("error in height with hops, peak to valley", "µm", [r.height_pv / UM for r in (new, worn)]),
        ("least load on a screw", "N", [r.least for r in (new, worn)]),
        ("jump in height if it were unloaded", "µm", [r.jump / UM for r in (new, worn)]),
    ):
        cells = " ".join(f"{number(v):>10}" for v in values)
        yield f"    {words:<50} {cells}  {unit}"
    if min(new.least, worn.least) <= 0:
        words = "a screw is unloaded: play opens there, and the bed jumps by it at every reversal"
    elif worn.same_as(new):
        words = "the print does not show it: weight keeps the flank seated, in height and sideways"
    else:
        words = "weight keeps the play shut along the screw; what changes is what the nut gives way sideways"
    yield from wrapped(words)


def _contact_lines(report: UpkeepReport) -> Iterator[str]:
    for ball in report.contacts:
        held = "strength of the plate not given"
        if ball.plate_yields is not None:
            word = "above" if ball.force > ball.plate_yields else "below"
            held = f"{word} the {number(ball.plate_yields)} N at which the plate yields under the surface"
        yield from wrapped(
            f"joint at {ball.corner}, {ball.name}: {number(ball.force)} N, {number(ball.pressure / MPA)} MPa,"
            f" pressed in by {number(ball.flattening / UM)} µm; {held}; a hard disc is dented from "
            f"{number(ball.hard_dents)} N on (4,200 MPa of ISO 76, recalled). Wear in rolling: no rate found",
            "  ",
        )


def _grease_lines(report: UpkeepReport) -> Iterator[str]:
    yield ""
    yield "Grease"
    if report.regrease is not None:
        by_way, months = report.regrease
        yield from wrapped(
            f"ball screws: 1,250 km take {_years(by_way)} of this use, so {_time(months)} "
            "count; 2 years at most. Grease rather than oil up to 3 to 5 m/min; no graphite, no MoS2. "
            "Amount: the nut maker's table, none was found",
            "  ",
        )
    if report.threads:
        head = ("plain thread", "friction", "raise N mm", "hold N mm", "over limit", "lost µm")
        yield "  {:<14} {:>12} {:>14} {:>14} {:>12} {:>12}".format(*head)
        for state, held in zip(report.threads, report.held, strict=True):
            cells = (
                _two(state.friction),
                _two(state.raising, N_MM),
                _two(state.to_hold, N_MM),
                _two(state.margin),
                _two(state.lost, UM),
            )
            mark = "" if held else "  not held without current"
            yield "    {:<12} {:>12} {:>14} {:>14} {:>12} {:>12}".format(state.name, *cells) + mark
        yield from wrapped(
            "hold: torque without current that brake and detent must give; over limit: friction over that "
            "below which the load turns the screw; lost: height that thread friction costs at most where the "
            "screw turns back, through the twist of motor, coupling and shaft (ringing rubs part of it off; "
            "a run counts the motor's twist alone). Friction recalled; oiled assumed"
        )


def _two(values: tuple[float, float], unit: float = 1.0) -> str:
    first, last = (f"{v / unit:.2g}" for v in values)
    return first if first == last else f"{first} to {last}"


def _noise_lines(noise: NoiseAnswer) -> Iterator[str]:
    yield ""
    yield "Noise (frequencies and differences, no level)"
    low, high = (v / MM_S for v in noise.loudest)
    yield from wrapped(
        f"at {number(noise.speed / MM_S)} mm/s a motor makes {number(noise.steps)} full steps and "
        f"{number(noise.microsteps)} microsteps a second; steppers are loudest at 150 to 300 full steps a "
        f"second, here {number(low)} to {number(high)} mm/s (a trade page); smoother current (slow decay, "
        "less ripple) is quieter (a driver maker's note)",
        "  ",
    )
    if noise.motors:
        yield "  Speeds that sing:"
        for name, causes in _by_mode(noise):
            yield from wrapped(f"{name}: {causes}", "    ")
    if noise.balls is not None and noise.ball_diameter is not None:
        meets = ", ".join(f"{number(m.speed / MM_S)} mm/s at {number(m.frequency)} Hz" for m in noise.rolling)
        yield from wrapped(
            f"balls of {number(noise.ball_diameter / MM)} mm: {number(noise.balls)} a second enter the nut's "
            f"return; they meet the modes at {meets}. Half the speed: 9.8 dB less, silicon nitride balls 4.5 "
            "dB less (read of a recirculating guide, not of a screw)",
            "  ",
        )


def _by_mode(noise: NoiseAnswer) -> Iterator[tuple[str, str]]:
    for mode in dict.fromkeys((m.frequency, m.mode) for m in noise.motors):
        meetings = [m for m in noise.motors if (m.frequency, m.mode) == mode]
        causes = ", ".join(f"{number(m.speed / MM_S)} ({m.cause})" for m in meetings)
        yield f"{number(mode[0])} Hz, {mode[1]}, mm/s", causes


def _choice_lines(choice: MachineChoice) -> Iterator[str]:
    yield ""
    yield f"{'Choice':<47} " + " ".join(f"{name[:14]:>14}" for name in choice.names) + "  weight"
    yield f"  {'kind':<45} " + " ".join(f"{kind[:14]:>14}" for kind in choice.kinds)
    for line in choice.lines:
        yield from _choice_line(line)
    for need in choice.needs:
        cells = " ".join(f"{'met' if met else 'not met':>14}" for met in need.met)
        yield f"  {'needs ' + need.words:<45} {cells}"
    if choice.scores is not None:
        yield f"  {'score, 0 to 1':<45} " + " ".join(f"{s:>14.2f}" for s in choice.scores)
    yield from wrapped(choice.verdict, "  ", "    ")
    for note in choice.notes:
        yield from wrapped(note)


def _choice_line(line: Line) -> Iterator[str]:
    cells = " ".join(f"{'not known' if v is None else number(v):>14}" for v in line.values)
    name = f"{line.name}, {line.unit}" if line.unit else line.name
    weight = f"  {line.weight:g}" if line.weight else ""
    yield f"  {name:<45} {cells}{weight}"
    if line.parts is not None:
        yield f"    {'part of the score':<43} " + " ".join(f"{p:>14.2f}" for p in line.parts)
    note = line.note + ("; not known of all: no part of the score" if line.weight and not line.parts else "")
    yield from wrapped(note)
