"""One disturbance put to the tests: a forked child carries the disturbed code and runs what reaches it.

Two ways.  A disturbance within a function is put into a child of a process that has imported the house and
collected the tests: every function made from the old code gets the new one.  A disturbance that acts at
import (a constant, a table, a default) is put into a child that has imported nothing of the house yet.
"""

from __future__ import annotations

import ast
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import TYPE_CHECKING

from disturb import Disturbance, disturbed

if TYPE_CHECKING:
    import pytest

ROOT = Path(__file__).parents[2]
QUIET = ("-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:warnings", "--capture=sys")
USED = (
    *("click", "h5py", "hypothesis", "matplotlib.pyplot", "pydantic", "pytest", "rich.console"),
    *(
        f"scipy.{part}"
        for part in ("integrate", "interpolate", "linalg", "optimize", "signal", "special", "stats")
    ),
)


class _Disturbed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module disturbed code in place of its own."""

    def __init__(self, name: str, file: Path, code: CodeType) -> None:
        self.name, self.file, self.code = name, file, code

    def find_spec(
        self, fullname: str, path: object, target: object = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        package = self.file.name == "__init__.py"
        return importlib.util.spec_from_file_location(
            fullname,
            self.file,
            loader=self,
            submodule_search_locations=[str(self.file.parent)] if package else None,
        )

    def exec_module(self, module: ModuleType) -> None:
        exec(self.code, module.__dict__)


def preload() -> None:
    """Import all that bedsim and its tests import, but nothing of bedsim: children begin from there."""
    for name in USED:
        importlib.import_module(name)


def at_import(what: Disturbance) -> bool:
    """Whether a disturbance acts when its module is imported: it stands outside of every function's body."""
    tree = ast.parse((ROOT / what.file).read_text("utf-8"))
    node = next(node for number, node in enumerate(ast.walk(tree)) if number == what.node)
    functions = (inner for inner in ast.walk(tree) if isinstance(inner, ast.FunctionDef | ast.Lambda))
    return not any(node in _body(function) for function in functions)


def _body(function: ast.FunctionDef | ast.Lambda) -> Iterator[ast.AST]:
    parts = function.body if isinstance(function, ast.FunctionDef) else [function.body]
    for part in parts:
        yield from ast.walk(part)


def begin(work: Callable[[], int]) -> int:
    """Begin a trial in a child of its own; its process number. It ends with 0 where all tests pass."""
    child = os.fork()
    if child:
        return child
    try:
        os.setpgid(0, 0)
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        os._exit(work())
    except BaseException:
        os._exit(70)


def anew(what: Disturbance, tests: Sequence[str]) -> int:
    """The trial in a process that has nothing of the house yet."""
    import pytest

    file, code = _code(what)
    name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    sys.meta_path.insert(0, _Disturbed(name, file, code))
    sys.path.insert(0, str(ROOT))
    os.chdir(ROOT)
    return int(pytest.main(["-x", *QUIET, *tests]))


def in_place(what: Disturbance, items: Sequence[pytest.Item]) -> int:
    """The trial in a process whose tests are collected: the code of functions is exchanged."""
    file, code = _code(what)
    new = {(part.co_qualname, part.co_firstlineno): part for part in _functions(code)}
    for thing in gc.get_objects():
        if isinstance(thing, FunctionType) and thing.__code__.co_filename == str(file):
            thing.__code__ = new[thing.__code__.co_qualname, thing.__code__.co_firstlineno]
    for item, following in zip(items, [*items[1:], None], strict=True):
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if item.session.testsfailed:
            return 1
    return 0


def _code(what: Disturbance) -> tuple[Path, CodeType]:
    file = ROOT / what.file
    return file, compile(disturbed(file.read_text("utf-8"), what), str(file), "exec")


def _functions(code: CodeType) -> Iterator[CodeType]:
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield part
            yield from _functions(part)


def wait(running: dict[int, tuple[Disturbance, float]], limit: float) -> list[tuple[Disturbance, bool]]:
    """Those of the running trials that have ended, each with whether it was caught; one that runs longer than
    `limit` s is ended, and counts as caught: it hangs."""
    ended = []
    for child, (what, begun) in list(running.items()):
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            ended.append((what, os.waitstatus_to_exitcode(status) != 0))
        elif time.monotonic() - begun > limit:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            ended.append((what, True))
        else:
            continue
        del running[child]
    return ended
