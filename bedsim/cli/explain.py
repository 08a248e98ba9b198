"""`bedsim explain`: what a key, figure, row, grade, term or message is, and what it moves."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bedsim.cli.common import kinds_option, progress_of, set_option
from bedsim.cli.json_out import models, tell
from bedsim.cli.paths import Command, OutputPath
from bedsim.errors import InputError
from bedsim.scenario.faults import shown

if TYPE_CHECKING:
    from bedsim.answers.models import Says
    from bedsim.explain.entry import Entry, Fact
    from bedsim.explain.tutorials import TutorialStep
    from bedsim.scenario.load import LoadedScenario


@click.command(name="explain", cls=Command)
@click.argument("words", nargs=-1, metavar="[WHAT] [SCENARIO]")
@kinds_option
@set_option
@click.option(
    "--page",
    type=OutputPath("a page", ".html", ".htm"),
    metavar="FILE",
    help="Write all of it as one page, with theory, tutorials and a gallery of the shipped scenarios, which "
    "are run for it: a minute.",
)
def command(words: tuple[str, ...], overrides: tuple[str, ...], page: Path | None) -> int:
    """Explain WHAT: a key (guide.radial_n_per_um), a figure (lateral_pv), a row of `size` (buckling_load), a
    grade (C7), a term (TIR), or the words of a message in quotes: what it is, formula with source and limits,
    how to measure it, usual values.

    With a SCENARIO also what it moves there. Without WHAT: what there is.
    """
    from bedsim.explain.book import MOST_TOLD, find
    from bedsim.explain.text import entry_lines, fact_lines, list_lines
    from bedsim.scenario.load import load_scenario

    if page is not None:
        if words:
            raise InputError(f"--page {page}: holds everything; leave {shown(' '.join(words))} out.")
        return _write_page(page)
    what, scenario = _sorted(words)
    if scenario is None and overrides:
        raise InputError(f"--set {overrides[0]}: sets a key of a scenario; name one after WHAT.")
    if not what:
        _list()
        return 0
    entries = find(what)
    loaded = None if scenario is None else load_scenario(scenario, overrides, stage=progress_of)
    if len({entry.name for entry in entries}) > 1:
        tell(lambda: _model(entries[:MOST_TOLD]))
        click.echo(f"{shown(what)} is the name of {len(entries)}; ask for one by its whole name:")
        click.echo("\n".join(list_lines(entries[:MOST_TOLD])))
        return 0
    tell(lambda: _model(entries))
    for entry in entries:
        click.echo("\n".join(entry_lines(entry)))
    if loaded is not None:
        from bedsim.explain.here import here

        with _progress(entries[0], loaded) as progress:
            told = list(here(entries[0], loaded, progress))
        tell(lambda: _model(entries, told))
        for fact in told:
            click.echo("\n".join(fact_lines(fact)))
    return 0


def _model(entries: Sequence[Entry], told: Sequence[Fact] = ()) -> Says:
    """Entries, and what is `told` of the first in a scenario, as a model."""

    def facts(found: Sequence[Fact]) -> list[dict[str, str]]:
        return [{"label": fact.label, "text": fact.text} for fact in found]

    said = [{"name": e.name, "sort": e.sort, "what": e.what, "facts": facts(e.all_facts)} for e in entries]
    return models().ExplainSays.model_validate({"entries": said, "here": facts(told)})


def _sorted(words: tuple[str, ...]) -> tuple[str, Path | None]:
    """What is asked, and the scenario at the end if there is one."""
    if words and words[-1].lower().endswith(".toml"):
        if len(words) == 1:
            raise InputError(f"WHAT: write what is to be explained before the scenario {shown(words[-1])}.")
        return " ".join(words[:-1]), Path(words[-1])
    return " ".join(words), None


def _progress(entry: Entry, loaded: LoadedScenario) -> AbstractContextManager[Any]:
    from bedsim.ranges.swings import steps_needed

    if entry.sort not in ("figure", "quantity"):
        return nullcontext(lambda done: None)
    return progress_of(steps_needed(loaded), "keys")


def _list() -> None:
    from collections import Counter

    from bedsim.explain.book import every_entry, of_sort

    for sort, count in Counter(entry.sort for entry in every_entry()).items():
        names = [entry.name for entry in of_sort(sort)]
        click.echo(f"{count} of the sort {sort}: {', '.join(names[:6])}{', ...' if count > 6 else ''}")
    click.echo("Ask for one: bedsim explain NAME [SCENARIO]")


def _write_page(path: Path) -> int:
    import tempfile

    import bedsim
    from bedsim.explain.gallery import gallery
    from bedsim.explain.theory import chapters
    from bedsim.explain.tutorials import TUTORIALS
    from bedsim.files import write_file
    from bedsim.scenario import examples
    from bedsim.views.explain_page import explain_page

    home = examples.folder()
    shipped = sorted(home.glob("*.toml"))
    steps = sum(len(tutorial.steps) for tutorial in TUTORIALS)
    with tempfile.TemporaryDirectory() as place, progress_of(steps + len(shipped), "page") as progress:
        exhibits = list(gallery(shipped, progress))
        answers = [[_answer(step, Path(place), home) for step in t.steps] for t in TUTORIALS]
        text = explain_page(bedsim.__version__, list(chapters()), TUTORIALS, answers, exhibits, Path(place))
    write_file(path, text, folder_too=True)
    click.echo(f"Page: {path}")
    return 0


def _answer(step: TutorialStep, place: Path, scenarios: Path) -> str:
    """What a command of a tutorial prints, in a folder of its own beside the shipped scenarios."""
    import contextlib
    import io
    import shlex

    from bedsim.cli.main import group
    from bedsim.files import write_file

    beside = place / "scenarios"
    if not beside.exists():
        beside.symlink_to(scenarios)
    name, text = step.writes
    if name:
        write_file(place / name, text)
    said = io.StringIO()
    with contextlib.chdir(place), contextlib.redirect_stdout(said):
        group.main(args=shlex.split(step.command), prog_name="bedsim", standalone_mode=False)
    return said.getvalue()
