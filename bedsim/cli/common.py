"""What several commands share: the scenario argument, `--set`, progress on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from bedsim import registry
from bedsim.cli.paths import InputPath, input_argument

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
    help="Override a key of the scenario, for example --set print.layers=80 or "
    "--set corner.back.screw.lead_mm=4. May be given more than once.",
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


def result_file(output: Path | None, scenario: Path) -> Path:
    """Where a result goes, by default results/SCENARIO.h5."""
    return output or Path("results") / f"{scenario.stem}.h5"


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
