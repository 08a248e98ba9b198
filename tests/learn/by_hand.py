"""Coverage and hit rate of what is learnt, on many invented machines; minutes to hours, by hand.

python tests/learn/by_hand.py rigid --machines 200 --screws unknown
"""

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from read_world import JOGGED, KINDS, UNGAUGED, gauged_rows, world, written

from bedsim.learn.answers import spread_of
from bedsim.learn.faults import faults_of
from bedsim.learn.fit import disturbed
from bedsim.learn.learned import fitted
from bedsim.learn.reading_files import read_files
from bedsim.learn.unknowns import unknowns_of


def one_machine(kind, seed, gauged, places, sigma, draws):
    made = world(kind, seed, gauged)
    rng = np.random.default_rng([seed, 77])
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder) / "bed.csv", gauged_rows(made.true, rng, places, sigma))
        read = read_files([path], made.given, sigma)
    start = time.process_time()
    unknowns = unknowns_of(made.given, None if gauged else UNGAUGED)
    found, fault = fitted(unknowns, read.observations)
    took = time.process_time() - start
    spread = spread_of(unknowns, disturbed(found, draws))
    low, middle, high = spread.ends("lateral")
    up = spread.ends("height")
    shares = spread.share_ends()
    guilty, claimed = spread.claim()
    return {
        "seed": seed,
        "lateral": low <= made.lateral <= high,
        "height": up[0] <= made.height <= up[2],
        "shares": [bool(x) for x in (shares[0] <= made.shares) & (made.shares <= shares[2])],
        "sd": float(np.std(np.log(spread.lateral))),
        "off": float(np.log(middle / made.lateral)),
        "right": bool(guilty == int(made.shares.argmax())),
        "claimed": claimed,
        "chance": found.chance,
        "faults": [f.kind for f in faults_of(found)],
        "fault": fault,
        "rounds": found.rounds,
        "seconds": took,
    }


def told(rows):
    sure = [r for r in rows if r["claimed"] >= 0.8]
    means = {
        "lateral": np.mean([r["lateral"] for r in rows]),
        "height": np.mean([r["height"] for r in rows]),
        "shares": np.mean([inside for r in rows for inside in r["shares"]]),
        "sd": np.median([r["sd"] for r in rows]),
        "off in sd": np.mean([abs(r["off"]) / r["sd"] for r in rows]),
        "guilty right": np.mean([r["right"] for r in rows]),
        "claims": len(sure) / len(rows),
        "right there": np.mean([r["right"] for r in sure]) if sure else np.nan,
        "false faults": np.mean([bool(r["faults"]) for r in rows]),
        "low chance": np.mean([r["chance"] < 0.01 for r in rows]),
        "rounds": np.mean([r["rounds"] for r in rows]),
        "fit s": np.median([r["seconds"] for r in rows]),
    }
    return f"{len(rows)} machines: " + ", ".join(f"{name} {x:.3f}" for name, x in means.items())


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--draws", type=int, default=60)
    parser.add_argument("--screws", choices=("gauged", "unknown"), default="unknown")
    parser.add_argument("--sigma-um", type=float, default=1.0)
    parser.add_argument("--places", default=";".join(f"{p},{a}" for p, a in JOGGED))
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    places = [tuple(one.split(",")) for one in given.places.split(";")]
    rows = []
    for seed in range(given.first, given.first + given.machines):
        sigma = given.sigma_um * 1e-6
        try:
            rows.append(one_machine(given.kind, seed, given.screws == "gauged", places, sigma, given.draws))
        except Exception as fault:  # told, and counted by its absence
            print(seed, type(fault).__name__, fault, flush=True)
        if rows and len(rows) % 10 == 0:
            print(given.kind, given.screws, told(rows), flush=True)
    if given.json:
        given.json.write_text(json.dumps(rows))
    print("end", given.kind, given.screws, told(rows))


if __name__ == "__main__":
    main()
