"""`bedsim gauge`: workshop measurements in, scenario keys with their uncertainty out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli import completion
from bedsim.cli.gauge_output import Target, say
from bedsim.cli.json_out import keys_answer, models, tell
from bedsim.cli.paths import Command, OutputFolder, OutputPath, input_argument
from bedsim.errors import InputError
from bedsim.files import write_file

if TYPE_CHECKING:
    from bedsim.metrology.snippet import MeasuredKey


@click.command(name="gauge", cls=Command)
@input_argument("readings", required=False)
@click.option(
    "--set",
    "settings",
    metavar="KEY=VALUE",
    multiple=True,
    help="Set or replace a line `# KEY = VALUE` on top of the readings, for example --set length_mm=400.",
)
@click.option(
    "--grade",
    metavar="GRADE",
    shell_complete=completion.grades,
    help="Grade the screw was sold as, for example C7 or 'ISO 5'.",
)
@click.option(
    "--corner", is_flag=True, help="Write keys for one [[corner]] entry instead of for all corners."
)
@click.option("--drop-outliers", is_flag=True, help="Leave suspected readings out of the fit.")
@click.option(
    "--output",
    type=OutputFolder(),
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
    type=(str, OutputPath("a table", ".csv")),
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
    from bedsim.metrology.gauged import read_test

    tell(lambda: models().GaugeSays())  # until there are keys
    if recipe is not None:
        click.echo(recipes.recipe(recipe))
        return 0
    if blank is not None:
        _write_blank(*blank)
        return 0
    if readings is None:
        raise click.UsageError("name a file of readings, or use --recipe TEST or --blank TEST FILE.")
    test, notes = read_test(readings)
    target = Target(output, readings.stem, corner, not no_pictures)
    if test == "run-out":
        from bedsim.cli.gauge_run_out import run_out

        return run_out(readings, notes, _notes(settings), grade, drop_outliers, target)
    if settings or grade:
        raise InputError(f"{readings}: --set and --grade belong to run-out; this is a {test} test.")
    _other(test, readings, target)
    return 0


def _write_blank(name: str, path: Path) -> None:
    from bedsim.metrology import recipes

    text = recipes.blank(name)
    if path.exists():
        raise InputError(f"{path}: exists already; a blank table would overwrite it.")
    write_file(path, text)
    click.echo(f"{path}: fill it in, then: bedsim gauge {path}")


def _notes(settings: Sequence[str]) -> dict[str, str]:
    pairs = {}
    for text in settings:
        key, equals, value = text.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise InputError(f"--set {text}: must be KEY=VALUE, for example length_mm=400.")
        pairs[key.strip()] = value.strip()
    return pairs


def _other(test: str, path: Path, target: Target) -> None:
    from bedsim.metrology.snippet import toml_text

    keys, remarks, picture = {"stiffness": _stiffness, "decay": _decay, "cord": _cord}[test](path, target)
    tell(lambda: keys_answer(test, keys, remarks))
    for remark in remarks:
        say(remark)
    text = toml_text(keys, remarks, own_corner=target.own_corner)
    click.echo("\n" + "\n".join(line for line in text.splitlines() if not line.startswith("#")))
    click.echo(f"\nKeys:    {target.write('keys.toml', text)}")
    if picture is not None:
        click.echo(f"Picture: {picture}")


_Outcome = tuple[Sequence["MeasuredKey"], Sequence[str], Path | None]


def _stiffness(path: Path, target: Target) -> _Outcome:
    from bedsim.metrology.stiffness_fit import loop_warnings, read_loops, scenario_keys

    loops = read_loops(path)
    keys, remarks = scenario_keys(loops)
    picture = None
    if target.pictures:
        from bedsim.views.gauge_plots import draw_loops

        picture = draw_loops(loops, f"Push and pull: {target.stem}", target.path("gauge.png"))
    return keys, [*remarks, *loop_warnings(loops)], picture


def _decay(path: Path, target: Target) -> _Outcome:
    from bedsim.metrology.decay_fit import read_decay, scenario_keys

    fit = read_decay(path)
    keys, remarks = scenario_keys(fit)
    picture = None
    if target.pictures:
        from bedsim.views.gauge_plots import draw_decay

        picture = draw_decay(fit, f"Tap and count: {target.stem}", target.path("gauge.png"))
    said = f"Damping ratio {fit.damping:.4f} ± {fit.damping_uncertainty:.4f}."
    return keys, [said, *remarks, *(f"{w}." for w in fit.warnings)], picture


def _cord(path: Path, target: Target) -> _Outcome:
    from bedsim.metrology.cord_fit import read_cord, scenario_keys

    fit = read_cord(path)
    keys, remarks = scenario_keys(fit)
    return keys, [*remarks, *(f"{w}." for w in fit.warnings)], None
