"""How far a sweep is: within a task, and how long it will take."""

from dataclasses import replace

import pytest
from plans import MACHINE, write_plan

from bedsim.cli.sweep import seconds_left
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import order_of
from bedsim.sweep.tasks import Task, run_task


@pytest.mark.parametrize("engine", ["equilibrium", "deviations"])
def test_a_task_tells_how_far_it_is(tmp_path, engine):
    plan = load_plan(write_plan(tmp_path, machine=MACHINE.replace("layers = 40", "layers = 8")))
    order, told = replace(order_of(plan), engine=engine), []
    cell = replace(plan.cells[4], others=())
    run_task(Task(order=order, cells=(cell,), first=0, last=32), told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_time_left_is_a_guess_until_something_is_done():
    assert seconds_left(0, 1000, 0.5, 600) == 599.5
    assert seconds_left(0, 1000, 900, 600) == 450  # late, and nothing done yet: no promise of a second
    assert seconds_left(500, 1000, 100, 600) == 100
    assert seconds_left(10, 1000, 6, 600) == pytest.approx((594 + 594) / 2)  # half way to trust it
    assert seconds_left(1000, 1000, 100, 600) == 0
