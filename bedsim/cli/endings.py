"""How a command ends when it is told to stop, or ends by a fault of its own."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import sys
import tempfile
import traceback
from collections.abc import Iterator
from types import FrameType
from typing import Any, TextIO

INTERRUPTED = 130  # 128 + SIGINT, as shells count
OWN_FAULT = 70  # internal software error; source: BSD sysexits.h


A_MOMENT = 0.01  # s


class StoppedError(KeyboardInterrupt):
    """The command was told to stop by `signal`."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number

    @property
    def exit_code(self) -> int:
        """128 and the signal's number, as shells count."""
        return 128 + self.number


@contextlib.contextmanager
def stoppable() -> Iterator[None]:
    """Within the block Ctrl-C, SIGTERM and the end of the terminal raise StoppedError; a second one ends the
    process at once.

    Where Python ignores exceptions (a finaliser, what runs at a fork) it is raised again a moment later.
    """
    named = [getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")]
    numbers = [n for n in named if n is not None and signal.getsignal(n) != signal.SIG_IGN]
    told: list[int] = []

    def stop(number: int, _: FrameType | None) -> None:
        if told:
            os._exit(128 + number)
        told.append(number)
        raise StoppedError(number)

    def again(_: int, __: FrameType | None) -> None:
        raise StoppedError(told[0])

    def ignored(what: Any) -> None:
        if isinstance(what.exc_value, StoppedError) and alarm is not None:
            signal.setitimer(signal.ITIMER_REAL, A_MOMENT)
        else:
            hook(what)

    alarm, hook = getattr(signal, "SIGALRM", None), sys.unraisablehook
    before = {}
    with contextlib.suppress(ValueError):  # signals belong to the main thread
        before = {number: signal.signal(number, stop) for number in numbers}
        if alarm is not None:
            before[alarm] = signal.signal(alarm, again)
    sys.unraisablehook = ignored
    try:
        yield
    finally:
        sys.unraisablehook = hook
        for number, handler in before.items():
            signal.signal(number, handler)


NO_NUMBER = re.compile(r"(?<![\w.\"'/-])(-?)(nan|inf)(?![\w.\"'])")
"""What Python prints for no number and for one without end."""
WHY = "unknown: these inputs leave it without a value; unlimited: they leave it without a bound."


class PlainStream:
    """A stream that shows control characters as escapes: names and titles come from files of anybody, and a
    terminal obeys what it is sent.  What is no number is called so."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self.is_speechless = False

    def write(self, text: str) -> int:
        """Write a text; line ends and tabs stay."""
        said, count = NO_NUMBER.subn(lambda m: "unknown" if m[2] == "nan" else m[1] + "unlimited", text)
        self.is_speechless |= count > 0
        return self._stream.write(plain(said))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def plain(text: str) -> str:
    """A text with its control characters, and those that turn the direction of writing, as escapes."""
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in "\n\t\xa0" else c.encode("unicode_escape").decode() for c in text
    )


@contextlib.contextmanager
def plain_output() -> Iterator[None]:
    """Within the block standard output is a PlainStream; where it had no number to show it says so below."""
    before, stream = sys.stdout, PlainStream(sys.stdout)
    sys.stdout = stream
    try:
        yield
        if stream.is_speechless:
            before.write(f"{WHY}\n")
    finally:
        sys.stdout = before


def own_fault(fault: BaseException) -> str:
    """One sentence of a fault that nobody foresaw, and where the details lie."""
    words = f"bedsim ended by a fault of its own ({type(fault).__name__})"
    try:
        handle, name = tempfile.mkstemp(prefix="bedsim-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("".join(traceback.format_exception(fault)))
    except OSError:
        return f"{words}; its details could not be written."
    return f"{words}; the details are in {name}."
