"""`bedsim run`: a scenario in, a result file, a summary and pictures out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bedsim.cli import completion
from bedsim.cli.common import (
    check_walls,
    progress_of,
    result_file,
    scenario_argument,
    schema_option,
    set_option,
    wall_options,
)
from bedsim.cli.gauge_output import say
from bedsim.cli.json_out import json_answer, tell
from bedsim.cli.paths import Command, OutputPath
from bedsim.cli.text import fitted
from bedsim.files import make_folder
from bedsim.units import UM

if TYPE_CHECKING:
    from bedsim.analysis.summary import Summary
    from bedsim.ranges.answered import Begun
    from bedsim.ranges.swings import Found
    from bedsim.results.layers import Run
    from bedsim.scenario.load import LoadedScenario
    from bedsim.scenario.schema import Scenario

REQUIREMENT_FAILED = 1


@click.command(name="run", cls=Command)
@scenario_argument
@click.option(
    "--engine",
    metavar="NAME",
    shell_complete=completion.engines,
    help="Which solver: propagator (default: everything), reference (slow, to check with) or equilibrium "
    "(without vibration: quick, and less exact where things rub; the answer says by how much).",
)
@click.option(
    "--output",
    type=OutputPath("a result file (HDF5)", ".h5", ".hdf5"),
    metavar="FILE",
    help="Result file (HDF5); default: results/SCENARIO.h5.",
)
@set_option
@wall_options
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
@click.option("--no-ranges", is_flag=True, help="Do not vary the uncertain numbers: one answer, no range.")
@schema_option
def command(
    scenario: Path,
    engine: str | None,
    output: Path | None,
    overrides: tuple[str, ...],
    walls: tuple[str, ...],
    probe: str | None,
    no_pictures: bool,
    no_ranges: bool,
) -> int:
    """Compute the bed's errors layer by layer.

    Writes a result file, prints a summary with units and draws pictures beside the result.  Exits with 1 if a
    [target] of the scenario is missed.
    """
    from bedsim.scenario.load import load_scenario
    from bedsim.simulation import probe_points
    from bedsim.wall.program_told import printed_sentences, program_sentences

    target = result_file(output, scenario, overrides)
    loaded = load_scenario(scenario, overrides, stage=progress_of)
    check_walls(walls, probe, probe_points(loaded)[0])
    make_folder(target.parent)  # before the long work, so that it is not done in vain
    for text in program_sentences(loaded):
        say(text)
    ranged = bool(loaded.ranges) and not no_ranges
    waiting = _begun(loaded, ranged)  # and meanwhile what is wanted later
    from bedsim.analysis.summary import summarise, summary_lines
    from bedsim.background import Shared
    from bedsim.ranges.answered import ranges_about, with_summary
    from bedsim.ranges.shares import share_note, shares_of
    from bedsim.ranges.split import split_lines, split_of_run
    from bedsim.ranges.swings import steps_needed
    from bedsim.results.store import write_run
    from bedsim.wall.worst import judged_walls

    if not no_pictures:
        from bedsim.views.pictures import drawings  # takes long: meanwhile the ranges have begun
    run = _simulated(loaded, engine)
    write_run(run, target)
    judged = judged_walls(run.layers, loaded.scenario, walls, probe)
    wanted = [] if no_pictures else drawings(run, loaded, target.with_suffix(""), judged, probe)
    with progress_of(steps_needed(loaded) if ranged else 0, "uncertain numbers") as progress:
        sources, travel = waiting.beside(progress)
        drawn = Shared(wanted)  # begun while the rest is worked out
        found = ranges_about(run, loaded, waiting.varied(progress)) if waiting.varied else None
    shares = shares_of(run, sources)
    split = split_lines(split_of_run(run, loaded))
    summary = summarise(run, loaded, shares, found.ranges if found else None, split)
    write_run(with_summary(run, found, summary), target)
    tell(lambda: json_answer(summary))
    told = [*(wall.sentence for wall in judged), *[travel] * bool(travel)]
    click.echo("\n".join(fitted(summary_lines(summary, told))) + "\n")
    for text in (share_note(loaded), *printed_sentences(run.layers, loaded), *_asked(loaded, found)):
        say(text)
    click.echo(f"\nResult: {target}")
    for picture in drawn.results():
        click.echo(f"Picture: {picture}")
    return REQUIREMENT_FAILED if missed(loaded.scenario, summary) else 0


def _begun(loaded: LoadedScenario, ranged: bool) -> Begun:
    """What is worked out from the scenario alone, beside the simulation."""
    from bedsim.ranges.answered import begun, begun_to_vary
    from bedsim.ranges.shares import source_layers
    from bedsim.ranges.travel import DRAWS, travel_told

    works: list[Callable[[], Any]] = [
        partial(source_layers, loaded),
        partial(travel_told, loaded, DRAWS if ranged else 0),
    ]
    return begun_to_vary(loaded, works) if ranged else begun(works)


def _asked(loaded: LoadedScenario, found: Found | None) -> Iterator[str]:
    """What is asked and noted beside the answer."""
    from bedsim.analysis.layer_height import layer_height_lines
    from bedsim.scenario.idle import resting_lines
    from bedsim.scenario.odd_numbers import odd_numbers

    yield from odd_numbers(loaded.scenario)
    yield from loaded.knowledge.sentences if loaded.knowledge else ()
    yield from (*_told(found), *layer_height_lines(loaded), *resting_lines(loaded.resting))


def _simulated(loaded: LoadedScenario, engine: str | None) -> Run:
    from bedsim.simulation import simulate

    with progress_of(loaded.scenario.print.layers, "layers") as progress:
        return simulate(loaded, engine=engine, progress=progress)


def _told(found: Found | None) -> list[str]:
    """How the ranges were found, and what could not be varied."""
    if found is None:
        return []
    return [found.method, *(f"Not varied: {key}: {reason}" for key, reason in found.left_out)]


def missed(scenario: Scenario, summary: Summary) -> bool:
    """Whether a target of the scenario is not met."""
    limits = {"lateral_pv": scenario.target.lateral_pv_um, "height_pv": scenario.target.height_pv_um}
    return any(limit is not None and summary.values[name] > limit * UM for name, limit in limits.items())
