"""`bedsim compensate`: what can be taken off a print again, what is left, and how well the phase must be
known."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.common import progress_of, result_file, scenario_argument, set_option
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import json_answer, tell
from bedsim.cli.number_option import Number
from bedsim.cli.paths import Command, OutputPath
from bedsim.files import make_folder, write_file
from bedsim.units import MM, UM

if TYPE_CHECKING:
    from bedsim.compensate.advice import Compensation
    from bedsim.scenario.load import LoadedScenario

LINE_WIDTH = 110
REFUSED = 1
"""Exit code where something was to be written and must not be used."""


@click.command(name="compensate", cls=Command)
@scenario_argument
@click.option(
    "--output",
    type=OutputPath("a table", ".csv"),
    metavar="FILE",
    help="Table of corrections, layer by layer (CSV, its units and signs told in its head); not written "
    "where it would not help.",
)
@click.option(
    "--program",
    "copy",
    type=OutputPath(
        "a motion program", ".nc", ".ngc", ".gcode", ".gco", ".g", ".cnc", ".tap", ".mpf", ".txt"
    ),
    metavar="FILE",
    help="Corrected copy of the scenario's print.program, shift and turn in it; not written where it would "
    "not help. The program itself is only read.",
)
@click.option("--dated", is_flag=True, help="Tell the day in the comment of the copy.")
@click.option(
    "--step-um",
    type=Number(least=0, most=1000),
    metavar="UM",
    help="Step of X and Y of the machine, 0: as fine as wanted; default: motion.plane_step_um.",
)
@click.option(
    "--homing-mm",
    type=Number(least=0, most=50),
    default=0.05,
    show_default=True,
    metavar="MM",
    help="How far homing may be off, up or down.",
)
@click.option(
    "--levelling-mm",
    type=Number(least=0, most=50),
    default=0.0,
    show_default=True,
    metavar="MM",
    help="How far levelling may have turned each screw since the table was made, up or down.",
)
@click.option(
    "--limit-mm",
    type=Number(above=0, most=5),
    default=0.3,
    show_default=True,
    metavar="MM",
    help="Longest correction that is allowed.",
)
@click.option(
    "--map-within-um",
    type=Number(above=0, most=10000),
    default=5.0,
    show_default=True,
    metavar="UM",
    help="How far off a height map may be before it counts as no longer true.",
)
@set_option
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
def command(
    scenario: Path,
    output: Path | None,
    copy: Path | None,
    dated: bool,
    step_um: float | None,
    homing_mm: float,
    levelling_mm: float,
    limit_mm: float,
    map_within_um: float,
    overrides: tuple[str, ...],
    no_pictures: bool,
) -> int:
    """Tell what a machine can take off its own print, what is then left, and how well the screws' angle
    must be known; why a height map changes; whether it is worth it.

    Exits with 1 where a table was asked for that would not help: it is not written.
    """
    from bedsim.compensate.advice import Asked, compensate
    from bedsim.compensate.program_copy import check_program_asked
    from bedsim.compensate.software import plane_step
    from bedsim.compensate.text import lines
    from bedsim.scenario.load import load_scenario

    loaded = load_scenario(scenario, overrides, stage=progress_of)
    if copy is not None:
        check_program_asked(loaded, copy)
    asked = Asked(
        step=plane_step(loaded) if step_um is None else step_um * UM,
        homing=homing_mm * MM,
        levelling=levelling_mm * MM,
        limit=limit_mm * MM,
        within=map_within_um * UM,
    )
    found = compensate(loaded, asked, progress_of)
    tell(lambda: json_answer(found))
    click.echo("\n".join(_wrapped(lines(found))))
    for text in loaded.knowledge.sentences if loaded.knowledge else ():
        say(text)
    code = max(_written(found, output), _copied(found, loaded, copy, dated))
    if not no_pictures:
        for path in _drawn(found, output or result_file(None, scenario, overrides)):
            click.echo(f"Picture: {path}")
    return code


def _written(found: Compensation, output: Path | None) -> int:
    from bedsim.compensate.table import table_text

    if output is None:
        return 0
    if found.refused:
        click.echo(f"\n{output}: not written: {'; '.join(found.refused)}.")
        return REFUSED
    make_folder(output.parent)
    write_file(output, table_text(found))
    click.echo(f"\nTable: {output}")
    return 0


def _copied(found: Compensation, loaded: LoadedScenario, target: Path | None, dated: bool) -> int:
    from bedsim.compensate.program_copy import copy_lines, write_copy

    if target is None:
        return 0
    if found.refused:
        click.echo(f"\n{target}: not written: {'; '.join(found.refused)}.")
        return REFUSED
    make_folder(target.parent)
    copy = write_copy(found, loaded, target, progress_of, dated)
    click.echo("")
    for text in copy_lines(copy):
        say(text)
    click.echo(f"Program: {target}")
    return 0


def _wrapped(texts: Iterator[str]) -> Iterator[str]:
    for text in texts:
        if text.startswith("    "):  # a table keeps its columns
            yield text
            continue
        inner = " " * (len(text) - len(text.lstrip()))
        more = "" if not inner else inner + "  "
        yield from textwrap.wrap(text, LINE_WIDTH, subsequent_indent=more, break_on_hyphens=False) or [""]


def _drawn(found: Compensation, beside: Path) -> list[Path]:
    from bedsim.views.compensate_plots import draw_compensation, draw_height_maps

    make_folder(beside.parent)
    stem = beside.stem if beside.suffix == ".csv" else f"{beside.stem}_compensate"
    return [
        draw_compensation(found, beside.with_name(f"{stem}.png")),
        draw_height_maps(found, beside.with_name(f"{stem}_height_map.png")),
    ]
