"""`bedsim learn`: readings of a machine in, an answer that is surer out."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli import completion
from bedsim.cli.common import kinds_option, progress_of, screws_option, set_option
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import json_answer, models, tell, tug_answer
from bedsim.cli.number_option import Number
from bedsim.cli.paths import PICTURE, Command, InputPath, OutputPath
from bedsim.errors import InputError
from bedsim.files import make_folder, write_file
from bedsim.units import UM

if TYPE_CHECKING:
    from bedsim.learn.learned import Learned
    from bedsim.learn.tug import TugRow
    from bedsim.scenario.load import LoadedScenario

EXAMPLE = """\
probe,axis,eighth,reading_um
front right,y,0,0.0
front right,y,1,7.1
front right,y,2,9.8
front right,y,3,4.2
front right,y,4,-3.0
"""
EPILOG = (
    "A gauge on the bed while a lead is jogged down, zero at the first layer:\n\n\b\n"
    + "".join(f"  {line}\n" for line in EXAMPLE.splitlines())
    + "\nAlso bands on walls, heights by ruler, push-pull, tap and cord tests, and screws gauged with a line "
    "`# corner = NAME` on top. Without READINGS: what to read first."
)


@click.command(name="learn", cls=Command, epilog=EPILOG)
@click.argument("files", nargs=-1, type=InputPath(), metavar="[READINGS]... SCENARIO")
@kinds_option
@set_option
@click.option(
    "--then",
    "changes",
    metavar="KEY=VALUE",
    multiple=True,
    shell_complete=completion.keys,
    help="Ask also what the machine does with this change, for example --then joint.kind=rolling.",
)
@screws_option
@click.option(
    "--sigma-um",
    type=Number(above=0),
    default=1.0,
    show_default=True,
    help="Standard uncertainty of one reading where the file gives none.",
)
@click.option(
    "--recipe",
    metavar="TEST",
    help="Print how readings are taken: jog, bands, heights, tug (of war) and others.",
)
@click.option(
    "--blank",
    nargs=2,
    type=(str, OutputPath("a table", ".csv")),
    metavar="TEST FILE",
    help="Write a blank table of readings to fill in.",
)
@click.option(
    "--output",
    type=PICTURE,
    metavar="FILE",
    help="Picture file (PNG, SVG or PDF, by its ending); default: results/SCENARIO_learn.png, of a tug "
    "of war results/SCENARIO_tug.png.",
)
@click.option(
    "--keep",
    type=OutputPath("what was learnt", ".json"),
    metavar="FILE",
    help="Write what was learnt, for later commands; the scenario names it: [learnt] file = FILE.",
)
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
def command(
    files: tuple[Path, ...],
    overrides: tuple[str, ...],
    changes: tuple[str, ...],
    screws: str,
    sigma_um: float,
    recipe: str | None,
    blank: tuple[str, Path] | None,
    output: Path | None,
    keep: Path | None,
    no_pictures: bool,
) -> int:
    """Learn one machine from all its READINGS together: how far the bed will stray, which screw does it, what
    in the readings does not agree, and which reading to take next.

    What is known beforehand is the scenario's ranges and its screws.  Several files of any kind may be given,
    the scenario last.
    """
    if recipe is not None or blank is not None:
        return _recipe_or_blank(recipe, blank)
    if not files:
        raise click.UsageError("name files of readings and a scenario, or use --recipe TEST.")
    from bedsim.learn.learned import DRAWS, learn
    from bedsim.learn.lot_spread import spread_named
    from bedsim.learn.reading_files import read_files
    from bedsim.learn.text import lines
    from bedsim.scenario.load import load_scenario

    *readings, scenario = files
    if keep is not None and not readings:
        raise InputError(f"--keep {keep}: nothing was read; name files of readings before the scenario.")
    loaded = load_scenario(scenario, overrides, taught=False, stage=progress_of)
    if _tug(readings, loaded, sigma_um * UM, None if no_pictures else output or _picture(scenario, "tug")):
        return 0
    changed = _changed(scenario, overrides, changes) if changes else None
    read = read_files(readings, loaded, sigma_um * UM)
    with progress_of(DRAWS if readings else 0, "machines that agree") as progress:
        found = learn(
            loaded,
            read.observations,
            lot=spread_named(loaded, screws),
            measured=read.measured,
            changed=changed,
            controls=read.controls,
            sigma=sigma_um * UM,
            count=DRAWS,
            progress=progress,
        )
    tell(lambda: json_answer(found))
    _print(lines(found, ", ".join(changes)), read.unused)
    if keep is not None:
        _keep(keep, found, loaded, readings)
    if not no_pictures and found.fit is not None:
        _draw(found, loaded.scenario.title, output or _picture(scenario, "learn"))
    return 0


def _picture(scenario: Path, what: str) -> Path:
    return Path("results") / f"{scenario.stem}_{what}.png"


def _draw(found: Learned, title: str, target: Path) -> None:
    from bedsim.views.learn_plots import draw_learned

    make_folder(target.parent)
    click.echo(f"\nPicture: {draw_learned(found, title, target)}")


def _changed(scenario: Path, overrides: Sequence[str], changes: Sequence[str]) -> LoadedScenario:
    from bedsim.scenario.load import load_scenario

    return load_scenario(
        scenario, overrides, varied=changes, varied_by="--then", taught=False, stage=progress_of
    )


def _print(lines: Iterable[str], unused: Sequence[str]) -> None:
    """Tables as they are, sentences wrapped, then what was of no use."""
    for line in lines:
        (click.echo if not line or line.startswith(" ") else say)(line)
    for text in unused:
        say(text)


def _tug(readings: Sequence[Path], loaded: LoadedScenario, sigma: float, picture: Path | None) -> bool:
    """Compare a tug of war with the machine as described and pushed, if there is one among the files; nothing
    is learnt then.  A `picture` is drawn."""
    from bedsim.learn.reading_files import read_files
    from bedsim.learn.tug import compare, read_tug, split_off, tug_lines

    tugs, others = split_off(readings)
    if not tugs:
        return False
    given = click.get_current_context().params
    for option, name in (("--keep", "keep"), ("--then", "changes")):
        if given[name]:
            raise InputError(
                f"{option}: {tugs[0]} is a tug of war, of which nothing is learnt; leave it out."
            )
    series = [read_tug(path, loaded) for path in tugs]
    read = read_files(others, loaded, sigma)
    compared = [compare(one, loaded, read.observations) for one in series]
    tell(lambda: tug_answer([row for rows in compared for row in rows]))
    told = [tug_lines(one, rows) for one, rows in zip(series, compared, strict=True)]
    _print((line for lines in told for line in lines), read.unused)
    if picture is not None:
        _draw_tugs(picture, loaded.scenario.title, compared)
    return True


def _draw_tugs(picture: Path, title: str, compared: Sequence[Sequence[TugRow]]) -> None:
    """One picture per table; those after the first are numbered."""
    from bedsim.views.tug_plot import draw_tug

    make_folder(picture.parent)
    for number, rows in enumerate(compared, start=1):
        target = picture if number == 1 else picture.with_stem(f"{picture.stem}_{number}")
        click.echo(f"\nPicture: {draw_tug(rows, title, target)}")


def _keep(path: Path, found: Learned, loaded: LoadedScenario, readings: Sequence[Path]) -> None:
    from bedsim.learn.keep import write_knowledge

    click.echo(f"\nLearnt:  {write_knowledge(path, found, loaded, readings)}")
    beside = os.path.relpath(path.resolve(), loaded.folder.resolve())
    say(f'Write in {loaded.name}: [learnt] file = "{beside}"; other commands then use it.')


def _recipe_or_blank(recipe: str | None, blank: tuple[str, Path] | None) -> int:
    from bedsim.metrology import recipes

    tell(lambda: models().LearnSays())
    if recipe is not None:
        click.echo(recipes.recipe(recipe))
        return 0
    assert blank is not None
    name, path = blank
    text = recipes.blank(name)
    if path.exists():
        raise InputError(f"{path}: exists already; a blank table would overwrite it.")
    write_file(path, text)
    click.echo(f"{path}: fill it in, then: bedsim learn {path} SCENARIO")
    return 0
