"""By hand, minutes: `python tests/improve/by_hand.py --machines 40` plants flaws in invented machines and
tells how often the list of what is unusual names them first; `--gains` checks told gains with the propagator.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from planted import OUTSIDE, WITHIN, Flaw, Outcome, hunt

from bedsim.improve import checks
from bedsim.improve.answers import answer
from bedsim.improve.ranking import best_of_each_lever, trials
from bedsim.improve.steps import every_step
from bedsim.scenario.load import load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
MACHINES = ("bent-rolled-rigid", "bent-rolled-rolling-joints")
WITHIN_PART = 0.1


def planted(flaws: Sequence[Flaw], count: int, first: int) -> list[Outcome]:
    """So many harmful flaws, each in a machine of its own."""
    bases = [load_scenario(SCENARIOS / f"{name}.toml", ["print.layers=40"]) for name in MACHINES]
    found: list[Outcome] = []
    for number in range(first, first + 20 * count):
        if len(found) == count:
            break
        one = hunt(bases[number % 2], flaws[(number - first) % len(flaws)], number)
        if one is not None:
            found.append(one)
            print(f"  {one.flaw.key:<42} harm x {one.harm:6.2f}  place {one.place}", flush=True)
    return found


def tell(words: str, found: Sequence[Outcome]) -> None:
    """Rates of being first, and among the first three."""
    places = [99 if one.place is None else one.place for one in found]
    first, three = (np.mean([p < n for p in places]) for n in (1, 3))
    rates = f"first {100 * first:.0f} %, in the first three {100 * three:.0f} %"
    print(f"{words}: {len(found)} flaws, {rates}")


def gains(name: str, count: int) -> None:
    """Told and found gains of the best levers."""
    loaded = load_scenario(SCENARIOS / f"{name}.toml")
    now, steps = answer(loaded), [s for s in every_step(loaded) if not s.option.by_run]
    best = best_of_each_lever(trials(loaded, now, [(s,) for s in steps]), "lateral")[:count]
    base = checks.run(loaded)
    near = 0
    for one in best:
        found = checks.check(loaded, base, one.steps, "lateral")
        near += abs(found.found / found.told - 1.0) < WITHIN_PART
        print(
            f"  told x {found.told:6.2f}  found x {found.found:6.2f}  {one.words} {found.refused}", flush=True
        )
    print(f"{name}: {near} of {len(best)} within 10 %")


def main() -> None:
    """Do it."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--machines", type=int, default=40)
    reader.add_argument("--first", type=int, default=0, help="number of the first machine: fresh ones")
    reader.add_argument("--gains", type=int, default=0, help="levers to check with the propagator")
    options = reader.parse_args()
    start = time.process_time()
    if options.machines:
        tell("outside the usual", planted(OUTSIDE, options.machines, options.first))
        tell("within the usual", planted(WITHIN, options.machines, options.first + 10_000))
    if options.gains:
        for name in MACHINES:
            gains(name, options.gains)
    print(f"{time.process_time() - start:.0f} s of processor time")


if __name__ == "__main__":
    main()
