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
from bedsim.sweep.plan import load_plan

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
