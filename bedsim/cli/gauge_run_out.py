"""The run-out part of `bedsim gauge`: prints fits and verdicts, writes table, keys and picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.gauge_output import Target, say
from bedsim.cli.json_out import keys_answer, tell
from bedsim.cli.text import LINE_WIDTH
from bedsim.errors import InputError

if TYPE_CHECKING:
    from bedsim.metrology.centreline_fit import CentrelineFit
    from bedsim.metrology.readings import Extremes, Readings
    from bedsim.metrology.runout_fit import PositionFit
    from bedsim.metrology.setup import Setup
    from bedsim.metrology.verdict import GradeVerdict


def run_out(
    path: Path,
    notes: dict[str, str],
    options: dict[str, str],
    grade: str | None,
    drop_outliers: bool,
    target: Target,
) -> int:
    """Read, fit, print and write; gives the exit code: 1 if a grade was asked for and is not surely met.

    `notes` are those of the file, `options` go before them.
    """
    from bedsim.metrology.centreline_fit import fit_centreline
    from bedsim.metrology.readings import Extremes, read_readings
    from bedsim.metrology.runout_fit import fit_positions
    from bedsim.metrology.setup import SETUP_TEXT, assumed

    found, setup = read_readings(path, options)
    if target.into is not None and (isinstance(found, Extremes) or setup.length is None):
        missing = (
            "readings without angles give" if isinstance(found, Extremes) else "without length_mm there are"
        )
        raise InputError(f"{path}: {missing} no keys to put into a scenario.")
    if grade is not None and setup.diameter is None:
        raise InputError(f"{path}: diameter_mm: --grade needs the nominal diameter (--set diameter_mm=12).")
    click.echo(f"{path}: {SETUP_TEXT[setup.how]}")
    usual = assumed({**notes, **options})
    if usual:
        say(f"Assumed, for neither file nor --set gives it: {usual}.")
    if isinstance(found, Extremes):
        return _extremes(found, setup, grade, target)
    fits = fit_positions(found, setup, drop_outliers=drop_outliers)
    _print_positions(fits)
    if found.by_jog and setup.zero is None:
        say("zero_position_mm is not given: directions are those of a screw whose clocking zero is at 0 mm.")
    _print_flags(fits, found, drop_outliers)
    if drop_outliers:
        fits = tuple(f for f in fits if not f.rough)
    centreline = fit_centreline(fits, setup) if setup.length is not None else None
    if centreline is not None:
        _print_centreline(centreline, setup)
    else:
        say(
            "length_mm, the free length between the bearings (or to the free end), is not given: no fit of "
            "eccentricity, tilt and bow, and no keys. For example --set length_mm=400."
        )
    read = _is_read(max(f.span for f in fits), setup)
    code = _print_verdicts(_verdicts(centreline, setup) if read else (), setup, grade)
    suspected = not drop_outliers and any(f.outliers or f.rough for f in fits)
    if suspected:
        _withhold(path, target)
    _run_out_files(found, setup, fits, centreline, target, keys=not suspected)
    return code


def _withhold(path: Path, target: Target) -> None:
    """Say that suspected readings give no keys; what was to be put into a scenario is refused."""
    told = "no keys while readings are suspected: correct them, or --drop-outliers leaves them out"
    if target.into is not None:
        raise InputError(f"{path}: {told}.")
    say(f"There are {told}.")


def _print_positions(fits: Sequence[PositionFit]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from bedsim.metrology.runout_keys import position_row

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    heads = (
        "position\nmm",
        "place",
        "run-out\nTIR µm",
        "offset\nµm",
        "direction\ndeg",
        "2 lobes\nµm",
        "3 lobes\nµm",
    )
    for head in (*heads, "span read\nµm"):
        table.add_column(head, justify="left" if head == "place" else "right")
    for fit in fits:
        table.add_row(*position_row(fit))
    Console(width=LINE_WIDTH, highlight=False, color_system=None).print(table)
    click.echo("TIR is twice the offset; ± is one standard uncertainty; lobes are amplitudes.")


def _print_flags(fits: Sequence[PositionFit], readings: Readings, dropped: bool) -> None:
    from bedsim.units import MM, UM

    for fit in fits:
        for row in fit.outliers:
            what = "left out" if dropped else "suspected outlier (--drop-outliers leaves it out)"
            value = readings.value[row] / UM
            say(f"line {readings.lines[row]}, {fit.position / MM:.0f} mm, reading {value:.1f} µm: {what}.")
    for warning in dict.fromkeys(w for fit in fits for w in fit.warnings):
        where = ", ".join(f"{fit.position / MM:.0f}" for fit in fits if warning in fit.warnings)
        say(f"{where} mm: {warning}.")
    rough = [f"{fit.position / MM:.0f}" for fit in fits if fit.rough]
    if rough:
        what = "left out whole" if dropped else "--drop-outliers leaves the whole turn out"
        say(f"{', '.join(rough)} mm: which reading slipped cannot be told: {what}.")


def _print_centreline(fit: CentrelineFit, setup: Setup) -> None:
    from bedsim.metrology.centreline_fit import term_text
    from bedsim.metrology.runout_keys import held_differently
    from bedsim.units import UM

    shape = "free upper end" if fit.free_end else "both ends held"
    click.echo(f"\nCentreline, {shape}:")
    units = {"eccentricity": "µm", "tilt": "µm per 100 mm", "bow": "µm"}
    for term in fit.terms:
        size, u, direction, across = term_text(fit, term)
        where = f"at {direction:.0f} ± {across:.0f} deg" if across < 90 else "direction unknown"
        click.echo(f"  {term:<13}{size:8.1f} ± {u:.1f} {units[term]} TIR, {where}")
    if fit.support is not None:
        click.echo(f"  journals off the axis of measurement by {abs(fit.support[0]) / UM:.1f} µm (taken out)")
    if fit.freedom:
        click.echo(f"  misfit: chi-square {fit.chi_square:.1f} for {fit.freedom} left over")
    for sentence in (*fit.warnings, *(s.rstrip(".") for s in held_differently(fit, setup))):
        say(f"{sentence}.")


def _is_read(span: float, setup: Setup) -> bool:
    """Whether the needle moved by a division at all; else the question is printed."""
    from bedsim.metrology.verdict import unread

    doubt = unread(span, setup)
    if doubt is not None:
        say(doubt)
    return doubt is None


def _verdicts(fit: CentrelineFit | None, setup: Setup) -> tuple[GradeVerdict, ...]:
    from bedsim.metrology.verdict import centreline_verdicts

    if fit is None:
        return ()
    if setup.diameter is None:
        say("diameter_mm is not given: no grade is looked up (--set diameter_mm=12).")
        return ()
    return centreline_verdicts(fit, setup)


def _print_verdicts(verdicts: Sequence[GradeVerdict], setup: Setup, grade: str | None) -> int:
    from bedsim.metrology.verdict import against_class, sentence
    from bedsim.screws.grades import parse_grade

    if verdicts:
        click.echo("\nGrades:")
    for verdict in verdicts:
        say(sentence(verdict))
    if grade is None:
        return 0
    wanted = parse_grade(grade)
    assert setup.diameter is not None
    judged = [(g, v) for g in verdicts for v in g.verdicts if v.limit.grade == wanted]
    if not judged:
        say(f"{wanted}: no limit can be held against what was measured here; not shown to be met.")
        return 1
    for g, v in judged:
        if g.quantity == "thread_run_out":
            say(f"{g.what}: {against_class(v.run_out, wanted, setup.diameter, v.outcome)}.")
    outcomes = {v.outcome for _, v in judged}
    worst = next(o for o in ("exceeds", "undecided", "meets") if o in outcomes)
    words = {
        "exceeds": "exceeded",
        "undecided": "undecided, not a pass",
        "meets": "met by this measurement",
    }
    say(f"{wanted}: {words[worst]}.")
    return 0 if worst == "meets" else 1


def _run_out_files(
    readings: Readings,
    setup: Setup,
    fits: Sequence[PositionFit],
    centreline: CentrelineFit | None,
    target: Target,
    *,
    keys: bool,
) -> None:
    click.echo("")
    if centreline is not None and keys:
        from bedsim.metrology.centreline_fit import table_csv
        from bedsim.metrology.runout_keys import runout_change, runout_keys, runout_toml, uses_table

        tell(lambda: keys_answer("run-out", runout_keys(centreline, setup), centreline.warnings))
        name = f"{target.stem}_centreline.csv"
        if target.into is not None:
            table = {name: table_csv(centreline)} if uses_table(centreline, setup) else {}
            for line in target.into.put(*runout_change(centreline, setup, name), table):
                say(line)
        if centreline.chord is None:
            click.echo(f"Screw table: {target.write('centreline.csv', table_csv(centreline))}")
        text = runout_toml(centreline, setup, name, own_corner=target.own_corner)
        click.echo(f"Keys:        {target.write('keys.toml', text)}")
    if target.pictures:
        from bedsim.views.gauge_plots import draw_run_out

        title, png = f"Run-out: {target.stem}", target.path("gauge.png")
        path = draw_run_out(readings, setup, fits, centreline, title, png)
        click.echo(f"Picture:     {path}")


def _extremes(found: Extremes, setup: Setup, grade: str | None, target: Target) -> int:
    from bedsim.metrology.verdict import extremes_uncertainty, extremes_verdict
    from bedsim.units import MM, UM

    u = extremes_uncertainty(setup) / UM
    for s, high, low in zip(found.position, found.largest, found.smallest, strict=True):
        click.echo(f"  {s / MM:8.1f} mm  run-out {(high - low) / UM:6.1f} ± {u:.1f} µm (TIR)")
    say(
        "Without angles there is no direction: out-of-roundness is in the run-out, eccentricity and bow "
        "cannot be told apart, and a scenario gets no keys. Eight angles per position cost ten minutes more."
    )
    read = _is_read(float((found.largest - found.smallest).max()), setup)
    verdicts = (extremes_verdict(found, setup),) if read and setup.diameter is not None else ()
    code = _print_verdicts(verdicts, setup, grade)
    if target.pictures:
        from bedsim.views.gauge_plots import draw_extremes

        click.echo(f"Picture: {draw_extremes(found, f'Run-out: {target.stem}', target.path('gauge.png'))}")
    return code
