"""One disturbance put to the tests: a forked child imports the disturbed module and runs what reaches it."""

from __future__ import annotations

import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from types import CodeType, ModuleType

from disturb import Disturbance, disturbed

ROOT = Path(__file__).parents[2]
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


def start(what: Disturbance, tests: Sequence[str]) -> int:
    """Begin a trial in a child of its own; its process number. It ends with 0 where all tests pass."""
    child = os.fork()
    if child:
        return child
    try:
        os.setsid()
        sink = os.open(os.devnull, os.O_WRONLY)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        os._exit(_trial(what, tests))
    except BaseException:
        os._exit(70)


def _trial(what: Disturbance, tests: Sequence[str]) -> int:
    import pytest

    file = ROOT / what.file
    code = compile(disturbed(file.read_text("utf-8"), what), str(file), "exec")
    name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    sys.meta_path.insert(0, _Disturbed(name, file, code))
    sys.path.insert(0, str(ROOT))
    os.chdir(ROOT)
    return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *tests]))


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
