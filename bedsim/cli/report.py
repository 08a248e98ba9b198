"""`bedsim report`: results in, one self-contained page out."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.common import check_walls, kinds_option, progress_of, wall_options
from bedsim.cli.json_out import models, tell
from bedsim.cli.number_option import Number
from bedsim.cli.paths import Command, OutputPath, input_argument
from bedsim.errors import InputError
from bedsim.files import make_folder, write_file
from bedsim.units import DEG, MM, UM

if TYPE_CHECKING:
    from bedsim.results.layers import Run
    from bedsim.scenario.load import LoadedScenario
    from bedsim.views.report_figures import Levers, Reported
    from bedsim.wall.visibility import Eye, Viewing


@click.command(name="report", cls=Command)
@input_argument("results", nargs=-1, required=True)
@kinds_option
@click.option(
    "--output",
    type=OutputPath("a report", ".html", ".htm"),
    default=Path("report.html"),
    show_default=True,
    metavar="FILE",
    help="Page to write.",
)
@wall_options
@click.option(
    "--light-deg",
    type=Number(above=0, most=85),
    default=60.0,
    show_default=True,
    help="Light, from the wall's normal.",
)
@click.option(
    "--distance-m",
    type=Number(least=0.05),
    default=0.3,
    show_default=True,
    help="From eye to wall.",
)
@click.option(
    "--eye",
    type=click.Choice(["mannos-sakrison", "barten"]),
    default="barten",
    show_default=True,
    help="Published contrast sensitivity that is used.",
)
@click.option(
    "--wall-width-mm",
    type=Number(above=0),
    help="Width of the banded wall; default: as wide as the print is high, at least 15.",
)
@click.option(
    "--threshold-um",
    type=Number(above=0),
    help="Your own smallest visible amplitude; replaces light, distance and eye.",
)
@click.option(
    "--no-levers",
    is_flag=True,
    help="Leave out what to change and what it gains (saves most of the time).",
)
@click.option(
    "--coupon",
    type=OutputPath("a table", ".csv"),
    metavar="FILE",
    help="Also write a table (CSV) of layer offsets for a coupon with known bands, to find your own "
    "threshold.",
)
def command(
    results: tuple[Path, ...],
    output: Path,
    walls: tuple[str, ...],
    probe: str | None,
    light_deg: float,
    distance_m: float,
    eye: Eye,
    wall_width_mm: float | None,
    threshold_um: float | None,
    no_levers: bool,
    coupon: Path | None,
) -> int:
    """Write a report from one or more results: one page with verdict, walls, charts, tables and scenario."""
    from bedsim.results.store import read_run
    from bedsim.views.report_content import report_page
    from bedsim.views.report_figures import Choices
    from bedsim.views.report_page import render_page
    from bedsim.wall.visibility import Viewing, check_viewing, wall_side

    check_walls(walls, None, ())
    labels = _labels(results)
    runs = [read_run(path) for path in results]
    for run in runs:
        check_walls((), probe, run.layers.probe_name)
    make_folder(output.parent)  # before the long work, so that it is not done in vain
    items = [
        _reported(run, path, label, levers=not no_levers)
        for run, path, label in zip(runs, results, labels, strict=True)
    ]
    tallest = max(float(item.run.layers.print_height.max()) for item in items)
    viewing = check_viewing(
        Viewing(
            incidence=light_deg * DEG,
            distance=distance_m,
            eye=eye,
            side=wall_side(tallest, None if wall_width_mm is None else wall_width_mm * MM),
            threshold=None if threshold_um is None else threshold_um * UM,
        )
    )
    page = report_page(items, Choices(viewing=viewing, walls=walls, probe=probe))
    write_file(output, render_page(page), folder_too=True)
    tell(lambda: models().ReportSays(page=str(output), results=[str(path) for path in results]))
    click.echo(f"Report: {output}")
    if coupon is not None:
        _write_coupon(coupon, items[0].loaded, viewing)
    return 0


def _reported(run: Run, path: Path, label: str, *, levers: bool) -> Reported:
    from bedsim.analysis.objects import only, shown_object
    from bedsim.ranges.motion import bed_motion
    from bedsim.ranges.split import split_lines, split_of_run
    from bedsim.ranges.travel import travel_told
    from bedsim.results.reload import scenario_of
    from bedsim.views.report_figures import Reported

    loaded = scenario_of(run, path)
    shown = shown_object(run.layers)
    here = shown.part
    split = tuple(split_lines(split_of_run(run, loaded)))
    motion, sources = bed_motion(run, loaded, here)
    kept = run.open and replace(run.open, layer=run.open.layer[here], spread=run.open.spread[here])
    return Reported(
        label=label,
        path=str(path),
        run=replace(run, layers=only(run.layers, here), open=kept) if shown.words else run,
        whole=run,
        loaded=loaded,
        motion=motion,
        sources={source: (lateral[here], height[here]) for source, (lateral, height) in sources.items()},
        whole_sources=sources,
        shown=shown.words,
        split=split,
        travel=travel_told(loaded),
        levers=_levers(loaded) if levers else None,
    )


def _levers(loaded: LoadedScenario) -> Levers:
    """What single changes gain in a machine, as `bedsim improve` says it."""
    from bedsim.errors import BedsimError
    from bedsim.improve.prices import prices_for
    from bedsim.improve.single_changes import gain_of, single_changes
    from bedsim.views.report_figures import Levers

    try:
        found = single_changes(loaded, stage=progress_of)
    except BedsimError as fault:
        return Levers(refused=str(fault))
    prices = prices_for(loaded, ())
    return Levers(gains=tuple(gain_of(loaded, one, found.stands, prices) for one in found.best))


def _labels(paths: tuple[Path, ...]) -> list[str]:
    """File names without ending, with their folder where two are alike; the same file twice is refused."""
    if len({p.resolve() for p in paths}) < len(paths):
        raise InputError("results: the same file is given twice.")
    stems = [p.stem for p in paths]
    return [s if stems.count(s) == 1 else str(p.with_suffix("")) for s, p in zip(stems, paths, strict=True)]


def _write_coupon(path: Path, loaded: LoadedScenario, viewing: Viewing) -> None:
    from io import StringIO

    from bedsim.wall.visibility import COUPON_NOTES, coupon, smallest_visible_amplitude

    lead = max(c.screw.lead_mm for c in loaded.scenario.corner) * MM
    expected = float(smallest_visible_amplitude(lead, viewing))
    amplitudes = [expected * f for f in (0.25, 0.5, 1.0, 2.0, 4.0)]
    made = coupon(loaded.scenario.print.layer_mm * MM, lead, amplitudes)
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("layer", "top_mm", "offset_um", "block_amplitude_um"))
    for layer, height, offset, size in zip(made.layer, made.height, made.offset, made.amplitude, strict=True):
        writer.writerow((int(layer), f"{height / MM:.4f}", f"{offset / UM:.3f}", f"{size / UM:.3f}"))
    write_file(path, text.getvalue(), folder_too=True)
    click.echo(f"Coupon: {path}")
    for note in COUPON_NOTES:
        click.echo(f"  {note}")
