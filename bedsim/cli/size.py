"""`bedsim size`: will it hold, turn and last; a table, what is missing, cautions and one picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bedsim.cli.common import progress_of, scenario_argument, set_option
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import events_answer, json_answer, tell
from bedsim.cli.paths import PICTURE, Command, InputPath, OutputPath
from bedsim.cli.text import listed, wrapped
from bedsim.files import make_folder
from bedsim.number_text import number
from bedsim.units import MM, N_PER_MM

if TYPE_CHECKING:
    from bedsim.analysis.sizing_report import SizingReport
    from bedsim.scenario.load import LoadedScenario
    from bedsim.sizing.decision import DecisionRow
    from bedsim.sizing.table import Check

NAME_WIDTH = 52


@click.command(name="size", cls=Command)
@scenario_argument
@click.option(
    "--output",
    type=PICTURE,
    metavar="FILE",
    help="Picture file (PNG, SVG or PDF, by its ending); default: results/SCENARIO_size.png.",
)
@set_option
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
@click.option(
    "--all", "everything", is_flag=True, help="Show every row with formula and source, and the assumptions."
)
@click.option(
    "--every-corner", is_flag=True, help="As --all, of every corner, not only the worst of each row."
)
@click.option("--power-loss", is_flag=True, help="Instead: does the bed hold, creep or fall without current.")
@click.option("--tilt", is_flag=True, help="Instead: how far the bed can be tilted, and its errors then.")
@click.option("--shake", is_flag=True, help="Instead: what a shaken frame does, and how long to wait.")
@click.option("--speeds", is_flag=True, help="Instead: at which speeds of a layer change the bed shakes.")
@click.option("--upkeep", is_flag=True, help="Instead: wear, grease, noise and a calendar of jobs.")
@click.option(
    "--beside",
    type=InputPath(),
    multiple=True,
    metavar="SCENARIO",
    help="With --upkeep: another machine to choose from. May be given more than once.",
)
@click.option(
    "--require",
    "requirements",
    multiple=True,
    metavar="CONDITION",
    help="With --beside: what a machine must meet, as 'lateral_pv_um<=10'.",
)
@click.option(
    "--calendar",
    type=OutputPath("a calendar", ".ics"),
    metavar="FILE",
    help="With --upkeep: write the jobs as a file that calendars read.",
)
def command(
    scenario: Path,
    output: Path | None,
    overrides: tuple[str, ...],
    no_pictures: bool,
    everything: bool,
    every_corner: bool,
    power_loss: bool,
    tilt: bool,
    shake: bool,
    speeds: bool,
    upkeep: bool,
    beside: tuple[Path, ...],
    requirements: tuple[str, ...],
    calendar: Path | None,
) -> int:
    """Check whether the drive holds, turns and lasts.

    Prints a verdict, the rows with the smallest margins (1: just reached), what is missing and cautions; with
    --all every row with formula and source, the screw decision and assumptions.  A margin is no proof:
    whoever
    builds the machine decides.
    """
    from bedsim.analysis.sizing_report import size_scenario
    from bedsim.scenario.idle import resting_lines
    from bedsim.scenario.load import load_scenario
    from bedsim.scenario.odd_numbers import odd_numbers

    _needs_upkeep(upkeep, beside=beside, calendar=calendar)
    if requirements and not beside:
        raise click.UsageError("--require does nothing without --beside.")
    loaded = load_scenario(scenario, overrides, stage=progress_of)
    more = {"beside": beside, "requirements": requirements, "calendar": calendar}
    asked = {"power_loss": power_loss, "tilt": tilt, "shake": shake, "speeds": speeds, "upkeep": upkeep}
    if any(asked.values()):
        return _events(loaded, output, no_pictures, more, **asked)
    report = size_scenario(loaded)
    tell(lambda: json_answer(report))
    full = everything or every_corner
    click.echo("\n".join(report_lines(report, every_corner=every_corner) if full else first_lines(report)))
    learnt = loaded.knowledge.sentences if loaded.knowledge else ()
    for text in (*odd_numbers(loaded.scenario), *learnt, *resting_lines(loaded.resting)):
        say(text)
    if not no_pictures:
        path = output or Path("results") / f"{scenario.stem}_size.png"
        click.echo(f"\nPicture: {_drawn(report, path)}")
    return 0


def _needs_upkeep(upkeep: bool, **given: object) -> None:
    for name, value in given.items():
        if value and not upkeep:
            raise click.UsageError(f"--{name} does nothing without --upkeep.")


def _events(
    loaded: LoadedScenario, output: Path | None, no_pictures: bool, more: dict[str, Any], **asked: bool
) -> int:
    """Answer the events asked for one after the other, each with its own picture; `more` for the upkeep."""
    from bedsim.cli import size_events, size_upkeep

    chosen = [name for name, wanted in asked.items() if wanted]
    if output is not None and len(chosen) > 1:
        raise click.UsageError(
            "--output names one picture: ask for one of --power-loss, --tilt, --shake, --speeds, --upkeep."
        )
    reports: dict[str, object] = {}
    for k, name in enumerate(chosen):
        answer: size_events.Answer = (
            size_upkeep.upkeep(loaded, **more) if name == "upkeep" else getattr(size_events, name)(loaded)
        )
        reports[name] = answer.report
        click.echo("\n" * (k > 0) + "\n".join(answer.lines))
        if not no_pictures:
            path = output or Path("results") / f"{loaded.path.stem}_{name}.png"
            make_folder(path.parent)
            click.echo(f"\nPicture: {answer.draw(path)}")
    tell(lambda: events_answer(loaded.scenario.title, reports))
    return 0


def _drawn(report: SizingReport, path: Path) -> Path:
    from bedsim.views.size_plots import draw_size

    make_folder(path.parent)
    corner = report.softest_corner
    return draw_size(report.checks, report.axial_shares[corner], corner, report.title, path)


LEAST_ROWS = 5
NARROW = 3.0
"""Rows of the first screen: those with a margin below `NARROW`, at least `LEAST_ROWS`.  Our choice."""


def first_lines(report: SizingReport) -> Iterator[str]:
    """Give the lines of the first screen: the verdict, the rows that matter, what is missing, cautions."""
    from bedsim.analysis.cautions import one_caution

    yield report.title
    yield ""
    yield from wrapped(verdict(report), "", "  ")
    limited = sorted((c for c in report.checks if c.margin is not None), key=lambda c: float(c.margin or 0.0))
    yield ""
    yield f"{'the smallest margins':<{NAME_WIDTH}} {'value':>10} {'limit':>10} {'margin':>7}  unit"
    narrow = sum(float(c.margin or 0.0) < NARROW for c in limited)
    shown = limited[: max(LEAST_ROWS, narrow)]
    for row in shown:
        yield _row_line(row)
    yield f"  {len(report.checks) - len(shown)} more rows, formulas, sources and assumptions: --all"
    if report.missing:
        yield from listed("Missing", report.missing)
    yield ""
    yield from wrapped(one_caution(report.cautions), "", "")


def verdict(report: SizingReport) -> str:
    """Whether the computed limits are kept, and what could not be computed."""
    passed = [f"{c.name} ({c.corner}, margin {number(c.margin or 0.0, 2)})" for c in report.passed_limits]
    limited = [c for c in report.checks if c.margin is not None]
    if passed:
        verb = "is" if len(passed) == 1 else "are"
        told = f"{len(passed)} of {len(limited)} limits {verb} not kept: {'; '.join(passed)}."
    elif limited:
        least = min(limited, key=lambda c: float(c.margin or 0.0))
        told = (
            f"All {len(limited)} limits kept; smallest margin {number(least.margin or 0.0, 2)}: {least.name}."
        )
    else:
        told = "No limit could be computed."
    unknown = sum(bool(c.missing) and c.margin is None for c in report.checks)
    return told + (f" {unknown} rows lack an input." if unknown else "")


def report_lines(report: SizingReport, *, every_corner: bool = False) -> Iterator[str]:
    """Give the lines of the report as printed."""
    yield report.title
    checks = report.all_checks if every_corner else report.checks
    ordered = sorted(checks, key=lambda c: _order(checks, c.subject))
    for subject, rows in groupby(ordered, key=lambda c: c.subject):
        yield ""
        yield f"{subject:<{NAME_WIDTH}} {'value':>10} {'limit':>10} {'margin':>7}  unit"
        for row in rows:
            yield from _check_lines(row)
    yield from _joint_lines(report)
    yield from _decision_lines(report.decision, report.decision_corner)
    yield from listed("Limits exceeded", [f"{c.name} ({c.corner})" for c in report.passed_limits] or ["none"])
    yield from listed("Missing", report.missing or ["nothing by these numbers"])
    yield from listed("Assumptions", report.assumptions)
    yield ""
    for line in report.cautions:
        yield from wrapped(line, "", "  ")


def _order(checks: Sequence[Check], subject: str) -> int:
    return next(i for i, c in enumerate(checks) if c.subject == subject)


def _row_line(row: Check) -> str:
    limit = "" if row.limit is None else number(row.limit)
    margin = "" if row.margin is None else number(row.margin, 2)
    mark = " !" if row.within is False else ""
    line = f"  {row.name:<{NAME_WIDTH - 2}} {number(row.value):>10} {limit:>10} {margin:>7}"
    return f"{line}  {row.unit}{mark}".rstrip()


def _check_lines(row: Check) -> Iterator[str]:
    yield _row_line(row)
    sources = "; ".join(part for part in (row.formula, row.source) if part)
    if sources:
        yield from wrapped(f"= {sources}  [{row.corner}]")
    if row.note:
        yield from wrapped(row.note)
    if row.machine is not None:
        why = f": {row.why}" if row.why else ""
        yield from wrapped(f"the machine says {number(row.machine)}{why}")
    if row.missing:
        yield from wrapped(f"missing: {row.missing}")


def _joint_lines(report: SizingReport) -> Iterator[str]:
    if not report.joint_parts:
        return
    yield ""
    head = ("Joint, part by part", "x mm", "y mm", "N/mm", "pull N", "friction N")
    yield "{:<24} {:>8} {:>8} {:>10} {:>9} {:>11}".format(*head)
    for part in report.joint_parts:
        cells = [number(part.stiffness / N_PER_MM), number(part.pull), number(part.friction)]
        place = f"{part.x / MM:>8.4g} {part.y / MM:>8.4g}"
        yield f"  {part.name:<22} {place} " + "{:>10} {:>9} {:>11}".format(*cells)


def _decision_lines(rows: Sequence[DecisionRow], corner: str) -> Iterator[str]:
    if not rows:
        return
    yield ""
    head = f"Ball or plain screw, at {corner}"
    yield f"{head:<{NAME_WIDTH}} {'ball':>10} {'plain':>10}  unit"
    for row in rows:
        ball, plain = (number(v) if v is not None else "not given" for v in (row.ball, row.plain))
        yield f"  {row.name:<{NAME_WIDTH - 2}} {ball:>10} {plain:>10}  {row.unit}".rstrip()
        yield from wrapped(f"= {row.formula}; {row.source}")
        if row.note:
            yield from wrapped(row.note)
