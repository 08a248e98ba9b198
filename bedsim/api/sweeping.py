"""A sweep from Python: in this process, in several, or on a cluster that the program has already."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bedsim.api.progress import notebook_bar
from bedsim.errors import InputError
from bedsim.results.sweep import SweepResult
from bedsim.sweep import pool
from bedsim.sweep.plan import Plan, load_plan
from bedsim.sweep.run import run_sweep

if TYPE_CHECKING:
    from distributed import Client

Progress = Callable[[int, int], None]


def sweep(
    plan: str | Path | Plan,
    output: str | Path | None = None,
    *,
    workers: int | str | Client = 1,
    progress: Progress | None = None,
) -> SweepResult:
    """Draw many virtual printers for each cell of a plan.

    `workers`: a number of processes (more than one needs the usual `if __name__ == "__main__":` in a script),
    a Dask client, or the address of a scheduler.  With `output` (.h5) finished parts are kept, and the same
    call goes on where it stopped; without, nothing is written.  `progress(done, total)` is told printers; in
    a notebook a bar is shown where none is given.  Raises a BedsimError with a finished sentence.
    """
    found = plan if isinstance(plan, Plan) else load_plan(plan)
    told = notebook_bar("printers") if progress is None else progress
    with tempfile.TemporaryDirectory(prefix="bedsim-sweep-") as folder:
        target = Path(folder) / "sweep.h5" if output is None else Path(output)
        return run_sweep(found, target, _work(workers), told)


def _work(workers: Any) -> pool.Work:
    if isinstance(workers, int) and not isinstance(workers, bool):
        if workers < 1:
            raise InputError(f"workers = {workers}: must be at least 1.")
        return pool.here if workers == 1 else pool.local(workers)
    if isinstance(workers, str):
        return pool.dask(workers)
    if hasattr(workers, "map") and hasattr(workers, "scheduler"):
        return pool.on_client(workers)
    raise InputError(
        f"workers = {workers!r}: must be a number of processes, a Dask client or the address of a scheduler."
    )
