"""Every layer of every shipped scenario with propagator and reference.  Run: python
tests/agreement/whole_prints.py

Takes hours; prints a line per scenario.  Names as arguments pick scenarios, `--layers N` cuts them.
"""

import argparse
import time

from engine_machines import FINER, REFERENCE, SCENARIOS, apart, poses

from bedsim.engines import state
from bedsim.engines.propagator import PropagatorEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job


def line(name, layers, reference):
    """One scenario: differences and times as text."""
    job = make_job(load_scenario(SCENARIOS / f"{name}.toml", [f"print.layers={layers}"] if layers else []))
    begin = state.start(job)
    clock = [time.perf_counter()]
    found = []
    for engine in (PropagatorEngine(), reference):
        found.append(poses(engine, job, begin))
        clock.append(time.perf_counter())
    seconds = f"{clock[1] - clock[0]:.1f} s against {clock[2] - clock[1]:.0f} s"
    return f"{name}: {job.program.layers} layers, {apart(job, *found):.4f} um, {seconds}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", default=sorted(path.stem for path in SCENARIOS.glob("*.toml")))
    parser.add_argument("--layers", type=int, default=0)
    parser.add_argument("--finer", action="store_true", help="the reference with tolerances a hundredth")
    given = parser.parse_args()
    for name in given.names:
        print(line(name, given.layers, FINER if given.finer else REFERENCE), flush=True)
