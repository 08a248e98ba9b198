"""`--json`, the same for every command: what it answers as one JSON document, and nothing else on stdout."""

from __future__ import annotations

import contextlib
import contextvars
import io
import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import bedsim
from bedsim.cli.endings import PlainStream
from bedsim.files import noting

if TYPE_CHECKING:
    from bedsim.answers.models import Says

_told: contextvars.ContextVar[list[Says] | None] = contextvars.ContextVar("told", default=None)
_WANTED = "bedsim.json"
_NAMED = re.compile(r"^[A-Z][a-z ]*: +(\S.*)$")
"""A line that names a file, "Result: results/first.h5": also one that was there already."""


def wants_json() -> bool:
    """Whether this command is to print JSON."""
    return _told.get() is not None


def tell(made: Callable[[], Says]) -> None:
    """Hand over the answer; it is made only where JSON is wanted."""
    told = _told.get()
    if told is not None:
        told[:] = [made()]


def json_answer(found: Any) -> Says:
    """The model of an answer."""
    from bedsim.answers.made import answer_of

    return answer_of(found)


def keys_answer(test: str, keys: Sequence[Any], remarks: Sequence[str] = ()) -> Says:
    """Keys that were measured, as a model."""
    from bedsim.answers.made import of_keys

    return of_keys(test, keys, remarks)


def diagnosis_answer(found: Sequence[tuple[str, Any]]) -> Says:
    """Diagnoses by the bands that they are of, as a model."""
    from bedsim.answers.made import of_diagnosis
    from bedsim.answers.models import DiagnoseSays

    return DiagnoseSays(found=[of_diagnosis(bands, one) for bands, one in found])


def tug_answer(rows: Sequence[Any]) -> Says:
    """Rows of a tug of war, as a model."""
    from bedsim.answers.made import of_tug

    return of_tug(rows)


def events_answer(title: str, reports: Mapping[str, Any]) -> Says:
    """Reports of events by their names, as a model."""
    from bedsim.answers.models import SizeSays
    from bedsim.answers.plain import plain

    return SizeSays(title=title, events={name: plain(report) for name, report in reports.items()})


def models() -> Any:
    """The models of all answers."""
    from bedsim.answers import models

    return models


def options() -> list[click.Option]:
    """Those that every command has."""
    return [
        click.Option(
            ["--json"],
            is_flag=True,
            expose_value=False,
            callback=_remember,
            help="Print JSON and nothing else.",
        ),
        click.Option(
            ["--json-schema"],
            is_flag=True,
            is_eager=True,
            expose_value=False,
            callback=_print_schema,
            help="Print the JSON Schema of what --json prints, and stop.",
        ),
    ]


def _remember(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    ctx.meta[_WANTED] = wanted


def is_wanted(ctx: click.Context) -> bool:
    """Whether `--json` was given."""
    return bool(ctx.meta.get(_WANTED))


def _print_schema(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from bedsim.answers.schema import document_schema

        click.echo(json.dumps(document_schema(str(ctx.command.name)), indent=2, ensure_ascii=False))
        ctx.exit()


def answered(command: str, work: Callable[[], Any]) -> Any:
    """Do the work with its words kept back, then print the document; gives what the work gave."""
    told: list[Says] = []
    before = _told.set(told)
    said = io.StringIO()
    try:
        with _instead(said), noting() as written:
            code = work()
    finally:
        _told.reset(before)
    click.echo(_document(command, code, told[0] if told else None, said.getvalue(), written))
    return code


@contextlib.contextmanager
def _instead(said: io.StringIO) -> Iterator[None]:
    stream: Any = PlainStream(said)
    with contextlib.redirect_stdout(stream):
        yield


def _document(command: str, code: Any, answer: Says | None, said: str, written: Sequence[Path]) -> str:
    lines = [line.rstrip() for line in said.splitlines()]
    named = [Path(found[1]) for found in map(_NAMED.match, lines) if found is not None]
    made = [path for path in written if "__pycache__" not in path.parts]  # what the program keeps for itself
    document = {
        "bedsim": bedsim.__version__,
        "command": command,
        "exit_code": code if isinstance(code, int) else 0,
        "answer": None if answer is None else answer.model_dump(mode="json"),
        "text": [line for line in lines if line],
        "files": [str(path) for path in dict.fromkeys([*named, *made]) if path.is_file()],
    }
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
