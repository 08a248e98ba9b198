"""Files on the command line: which a command reads, which it writes, and that the two are never one."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
from click.shell_completion import CompletionItem

from bedsim.cli import json_out
from bedsim.errors import InputError
from bedsim.files import reason
from bedsim.scenario.faults import shown
from bedsim.threads import keep_freed_memory


class InputPath(click.ParamType):
    """A file that a command reads."""

    name = "file"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Give the path; whether it can be read is for the reader to say."""
        return _path(value, param)

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Leave it to the shell, which knows its files."""
        return [CompletionItem(incomplete, type="file")]


class OutputPath(click.ParamType):
    """A file that a command writes: what it is, and the endings that its name may have."""

    name = "file"

    def __init__(self, what: str, *endings: str) -> None:
        self.what, self.endings = what, endings

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Give the path; a folder or an ending that promises another kind of file is refused."""
        path, option = _path(value, param), option_of(param)
        if path.is_dir():
            raise InputError(f"{option} {path}: is a folder; {self.what} is a file.")
        if path.suffix.lower() not in self.endings:
            told = (", ".join(self.endings[:-1]), self.endings[-1])
            raise InputError(
                f"{option} {path}: {self.what} ends in {' or '.join(filter(None, told))}, for example "
                f"{path.stem or 'name'}{self.endings[0]}."
            )
        return path

    shell_complete = InputPath.shell_complete


PICTURE = OutputPath("a picture", ".png", ".svg", ".pdf")


class OutputFolder(click.ParamType):
    """A folder that a command writes to."""

    name = "folder"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Give the path; a file in its place is refused."""
        path = _path(value, param)
        if path.exists() and not path.is_dir():
            raise InputError(f"{option_of(param)} {path}: is a file; a folder belongs here.")
        return path

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Leave it to the shell, which knows its folders."""
        return [CompletionItem(incomplete, type="dir")]


def _path(value: Any, param: click.Parameter | None) -> Path:
    """A path that the system takes for one: not too long, without a zero byte."""
    why = ""
    try:
        os.lstat(value)
    except OSError as fault:
        why = reason(fault) if fault.errno == errno.ENAMETOOLONG else ""
    except ValueError as fault:
        why = str(fault)
    if why:
        raise InputError(f"{option_of(param)} {shown(str(value))}: is not the name of a file: {why}.")
    return Path(value)


def option_of(param: click.Parameter | None) -> str:
    """What a parameter is called on the command line."""
    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    return param.name.upper() if param is not None and param.name else "file"


class Command(click.Command):
    """A command that refuses to write over a file that it reads, under whatever name that file is given, and
    that answers as JSON where that is wanted."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.params += json_out.options()

    def invoke(self, ctx: click.Context) -> Any:
        """Check, then do it."""
        read = list(_paths(self, ctx, InputPath))
        for param, path in _paths(self, ctx, OutputPath):
            for _, other in read:
                if _same(path, other):
                    raise InputError(
                        f"{option_of(param)} {path}: is the file {other} that this command reads, and would "
                        "be lost. Give another name."
                    )
        keep_freed_memory()
        work = super().invoke
        if json_out.is_wanted(ctx):
            return json_out.answered(str(self.name), lambda: work(ctx))
        return work(ctx)


def _paths(command: click.Command, ctx: click.Context, kind: type) -> Iterator[tuple[click.Parameter, Path]]:
    """Parameters of a kind with every path that was given for them."""
    for param in command.params:
        value = ctx.params.get(param.name or "")
        if value is None:
            continue
        if isinstance(param.type, kind):
            for path in value if isinstance(value, tuple) else (value,):
                yield param, path
        elif isinstance(param.type, click.Tuple):
            for part, path in zip(param.type.types, value, strict=True):
                if isinstance(part, kind):
                    yield param, path


def _same(one: Path, other: Path) -> bool:
    with contextlib.suppress(OSError):
        return one.samefile(other)
    return False


def input_argument(name: str, **settings: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """An argument that names one file, or several, to be read."""
    return click.argument(name, type=InputPath(), **settings)
