"""`bedsim compare`: scenarios and results in, what changed by how much out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli import completion
from bedsim.cli.common import check_walls, kinds_option, plain, progress_of, set_option, wall_options
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import json_answer, models, tell
from bedsim.cli.number_option import Number
from bedsim.cli.paths import Command, OutputFolder, input_argument
from bedsim.errors import BedsimError, InputError
from bedsim.files import is_result, make_folder
from bedsim.units import UM

if TYPE_CHECKING:
    from bedsim.analysis.requirements import Requirement
    from bedsim.comparison.compared import Compared, Comparison
    from bedsim.comparison.difference import Open
    from bedsim.ranges.travel import TravelRange
    from bedsim.results.layers import Run
    from bedsim.scenario.load import LoadedScenario
    from bedsim.wall.worst import JudgedWall

REQUIREMENT_FAILED = 1
MOST_RUNS = 6
"""More runs on one chart cannot be told apart."""


@click.command(name="compare", cls=Command)
@input_argument("files", nargs=-1, required=True, metavar="FILE...")
@kinds_option
@click.option(
    "--vary",
    metavar="KEY=V1,V2",
    shell_complete=completion.keys,
    help="Compare one scenario with itself under other values of a key, for example "
    "--vary joint.kind=rigid,rolling.",
)
@set_option
@click.option(
    "--engine",
    metavar="NAME",
    shell_complete=completion.engines,
    help="Solver for scenarios; default: as in bedsim run.",
)
@click.option("--no-ranges", is_flag=True, help="Do not vary the uncertain numbers.")
@click.option(
    "--require",
    "required",
    multiple=True,
    metavar="NAME<=NUMBER",
    help="Condition on every run after the first, for example lateral_pv_um<=10 or lateral_pv_ratio<0.5 "
    "(over the first run); exit code 1 when one is missed. May be given more than once.",
)
@click.option(
    "--break-even",
    "wants_break_even",
    is_flag=True,
    help="With one scenario: up to which stiffness and friction its joint pays against bolted ones.",
)
@click.option(
    "--worth-um",
    type=Number(least=0),
    help="For --break-even: lateral error (peak to valley) that a joint must take off; default: twice the "
    "smallest amplitude an eye sees at the lead.",
)
@click.option(
    "--compensated",
    is_flag=True,
    help="Beside them the first one again, with shift and turn per layer taken off by software (bedsim "
    "compensate).",
)
@click.option(
    "--step-um",
    type=Number(least=0, most=1000),
    metavar="UM",
    help="For --compensated: step of X and Y of the machine; 0: as fine as wanted; default: 5.",
)
@click.option(
    "--output",
    type=OutputFolder(),
    metavar="FOLDER",
    help="For pictures and for results that had to be computed; default: results/compare-NAMES.",
)
@wall_options
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
def command(
    files: tuple[Path, ...],
    vary: str | None,
    overrides: tuple[str, ...],
    engine: str | None,
    no_ranges: bool,
    required: tuple[str, ...],
    wants_break_even: bool,
    worth_um: float | None,
    compensated: bool,
    step_um: float | None,
    output: Path | None,
    walls: tuple[str, ...],
    probe: str | None,
    no_pictures: bool,
) -> int:
    """Put scenarios or results side by side: FILE... are two or more of them, or one with --compensated, or
    one scenario with --vary or --break-even.

    What has not been run is run.  Every run is compared with the first; exits with 1 if a --require is
    missed.
    """
    from bedsim.analysis.requirements import read_requirement
    from bedsim.comparison.compensated import with_software
    from bedsim.compensate.software import plane_step

    requirements = [read_requirement(text) for text in required]
    _check_options(files, vary, wants_break_even, required, compensated, worth_um)
    _check_software(files, compensated, step_um, vary is not None or wants_break_even)
    if wants_break_even:
        return _break_even(files[0], overrides, worth_um, output, no_pictures)
    prepared = _prepared(files, vary, overrides)
    folder = output or Path("results") / "-".join(
        ["compare", *(_named(item.label) for item in prepared), *map(_named, overrides)]
    )
    check_walls(walls, probe, _probe_names(prepared[0]))
    items = [_compared(item, engine, folder) for item in prepared]
    step = plane_step(items[0].loaded) if step_um is None else step_um * UM
    items += [with_software(items[0], step)] if compensated else []
    choice = _Choice(
        requirements=requirements, walls=walls, probe=probe, folder=None if no_pictures else folder
    )
    swings = [] if no_ranges else _swings(items, step)
    return _report(items, swings, _travel(items, no_ranges), choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Choice:
    """What was asked for beside the runs; `folder` None: no pictures."""

    requirements: Sequence[Requirement]
    walls: tuple[str, ...]
    probe: str | None
    folder: Path | None


def _probe_names(item: _Prepared) -> Sequence[str]:
    from bedsim.simulation import probe_points

    return probe_points(item.loaded)[0] if item.run is None else item.run.layers.probe_name


def _check_options(
    files: Sequence[Path],
    vary: str | None,
    wants_break_even: bool,
    required: Sequence[str],
    compensated: bool,
    worth: float | None,
) -> None:
    alone = "--vary" if vary is not None else "--break-even"
    if vary is not None and wants_break_even:
        raise InputError("--vary and --break-even: give one of them.")
    if (vary is not None or wants_break_even) and len(files) != 1:
        raise InputError(f"{alone}: goes with one scenario; {len(files)} files are given.")
    if wants_break_even and (required or compensated):
        wrong = "--require" if required else "--compensated"
        raise InputError(f"{wrong}: is for runs side by side, not for --break-even.")
    if worth is not None and not wants_break_even:
        raise InputError("--worth-um: goes with --break-even.")
    if len(files) > MOST_RUNS:
        raise InputError(f"{len(files)} files are given; at most {MOST_RUNS} can be told apart on one chart.")
    if len({f.resolve() for f in files}) < len(files):
        raise InputError("the same file is given twice: there is nothing to compare.")


def _check_software(files: Sequence[Path], compensated: bool, step: float | None, alone: bool) -> None:
    """`alone`: one scenario is asked for by another option."""
    if len(files) < 2 and not (compensated or alone):
        raise InputError(
            f"{files[0]}: one file has nothing to be compared with. Give another, or --vary KEY=V1,V2, "
            "--break-even or --compensated."
        )
    if step is not None and not compensated:
        raise InputError("--step-um: goes with --compensated.")
    if compensated and len(files) == MOST_RUNS:
        raise InputError(f"--compensated: one run more than the {MOST_RUNS} that can be told apart.")


# ---- what is compared ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prepared:
    """A run that was read, or a scenario (`run` is None) that has still to be run."""

    label: str
    loaded: LoadedScenario
    run: Run | None


def _prepared(files: Sequence[Path], vary: str | None, overrides: Sequence[str]) -> list[_Prepared]:
    """Everything that can be refused before the long work."""
    from bedsim.scenario.load import load_scenario

    if vary is not None:
        if is_result(files[0]):
            raise InputError(f"{files[0]}: --vary needs a scenario, and this is a result.")
        key, values = _varied(vary)
        return [
            _Prepared(
                label=f"{key.rpartition('.')[2]} = {value}",
                loaded=load_scenario(files[0], overrides, varied=(f"{key}={value}",), stage=progress_of),
                run=None,
            )
            for value in values
        ]
    if overrides and all(is_result(f) for f in files):
        raise InputError("--set: results stay as they are; it needs a scenario.")
    return [_one_file(label, f, overrides) for label, f in zip(_labels(files), files, strict=True)]


def _one_file(label: str, file: Path, overrides: Sequence[str]) -> _Prepared:
    from bedsim.results.reload import scenario_of
    from bedsim.results.store import read_run
    from bedsim.scenario.load import load_scenario

    if not is_result(file):
        return _Prepared(label=label, loaded=load_scenario(file, overrides, stage=progress_of), run=None)
    run = read_run(file)
    return _Prepared(label=label, loaded=scenario_of(run, file), run=run)


def _varied(vary: str) -> tuple[str, list[str]]:
    """Key and values of --vary; commas inside brackets, braces and quotes belong to a value."""
    key, equals, text = vary.partition("=")
    values = [v.strip() for v in re.findall(r"(?:\[[^\]]*\]|\{[^}]*\}|\"[^\"]*\"|[^,])+", text)]
    if not equals or not key.strip() or len(values) < 2 or not all(values):
        raise InputError(f"--vary {vary}: is written KEY=V1,V2, for example joint.kind=rigid,rolling.")
    if len(set(values)) < len(values):
        raise InputError(f"--vary {vary}: a value is given twice.")
    if len(values) > MOST_RUNS:
        raise InputError(f"--vary {vary}: at most {MOST_RUNS} values can be told apart on one chart.")
    return key.strip(), values


def _labels(files: Sequence[Path]) -> list[str]:
    """File names without ending where they differ, else whole paths."""
    stems = [f.stem for f in files]
    return [s if stems.count(s) == 1 else str(f) for s, f in zip(stems, files, strict=True)]


def _named(label: str) -> str:
    return plain(label) or "run"


def _compared(item: _Prepared, engine: str | None, folder: Path) -> Compared:
    """The run itself, or a new one, kept in the folder."""
    from bedsim.comparison.compared import Compared
    from bedsim.results.store import write_run
    from bedsim.simulation import simulate

    if item.run is not None:
        return Compared(label=item.label, run=item.run, loaded=item.loaded)
    make_folder(folder)
    with progress_of(item.loaded.scenario.print.layers, item.label) as progress:
        run = simulate(item.loaded, engine=engine, progress=progress)
    target = folder / f"{_named(item.label)}.h5"
    write_run(run, target)
    click.echo(f"Result: {target}")
    return Compared(label=item.label, run=run, loaded=item.loaded)


def _swings(items: Sequence[Compared], step: float) -> list[Open]:
    """What the uncertain numbers do; machines in pairs where readings have told of one.  `step` m: of X and
    Y of what software takes off."""
    from bedsim.comparison.compensated import seen_with_software
    from bedsim.comparison.difference import find_draws, find_swings
    from bedsim.ranges.alone import as_they_are

    found: list[Open] = []
    known = [len(item.loaded.knowledge.machines) for item in items if item.loaded.knowledge is not None]
    for item in items:
        seen = seen_with_software(item.loaded, step) if item.software else as_they_are
        count = max(known, default=len(item.loaded.ranges))
        what = "machines that agree" if known else "uncertain numbers"
        with progress_of(count, f"{what}, {item.label}") as progress:
            if known:
                found.append(find_draws(item.loaded, count, progress, seen))
            else:
                found.append(find_swings(item.loaded, progress, seen))
    return found


def _travel(items: Sequence[Compared], no_ranges: bool) -> list[TravelRange]:
    """Every machine of its own over its whole travel; none where one of them cannot be computed there."""
    from bedsim.ranges.travel import DRAWS, travel_range

    found = []
    for item in (one for one in items if not one.software):
        count = 0 if no_ranges else DRAWS
        with progress_of(count, f"whole travel, {item.label}") as progress:
            try:
                found.append(travel_range(item.loaded, count, progress))
            except BedsimError as fault:
                say(f"Not followed over the whole travel: {item.label}: {fault}")
                return []
    return found if any(t.tells for t in found) else []


# ---- what is told -------------------------------------------------------------------------------------


def _report(
    items: Sequence[Compared],
    swings: Sequence[Open],
    travel: Sequence[TravelRange],
    choice: _Choice,
) -> int:
    from bedsim.comparison.compared import compare
    from bedsim.comparison.text import remarks, requirement_lines, table_lines, verdicts
    from bedsim.comparison.travel import travel_lines
    from bedsim.comparison.walls import walls_of_all

    comparison = compare(items, swings)
    tell(lambda: json_answer(comparison))
    walls = walls_of_all(comparison, items, choice.walls, choice.probe)
    eye = (*_wall_lines(comparison, walls), *(travel_lines(comparison, travel) if travel else ()))
    for text in (*verdicts(comparison), "", *eye, ""):
        say(text)
    lines, met = requirement_lines(comparison, choice.requirements)
    click.echo("\n".join([*lines, *[""] * bool(lines), *table_lines(comparison), "", *_splits(items)]))
    for text in ("", *remarks(comparison)):
        say(text)
    if choice.folder is not None:
        _draw(comparison, items, walls, travel, choice.folder)
    return 0 if met else REQUIREMENT_FAILED


def _wall_lines(comparison: Comparison, walls: Sequence[Sequence[JudgedWall]]) -> list[str]:
    """Every wall with what an eye sees of it, of every run."""
    return [
        f"{label}: {judged.sentence}"
        for row in walls
        for label, judged in zip(comparison.labels, row, strict=True)
    ]


def _splits(items: Sequence[Compared]) -> list[str]:
    """Where each run's lateral error comes from, over its own layers and probes."""
    from bedsim.ranges.split import split_lines, split_of_run

    return [
        line
        for item in items
        if not item.software
        for line in (f"{item.label}:", *(f"  {x}" for x in split_lines(split_of_run(item.run, item.loaded))))
    ]


def _draw(
    comparison: Comparison,
    items: Sequence[Compared],
    walls: Sequence[Sequence[JudgedWall]],
    travel: Sequence[TravelRange],
    folder: Path,
) -> None:
    from bedsim.views.compare_plots import draw_comparison

    make_folder(folder)
    for picture in draw_comparison(comparison, items, walls, travel, folder):
        click.echo(f"Picture: {picture}")


def _break_even(
    file: Path, overrides: Sequence[str], worth: float | None, output: Path | None, no_pictures: bool
) -> int:
    from bedsim.analysis.cautions import cautions
    from bedsim.comparison.break_even import STEPS, break_even, break_even_lines

    if overrides and is_result(file):
        raise InputError("--set: results stay as they are; it needs a scenario.")
    loaded = _one_file(file.stem, file, overrides).loaded
    with progress_of(STEPS, "break-even") as progress:
        found = break_even(loaded, None if worth is None else worth * UM, progress)
    words, beside = list(break_even_lines(found)), list(cautions(loaded.scenario))
    tell(lambda: models().CompareSays(break_even=words, cautions=beside))
    for text in (*words, *beside):
        say(text)
    if not no_pictures:
        from bedsim.views.compare_plots import draw_break_even

        folder = output or Path("results") / "-".join(["compare", *map(_named, (file.stem, *overrides))])
        make_folder(folder)
        click.echo(f"Picture: {draw_break_even(found, folder / 'break_even.png')}")
    return 0
