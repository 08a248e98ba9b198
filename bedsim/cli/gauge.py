"""`bedsim gauge`: workshop measurements in, scenario keys with their uncertainty out."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.errors import InputError, ResultFileError

if TYPE_CHECKING:
    from bedsim.metrology.centreline_fit import CentrelineFit
    from bedsim.metrology.readings import Extremes, Readings
    from bedsim.metrology.runout_fit import PositionFit
    from bedsim.metrology.setup import Setup
    from bedsim.metrology.snippet import MeasuredKey
    from bedsim.metrology.verdict import GradeVerdict

LINE_WIDTH = 100


@click.command(name="gauge")
@click.argument("readings", type=click.Path(path_type=Path), required=False)
@click.option(
    "--set",
    "settings",
    metavar="KEY=VALUE",
    multiple=True,
    help="Set or replace a line `# KEY = VALUE` on top of the readings, for example --set length_mm=400.",
)
@click.option("--grade", metavar="GRADE", help="Grade the screw was sold as, for example C7 or 'ISO 5'.")
@click.option(
    "--corner", is_flag=True, help="Write keys for one [[corner]] entry instead of for all corners."
)
@click.option("--drop-outliers", is_flag=True, help="Leave suspected readings out of the fit.")
@click.option(
    "--output",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("results"),
    metavar="FOLDER",
    show_default=True,
    help="Folder for picture, screw table and keys.",
)
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
@click.option("--recipe", metavar="TEST", help="Print how a test is done: run-out, stiffness, decay, cord.")
@click.option(
    "--blank",
    nargs=2,
    type=(str, click.Path(path_type=Path)),
    metavar="TEST FILE",
    help="Write a blank table of a test to fill in.",
)
def command(
    readings: Path | None,
    settings: tuple[str, ...],
    grade: str | None,
    corner: bool,
    drop_outliers: bool,
    output: Path,
    no_pictures: bool,
    recipe: str | None,
    blank: tuple[str, Path] | None,
) -> int:
    """Turn dial-gauge readings, a push-pull loop, a tap or a cord test into scenario keys.

    Prints the fit with its uncertainty and, for a screw, the best grade it surely meets; writes a picture,
    the keys as TOML and, for a screw, its measured centreline as a table.  With --grade the exit code is 1
    unless the grade is surely met.
    """
    from bedsim.metrology import recipes
    from bedsim.metrology.csv_input import read_header

    if recipe is not None:
        click.echo(recipes.recipe(recipe))
        return 0
    if blank is not None:
        _write_blank(*blank)
        return 0
    if readings is None:
        raise click.UsageError("name a file of readings, or use --recipe TEST or --blank TEST FILE.")
    header, notes, _ = read_header(readings)
    test = recipes.which_test(header, notes)
    target = _Target(output, readings.stem, corner, not no_pictures)
    if test == "run-out":
        return _run_out(readings, _notes(settings), grade, drop_outliers, target)
    if settings or grade:
        raise InputError(f"{readings}: --set and --grade belong to run-out; this is a {test} test.")
    _other(test, readings, target)
    return 0


class _Target:
    """Where the files of one measurement go."""

    def __init__(self, folder: Path, stem: str, own_corner: bool, pictures: bool) -> None:
        self.folder, self.stem, self.own_corner, self.pictures = folder, stem, own_corner, pictures

    def path(self, ending: str) -> Path:
        """Name a file and make its folder."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise ResultFileError(f"{self.folder}: cannot be made: {fault.strerror}.") from None
        return self.folder / f"{self.stem}_{ending}"

    def write(self, ending: str, text: str) -> Path:
        """Write a text file and give its path."""
        path = self.path(ending)
        _write(path, text)
        return path


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise ResultFileError(f"{path}: cannot be written: {fault.strerror}.") from None


def _write_blank(name: str, path: Path) -> None:
    from bedsim.metrology import recipes

    text = recipes.blank(name)
    if path.exists():
        raise InputError(f"{path}: exists already; a blank table would overwrite it.")
    _write(path, text)
    click.echo(f"{path}: fill it in, then: bedsim gauge {path}")


def _notes(settings: Sequence[str]) -> dict[str, str]:
    pairs = {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise InputError(f"--set {text}: must be KEY=VALUE, for example length_mm=400.")
        pairs[key.strip()] = value.strip()
    return pairs


# --- run-out ---


def _run_out(
    path: Path, options: dict[str, str], grade: str | None, drop_outliers: bool, target: _Target
) -> int:
    from bedsim.metrology.centreline_fit import fit_centreline
    from bedsim.metrology.readings import Extremes, read_readings
    from bedsim.metrology.runout_fit import fit_positions
    from bedsim.metrology.setup import SETUP_TEXT

    found, setup = read_readings(path, options)
    if grade is not None and setup.diameter is None:
        raise InputError(f"{path}: diameter_mm: --grade needs the nominal diameter (--set diameter_mm=12).")
    click.echo(f"{path}: {SETUP_TEXT[setup.how]}")
    if isinstance(found, Extremes):
        return _extremes(found, setup, grade, target)
    fits = fit_positions(found, setup, drop_outliers=drop_outliers)
    _print_positions(fits)
    if found.by_jog and setup.zero is None:
        _say("zero_position_mm is not given: directions are those of a screw whose clocking zero is at 0 mm.")
    _print_flags(fits, found, drop_outliers)
    centreline = fit_centreline(fits, setup) if setup.length is not None else None
    if centreline is not None:
        _print_centreline(centreline, setup)
    else:
        _say("length_mm is not given: no fit of eccentricity, tilt and bow, no keys (--set length_mm=400).")
    spans = [(f.span, f.position) for f in fits if f.place == "thread"]
    verdicts = _verdicts(centreline, setup)
    code = _print_verdicts(verdicts, max(spans, default=None), setup, grade)
    _run_out_files(found, setup, fits, centreline, target)
    return code


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
    Console(width=LINE_WIDTH, highlight=False).print(table)
    click.echo("TIR is twice the offset; ± is one standard uncertainty; lobes are amplitudes.")


def _print_flags(fits: Sequence[PositionFit], readings: Readings, dropped: bool) -> None:
    from bedsim.units import MM, UM

    for fit in fits:
        for row in fit.outliers:
            what = "left out" if dropped else "suspected outlier (--drop-outliers leaves it out)"
            value = readings.value[row] / UM
            _say(f"line {readings.lines[row]}, {fit.position / MM:.0f} mm, reading {value:.1f} µm: {what}.")
    for warning in dict.fromkeys(w for fit in fits for w in fit.warnings):
        where = ", ".join(f"{fit.position / MM:.0f}" for fit in fits if warning in fit.warnings)
        _say(f"{where} mm: {warning}.")


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
        _say(f"{sentence}.")


def _verdicts(fit: CentrelineFit | None, setup: Setup) -> tuple[GradeVerdict, ...]:
    from bedsim.metrology.verdict import centreline_verdicts

    if fit is None:
        return ()
    if setup.diameter is None:
        _say("diameter_mm is not given: no grade is looked up (--set diameter_mm=12).")
        return ()
    return centreline_verdicts(fit, setup)


def _print_verdicts(
    verdicts: Sequence[GradeVerdict], largest: tuple[float, float] | None, setup: Setup, grade: str | None
) -> int:
    from bedsim.metrology.verdict import against_class, sentence
    from bedsim.screws.grades import has_limit, parse_grade
    from bedsim.units import MM

    if verdicts:
        click.echo("\nGrades:")
    for verdict in verdicts:
        _say(sentence(verdict))
    if grade is None:
        return 0
    wanted = parse_grade(grade)
    assert setup.diameter is not None
    if largest is not None and has_limit(wanted, "thread_run_out", diameter=setup.diameter):
        said = against_class(largest[0], wanted, setup.diameter)
        _say(f"Largest at {largest[1] / MM:.0f} mm: {said}. (The limit is that near the journals.)")
    judged = [v for g in verdicts for v in g.verdicts if v.limit.grade == wanted]
    if not judged:
        _say(f"{wanted}: no table gives a limit for what was measured here; not shown to be met.")
        return 1
    outcomes = {v.outcome for v in judged}
    worst = next(o for o in ("exceeds", "undecided", "meets") if o in outcomes)
    words = {
        "exceeds": "exceeded",
        "undecided": "undecided, not a pass",
        "meets": "met by this measurement",
    }
    _say(f"{wanted}: {words[worst]}.")
    return 0 if worst == "meets" else 1


def _run_out_files(
    readings: Readings,
    setup: Setup,
    fits: Sequence[PositionFit],
    centreline: CentrelineFit | None,
    target: _Target,
) -> None:
    click.echo("")
    if centreline is not None:
        from bedsim.metrology.centreline_fit import table_csv
        from bedsim.metrology.runout_keys import runout_toml

        name = f"{target.stem}_centreline.csv"
        if centreline.chord is None:
            click.echo(f"Screw table: {target.write('centreline.csv', table_csv(centreline))}")
        text = runout_toml(centreline, setup, name, own_corner=target.own_corner)
        click.echo(f"Keys:        {target.write('keys.toml', text)}")
    if target.pictures:
        from bedsim.views.gauge_plots import draw_run_out

        title, png = f"Run-out: {target.stem}", target.path("gauge.png")
        path = draw_run_out(readings, setup, fits, centreline, title, png)
        click.echo(f"Picture:     {path}")


def _extremes(found: Extremes, setup: Setup, grade: str | None, target: _Target) -> int:
    from bedsim.metrology.verdict import extremes_uncertainty, extremes_verdict
    from bedsim.units import MM, UM

    u = extremes_uncertainty(setup) / UM
    for s, high, low in zip(found.position, found.largest, found.smallest, strict=True):
        click.echo(f"  {s / MM:8.1f} mm  run-out {(high - low) / UM:6.1f} ± {u:.1f} µm (TIR)")
    _say(
        "Without angles there is no direction: out-of-roundness is in the run-out, eccentricity and bow "
        "cannot be told apart, and a scenario gets no keys. Eight angles per position cost ten minutes more."
    )
    verdicts = (extremes_verdict(found, setup),) if setup.diameter is not None else ()
    tir = found.largest - found.smallest
    k = int(tir.argmax())
    code = _print_verdicts(verdicts, (float(tir[k]), float(found.position[k])), setup, grade)
    if target.pictures:
        from bedsim.views.gauge_plots import draw_extremes

        click.echo(f"Picture: {draw_extremes(found, f'Run-out: {target.stem}', target.path('gauge.png'))}")
    return code


# --- the other tests ---


def _other(test: str, path: Path, target: _Target) -> None:
    from bedsim.metrology.snippet import toml_text

    keys, remarks, picture = {"stiffness": _stiffness, "decay": _decay, "cord": _cord}[test](path, target)
    for remark in remarks:
        _say(remark)
    text = toml_text(keys, remarks, own_corner=target.own_corner)
    click.echo("\n" + "\n".join(line for line in text.splitlines() if not line.startswith("#")))
    click.echo(f"\nKeys:    {target.write('keys.toml', text)}")
    if picture is not None:
        click.echo(f"Picture: {picture}")


_Outcome = tuple[Sequence["MeasuredKey"], Sequence[str], Path | None]


def _stiffness(path: Path, target: _Target) -> _Outcome:
    from bedsim.metrology.stiffness_fit import read_loops, scenario_keys

    loops = read_loops(path)
    keys, remarks = scenario_keys(loops)
    warnings = [f"{loop.place}, {loop.direction}: {w}." for loop in loops for w in loop.warnings]
    picture = None
    if target.pictures:
        from bedsim.views.gauge_plots import draw_loops

        picture = draw_loops(loops, f"Push and pull: {target.stem}", target.path("gauge.png"))
    return keys, [*remarks, *warnings], picture


def _decay(path: Path, target: _Target) -> _Outcome:
    from bedsim.metrology.decay_fit import read_decay, scenario_keys

    fit = read_decay(path)
    keys, remarks = scenario_keys(fit)
    picture = None
    if target.pictures:
        from bedsim.views.gauge_plots import draw_decay

        picture = draw_decay(fit, f"Tap and count: {target.stem}", target.path("gauge.png"))
    said = f"Damping ratio {fit.damping:.4f} ± {fit.damping_uncertainty:.4f}."
    return keys, [said, *remarks, *(f"{w}." for w in fit.warnings)], picture


def _cord(path: Path, target: _Target) -> _Outcome:
    from bedsim.metrology.cord_fit import read_cord, scenario_keys

    fit = read_cord(path)
    keys, remarks = scenario_keys(fit)
    return keys, [*remarks, *(f"{w}." for w in fit.warnings)], None


def _say(text: str) -> None:
    lines = textwrap.wrap(
        text, LINE_WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
    click.echo("\n".join(lines))
