"""Who does the tasks: this process, several of this machine, or the workers of a Dask scheduler.

All give the same parts; only the order differs.  Numerical libraries keep to one thread in every worker:
several workers use the cores better, and sums in another order would differ in the last digit.
"""

from __future__ import annotations

import contextlib
import functools
import pickle
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from bedsim import registry
from bedsim.errors import BedsimError, InputError, SolverError
from bedsim.identity import identity
from bedsim.results.sweep import Part
from bedsim.scenario.outside_kinds import load_as
from bedsim.sweep import team
from bedsim.sweep.tasks import Piece, run_task, run_task_of

Parts = tuple[Part, ...]
Work = Callable[[Sequence[Piece]], Iterator[Parts]]
Told = Callable[[str], None]
"""Is given a sentence for the user while the work goes on."""
Heard = Callable[[float], None]
"""Is told, now and then, how many printers the unfinished tasks have done."""

_LOST_WORKERS = 3  # that may end before the sweep gives up
_SCHEDULER_PATIENCE = 10  # s
_WORKERS_PATIENCE = 8  # s
_CLUSTER_PATIENCE = 600  # s that a cluster has which starts workers when there is work: queues take minutes


def _quiet(text: str) -> None:
    """Tell nobody."""


def here(tasks: Sequence[Piece]) -> Iterator[Parts]:
    """Do the tasks in this process, with as many threads as its numerical library happens to use."""
    for task in tasks:
        yield run_task(task)


def local(workers: int, heard: Heard = lambda printers: None) -> Work:
    """Do the tasks on `workers` processes of this machine; `heard` is told how far the unfinished ones are.

    A worker that is killed costs only its task, which another one does.  Raises SolverError if that happens
    again and again, and what a task raises.
    """

    def work(tasks: Sequence[Piece]) -> Iterator[Parts]:
        lost, shares = 0, dict.fromkeys(range(len(tasks)), 0.0)
        begin = functools.partial(load_as, registry.outside_files())  # of the kinds that tasks name
        for number, found in team.results(dict(enumerate(tasks)), run_task, begin, workers):
            if isinstance(found, team.Underway):
                shares[number] = found.done
                heard(sum(task.printers * share for task, share in zip(tasks, shares.values(), strict=True)))
                continue
            shares[number] = 0.0  # it is done and counted, or is done again
            if not isinstance(found, team.Lost):
                yield found
                continue
            lost += 1
            if lost == _LOST_WORKERS:
                raise SolverError(
                    "worker processes keep dying, perhaps for want of memory. "
                    "Finished cells are kept; try fewer --workers."
                )

    return work


def dask(address: str, told: Told = _quiet) -> Work:
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
            yield from on_client(client, told)(tasks)

    return work


def on_client(client: Any, told: Told = _quiet) -> Work:
    """Do the tasks on the workers of a Dask client, which stays open; otherwise as `dask`.

    An adaptive cluster that is empty gets its workers because of the tasks; `told` hears of the waiting.
    """
    import distributed

    def work(tasks: Sequence[Piece]) -> Iterator[Parts]:
        sealed = [pickle.dumps(task) for task in tasks]  # opened by a worker that is the same program
        futures = client.map(run_task_of, [identity()] * len(tasks), sealed, pure=False)
        try:
            _await_workers(client, told)
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
    return client


def _await_workers(client: Any, told: Told) -> None:
    """Wait for the first worker: not long at a scheduler by itself, longer where a cluster starts workers
    once it sees tasks.  Raises InputError if none comes."""
    address = client.scheduler.address
    if _comes(client, _WORKERS_PATIENCE):
        return
    if not client.run_on_scheduler(_asks_for_managed()):
        raise InputError(
            f"--scheduler = {address}: has no workers. Start one: dask worker {address} --nthreads 1."
        )
    told(f"No worker yet: waiting up to {_CLUSTER_PATIENCE / 60:g} min for the cluster to start one.")
    if not _comes(client, _CLUSTER_PATIENCE):
        raise InputError(
            f"--scheduler = {address}: its cluster started no worker within {_CLUSTER_PATIENCE / 60:g} min. "
            "Look at its limits (adapt(maximum=...)) and its queue, or give it a worker."
        )


def _comes(client: Any, within: float) -> bool:
    try:
        client.wait_for_workers(1, timeout=within)
    except TimeoutError:
        return False
    return True


def _asks_for_managed() -> Callable[[Any], bool]:
    """A question to the scheduler: does a cluster object (LocalCluster, those of job queues and of clouds)
    follow its workers?  Made here so that it travels whole: the scheduler need not have bedsim."""

    def is_managed(dask_scheduler: Any) -> bool:
        return any(str(name).startswith("worker-status") for name in dask_scheduler.plugins)

    return is_managed


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
