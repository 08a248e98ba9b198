"""Commands that are killed at any moment of their work, and what must be true of what they leave."""

from __future__ import annotations

import contextlib
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bases

from bedsim.results.store import read_run, write_run
from bedsim.results.sweep import SweepResult
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

SWEPT = "swept.h5"
VICTIMS: dict[str, list[str]] = {
    "run": ["run", "machine.toml", "--output", "ran.h5", "--no-ranges"],
    "sweep 1": ["sweep", "plan.toml", "--output", SWEPT, "--workers", "1"],
    "sweep 2": ["sweep", "plan.toml", "--output", SWEPT, "--workers", "2"],
    "report": ["report", "whole.h5", "--output", "page.html"],
    "gauge": ["gauge", "g.csv", "--output", "out"],
    "compare": [
        *("compare", "machine.toml", "--vary", "joint.kind=rigid,rolling"),
        *("--no-ranges", "--output", "out"),
    ],
}
ON_CLUSTER = "sweep on a cluster"  # two workers; the command or one of them is killed, and one is added
SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
PYTHON_STARTS = re.compile(r'Traceback.*\n(  File "<frozen \w+>", .*\n(    .*\n)?)+KeyboardInterrupt\s*\Z')
"""A Ctrl-C before the first line of bedsim: every program in Python ends so in its first hundredths."""
LONGEST = 20  # s from the signal until the last process is gone


@dataclass(frozen=True, slots=True, kw_only=True)
class Kill:
    """Who was told what, how long after the begin, how long the end took [s], and what is wrong with it."""

    victim: str
    signal: str
    after: float
    seconds: float
    fault: str


def kills(folder: Path, rng: random.Random, count: int, victims: Sequence[str] = ()) -> Iterator[Kill]:
    """So many kills, the commands in turn."""
    sound = folder / "sound"
    sound.mkdir()
    _furnish(sound)
    names = list(victims or VICTIMS)
    wanted = run_sweep(load_plan(sound / "plan.toml"), sound / "wanted.h5", pool.here)
    with _cluster(ON_CLUSTER in names) as cluster:
        lasting = {name: _lasting(sound, name) for name in names}
        for k in range(count):
            name = names[k % len(names)]
            place = folder / str(k)
            shutil.copytree(sound, place, ignore=shutil.ignore_patterns("wanted.h5"))
            after = rng.uniform(0.05, 1.05) * lasting[name]
            if name == ON_CLUSTER and rng.random() < 0.5:
                yield _worker_killed(place, cluster, after, wanted, LONGEST + 3 * lasting[name])
            else:
                yield _killed(place, name, rng.choice(SIGNALS), after, wanted)
            shutil.rmtree(place)


@contextlib.contextmanager
def _cluster(wanted: bool) -> Iterator[Any]:
    """Two workers on the loopback address, whose scheduler the victim asks."""
    if not wanted:
        yield None
        return
    import distributed

    settings = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with distributed.LocalCluster(host="127.0.0.1", **settings) as cluster:
        words = ["sweep", "plan.toml", "--output", SWEPT, "--scheduler", cluster.scheduler_address]
        VICTIMS[ON_CLUSTER] = words
        yield cluster


def _worker_killed(folder: Path, cluster: Any, after: float, wanted: SweepResult, longest: float) -> Kill:
    """A worker dies in mid-sweep and another joins: the command ends as if nothing had been, in `longest` s:
    tasks that were lost are done again, and a new worker loads the libraries first."""
    process = _begun(folder, ON_CLUSTER)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(after)
    begin = time.monotonic()
    os.kill(next(iter(cluster.workers.values())).process.process.pid, signal.SIGKILL)
    cluster.scale(3)
    try:
        out, err = process.communicate(timeout=longest)
        fault = _fault(folder, ON_CLUSTER, process.returncode, signal.SIGKILL, out + err, [], wanted)
        if process.returncode not in (0, 1):
            fault = fault or f"exit code {process.returncode} though one worker is left: {err[-300:]}"
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        fault = f"goes on for {longest:.0f} s"
    cluster.scale(2)
    return Kill(
        victim=ON_CLUSTER, signal="a worker", after=after, seconds=time.monotonic() - begin, fault=fault
    )


def _furnish(folder: Path) -> None:
    plan = bases.PLAN.replace("members = 4", 'members = 40\nengine = "propagator"')
    plan = plan.replace("machines = 1", "machines = 2")
    texts = {
        "machine.toml": bases.SCENARIO.replace("layers = 8", "layers = 6"),
        "plan.toml": plan,
        "lot.csv": bases.LOT,
        "g.csv": bases.RUN_OUT,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    write_run(simulate(load_scenario(folder / "machine.toml")), folder / "whole.h5")


def _begun(folder: Path, name: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "bedsim", *VICTIMS[name]],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: [signal.signal(n, signal.SIG_DFL) for n in SIGNALS[1:]],
        env=os.environ | {"PYTHONPATH": str(bases.ROOT), "MPLBACKEND": "agg"},
    )


def _lasting(sound: Path, name: str) -> float:
    """Seconds that a command takes undisturbed."""
    place = sound.parent / "undisturbed"
    shutil.copytree(sound, place)
    begin = time.monotonic()
    process = _begun(place, name)
    out, err = process.communicate(timeout=900)
    assert process.returncode in (0, 1), (name, out, err)
    shutil.rmtree(place)
    return time.monotonic() - begin


def _killed(folder: Path, name: str, number: signal.Signals, after: float, wanted: SweepResult) -> Kill:
    process = _begun(folder, name)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(after)
    begin = time.monotonic()
    with contextlib.suppress(ProcessLookupError):  # it may have ended by itself
        (os.killpg if number is signal.SIGINT else os.kill)(process.pid, number)  # a terminal tells all
    try:
        out, err = process.communicate(timeout=LONGEST)
        while alive(process.pid) and time.monotonic() < begin + LONGEST:
            time.sleep(0.05)
        fault = _fault(folder, name, process.returncode, number, out + err, alive(process.pid), wanted)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        fault = f"goes on for {LONGEST} s"
    return Kill(victim=name, signal=number.name, after=after, seconds=time.monotonic() - begin, fault=fault)


def _fault(
    folder: Path,
    name: str,
    code: int,
    number: signal.Signals,
    said: str,
    left: Sequence[str],
    wanted: SweepResult,
) -> str:
    if left:
        return f"processes are left: {left}"
    if code not in (0, 1, -number, 128 + number):  # 1: the plan's target is missed
        return f"exit code {code}: {said[-300:]}"
    if "Traceback" in said and not PYTHON_STARTS.search(said):
        return f"a traceback: {said[-3000:]}"
    for file in sorted(p for p in folder.rglob("*") if p.is_file()):
        wrong = _incomplete(file)
        if wrong:
            return f"{file.relative_to(folder)}: {wrong}"
    return _resumed(folder, wanted) if name.startswith("sweep") else ""


def _incomplete(file: Path) -> str:
    """Why a file is not a whole one of its kind."""
    data = file.read_bytes()
    if file.name.endswith(".lock"):
        return ""  # whether anybody holds it shows when the sweep goes on
    if file.suffix == ".part":
        return "is half a file"
    if file.suffix == ".png" and not data.endswith(b"IEND\xaeB`\x82"):
        return "is half a picture"
    if file.suffix == ".html" and not data.rstrip().endswith(b"</html>"):
        return "is half a page"
    if file.suffix == ".csv" and not data.endswith(b"\n") and file.name != "g.csv":
        return "is half a table"
    try:
        if file.suffix == ".toml":
            tomllib.loads(data.decode())
        elif file.name in ("ran.h5", "rigid.h5", "rolling.h5"):
            read_run(file)
    except Exception as fault:
        return f"{type(fault).__name__}: {fault}"
    return ""


def _resumed(folder: Path, wanted: SweepResult) -> str:
    """The same sweep goes on and has the figures of one that nobody disturbed, bit for bit."""
    try:
        found = run_sweep(load_plan(folder / "plan.toml"), folder / SWEPT, pool.here)
    except Exception as fault:
        return f"does not go on: {type(fault).__name__}: {fault}"
    pairs = zip(found.cells, wanted.cells, strict=True)
    same = [a.figures.tobytes() == b.figures.tobytes() for a, b in pairs]
    left = [p.name for p in folder.iterdir() if p.name.startswith(f".{SWEPT}") or "part" in p.name]
    if left:
        return f"left over after going on: {left}"
    return "" if all(same) and found.program == wanted.program else "other figures than undisturbed"


def alive(group: int) -> list[str]:
    """Processes of a group that still run; one that nobody has waited for yet does not."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            state, _, its_group = stat.read_text().rpartition(") ")[2].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append((stat.parent / "cmdline").read_text().replace("\0", " "))
    return found
