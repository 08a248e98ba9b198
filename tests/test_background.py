"""Work done by a process that branches off: found, told, raised, and done again where the branch is lost."""

import os
import signal
from functools import partial

import pytest

from bedsim import background
from bedsim.background import BackgroundTask, each
from bedsim.errors import InputError


@pytest.fixture(params=[True, False], ids=["two cores", "one core"])
def branches(request, monkeypatch):
    monkeypatch.setattr(background, "_can_branch", lambda: request.param)
    return request.param


def whole(channel):
    channel.progress(1)
    channel.progress(2)
    return os.getpid(), channel.hear()


def test_what_is_found_told_and_heard(branches):
    """The work sees what is told to it, we what it has done."""
    work, done = BackgroundTask(whole), []
    work.tell("a word")
    process, heard = work.result(done.append)
    assert heard == "a word"
    assert done == [1, 2]
    assert (process != os.getpid()) == branches


def test_a_fault_is_raised_here(branches):
    def work(channel):
        raise InputError("print.layers = -1: must be more")

    with pytest.raises(InputError, match="must be more"):
        BackgroundTask(work).result()


def test_a_branch_that_is_killed_loses_nothing(branches):
    """Its work is done again here, with what it had been told."""
    here = os.getpid()

    def work(channel):
        word = channel.hear()
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return word

    lost = BackgroundTask(work)
    lost.tell("again")
    assert lost.result() == "again"


def test_works_are_shared_and_come_back_in_order(branches):
    assert each([partial(pow, k, 2) for k in range(7)]) == [0, 1, 4, 9, 16, 25, 36]


def test_works_of_a_lost_branch_are_done_here(monkeypatch):
    monkeypatch.setattr(background, "_can_branch", lambda: True)
    here = os.getpid()

    def work(k):
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return k

    assert each([partial(work, k) for k in range(50)]) == list(range(50))


def test_workers_do_not_branch_off(monkeypatch):
    """They share the cores already."""
    monkeypatch.setattr(background.multiprocessing, "parent_process", lambda: object())
    assert not background._can_branch()


@pytest.mark.skipif(not hasattr(os, "sched_getaffinity"), reason="the system does not tell its cores")
def test_a_core_has_one_branch_and_is_free_once_it_has_ended(monkeypatch):
    monkeypatch.setattr(background.os, "sched_getaffinity", lambda process: {0, 1})
    work = BackgroundTask(lambda channel: channel.hear())
    assert not background._can_branch()
    work.tell("done")
    assert work.result() == "done"
    assert background._can_branch()
