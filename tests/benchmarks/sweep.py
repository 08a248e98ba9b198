"""How fast sweeps are: prints a table with machine and date.  Run: python tests/benchmarks/sweep.py [--quick]
[--json FILE]

Wall time depends on what else runs; processor time of the workers is printed beside it.
"""

from __future__ import annotations

import datetime
import json
import os
import platform
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from bedsim.results.sweep_store import read_sweep
from bedsim.sweep import pool
from bedsim.sweep.plan import Plan, load_plan
from bedsim.sweep.run import run_sweep

MACHINE = """
title = "Benchmark"
bed = {size_x_mm = 300, size_y_mm = 300, mass_kg = 3.0}
print = {layers = LAYERS, layer_mm = 0.2}
screw = {kind = "rolled_ball", diameter_mm = 16, lead_mm = 5, length_mm = 420, ends = "fixed-supported"}
guide = {kind = "profile_rail"}
frame = {radial_n_per_um = 1.0, tangential_n_per_um = 1.0}
motor = {holding_torque_n_m = 0.45}
[[corner]]
name = "left"
x_mm = -190
y_mm = -105
[[corner]]
name = "right"
x_mm = 190
y_mm = -105
[[corner]]
name = "back"
x_mm = 0
y_mm = 190
"""
PLAN = """
title = "Benchmark"
scenario = "machine.toml"
members = MEMBERS
engine = "ENGINE"
target = {lateral_pv_um = 10, height_pv_um = 60}
machine_doubt = {machines = DRAWN}
lot = {once_per_turn_rms_um = {low = 4, likely = 8, high = 16}, thread_run_out_um = 100}
[[axis]]
key = "grade"
values = [GRADES]
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
"""
SIX = '"C1", "C3", "C5", "C7", "ISO 5", "ISO 7"'


def plan_of(
    folder: Path,
    layers: int,
    members: int,
    grades: str = SIX,
    engine: str = "equilibrium",
    machines: int = 1,
) -> Plan:
    """A plan of the benchmark's machine, drawn so often from what is not known of it; 1: the likely one."""
    (folder / "machine.toml").write_text(MACHINE.replace("LAYERS", str(layers)), encoding="utf-8")
    text = PLAN.replace("MEMBERS", str(members)).replace("GRADES", grades).replace("ENGINE", engine)
    text = text.replace("DRAWN", str(machines))
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return load_plan(folder / "plan.toml")


def timed(plan: Plan, folder: Path, work: pool.Work) -> tuple[float, float]:
    """Wall time and processor time of the children, s."""
    target = folder / "out.h5"
    target.unlink(missing_ok=True)
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    run_sweep(plan, target, work)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def row(what: str, printers: int, layers: int, wall: float, busy: float, more: str = "") -> None:
    """One line of the table."""
    print(
        f"{what:<52} {printers:>8} {layers:>7} {wall:>8.1f} {busy:>8.1f} {printers / wall:>11.1f}  {more}",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    quick = "--quick" in sys.argv
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"{platform.machine()}, {os.cpu_count()} cores{load}, {datetime.date.today()}")
    head = f"{'':<52} {'printers':>8} {'layers':>7} {'wall s':>8} {'cpu s':>8} {'printers/s':>11}"
    print(head)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        members, layers = (128, 300) if quick else (1000, 1500)
        big = plan_of(folder, layers, members)
        wall, busy = timed(big, folder, pool.local(2))
        largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        row(
            "6 grades x 2 joints, second interval, 2 processes",
            12 * members,
            layers,
            wall,
            busy,
            f"{largest:.0f} MB each",
        )
        plain = replace(big, cells=tuple(replace(c, others=()) for c in big.cells))
        wall, busy = timed(plain, folder, pool.local(2))
        row("the same without the second interval", 12 * members, layers, wall, busy)
        some = plan_of(folder, 600, 512, '"C3", "C5"')
        walls = {}
        for workers in (1, 2):
            walls[workers], busy = timed(some, folder, pool.local(workers))
            more = "" if workers == 1 else f"x {walls[1] / walls[2]:.2f}"
            row(f"2 grades x 2 joints, processes: {workers}", 2048, 600, walls[workers], busy, more)
        _dask_row(some, folder, walls[2])
        slow = plan_of(folder, 60, 16, '"C5", "C7"', "propagator")
        slow = replace(slow, cells=tuple(replace(c, others=()) for c in slow.cells))
        wall, busy = timed(slow, folder, pool.local(2))
        row(
            "friction and vibration (propagator), 2 processes",
            64,
            60,
            wall,
            busy,
            f"{wall / 64 / 60 * 1e3:.2f} ms per layer",
        )
        found = friction(folder, *((64, 20, 4) if quick else (200, 300, 32)))
    if "--json" in sys.argv:
        Path(sys.argv[sys.argv.index("--json") + 1]).write_text(json.dumps(found, indent=2) + "\n")


def friction(folder: Path, members: int, layers: int, machines: int) -> dict[str, float]:
    """Eight cells with friction (deviations) against the same without and with one machine, 2 processes: in
    one machine, and in so many drawn ones; with the error that the engine measured, um."""
    busy: dict[tuple[str, int], float] = {}
    for engine, drawn in (("equilibrium", 1), ("deviations", 1), ("deviations", machines)):
        plan = plan_of(folder, layers, members, '"C3", "C5", "C7", "C10"', engine, drawn)
        plan = replace(plan, cells=tuple(replace(c, others=()) for c in plan.cells))
        wall, busy[engine, drawn] = timed(plan, folder, pool.local(2))
        what = f"4 grades x 2 joints, {engine}, machines: {drawn}"
        row(what, 8 * members * drawn, layers, wall, busy[engine, drawn])
    usual = busy["equilibrium", 1]
    ratio, doubted = busy["deviations", 1] / usual, busy["deviations", machines] / usual
    cells = read_sweep(folder / "out.h5").cells
    height, lateral = (max(c.engine_error[k] for c in cells) * 1e6 for k in (0, 1))
    print(
        f"  against one machine without friction: one machine {ratio:.1f}, {machines} machines {doubted:.1f} "
        f"times the processor time; error measured {height:.4f} um in height, {lateral:.4f} um sideways"
    )
    return {
        "sweep_vs_frictionless": ratio,
        "machines_vs_frictionless": doubted,
        "machines": machines,
        "sweep_error_height_um": height,
        "sweep_error_lateral_um": lateral,
    }


def _dask_row(plan: Plan, folder: Path, local: float) -> None:
    try:
        import distributed
    except ImportError:
        print("Dask: not installed")
        return
    options = {"n_workers": 2, "threads_per_worker": 1, "host": "127.0.0.1", "dashboard_address": None}
    with distributed.LocalCluster(**options) as cluster:
        timed(plan, folder, pool.dask(cluster.scheduler_address))  # workers import everything here
        wall, _ = timed(plan, folder, pool.dask(cluster.scheduler_address))
    row(
        "the same on Dask, 2 workers that are up already",
        2048,
        600,
        wall,
        float("nan"),
        f"{wall - local:+.1f} s",
    )


if __name__ == "__main__":
    main()
