"""`bedsim sweep`: a plan in; a result file, a table of cells, what follows from it and pictures out."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bedsim.cli.common import kinds_option, result_file
from bedsim.cli.json_out import json_answer, models, tell
from bedsim.cli.paths import Command, OutputPath, input_argument
from bedsim.errors import InputError
from bedsim.scenario.toml_text import toml_value
from bedsim.units import UM

if TYPE_CHECKING:
    from bedsim.sweep.member import Member
    from bedsim.sweep.plan import Plan
    from bedsim.sweep.pool import Heard, Work

TARGET_MISSED = 1
SECONDS = {"equilibrium": 1e-5, "deviations": 6e-5, "propagator": 4e-4}
"""What a printer and layer takes by each engine, s, as measured once: for a first guess of the time left."""
TRUSTED = 0.02  # of all printers: when so many are done, the time is known from them


def _print_schema(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        import json

        from bedsim.scenario.sweep_plan import plan_schema

        click.echo(json.dumps(plan_schema(), indent=2, ensure_ascii=False))
        ctx.exit()


@click.command(name="sweep", cls=Command)
@input_argument("plan_file", metavar="PLAN")
@kinds_option
@click.option(
    "--output",
    type=OutputPath("a result file (HDF5)", ".h5", ".hdf5"),
    metavar="FILE",
    help="Result file (HDF5); default: results/PLAN.h5.",
)
@click.option(
    "--workers", type=click.IntRange(1), metavar="N", help="Processes on this machine; default: one per core."
)
@click.option(
    "--scheduler", metavar="ADDRESS", help="Dask scheduler to use instead, for example tcp://host:8786."
)
@click.option(
    "--member", metavar="CELL,PRINTER", help="Work out one printer of one cell again, alone, and stop."
)
@click.option(
    "--write",
    "write_to",
    type=OutputPath("a scenario", ".toml"),
    metavar="FILE",
    help="With --member: write that printer as a scenario (.toml), its slow travel as CSV tables beside it.",
)
@click.option("--no-pictures", is_flag=True, help="Draw nothing.")
@click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_schema,
    help="Print a JSON Schema of the plan file, for editors, and stop.",
)
def command(
    plan_file: Path,
    output: Path | None,
    workers: int | None,
    scheduler: str | None,
    member: str | None,
    write_to: Path | None,
    no_pictures: bool,
) -> int:
    """Draw many virtual printers for each cell of a plan: what is good enough, how sure, at what price.

    A sweep that was interrupted goes on where it stopped when the same command is given again.  Exits with 1
    if the plan has a target and no cell is good enough.
    """
    from bedsim.cli.sweep_output import answer_lines
    from bedsim.sweep.answers import good_enough, has_target
    from bedsim.sweep.plan import load_plan
    from bedsim.sweep.run import run_sweep

    if write_to is not None and member is None:
        raise InputError(f"--write {write_to}: goes with --member, which names the printer.")
    target = result_file(output, plan_file)
    plan = load_plan(plan_file)
    if member is not None:
        tell(lambda: models().SweepSays(title=plan.file.title))
        click.echo("\n".join(_member_lines(plan, target, member, write_to)))
        return 0
    try:
        with _progress(plan, workers or _cores()) as (progress, heard):
            result = run_sweep(plan, target, _work(workers, scheduler, heard), progress, _remark)
    except KeyboardInterrupt:
        _remark("Finished parts are kept: give the same command again to go on.")
        raise
    tell(lambda: json_answer(result))
    click.echo("\n".join(answer_lines(result)))
    click.echo(f"\nResult: {target}")
    if not no_pictures:
        from bedsim.views.sweep_plots import draw_sweep

        for picture in draw_sweep(result, target.with_suffix("")):
            click.echo(f"Picture: {picture}")
    failed = has_target(result) and not any(good_enough(c, result) for c in result.cells)
    return TARGET_MISSED if failed else 0


def _remark(text: str) -> None:
    with suppress(OSError):  # the terminal may be gone
        click.echo(text, err=True)


def _work(workers: int | None, scheduler: str | None, heard: Heard) -> Work:
    from bedsim.sweep import pool

    if scheduler is not None:
        if workers is not None:
            raise InputError("--workers: the scheduler has its own workers; give one of the two options.")
        return pool.dask(scheduler, _remark)
    return pool.local(workers or _cores(), heard)


def _cores() -> int:
    """Cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


@contextmanager
def _progress(plan: Plan, workers: int) -> Iterator[tuple[Callable[[int, int], None], Heard]]:
    """Hears of finished printers of all, and of those in unfinished tasks: a bar with the time left on a
    terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda done, total: None, lambda printers: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    begun, known = time.monotonic(), {"done": 0, "total": 0}
    layers = max(cell.loaded.scenario.print.layers for cell in plan.cells)
    each = layers * SECONDS[plan.file.engine] / workers
    words = TextColumn("{task.description}"), TextColumn("{task.fields[left]}")
    columns = (words[0], BarColumn(), MofNCompleteColumn(), words[1])
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"printers in {len(plan.cells)} cells", total=None, left="")

        def heard(printers: float) -> None:
            done, total = known["done"] + printers, known["total"]
            left = seconds_left(done, total, time.monotonic() - begun, each * total)
            bar.update(task, completed=int(done), total=total, left=_time_told(left))

        def progress(done: int, total: int) -> None:
            known.update(done=done, total=total)
            heard(0.0)

        yield progress, heard


def seconds_left(done: float, total: float, spent: float, guess: float) -> float:
    """Time left, s, after `spent` s: by a `guess` of it all as long as nothing is done, by what is done from
    `TRUSTED` of it on, between by both, for the first printers come late."""
    share = done / total if total else 0.0
    if share == 0.0:
        return max(guess - spent, spent / 2)
    trust = min(1.0, share / TRUSTED)
    return (1.0 - share) * (trust * spent / share + (1.0 - trust) * guess)


def _time_told(seconds: float) -> str:
    if seconds < 90:
        return f"about {max(1, round(seconds))} s left"
    minutes = round(seconds / 60)
    return f"about {minutes} min left" if minutes < 90 else f"about {seconds / 3600:.1f} h left"


# ---- one printer again --------------------------------------------------------------------------------


def _member_lines(plan: Plan, target: Path, written: str, write_to: Path | None) -> Iterator[str]:
    from bedsim.results.sweep_store import made_by, read_sweep
    from bedsim.sweep.member import member_again

    cell, printer = _two_numbers(written)
    stored = None
    if target.is_file() and made_by(target)[0] == plan.fingerprint:
        stored = read_sweep(target)
    counts = None if stored is None else [c.members for c in stored.cells]
    found = member_again(plan, cell, printer, counts)
    yield f"Cell {cell}, {found.cell.label}; printer {printer}"
    yield from _figure_lines(found)
    if stored is not None:
        same = found.figures.tobytes() == stored.cells[cell].figures[printer].tobytes()
        yield f"The same to the last bit as in {target}: {'yes' if same else 'no'}"
    yield ""
    if write_to is not None:
        from bedsim.sweep.member_files import write_member

        scenario, *tables = write_member(found, write_to, plan.file.engine)
        yield f"Wrote {scenario} and beside it {', '.join(t.name for t in tables)}."
        yield f"Next: bedsim run {scenario}"
        return
    yield "Its screws as keys of the scenario, without their slow travel variation, which no keys can say:"
    for placed in found.screws:
        keys = placed.keys("").items()
        yield from (f"  {key} = {_told(value)}" for key, value in keys if not key.endswith(".table"))
    yield "--write FILE.toml writes the whole printer as a scenario, slow travel and all."


def _told(value: object) -> str:
    return toml_value(float(f"{value:.6g}") if isinstance(value, float) else value)


def _two_numbers(written: str) -> tuple[int, int]:
    parts = [part.strip() for part in written.split(",")]
    if len(parts) != 2 or not all(part.isdecimal() for part in parts):
        raise InputError(
            f"--member = {written}: must be two whole numbers, cell and printer, for example 3,417."
        )
    return int(parts[0]), int(parts[1])


def _figure_lines(found: Member) -> Iterator[str]:
    from bedsim.analysis.figures import METRICS, metric_text

    metrics = {m.name: m for m in METRICS}
    for name, value in zip(found.metrics, found.figures, strict=True):
        metric = metrics[name]
        told = f"{value / UM:>10.4g} µm" if metric.unit == "m" else f"{value:>10.4g} {metric.unit}"
        yield f"  {metric.text:<48} {told if value == value else f'{metric_text(metric, value):>10}'}"
