"""A team of processes: tasks back by number, faults raised here, and nobody waits for one who is gone."""

import multiprocessing
import os
import signal
import threading
import time
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from bedsim.sweep import team


def nothing():
    """Begins a member."""


def square(x, told):
    told(0.5)
    if x < 0:
        raise ValueError("below zero")
    return x * x


def half_an_answer(marker, told):
    """Has its answer stop in the middle, as where a member is killed while it sends."""
    whole = Connection._send

    def half(self, data, write=os.write):
        whole(self, data[:4])
        Path(marker).touch()
        time.sleep(60)

    Connection._send = half
    return bytes(50_000)


def test_every_task_comes_back_by_its_number():
    found = dict(team.results({k: k for k in range(7)}, square, nothing, 2))
    assert found == {k: k * k for k in range(7)}
    assert not multiprocessing.active_children()


def slow(x, told):
    for share in (0.25, 0.5, 1.0):
        time.sleep(0.6)
        told(share)
    return x


def test_shares_come_between_results():
    found = [told for _, told in team.results({3: 7}, slow, nothing, 1)]
    assert found == [team.Underway(done=0.25), team.Underway(done=0.5), team.Underway(done=1.0), 7]


def test_a_fault_is_raised_here_with_where_it_was_and_ends_all():
    with pytest.raises(ValueError, match="below zero") as told:
        list(team.results({0: 1, 1: -1, 2: 2}, square, nothing, 1))
    assert "in square" in told.value.__notes__[0]
    assert not multiprocessing.active_children()


def test_a_member_killed_in_the_middle_of_its_answer_is_lost_and_nobody_waits(tmp_path):
    marker = tmp_path / "sending"

    def kill():
        while not marker.exists():
            time.sleep(0.02)
        os.kill(multiprocessing.active_children()[0].pid, signal.SIGKILL)

    threading.Thread(target=kill, daemon=True).start()
    found = team.results({5: str(marker)}, half_an_answer, nothing, 1)
    assert next(found) == (5, team.Lost())
    found.close()
    assert not multiprocessing.active_children()
