"""What a shell may complete: engines, keys of a scenario with their kinds, grades, places on the bed.

Used by click's own completion: `eval "$(_BEDSIM_COMPLETE=bash_source bedsim)"`, likewise zsh and fish.  Bash
takes words apart at `=` and puts in what it is given as it stands, spaces too: `Bash` reckons with both.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from pathlib import Path

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from bedsim import registry
from bedsim.errors import BedsimError

MORE_GRADES = ("gauged", "unknown")
"""What --screws takes beside grades."""


class Bash(BashComplete):
    """Click's completion for bash, for values with `=` and with spaces."""

    apart = ""
    """What bash holds for a word of its own before the one to complete: `joint.kind=`."""

    def get_completion_args(self) -> tuple[list[str], str]:
        """Give the words before, and the one to complete, with what bash took apart at `=` in one piece."""
        words, begun = super().get_completion_args()
        whole: list[str] = []
        for before, word in zip(["", *words], [*words, begun], strict=True):
            if whole and "=" in (before, word):
                whole[-1] += word
            else:
                whole.append(word)
        *words, last = whole
        self.apart = last.removesuffix("" if begun == "=" else begun)
        return words, last

    def format_completion(self, item: CompletionItem) -> str:
        """Give what is to stand in place of bash's word."""
        item.value = item.value.removeprefix(self.apart).replace(" ", "\\ ")
        return super().format_completion(item)


def offer() -> None:
    """Complete in bash as above."""
    add_completion_class(Bash)


def _begin(names: Iterable[str], begun: str) -> list[CompletionItem]:
    return [CompletionItem(name) for name in names if name.casefold().startswith(begun.casefold())]


def engines(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    """Names of the engines."""
    from bedsim.engines.named import ENGINES

    return _begin(ENGINES, begun)


def keys(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    """`KEY=` for every key of a scenario, and the kinds of a part behind `joint.kind=`."""
    from bedsim.scenario.keys import all_keys

    key, equals, _value = begun.partition("=")
    part, _dot, last = key.rpartition(".")
    if equals and last == "kind" and part in registry.parts():
        return _begin((f"{key}={name}" for name in registry.names(part)), begun)
    return _begin((f"{name}=" for name in all_keys()), begun)


def grades(_: click.Context, __: click.Parameter, begun: str) -> list[CompletionItem]:
    """Grades of screws."""
    from bedsim.screws.grades import ISO_GRADES, JIS_CLASSES

    return _begin((*JIS_CLASSES, *(f"ISO {grade}" for grade in ISO_GRADES)), begun)


def screws(ctx: click.Context, option: click.Parameter, begun: str) -> list[CompletionItem]:
    """Grades, and what else --screws takes."""
    return [*_begin(MORE_GRADES, begun), *grades(ctx, option, begun)]


def probes(ctx: click.Context, _: click.Parameter, begun: str) -> list[CompletionItem]:
    """Places on the bed of the scenario or result that was named before.

    Behind an option that still wants its value click does not know arguments by their names yet, and keeps
    them in `args`.
    """
    given = [ctx.params.get(name) for name in ("scenario", "files", "results")]
    files = [f for one in (*given, *ctx.args) if one for f in (one if isinstance(one, tuple) else (one,))]
    with contextlib.suppress(BedsimError, OSError):
        return _begin(_places(Path(files[0])), begun) if files else []
    return []


def _places(file: Path) -> tuple[str, ...]:
    from bedsim.files import is_result

    if is_result(file):
        from bedsim.results.store import read_run

        return read_run(file).layers.probe_name
    from bedsim.scenario.load import load_scenario
    from bedsim.simulation import probe_points

    return probe_points(load_scenario(file))[0]
