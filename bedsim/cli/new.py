"""`bedsim new`: asks for a machine and writes a commented scenario that runs."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from bedsim.cli.common import KindChoice, kinds_option, schema_option
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import models, tell
from bedsim.cli.paths import Command, OutputPath
from bedsim.errors import InputError
from bedsim.files import write_file, write_files

if TYPE_CHECKING:
    from bedsim.scenario.load import LoadedScenario


@dataclass(frozen=True, slots=True)
class Question:
    """One thing `new` asks: the answer's name, the option, the words, a suggestion, and its type."""

    name: str
    option: str
    words: str
    suggestion: Any
    kind: click.ParamType | type
    is_needed: bool = False


_SCREWS = KindChoice("screw")
_ENDS = click.Choice(
    [
        "fixed-free",
        "supported-supported",
        "fixed-supported",
        "fixed-fixed",
        "motor-free",
        "motor-supported",
    ]
)
_GUIDES = KindChoice("guide")
_JOINTS = KindChoice("joint")
_COUNT = click.Choice(["3", "4"])

QUESTIONS = (
    Question("bed_x_mm", "--bed-x", "Width of the bed, X, mm", 300.0, float, True),
    Question("bed_y_mm", "--bed-y", "Depth of the bed, Y, mm", 300.0, float, True),
    Question("bed_mass_kg", "--bed-mass", "Mass of the bed with heater and surface, kg", 2.5, float, True),
    Question("corners", "--corners", "Number of screws", "3", _COUNT),
    Question("screw", "--screw", "Kind of screw", "rolled_ball", _SCREWS, True),
    Question("diameter_mm", "--diameter", "Nominal diameter of the screw, mm", 16.0, float, True),
    Question("lead_mm", "--lead", "Lead, travel per turn, mm", 5.0, float, True),
    Question("length_mm", "--length", "Free length of the screw, mm", 400.0, float, True),
    Question("ends", "--ends", "How the screw's ends are held, lower end first", "fixed-free", _ENDS),
    Question(
        "run_out_tir_um", "--run-out", "Run-out of the free screw at its worst, span (TIR), um", 100.0, float
    ),
    Question("guide", "--guide", "Kind of linear guide", "profile_rail", _GUIDES),
    Question("joint", "--joint", "Joint between nut and carriage", "rigid", _JOINTS),
    Question("holding_torque_n_m", "--holding-torque", "Holding torque of the motor, N m", 0.45, float),
    Question("layer_mm", "--layer", "Layer height, mm", 0.2, float),
    Question("layers", "--layers", "Number of layers", 60, int),
)


def _with_options(function: Any) -> Any:
    for q in reversed(QUESTIONS):
        words = f"{q.words} (suggested: {q.suggestion:g})" if isinstance(q.suggestion, float) else None
        text = words or f"{q.words} (suggested: {q.suggestion})"
        function = click.option(q.option, q.name, type=q.kind, help=text + ".")(function)
    return function


def _example_names(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    from bedsim.scenario.examples import names

    return [CompletionItem(name) for name in names() if name.startswith(begun)]


def _print_keys(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from bedsim.scenario.examples import folder
        from bedsim.scenario.reference import reference_text

        click.echo(reference_text(folder()))
        ctx.exit()


def _copy_example(name: str, file: Path) -> int:
    from bedsim.scenario.examples import copies

    files = copies(name, file)
    write_files(files, folder_too=True)
    tell(lambda: models().NewSays(scenario=str(file)))
    beside = [str(path) for path in files if path != file]
    click.echo(f"Wrote {file}{' and beside it ' + ', '.join(beside) if beside else ''}.")
    click.echo(f"Next: bedsim {'sweep' if name.startswith('sweeps/') else 'run'} {file}")
    return 0


@click.command(name="new", cls=Command)
@click.argument("file", type=OutputPath("a scenario", ".toml"))
@_with_options
@click.option(
    "--example",
    metavar="NAME",
    shell_complete=_example_names,
    help="Ask nothing: a copy of a shipped scenario with its tables, for example bent-rolled-rigid.",
)
@click.option(
    "--keys",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_keys,
    help="Print every key with unit, range, default and source, and stop.",
)
@click.option("--title", default="", help="Title of the scenario; default: the file's name.")
@click.option("--defaults", is_flag=True, help="Ask nothing: take the suggestion for what is not given.")
@click.option("--force", is_flag=True, help="Overwrite FILE.")
@schema_option
@kinds_option
def command(file: Path, example: str | None, title: str, defaults: bool, force: bool, **given: Any) -> int:
    """Write a commented scenario to FILE from at most fifteen answers.

    Asks on a terminal for what is not given as an option.  In a pipe nothing is asked: what the
    machine cannot do without must be given, or --defaults.
    """
    if file.exists() and not force:
        raise InputError(f"{file}: exists already. Give another name, or --force to overwrite it.")
    if example is not None:
        return _copy_example(example, file)
    answers = _answers(given, defaults)
    from bedsim.analysis.layer_height import layer_height_lines

    named = title or file.stem.replace("_", " ").replace("-", " ") or "machine"
    text, loaded = checked_text(file, answers, named)
    write_file(file, text)
    tell(lambda: models().NewSays(scenario=str(file)))
    click.echo(f"Wrote {file}. Next: bedsim run {file}")
    for line in layer_height_lines(loaded):
        say(line)
    return 0


def asks() -> bool:
    """Whether there is somebody to ask."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _answers(given: Mapping[str, Any], defaults: bool) -> dict[str, Any]:
    missing = [q for q in QUESTIONS if given[q.name] is None]
    answers = {name: value for name, value in given.items() if value is not None}
    if not defaults and asks():
        for q in missing:
            answers[q.name] = click.prompt(q.words, default=q.suggestion, type=q.kind)
        return answers
    needed = [q.option for q in missing if q.is_needed]
    if needed and not defaults:
        raise InputError(f"bedsim new: nobody to ask; {', '.join(needed)} must be given, or --defaults.")
    return {**{q.name: q.suggestion for q in missing}, **answers}


def checked_text(file: Path, answers: Mapping[str, Any], title: str) -> tuple[str, LoadedScenario]:
    """Write the scenario and load it once; raises InputError naming what cannot be used."""
    import tomllib

    from bedsim.scenario.load import scenario_from_tree
    from bedsim.scenario.template import Answers, scenario_text

    text = scenario_text(Answers(**{**answers, "corners": int(answers["corners"])}), title)
    return text, scenario_from_tree(tomllib.loads(text), folder=file.parent, source=text, name=str(file))
