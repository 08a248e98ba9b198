"""`bedsim improve`: what to change in a machine, ranked by what it gains."""

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
from bedsim.cli.paths import PICTURE, Command
from bedsim.cli.text import line_width
from bedsim.files import make_folder
from bedsim.units import UM

if TYPE_CHECKING:
    from bedsim.improve.findings import Improvement
    from bedsim.improve.ranking import Aim
    from bedsim.scenario.load import LoadedScenario


@click.command(name="improve", cls=Command)
@scenario_argument
@click.option(
    "--target-um",
    type=Number(above=0, below=1e5),
    metavar="UM",
    help="Error (peak to valley, worst place of the bed) that is good enough: the cheapest set of changes "
    "that reaches it is sought; default: the scenario's [target].",
)
@click.option(
    "--probability",
    type=Number(above=0, below=1),
    default=0.9,
    show_default=True,
    help="Share of the machines within its doubts that must reach the target, above 0 and below 1.",
)
@click.option(
    "--aim",
    type=click.Choice(("lateral", "height")),
    default="lateral",
    show_default=True,
    help="Which error is to be made smaller.",
)
@click.option(
    "--price",
    "given",
    multiple=True,
    metavar="LEVER=EUR",
    help="Price of a lever per corner (of the machine where it is one of the machine), for example "
    "--price joint.kind=25; else assumed by class. May be given more than once.",
)
@click.option(
    "--output",
    type=PICTURE,
    metavar="FILE",
    help="Picture file (PNG, SVG or PDF, by its ending); default: results/SCENARIO_improve.png.",
)
@set_option
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
def command(
    scenario: Path,
    target_um: float | None,
    probability: float,
    aim: Aim,
    given: tuple[str, ...],
    output: Path | None,
    overrides: tuple[str, ...],
    no_pictures: bool,
) -> int:
    """Rank what can be changed by what it gains, with what it costs elsewhere and whether the gain holds.

    Also names what is unusual in this machine and costs it, and the cheapest set of changes that reaches a
    target. Winners are checked with friction.
    """
    from bedsim.improve.findings import improve
    from bedsim.improve.prices import prices_for
    from bedsim.improve.text import lines
    from bedsim.scenario.load import load_scenario

    loaded = load_scenario(scenario, overrides, stage=progress_of)
    prices = prices_for(loaded, given)
    found = improve(
        loaded,
        aim=aim,
        target=_target(loaded, aim, target_um),
        probability=probability,
        prices=prices,
        stage=progress_of,
    )
    tell(lambda: json_answer(found))
    click.echo("\n".join(_wrapped(lines(found))))
    for text in loaded.knowledge.sentences if loaded.knowledge else ():
        say(text)
    if not no_pictures:
        path = _drawn(found, output or _picture_file(scenario, overrides, aim))
        click.echo(f"\nPicture: {path}")
    return 0


def _picture_file(scenario: Path, overrides: tuple[str, ...], aim: Aim) -> Path:
    beside = result_file(None, scenario, overrides)
    return beside.with_name(f"{beside.stem}_improve{'' if aim == 'lateral' else f'_{aim}'}.png")


def _target(loaded: LoadedScenario, aim: Aim, given: float | None) -> float | None:
    wanted = loaded.scenario.target
    own = wanted.lateral_pv_um if aim == "lateral" else wanted.height_pv_um
    target = own if given is None else given
    return None if target is None else target * UM


def _wrapped(texts: Iterator[str]) -> Iterator[str]:
    for text in texts:
        inner = " " * (len(text) - len(text.lstrip()))
        more = "" if not inner else inner + "  "
        yield from textwrap.wrap(text, line_width(), subsequent_indent=more, break_on_hyphens=False) or [""]


def _drawn(found: Improvement, path: Path) -> Path:
    from bedsim.views.improve_plots import draw_improvement

    make_folder(path.parent)
    return draw_improvement(found, path)
