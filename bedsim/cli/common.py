"""What several commands share: the scenario argument, `--set`, progress on a terminal."""

from __future__ import annotations

import re
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from bedsim import registry
from bedsim.cli import completion
from bedsim.cli.paths import InputPath, input_argument

LONGEST_TOLD = 80
"""Letters of other values in a file's name."""

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def _load_kinds(_: click.Context, __: click.Parameter, files: tuple[Path, ...]) -> None:
    from bedsim.scenario.outside_kinds import load_kinds

    for file in files:
        load_kinds(file)


kinds_option: Decorator = click.option(
    "--kinds",
    type=InputPath(),
    metavar="FILE",
    multiple=True,
    is_eager=True,
    expose_value=False,
    callback=_load_kinds,
    help="Python file with kinds of parts of your own; it is run. May be given more than once.",
)


def scenario_argument(function: Callable[..., Any]) -> Callable[..., Any]:
    """The scenario that a command reads, and the files that its kinds of parts come from."""
    return input_argument("scenario")(kinds_option(function))


class KindChoice(click.Choice[str]):
    """One of the kinds of a part, asked for when it is needed: there may be some from outside."""

    def __init__(self, part: str) -> None:
        self.part, self.case_sensitive = part, True

    @property
    def choices(self) -> tuple[str, ...]:  # type: ignore[override]
        """Names of the kinds that there are."""
        return registry.names(self.part)


set_option: Decorator = click.option(
    "--set",
    "overrides",
    metavar="KEY=VALUE",
    multiple=True,
    shell_complete=completion.keys,
    help="Override a key of the scenario, for example --set print.layers=80 or "
    "--set corner.back.screw.lead_mm=4. May be given more than once.",
)


def wall_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Which walls are judged and drawn, and where on the bed; by default those that show most."""
    wall = click.option(
        "--wall",
        "walls",
        multiple=True,
        default=("worst",),
        show_default=True,
        metavar="NORMAL",
        help="Wall by its outward normal: +X, -X, +Y, -Y, an angle in degrees, or worst (the one whose bands "
        "show most). May be given more than once.",
    )
    probe = click.option(
        "--probe",
        metavar="NAME",
        shell_complete=completion.probes,
        help="Place of the walls on the bed, by a probe's name or its beginning; default: the worst place.",
    )
    return wall(probe(function))


def check_walls(walls: Sequence[str], probe: str | None, names: Sequence[str]) -> None:
    """Refuse walls and probes that are not there before the long work.  Raises InputError."""
    from bedsim.wall.relief import probe_called, wall_normal
    from bedsim.wall.worst import WORST

    for wall in walls:
        if wall != WORST:
            wall_normal(wall)
    if probe is not None:
        probe_called(probe, names)


screws_option: Decorator = click.option(
    "--screws",
    default="gauged",
    show_default=True,
    metavar="GRADE",
    shell_complete=completion.screws,
    help="gauged: bent as the scenario says; unknown: cheap rolled ones that nobody has gauged; or the grade "
    "they were bought as, C7 or 'ISO 5'.",
)


def print_schema(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    """Print the JSON Schema of scenario files and stop (callback of an eager option)."""
    if wanted and not ctx.resilient_parsing:
        import json

        from bedsim.scenario.json_schema import file_schema

        click.echo(json.dumps(file_schema(), indent=2, ensure_ascii=False))
        ctx.exit()


schema_option: Decorator = click.option(
    "--schema",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=print_schema,
    help="Print a JSON Schema of the scenario file, for editors, and stop.",
)


def plain(text: str) -> str:
    """A text as part of a file name."""
    return re.sub(r"[^\w.+-]+", "_", text).strip("_.")


def result_file(output: Path | None, scenario: Path, overrides: Sequence[str] = ()) -> Path:
    """Where a result goes, by default results/SCENARIO.h5; a scenario with other values has a name of its own
    that tells them, so that it does not take the place of the scenario's."""
    told = "_".join(plain(text) for text in overrides)
    if len(told) > LONGEST_TOLD:
        told = f"{told[:LONGEST_TOLD]}_{zlib.crc32(told.encode()):08x}"
    name = "_".join(part for part in (scenario.stem, told) if part)
    return output or Path("results") / f"{name}.h5"


@contextmanager
def progress_of(total: int, what: str) -> Iterator[Callable[[int], None]]:
    """Give a function to call with the number of layers done; a bar on a terminal, nothing in a pipe or where
    nothing is to be done.
    """
    if not total or not sys.stderr.isatty():
        yield lambda done: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done: bar.update(task, completed=done)
