"""How fast the engines are, as ratios in one run on one core.  Run: python tests/benchmarks/engines.py
[--quick] [--json FILE]

Times are processor time of this process, which keeps to one core, except whole processes: wall time, on all
cores there are.  Beside every time
stands the largest difference of height and lateral errors from a propagator run a few times finer, in um.
"""

from __future__ import annotations

import os

from bedsim.threads import ONE_EACH

os.environ.update(ONE_EACH)

import argparse
import cProfile
import datetime
import json
import platform
import pstats
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.engines import base, contact_space, state
from bedsim.engines.base import Job
from bedsim.engines.deviations import DeviationsEngine
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine, StepControl
from bedsim.engines.reference import ReferenceEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, relative_errors

Array = NDArray[np.float64]
ROOT = Path(__file__).parents[2]
ROLLING = ROOT / "scenarios" / "bent-rolled-rolling-joints.toml"
RIGID = ROOT / "scenarios" / "bent-rolled-rigid.toml"
FOUR = ROOT / "scenarios" / "four-screws.toml"
PLAIN = ROOT / "scenarios" / "plain-lead-screws.toml"
SPEEDS = 2.0, 4.0, 5.0, 10.0  # mm/s: at 4 the rotors ring with the detent, past their linear range
MANY = 256
ALIKE = 0.01  # um
EMPTY = """import matplotlib, numpy, scipy
matplotlib.use("Agg")
from matplotlib import pyplot
pyplot.subplots()[0].savefig({!r})
"""
SHORT = 60  # layers of the print that one printer is measured on
LONG = 480  # and of a long one; quick: a quarter
FINE = StepControl(
    drive=1.25e-4,
    touch=2e-5,
    rest=(1.25e-4, 2.5e-4, 5e-4, 1e-3),
    error=2e-10,
    decay=0.0,
    tolerance=2e-6,
    still=1e-10,
)
LOOSE = StepControl(drive=1.2e-3, rest=(1e-3, 2e-3, 4e-3), error=3e-8, decay=1e-8, tolerance=1e-4)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Poses (m, l, b) and processor seconds per member and layer."""

    pose: Array
    seconds: float
    told: float = 0.0  # m, error that the engine measured itself


def job_of(
    path: Path, layers: int, members: int = 1, friction: bool = True, changes: tuple[str, ...] = ()
) -> Job:
    """A shipped scenario cut to so many layers; members differ in the strength of their imperfections."""
    frictionless = [
        "nut.drag_torque_n_mm=0",
        "nut.friction_coefficient=0",
        "guide.friction_n=0",
        "joint.friction_coefficient=0",
        "mount.friction_coefficient=0",
    ]
    changes = (f"print.layers={layers}", *changes, *(() if friction else frictionless))
    job = make_job(load_scenario(path, list(changes)))
    strength = np.random.default_rng(1).uniform(0.3, 1.2, (members, 1))
    strength[0] = 1.0
    return replace(job, amounts=job.amounts * strength)


def layers_of(engine: PropagatorEngine | ReferenceEngine, job: Job, begin: state.State) -> Measured:
    """Layers from a given start: what a print costs once it runs."""
    system = job.machine.system(np.arange(1, job.program.layers + 1))
    observer = base.make_observer(job.machine, system, job.probes)
    now, poses = begin, []
    clock = time.process_time()
    for index, layer in enumerate(system.layers):
        now, chunk = engine.layer(job, system, observer, index, int(layer), now)
        poses.append(chunk.pose)
    seconds = time.process_time() - clock
    return Measured(pose=np.concatenate(poses, axis=1), seconds=seconds / job.members / job.program.layers)


def print_of(engine: PropagatorEngine, job: Job) -> Measured:
    """A whole print of one machine, without the start that all engines share."""
    clock = time.process_time()
    state.start(job)
    begun = time.process_time()
    pose = np.concatenate([chunk.pose for chunk in engine.run(job)], axis=1)
    seconds = time.process_time() - begun - (begun - clock)
    return Measured(pose=pose, seconds=seconds / job.program.layers)


def apart(job: Job, one: Array, other: Array) -> float:
    """Largest difference of height and lateral errors, um."""
    layers = np.arange(1, one.shape[1] + 1)
    a, b = relative_errors(job, layers, one), relative_errors(job, layers, other)
    return max(float(np.abs(a[key] - b[key]).max()) for key in ("height_raw", "lateral_raw")) * 1e6


def row(what: str, seconds: float, error: float | None, ratio: float | None = None, note: str = "") -> None:
    """One line of the table."""
    times = f"{ratio:9.1f}x" if ratio is not None else " " * 10
    um = f"{error:9.4f} um" if error is not None else " " * 12
    print(f"{what:<58} {seconds * 1e3:11.4f} ms {um} {times}  {note}", flush=True)


def against_scipy(quick: bool, found: dict[str, object]) -> list[tuple[str, float, float]]:
    """One printer over a short print and a long one, and many, rolling joints and friction, against scipy's
    solvers.

    Gives scipy's runs: name, seconds and error.  Differences are from a propagator run in steps a few times
    shorter, and longer: until probes move by a tenth of what counts as still, for the last nanometre of a
    ring-down still rubs friction off.  Against each row stands the fastest scipy run that is within `ALIKE`,
    or no less exact than the row; where none is, the most exact one. BDF is left out: at rtol 1e-4 it took
    228 s a layer here, for friction keeps its step short.
    """
    layers = 2 if quick else 4
    job = job_of(ROLLING, layers)
    begin = state.start(job)
    truth = layers_of(PropagatorEngine(control=FINE), job, begin).pose
    print(f"\nRolling joints, friction, detent ({ROLLING.name}, {layers} layers), per printer and layer:")
    tries: list[tuple[str, float, float]] = []
    solvers = [("LSODA", 1e-5), ("Radau", 1e-3), ("Radau", 3e-4), ("Radau", 1e-4)]
    more = [("LSODA", 1e-4), ("LSODA", 1e-6), ("Radau", 1e-5)]
    for method, rtol in solvers if quick else [*solvers, *more]:
        other = layers_of(ReferenceEngine(method=method, rtol=rtol, atol=rtol * 1e-4), job, begin)
        tries.append((f"{method}, rtol {rtol:g}", other.seconds, apart(job, other.pose, truth)))
        row(f"scipy {tries[-1][0]}", *tries[-1][1:])

    def compare(what: str, measured: Measured, error: float) -> float:
        exact = [x for x in tries if x[2] <= max(error, ALIKE)] or [min(tries, key=lambda x: x[2])]
        name, seconds, _ = min(exact, key=lambda x: x[1])
        row(what, measured.seconds, error, seconds / measured.seconds, f"against {name}")
        return seconds / measured.seconds

    crowd = job_of(ROLLING, layers, MANY)
    crowd_begin = state.start(crowd)
    prints = (("", SHORT), ("_long", LONG // 4 if quick else LONG))
    whole = {
        count: print_of(PropagatorEngine(control=FINE), job_of(ROLLING, count)).pose for _, count in prints
    }
    for name, control in (("default control", StepControl()), ("looser control", LOOSE)):
        engine = PropagatorEngine(control=control)
        layers_of(engine, job, begin)  # imports and caches warm
        key = "" if control == StepControl() else "_looser"
        for which, count in prints:
            case = job_of(ROLLING, count)
            one = min((print_of(engine, case) for _ in range(3)), key=lambda x: x.seconds)
            error = apart(case, one.pose, whole[count])
            found[f"propagator{which}_error_um{key}"] = error
            found[f"propagator{which}_vs_scipy{key}"] = compare(
                f"propagator, one printer, {count} layers, {name}", one, error
            )
        short = layers_of(engine, job, begin)
        row(f"propagator, one printer, {layers} layers, {name}", short.seconds, apart(job, short.pose, truth))
        many = min((layers_of(engine, crowd, crowd_begin) for _ in range(5)), key=lambda x: x.seconds)
        off = apart(job, many.pose[:1], truth)
        batch = compare(f"propagator, {MANY} printers, {name}", many, off)
        found[f"full_batch_vs_scipy{key}"], found[f"full_batch_error_um{key}"] = batch, off
    return tries


def against_propagator(quick: bool, found: dict[str, object], tries: list[tuple[str, float, float]]) -> None:
    """A batch as deviations from a machine in full, over a print, against the same batch stepped in full and
    against scipy's fastest run within `ALIKE`; layers after the first, which all step in full.  The error is
    that of some members against a print in full, and what the engine measured on others."""
    layers = 100 if quick else 300
    print(f"\nRolling joints, friction, {MANY} printers that differ in every source, per printer and layer:")
    job = job_of(ROLLING, layers, 1)
    strength = np.random.default_rng(2).uniform(-1.2, 1.2, (MANY, job.amounts.shape[1]))
    drawn = np.array(
        [s.cause in ("run-out", "travel deviation", "once-per-turn travel") for s in job.machine.sources]
    )
    job = replace(job, amounts=job.amounts * np.where(drawn, strength, 1.0))
    full = timed_layers(PropagatorEngine(), replace_layers(job, 4))
    quick_one = timed_layers(DeviationsEngine(), job)
    off = 0.0
    for member in range(2):
        alone = replace(job, amounts=job.amounts[[member]])
        pose = np.concatenate([chunk.pose for chunk in PropagatorEngine().run(alone)], axis=1)
        off = max(off, apart(alone, quick_one.pose[[member]], pose))
    row(f"propagator, batch of {MANY}", full.seconds, None)
    ratio = full.seconds / quick_one.seconds
    row(
        f"deviations, batch of {MANY}, {layers} layers",
        quick_one.seconds,
        off,
        ratio,
        "the propagator's batch",
    )
    print(f"  measured by the engine: {quick_one.told * 1e6:.4f} um")
    found["batch_vs_propagator"], found["deviations_error_um"] = ratio, off
    found["deviations_told_um"] = quick_one.told * 1e6
    exact = [x for x in tries if x[2] <= ALIKE] or [min(tries, key=lambda x: x[2])]
    name, seconds, error = min(exact, key=lambda x: x[1])
    row(
        f"scipy {name}, the same machine",
        seconds,
        error,
        seconds / quick_one.seconds,
        "the time of deviations",
    )
    found["batch_vs_scipy"], found["scipy_error_um"] = seconds / quick_one.seconds, error
    part = replace(job, amounts=job.amounts[:16])
    clock = time.process_time()
    state.start(part)
    newton = (time.process_time() - clock) / 16
    clock = time.process_time()
    contact_space.run_in(job)
    chord = (time.process_time() - clock) / MANY
    row("run-in, Newton's method for every printer", newton, None)
    row("run-in, contact space", chord, None, newton / chord)
    found["run_in_vs_newton"] = newton / chord


def timed_layers(engine: PropagatorEngine | DeviationsEngine, job: Job) -> Measured:
    """Layers after the first of all members."""
    poses, clock, told = [], 0.0, 0.0
    for chunk in engine.run(job):
        clock = clock or time.process_time()
        poses.append(chunk.pose)
        told = max(chunk.statistics.get(f"error_{way}", 0.0) for way in ("height", "lateral"))
    seconds = time.process_time() - clock
    return Measured(
        pose=np.concatenate(poses, axis=1),
        seconds=seconds / job.members / (job.program.layers - 1),
        told=told,
    )


def against_equilibrium(quick: bool, found: dict[str, object]) -> None:
    """Without friction: statics against dynamics, one against one and many against many."""
    print(f"\nWithout friction ({RIGID.name}), per printer and layer:")
    ratios = []
    for members in (1, MANY):
        layers = 64 if members == 1 or not quick else 16
        job = job_of(RIGID, layers, members, friction=False)
        dynamic = layers_of(
            PropagatorEngine(), replace_layers(job, 8 if members == 1 else 2), state.start(job)
        )
        clock = time.process_time()
        pose = np.concatenate([chunk.pose for chunk in EquilibriumEngine().run(job)], axis=1)
        seconds = (time.process_time() - clock) / members / layers
        off = apart(job, pose[:, : dynamic.pose.shape[1]], dynamic.pose)
        row(f"propagator, {members} printers", dynamic.seconds, None)
        row(
            f"equilibrium, {members} printers",
            seconds,
            off,
            dynamic.seconds / seconds,
            "apart from the propagator",
        )
        ratios.append(dynamic.seconds / seconds)
        found[f"equilibrium_difference_um_{members}"] = off
    found["equilibrium_vs_propagator_one"], found["equilibrium_vs_propagator"] = ratios


def ordinary(quick: bool, found: dict[str, object]) -> None:
    """Whole prints of other machines, and of one at other speeds, against the one with rolling joints."""
    layers = 60
    print(f"\nOrdinary machines, {layers} layers, per layer, against {ROLLING.name}:")

    def measured(path: Path, changes: tuple[str, ...] = ()) -> tuple[float, float]:
        short = job_of(path, 2, changes=changes)
        begin = state.start(short)
        truth, one = (
            layers_of(PropagatorEngine(control=control), short, begin) for control in (FINE, StepControl())
        )
        job = job_of(path, layers, changes=changes)
        seconds = min(print_of(PropagatorEngine(), job).seconds for _ in range(1 if quick else 3))
        return seconds, apart(short, one.pose, truth.pose)

    usual, error = measured(ROLLING)
    row("rolling joints", usual, error)
    slowest = 0.0
    for path in sorted(ROLLING.parent.glob("*.toml")) if not quick else [PLAIN]:
        if path != ROLLING and load_scenario(path).scenario.print.program is None:  # which has its own layers
            seconds, error = measured(path)
            row(path.stem, seconds, error, seconds / usual, "the time of rolling joints")
            slowest = max(slowest, seconds)
            if path == PLAIN:
                found["plain_vs_rolling"] = seconds / usual
    at_speeds = 0.0
    for speed in SPEEDS:
        seconds, error = measured(ROLLING, (f"motion.speed_mm_s={speed}",))
        row(
            f"rolling joints at {speed:g} mm/s", seconds, error, seconds / usual, "the time of rolling joints"
        )
        at_speeds = max(at_speeds, seconds)
    found["speed_vs_default"] = at_speeds / usual
    found["slowest_shipped_vs_rolling"] = slowest / usual


def unequal(quick: bool, found: dict[str, object]) -> None:
    """A print of layers of 0.1 to 0.3 mm, hundredths at random, against one of equal layers of their mean."""
    layers = LONG // 4 if quick else LONG
    heights = np.round(np.random.default_rng(4).uniform(0.1, 0.3, layers), 2)
    listed = ",".join(f"{{layers=1,layer_mm={h:g}}}" for h in heights)
    print(f"\nLayers of unequal height ({ROLLING.name}, {layers} layers), per layer:")
    equal = job_of(ROLLING, layers)
    adaptive = job_of(ROLLING, layers, changes=(f"print.section=[{listed}]",))
    truth = print_of(PropagatorEngine(control=FINE), adaptive).pose
    times = np.array(
        [[print_of(PropagatorEngine(), job).seconds for job in (equal, adaptive)] for _ in range(3)]
    ).min(axis=0)
    off = apart(adaptive, print_of(PropagatorEngine(), adaptive).pose, truth)
    row("layers of 0.2 mm", times[0], None)
    row("layers of 0.1 to 0.3 mm", times[1], off, times[1] / times[0], "the time of equal ones")
    found["unequal_vs_equal"], found["unequal_error_um"] = times[1] / times[0], off


def replace_layers(job: Job, layers: int) -> Job:
    """The same print, shorter."""
    return replace(job, program=job.program.cut(layers))


def against_multibody(found: dict[str, object]) -> None:
    """The change from layer 1 to layer 2 of a frictionless machine in exudyn, if it is installed."""
    sys.path.insert(0, str(Path(__file__).parent))
    try:
        import multibody
        from oracle_machine import oracle_machine
    except ImportError as fault:
        print(f"\nMultibody library left out: {fault}")
        return
    loaded = oracle_machine()
    job = replace_layers(make_job(loaded), 2)
    begin = state.start(job)
    print("\nThe frictionless machine of tests/independent, one layer change and its settling:")
    truth = history(job, begin, FINE)
    engine = history(job, begin, StepControl())
    error = largest(job, engine, truth)
    for step in (1e-3, 2e-4, 1e-4, 5e-5, 2e-5, 1e-5):
        change = multibody.prepare(loaded, step, None)
        moved, pose, seconds = min((multibody.run(change) for _ in range(3)), key=lambda x: x[2])
        off = largest(job, (moved, pose, seconds), truth)
        row(f"exudyn, generalised-alpha, step {step * 1e3:g} ms", seconds, off)
        if off <= error or step == 1e-5:
            break
    found["propagator_vs_multibody"] = seconds / engine[2]
    found["multibody_error_um"], found["propagator_frictionless_error_um"] = off, error
    row("propagator", engine[2], error, seconds / engine[2])


def history(job: Job, begin: state.State, control: StepControl) -> tuple[Array, Array, float]:
    """Instants and bed poses (t, 6) of layer 2, and the processor time of that layer."""
    job = replace(job, trace_layers=(2,))
    system = job.machine.system(np.array([1, 2]))
    observer = base.make_observer(job.machine, system, job.probes)
    engine = PropagatorEngine(control=control)
    now, _ = engine.layer(job, system, observer, 0, 1, begin)
    best = np.inf
    for _ in range(10):
        clock = time.process_time()
        _, chunk = engine.layer(job, system, observer, 1, 2, now)
        best = min(best, time.process_time() - clock)
    traced = chunk.histories[0]
    return traced.time, traced.q @ observer.bed.T, best


def largest(job: Job, one: tuple[Array, Array, float], other: tuple[Array, Array, float]) -> float:
    """Largest difference of probe heights, um, at instants that both have (within a microsecond), after the
    first."""
    height, _, _ = base.probe_maps(job.machine, job.probes)
    near = np.clip(np.searchsorted(other[0], one[0] - 1e-6), 0, other[0].size - 1)
    both = np.abs(other[0][near] - one[0]) < 1e-6
    return float(np.abs((one[1][both] - other[1][near[both]]) @ height[:, :6].T).max()) * 1e6


def growth(quick: bool) -> None:
    """Cost against layers, members and screws."""
    print("\nCost of the propagator, processor seconds in all:")
    cases: list[tuple[str, Path, int, int]] = [
        *((f"{n} layers", ROLLING, n, 1) for n in ((60, 120) if quick else (105, 210, 420, 840))),
        *((f"{m} members, 1 layer", ROLLING, 1, m) for m in ((256, 512) if quick else (64, 256, 1024, 4096))),
        ("3 screws, 4 layers", ROLLING, 4, 1),
        ("4 screws, 4 layers", FOUR, 4, 1),
    ]
    for what, path, layers, members in cases:
        job = job_of(path, layers, members)
        engine = PropagatorEngine()
        many = layers > 4
        done = print_of(engine, job) if many else layers_of(engine, job, state.start(job))
        total = done.seconds * layers * members
        print(f"  {what:<24} {total:8.3f} s   {done.seconds * 1e3:8.3f} ms per member and layer", flush=True)


def where_time_goes() -> None:
    """Shares of one printer's time by function."""
    job = job_of(ROLLING, 4)
    begin = state.start(job)
    profile = cProfile.Profile()
    profile.enable()
    layers_of(PropagatorEngine(), job, begin)
    profile.disable()
    stats = pstats.Stats(profile)
    whole = stats.total_tt  # type: ignore[attr-defined]
    print("\nWhere one printer's time goes (profiled, shares with all they call):")
    shown = (
        "integrate",
        "_bristles",
        "apply",
        "of_paths",
        "forcings",
        "tables",
        "assemble",
        "layer_modes",
        "report",
    )
    calls: dict[tuple[str, int, str], tuple[int, int, float, float, object]]
    calls = stats.stats  # type: ignore[attr-defined]
    for (file, _, name), (_, count, _, spent, _) in sorted(calls.items(), key=lambda x: -x[1][3]):
        if name in shown and "bedsim" in file:
            print(f"  {name:<14} {100 * spent / whole:5.1f} %   {count} calls")


def wall(command: list[str], times: int = 1) -> float:
    """Least wall time of a process, s."""

    def once() -> float:
        clock = time.perf_counter()
        done = subprocess.run(command, stdout=subprocess.DEVNULL, cwd=tempfile.gettempdir())
        if done.returncode not in (0, 1):  # 1: a target of the scenario is missed
            raise RuntimeError(f"{command} ended with {done.returncode}")
        return time.perf_counter() - clock

    return min(once() for _ in range(times))


def whole_processes(quick: bool, found: dict[str, object]) -> None:
    """`bedsim --help` against numpy's import, and prints of 1,500 layers from the command line."""
    bedsim = [sys.executable, "-m", "bedsim"]
    show, numpy = wall([*bedsim, "--help"], 7), wall([sys.executable, "-c", "import numpy"], 7)
    print("\nWhole processes, wall time:")
    found["help_vs_numpy"] = show / numpy
    print(f"  bedsim --help {show:.3f} s, import numpy {numpy:.3f} s: {show / numpy:.2f}x")
    with tempfile.TemporaryDirectory() as folder:
        spent: dict[tuple[str, str, int], float] = {}
        for name, path in (("rolling joints", ROLLING), *(() if quick else (("rigid joints", RIGID),))):
            for engine in ("propagator",) if quick else ("equilibrium", "propagator"):
                output = Path(folder) / f"{engine}.h5"
                settings = ["--set", "print.layers=1500", "--set", "print.layer_mm=0.1"]
                order = [*bedsim, "run", str(path), "--engine", engine, "--output", str(output), *settings]
                for extra in ([],) if quick else ([], ["--no-ranges"], ["--no-ranges", "--no-pictures"]):
                    spent[name, engine, len(extra)] = wall([*order, *extra], 3)  # the first compiles
                    said = f"{spent[name, engine, len(extra)]:.1f} s"
                    print(
                        f"  bedsim run, {name}, {engine}, 1,500 layers {' '.join(extra)}: {said}", flush=True
                    )
        found["whole_process_s"] = spent["rolling joints", "propagator", 0]
        empty = wall([sys.executable, "-c", EMPTY.format(str(Path(folder) / "empty.png"))], 3)
    found["whole_vs_imports"] = spent["rolling joints", "propagator", 0] / empty
    print(f"  numpy, scipy and matplotlib imported and one empty picture: {empty:.3f} s; bedsim run, rolling")
    print(f"  joints, propagator, takes {found['whole_vs_imports']:.1f} times that")


def keep_to(cores: set[int]) -> None:
    """Have this process, and those it starts, run on some cores alone."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, cores)


def cores() -> set[int]:
    """The cores this process may use."""
    return os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else set()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="less of everything: under two minutes")
    parser.add_argument("--json", metavar="FILE", help="also write ratios and differences")
    given = parser.parse_args()
    print(f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d %H:%M} UTC, {platform.machine()}")
    print(f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}")
    print(f"BLAS kernels: {os.environ.get('OPENBLAS_CORETYPE', 'as the library chooses')}")
    print("threads: " + ", ".join(f"{name}={os.environ[name]}" for name in ONE_EACH))
    found: dict[str, object] = {}
    tries: list[tuple[str, float, float]] = []
    parts: list[Callable[[], None]] = [
        lambda: tries.extend(against_scipy(given.quick, found)),
        lambda: against_propagator(given.quick, found, tries),
        lambda: against_equilibrium(given.quick, found),
        lambda: against_multibody(found),
        lambda: growth(given.quick),
        lambda: ordinary(given.quick, found),
        lambda: unequal(given.quick, found),
        where_time_goes,
    ]
    every = cores()
    keep_to({min(every, default=0)})
    for part in parts:
        part()
    keep_to(every)
    whole_processes(given.quick, found)
    if given.json:
        Path(given.json).write_text(json.dumps(found, indent=2) + "\n")


if __name__ == "__main__":
    main()
