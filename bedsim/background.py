"""Background tasks in a forked child process, where the system forks and has a second core.

A child begins with a copy of this process's memory, so no arguments are sent to it; its result is pickled
back. Without fork, or on a single core, the task runs here when its result is asked for.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, Generic, TypeVar

T = TypeVar("T")
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """A task's side of the conversation with its parent: reports progress, waits for a value (`hear`)."""

    progress: Progress
    hear: Callable[[], Any]


class BackgroundTask(Generic[T]):
    """A task that has begun in the background; it prints nothing."""

    def __init__(self, work: Callable[[Channel], T]) -> None:
        self._work = work
        self._told: Any = None
        self._channel: Connection | None = None
        self._branch: BaseProcess | None = None
        if _can_branch():
            with contextlib.suppress(OSError):  # no room for another process
                self._channel, self._branch = _begun(work)

    def tell(self, value: Any) -> None:
        """Tell the work what it waits for."""
        self._told = value
        if self._channel is not None:
            with contextlib.suppress(BrokenPipeError):  # see `result`
                self._channel.send(value)

    def result(self, progress: Progress = lambda done: None) -> T:
        """Wait for what the work found; `progress` is told how far it is.  Raises what the work raised.

        A branch that was killed loses nothing: its work is done again here.
        """
        while self._channel is not None:
            try:
                kind, value = self._channel.recv()
            except (EOFError, ConnectionResetError):
                break
            if kind == "fault":
                raise value
            if kind == "found":
                found: T = value
                if self._branch is not None:
                    self._branch.join()  # its core is free from now on
                return found
            progress(value)
        return self._work(Channel(progress=progress, hear=lambda: self._told))


class Shared(Generic[T]):
    """Tasks that a child process has begun with: whoever asks for the results takes part from then on."""

    def __init__(self, works: Sequence[Callable[[], T]]) -> None:
        self._works, self._task = works, None
        self._results: list[T] | None = None
        if len(works) > 1 and _can_branch():
            with contextlib.suppress(OSError):  # no room for what both count in
                self._taken = multiprocessing.Value("i", 0)
                self._task = BackgroundTask(lambda channel: self._share())

    def results(self, progress: Progress = lambda done: None) -> list[T]:
        """Results in order.  `progress` is told how many have been begun.  Raises what they raise."""
        if self._results is None:
            self._results = self._gathered(progress)
        return self._results

    def _gathered(self, progress: Progress) -> list[T]:
        if self._task is None:
            return [_told(work, k, progress) for k, work in enumerate(self._works, start=1)]
        found = self._share(progress)
        found |= self._task.result()
        return [found[k] if k in found else work() for k, work in enumerate(self._works)]

    def _share(self, progress: Progress = lambda done: None) -> dict[int, T]:
        """What is done here: one after the other of those that nobody has begun."""
        found: dict[int, T] = {}
        while True:
            with self._taken.get_lock():
                k = self._taken.value
                self._taken.value += 1
            if k >= len(self._works):
                return found
            found[k] = self._works[k]()
            progress(min(self._taken.value, len(self._works)))


def each(works: Sequence[Callable[[], T]], progress: Progress = lambda done: None) -> list[T]:
    """Results of several tasks, shared with one child process: whoever is free takes the next.  `progress` is
    told how many have been begun.  Raises what they raise."""
    return Shared(works).results(progress)


def _told(work: Callable[[], T], number: int, progress: Progress) -> T:
    found = work()
    progress(number)
    return found


def _can_branch() -> bool:
    """Only the first process branches off, and only onto cores that none of its branches has."""
    if not hasattr(os, "sched_getaffinity") or "fork" not in multiprocessing.get_all_start_methods():
        return False
    first = multiprocessing.parent_process() is None and threading.current_thread() is threading.main_thread()
    return first and len(os.sched_getaffinity(0)) > 1 + len(multiprocessing.active_children())


def _begun(work: Callable[[Channel], Any]) -> tuple[Connection, BaseProcess]:
    """The parent's end of a pipe to a child that does the work, and the child."""
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe()
    branch = context.Process(target=_branch, args=(work, theirs, ours), daemon=True)
    branch.start()
    theirs.close()  # so that the pipe closes when the child ends
    return ours, branch


def _branch(work: Callable[[Channel], Any], channel: Connection, others: Connection) -> None:
    others.close()
    for name in ("SIGINT", "SIGHUP"):  # the parent is told too, and ends us
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    end_with_parent()
    try:
        found = "found", work(Channel(progress=lambda done: channel.send(("done", done)), hear=channel.recv))
    except (EOFError, BrokenPipeError):  # nobody is left to work for
        return
    except Exception as fault:
        found = "fault", fault
    with contextlib.suppress(BrokenPipeError):  # nobody is left to tell
        channel.send(found)


@contextlib.contextmanager
def deaf_children() -> Iterator[None]:
    """Processes that start within the block never hear Ctrl-C or the end of the terminal: their parent does,
    and ends them; SIGTERM they hear from `end_with_parent` on.  What arrives meanwhile is heard at the end of
    the block."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker  # not on every system

    # started with the first process, where Python has its caller hear again, and so the children
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    try:
        told = (signal.SIGINT, signal.SIGHUP, signal.SIGTERM)
        signal.pthread_sigmask(signal.SIG_BLOCK, told)  # raises what came before
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def end_with_parent() -> None:
    """Have this process end when the one that started it is killed, and hear SIGTERM."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM,))
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)
