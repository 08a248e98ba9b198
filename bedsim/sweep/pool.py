"""Who does the tasks: this process, several of this machine, or the workers of a Dask scheduler.

All give the same parts; only the order differs.  Numerical libraries keep to one thread in every worker:
several workers use the cores better, and sums in another order would differ in the last digit.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from bedsim import registry
from bedsim.background import deaf_children, end_with_parent
from bedsim.errors import BedsimError, InputError, SolverError
from bedsim.identity import identity
from bedsim.results.sweep import Part
from bedsim.scenario.outside_kinds import load_as
from bedsim.sweep.tasks import Piece, run_task, run_task_of
from bedsim.threads import ONE_EACH

Parts = tuple[Part, ...]
Work = Callable[[Sequence[Piece]], Iterator[Parts]]
Heard = Callable[[float], None]

BEAT = 0.5  # s
_LOST_WORKERS = 3  # pools that may break before the sweep gives up
_SCHEDULER_PATIENCE = 10  # s
_WORKERS_PATIENCE = 8  # s


def here(tasks: Sequence[Piece]) -> Iterator[Parts]:
    """Do the tasks in this process, with as many threads as its numerical library happens to use."""
    for task in tasks:
        yield run_task(task)


def local(workers: int, heard: Heard = lambda printers: None) -> Work:
    """Do the tasks on `workers` processes of this machine; `heard` is told, twice a second, how many printers
    the unfinished ones have done.

    A worker that is killed costs only its task: the pool is made anew and goes on.  Raises SolverError if
    that happens again and again, and what a task raises.
    """

    def work(tasks: Sequence[Piece]) -> Iterator[Parts]:
        left = dict(enumerate(tasks))
        for _ in range(_LOST_WORKERS):
            if not left:
                return
            try:
                yield from _pooled(left, workers, heard)
            except BrokenProcessPool:
                continue
        if left:
            raise SolverError(
                "worker processes ended by themselves again and again, for want of memory perhaps. "
                "Finished cells are kept; try fewer --workers."
            )

    return work


def _pooled(left: dict[int, Piece], workers: int, heard: Heard) -> Iterator[Parts]:
    """Yield parts, taking finished tasks out of `left` after they have been taken over."""
    spawn = multiprocessing.get_context("spawn")
    before = set(multiprocessing.active_children())
    shares = spawn.RawArray("d", max(left) + 1)
    with deaf_children():
        pool = ProcessPoolExecutor(
            min(workers, len(left)),
            mp_context=spawn,
            initializer=_begin,
            initargs=(registry.outside_files(), shares),
        )
    try:
        with _one_thread(), deaf_children():
            futures = {pool.submit(_run_numbered, k, task): k for k, task in left.items()}
        while futures:
            for future in wait(futures, timeout=BEAT, return_when=FIRST_COMPLETED).done:
                parts, k = future.result(), futures.pop(future)
                yield parts
                del left[k]
            heard(sum(task.printers * shares[k] for k, task in left.items()))
    except BrokenProcessPool:
        raise
    except BaseException:  # interrupted, or a task failed: what the others are doing is not waited for
        for child in set(multiprocessing.active_children()) - before:
            child.kill()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


_SHARES: list[Any] = []
"""Of a worker: where it writes what share of every task is done."""


def _begin(files: Sequence[registry.OutsideFile], shares: Any) -> None:
    """What a worker does first: its tasks name kinds that come from these files."""
    end_with_parent()
    load_as(files)
    _SHARES[:] = [shares]


def _run_numbered(number: int, task: Piece) -> Parts:
    def told(share: float) -> None:
        _SHARES[0][number] = share

    return run_task(task, told)


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


def dask(address: str) -> Work:
    """Do the tasks on the workers of the scheduler at `address`, tcp://host:port.

    A worker that dies is replaced by the others.  Raises InputError if the extra is not installed or nothing
    answers at the address, SolverError if a task takes one worker after the other down.
    """
    try:
        import distributed
    except ImportError:
        raise InputError("--scheduler: needs Dask: pip install 'bedsim[cluster]'.") from None

    def work(tasks: Sequence[Piece]) -> Iterator[Parts]:
        with _client(distributed, address) as client:
            yield from on_client(client)(tasks)

    return work


def on_client(client: Any) -> Work:
    """Do the tasks on the workers of a Dask client, which stays open; otherwise as `dask`."""
    import distributed

    def work(tasks: Sequence[Piece]) -> Iterator[Parts]:
        sealed = [pickle.dumps(task) for task in tasks]  # opened by a worker that is the same program
        futures = client.map(run_task_of, [identity()] * len(tasks), sealed, pure=False)
        try:
            for future in distributed.as_completed(futures, loop=client.loop):
                yield _result(distributed, future, client.scheduler.address)
                future.release()
        finally:
            with contextlib.suppress(OSError, TimeoutError, RuntimeError):  # the scheduler may be gone
                client.cancel(futures, force=True)

    return work


def _client(distributed: Any, address: str) -> Any:
    try:
        client = distributed.Client(address, timeout=_SCHEDULER_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as fault:
        raise InputError(
            f"--scheduler = {address}: no scheduler answers there ({type(fault).__name__}). "
            "For example tcp://127.0.0.1:8786."
        ) from None
    try:
        client.wait_for_workers(1, timeout=_WORKERS_PATIENCE)
    except TimeoutError:
        client.close()
        raise InputError(
            f"--scheduler = {address}: has no workers. Start one: dask worker {address} --nthreads 1."
        ) from None
    return client


def _result(distributed: Any, future: Any, address: str) -> Parts:
    from concurrent.futures import CancelledError

    try:
        parts: Parts = future.result()
    except BedsimError:
        raise
    except distributed.KilledWorker as fault:
        raise SolverError(
            f"a cell took one worker after the other down: {fault}. Finished cells are kept."
        ) from None
    except (ImportError, AttributeError) as fault:
        raise InputError(
            f"--scheduler: the workers cannot do this work ({fault}). Install the same bedsim there."
        ) from None
    except (CancelledError, OSError, TimeoutError) as fault:
        raise SolverError(
            f"--scheduler = {address}: the scheduler went away ({type(fault).__name__}). Finished cells are "
            "kept: start it again and give the same command."
        ) from None
    return parts
