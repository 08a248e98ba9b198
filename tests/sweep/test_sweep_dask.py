"""Sweeps on Dask: a real scheduler and real workers on the loopback address, one of them killed."""

import os
import signal

import pytest
from plans import content, write_plan

from bedsim.errors import InputError
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, processes=True
    ) as made:
        yield made


def test_same_content_as_on_one_process_though_a_worker_is_killed(cluster, tmp_path):
    plan = load_plan(write_plan(tmp_path))
    run_sweep(plan, tmp_path / "here.h5", pool.here)
    assert cluster.scheduler_address.startswith("tcp://127.0.0.1:")
    killed = []

    def kill_one(done, total):
        if done and not killed:
            with distributed.Client(cluster.scheduler_address, set_as_default=False) as client:
                killed.extend(client.run(os.getpid).values())
            os.kill(killed[0], signal.SIGKILL)

    run_sweep(plan, tmp_path / "dask.h5", pool.dask(cluster.scheduler_address), kill_one)
    assert killed and content(tmp_path / "dask.h5") == content(tmp_path / "here.h5")


def test_a_fault_of_a_cell_comes_through_as_it_is(cluster, tmp_path, monkeypatch):
    from dataclasses import replace

    plan = load_plan(write_plan(tmp_path))
    cell = plan.cells[0]
    broken = replace(
        cell,
        lots=tuple(replace(lot, once_per_turn=None, grade=plan.cells[4].lots[0].grade) for lot in cell.lots),
    )
    with pytest.raises(InputError, match="once_per_turn"):
        run_sweep(replace(plan, cells=(broken,)), tmp_path / "out.h5", pool.dask(cluster.scheduler_address))


def test_no_scheduler_at_the_address(tmp_path, monkeypatch):
    monkeypatch.setattr(pool, "_SCHEDULER_PATIENCE", 1)
    plan = load_plan(write_plan(tmp_path))
    with pytest.raises(InputError, match=r"tcp://127.0.0.1:9: no scheduler answers there"):
        run_sweep(plan, tmp_path / "out.h5", pool.dask("tcp://127.0.0.1:9"))
