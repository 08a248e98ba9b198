"""Coverage of `diagnose` set by set, each fitted with the friction near its own readings; takes minutes.

python tests/coverage/by_hand.py bent-rolled-rigid gauge --sets 200 --sigma-um 0.3
"""

import argparse

import numpy as np
from draws import ONE, TWO, allowed
from read_machine import case, diagnosed, near, noisy, sigmas_off, without_friction


def main():
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("scenario")
    ask.add_argument("kind", choices=("gauge", "bands"))
    ask.add_argument("--sets", type=int, default=200)
    ask.add_argument("--sigma-um", type=float, default=0.3)
    ask.add_argument("--set", action="append", default=[], metavar="KEY=VALUE")
    told = ask.parse_args()
    rng, sigma = np.random.default_rng(1), told.sigma_um * 1e-6
    machine = case(told.scenario, told.kind, told.sets, rng, tuple(told.set))
    values = noisy(machine.true, sigma, rng)
    ways = {
        "without friction": lambda v: without_friction(machine),
        "with": lambda v: near(machine, v, sigma),
    }
    for name, way in ways.items():
        results = [diagnosed(machine, way(v), v, sigma) for v in values]
        off = np.abs(np.concatenate([sigmas_off(r, x) for r, x in zip(results, machine.x, strict=True)]))
        within = [f"{(off <= k).mean():.3f}" for k in (1, 2)]
        told_share = np.mean([e.told for r in results for e in r.estimates])
        alarms = np.mean([r.outside_model for r in results])
        print(f"{name}: within one and two sigma {' and '.join(within)}", end="; ")
        print(f"told {told_share:.2f}, alarms {alarms:.3f}")
    print("allowed:", *(f"{k / told.sets:.3f}" for share in (ONE, TWO) for k in allowed(told.sets, share)))


if __name__ == "__main__":
    main()
