"""A sweep on a scheduler and workers started as the README says: one is killed, one comes, all is kept."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time

import pytest
from plans import content, write_plan

import bedsim
from bedsim.errors import InputError
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

distributed = pytest.importorskip("distributed")
PATIENCE = 120


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


@contextlib.contextmanager
def started(folder):
    """Starts `dask WORDS` and ends what is left by its own number."""
    running = []

    def start(*words):
        command = [sys.executable, "-m", "dask", *words, "--no-dashboard"]
        with (folder / f"log-{len(running)}").open("w") as log:
            running.append(subprocess.Popen(command, stdout=log, stderr=log, start_new_session=True))
        return running[-1]

    try:
        yield start
    finally:
        for process in running:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@pytest.mark.long
def test_one_worker_is_killed_and_one_comes(tmp_path):
    plan = load_plan(write_plan(tmp_path))
    bedsim.sweep(plan, tmp_path / "here.h5")
    address = f"tcp://127.0.0.1:{free_port()}"
    with started(tmp_path) as start:
        start("scheduler", "--host", "127.0.0.1", "--port", address.rpartition(":")[2])
        workers = [start("worker", address, "--nthreads", "1", "--no-nanny") for _ in range(2)]
        with distributed.Client(address, timeout=PATIENCE, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=PATIENCE)
            begun = []

            def disturb(done, total):
                if done and not begun:
                    begun.append(time.monotonic())
                    workers[0].kill()
                    workers.append(start("worker", address, "--nthreads", "1", "--no-nanny"))

            found = bedsim.sweep(plan, tmp_path / "there.h5", workers=client, progress=disturb)
            assert begun and found.cells
            client.wait_for_workers(2, timeout=PATIENCE)
    assert content(tmp_path / "there.h5") == content(tmp_path / "here.h5")


@pytest.mark.long
def test_an_adaptive_cluster_that_is_empty_starts_workers_for_the_sweep(tmp_path, monkeypatch):
    """No worker within the patience that a bare scheduler gets; the tasks themselves bring them."""
    monkeypatch.setattr(pool, "_WORKERS_PATIENCE", 0.01)
    plan, told = load_plan(write_plan(tmp_path)), []
    run_sweep(plan, tmp_path / "here.h5", pool.here)
    quiet = {"host": "127.0.0.1", "dashboard_address": None, "threads_per_worker": 1}
    with distributed.LocalCluster(n_workers=0, **quiet) as cluster:
        cluster.adapt(minimum=0, maximum=1, interval="100ms")
        assert not cluster.workers
        run_sweep(plan, tmp_path / "there.h5", pool.dask(cluster.scheduler_address, told.append))
    assert told == ["No worker yet: waiting up to 10 min for the cluster to start one."]
    assert content(tmp_path / "there.h5") == content(tmp_path / "here.h5")


def test_a_cluster_that_starts_nothing_and_a_bare_scheduler_are_told_apart(tmp_path, monkeypatch):
    monkeypatch.setattr(pool, "_WORKERS_PATIENCE", 0.5)
    monkeypatch.setattr(pool, "_CLUSTER_PATIENCE", 0.6)
    plan = load_plan(write_plan(tmp_path))
    quiet = {"host": "127.0.0.1", "dashboard_address": None}
    with (
        distributed.LocalCluster(n_workers=0, **quiet) as cluster,
        pytest.raises(InputError, match=r"its cluster started no worker within 0\.01 min"),
    ):
        run_sweep(plan, tmp_path / "out.h5", pool.dask(cluster.scheduler_address))
    address = f"tcp://127.0.0.1:{free_port()}"
    with started(tmp_path) as start:
        start("scheduler", "--host", "127.0.0.1", "--port", address.rpartition(":")[2])
        monkeypatch.setattr(pool, "_SCHEDULER_PATIENCE", PATIENCE)
        with pytest.raises(InputError, match=r"has no workers\. Start one: dask worker"):
            run_sweep(plan, tmp_path / "out.h5", pool.dask(address))
    assert not (tmp_path / "out.h5").exists()
