"""A team of processes of this machine: each takes a task, gives its result back, takes the next.

Every member has a pipe of its own, whose other end nobody else holds, and this process waits for all of them
in its one thread: a member that is killed in the middle of an answer ends its pipe, and no one waits for the
rest of it.  (An executor's shared queue does: its thread would wait for ever, and the command with it.)
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import time
import traceback
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from bedsim.background import deaf_children, end_with_parent
from bedsim.errors import BedsimError
from bedsim.threads import ONE_EACH

T = TypeVar("T")
R = TypeVar("R")
Begin = Callable[[], None]
Told = Callable[[float], None]
BEAT = 0.5  # s


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """A member ended by itself, or was ended, at its task, which is to be done again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Underway:
    """A task is `done` to this share, 0 to 1, and goes on."""

    done: float


@dataclass(slots=True)
class _Member:
    """A process, our end of its pipe and its own, and the number of the task it has."""

    process: BaseProcess
    channel: Connection
    theirs: Connection
    task: int = -1


def results(
    tasks: Mapping[int, T], work: Callable[[T, Told], R], begin: Begin, size: int
) -> Iterator[tuple[int, R | Lost | Underway]]:
    """Results of `work` on the tasks by their numbers, as they come, from up to `size` processes that do
    `begin` first; both are found by name there.  Work tells what share of it is done: between results that
    comes too, twice a second at most.  Raises what a task raises.

    Whoever stops asking, or is stopped, ends all members; what they are doing is not waited for.
    """
    left = list(tasks)
    members: list[_Member] = []
    try:
        while left or members:
            while left and len(members) < size:
                members.append(_member(begin, work))
                _start(members[-1])
                _give(members[-1], left, tasks)
            for member in _heard(members):
                number, found = member.task, _answer(member)
                if isinstance(found, Underway):
                    yield number, found
                    continue
                if isinstance(found, Lost):
                    left.insert(0, number)
                if left and not isinstance(found, Lost):
                    _give(member, left, tasks)
                else:
                    _end([member])
                    members.remove(member)
                yield number, found
    finally:
        _end(members)


def _member(begin: Begin, work: Callable[[Any, Told], Any]) -> _Member:
    """One that has not started."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, begin, work), daemon=True)
    return _Member(process, ours, theirs)


def _start(member: _Member) -> None:
    """Start one that `_end` knows already: whoever is told to stop meanwhile hears it afterwards."""
    with _one_thread(), deaf_children():
        member.process.start()
        member.theirs.close()  # so that the pipe ends with the member


def _heard(members: list[_Member]) -> list[_Member]:
    """Members that have something to say; waits for the first."""
    ready = wait([member.channel for member in members])
    return [member for member in members if member.channel in ready]


def _give(member: _Member, left: list[int], tasks: Mapping[int, Any]) -> None:
    member.task = left.pop(0)
    with contextlib.suppress(OSError):  # it is gone, which is heard when its answer is asked for
        member.channel.send_bytes(pickle.dumps(tasks[member.task]))


def _answer(member: _Member) -> Any:
    try:
        kind, value = member.channel.recv()
    except (EOFError, OSError):
        return Lost()
    if kind == "fault":
        raise value
    return value


def _end(members: list[_Member]) -> None:
    started = [member for member in members if member.process.pid is not None]
    for member in started:
        member.process.kill()
    for member in started:
        member.process.join()
    for member in members:
        member.channel.close()


def _serve(channel: Connection, begin: Begin, work: Callable[[Any, Told], Any]) -> None:
    """What a member does until its pipe ends.  A task is opened after `begin`: it may be made of what that
    brings."""
    end_with_parent()
    begun, last = False, time.monotonic()

    def told(share: float) -> None:
        nonlocal last
        if time.monotonic() - last > BEAT:
            last = time.monotonic()
            channel.send(("found", Underway(done=share)))

    while True:
        try:
            sealed = channel.recv_bytes()
        except (EOFError, OSError):  # nobody is left to work for
            return
        try:
            if not begun:
                begin()
                begun = True
            found = "found", work(pickle.loads(sealed), told)
        except Exception as fault:
            if not isinstance(fault, BedsimError):
                fault.add_note("In a worker process:\n" + traceback.format_exc())
            found = "fault", fault
        with contextlib.suppress(OSError):  # nobody is left to tell
            channel.send(found)


@contextlib.contextmanager
def _one_thread() -> Iterator[None]:
    """Spawned processes read these when they import their numerical library."""
    before = {name: os.environ.get(name) for name in ONE_EACH}
    os.environ.update(ONE_EACH)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
