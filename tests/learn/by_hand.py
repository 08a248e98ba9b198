"""Coverage and hit rate of what is learnt, on many invented machines of every kind; hours, by hand.

python tests/learn/by_hand.py study.json --machines 200
python tests/learn/by_hand.py study.json --machines 0        what the file holds by now

One machine of every kind after the other, so that a study that was stopped tells as much of each; it goes
on where the file ends.  Even machines have screws of which nobody knows anything, odd ones gauged screws.
All are read by a gauge at two places, every fourth by the walls of a frame too; into the readings of every
other fourth a fault is planted besides.
"""

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from read_world import KINDS, UNGAUGED, WALLS, gauged_rows, wall_rows, world, written

from bedsim.learn.answers import spread_of
from bedsim.learn.faults import faults_of, flips_of
from bedsim.learn.fit import disturbed
from bedsim.learn.learned import fitted, quiet_series
from bedsim.learn.reading_files import read_files
from bedsim.learn.unknowns import unknowns_of

SIGMA = 1e-6
DRAWS = 19
"""The first and the last of so many hold 90 %."""
OWN_DRAWS = 1000
SURE = 0.89
"""17 of 19: what `bedsim.learn.text` calls sure."""
FAULTS = ("spike of 30 um", "slip of 5 um", "wrong sign", "3 um once per turn")


def read(made, rows, header=None):
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder) / "read.csv", rows, *([header] if header else []))
        return read_files([path], made.given, SIGMA).observations


def own_draws(kind, seed):
    """Where a machine's own draws begin: the same few for all would make one sample's luck their coverage."""
    return OWN_DRAWS + len(KINDS) * seed + list(KINDS).index(kind)


def one_machine(kind, way, seed):
    """What is learnt of a machine against what it is; None where there is nothing to read."""
    gauged = seed % 2 == 1
    made, rng = world(kind, seed, gauged), np.random.default_rng([seed, 77, list(KINDS).index(kind)])
    rows = gauged_rows(made.true, rng, sigma=SIGMA) if way == "gauge" else wall_rows(made.true, rng, SIGMA)
    row = {"kind": kind, "way": way, "seed": seed, "gauged": gauged, "read": len(rows)}
    if not rows:
        return row
    start = time.process_time()
    unknowns = unknowns_of(made.given, None if gauged else UNGAUGED)
    found, fault = fitted(unknowns, read(made, rows, WALLS if way == "walls" else None))
    took = time.process_time() - start
    spread = spread_of(unknowns, disturbed(found, DRAWS, seed=own_draws(kind, seed)))
    guilty, claimed = spread.claim()
    row |= {
        "lateral": int(np.sum(spread.lateral < made.lateral)),
        "height": int(np.sum(spread.height < made.height)),
        "shares": [int(np.sum(own < true)) for own, true in zip(spread.shares.T, made.shares, strict=True)],
        "drawn": len(spread.lateral),
        "sd": float(np.std(np.log(spread.lateral))),
        "off": float(np.log(np.median(spread.lateral) / made.lateral)),
        "um": made.lateral * 1e6,
        "right": bool(guilty == int(made.shares.argmax())),
        "claimed": claimed,
        "chance": found.chance,
        "false": [one.kind for one in faults_of(found, flips_of(found))],
        "quiet": len(quiet_series(found)),
        "friction": fault,
        "rounds": found.rounds,
        "seconds": took,
    }
    if way == "gauge" and seed % 8 in (2, 7):
        row |= planted(made, rows, unknowns, FAULTS[(seed // 8) % len(FAULTS)], rng)
    return row


def planted(made, rows, unknowns, what, rng):
    """Whether a fault in the readings is noticed, and named as what and where it is."""
    rows = [row[:] for row in rows]
    first, k = 9 * int(rng.integers(2)), int(rng.integers(2, 7))
    if what.startswith("spike"):
        rows[first + k][3] += 30.0
        is_it = ("reading", f"line {first + k + 2}")
    elif what.startswith("slip"):
        for row in rows[first + k : first + 9]:
            row[3] += 5.0
        is_it = ("slip", f"line {first + k + 1} and line {first + k + 2}")
    elif what.startswith("wrong"):
        for row in rows[first : first + 9]:
            row[3] *= -1
        is_it = ("wrong sign", f"line {first + 2}")
    else:
        phase = rng.uniform(0, 2 * np.pi)
        for row in rows[first : first + 9]:
            row[3] += 3.0 * np.cos(row[2] * np.pi / 4 + phase)
        is_it = ("series", f"line {first + 2}")
    found = fitted(unknowns, read(made, rows))[0]
    told = faults_of(found, flips_of(found))
    named = any(one.kind == is_it[0] and one.where.rstrip(")").endswith(is_it[1]) for one in told)
    return {"planted": what, "noticed": bool(told), "named": named, "as": [one.kind for one in told]}


# ---- what it all says --------------------------------------------------------------------------------------


def inside(below, drawn):
    """Whether the truth lies between 5 and 95 % by ranks: `below` of `drawn` machines are."""
    return 0.05 * (drawn + 1) <= below + 0.5 <= 0.95 * (drawn + 1)


def told(rows):
    """One line on some machines."""
    rows = [r for r in rows if r["read"]]
    if not rows:
        return "nothing to read"
    sure = [r["right"] for r in rows if r["claimed"] >= SURE]
    numbers = {
        "sideways": np.mean([inside(r["lateral"], r["drawn"]) for r in rows]),
        "height": np.mean([inside(r["height"], r["drawn"]) for r in rows]),
        "shares": np.mean([inside(one, r["drawn"]) for r in rows for one in r["shares"]]),
        "sd": np.median([r["sd"] for r in rows]),
        "off/sd": np.sqrt(np.mean([(r["off"] / r["sd"]) ** 2 for r in rows])),
        "right": np.mean([r["right"] for r in rows]),
        "false faults": np.mean([bool(r["false"]) for r in rows]),
        "chance<.01": np.mean([r["chance"] < 0.01 for r in rows]),
        "fit s": np.median([r["seconds"] for r in rows]),
    }
    line = ", ".join(f"{name} {x:.2f}" for name, x in numbers.items())
    return f"{len(rows):4d}: {line}, claims {len(sure)}, right there {sum(sure)}"


def lines(rows):
    """Per reading, screws and kind; then faults, and claims by how sure they were."""
    for way in ("gauge", "walls"):
        for gauged in (False, True):
            some = [r for r in rows if r["way"] == way and r["gauged"] == gauged]
            for kind in KINDS:
                own = [r for r in some if r["kind"] == kind]
                if own:
                    yield f"{way} {'gauged ' if gauged else 'unknown'} {kind:8}{told(own)}"
            for least, below in ((SURE, 1.01), (0.6, SURE), (0.0, 0.6)):
                own = [r["right"] for r in some if r["read"] and least <= r["claimed"] < below]
                yield f"    claimed {least} to {min(below, 1.0)}: {len(own)} made, {sum(own)} right"
    for kind in KINDS:
        own = [r for r in rows if r["kind"] == kind and r["read"]]
        if own:
            held = [np.mean([inside(r[w], r["drawn"]) for r in own]) for w in ("lateral", "height")]
            named = [r["right"] for r in own if r["claimed"] >= SURE]
            yield (
                f"{kind:8}{len(own):4d} readings: inside 90 % sideways {held[0]:.3f}, height {held[1]:.3f}; "
                f"a screw named {len(named)}, right {sum(named)}; cannot tell {len(own) - len(named)}"
            )
    for what in FAULTS:
        own = [r for r in rows if r.get("planted") == what]
        noticed, named = (sum(r[word] for r in own) for word in ("noticed", "named"))
        yield f"{what}: {len(own)} planted, {noticed} noticed, {named} named"


def main():
    parser = argparse.ArgumentParser(
        formatter_class=argparse.RawDescriptionHelpFormatter, description=__doc__
    )
    parser.add_argument("file", type=Path)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--kinds", default=",".join(KINDS))
    given = parser.parse_args()
    rows = json.loads(given.file.read_text()) if given.file.exists() else []
    done = {(r["kind"], r["way"], r["seed"]) for r in rows}
    wanted = [
        (kind, way, seed)
        for seed in range(given.machines)
        for way in (("gauge", "walls") if seed % 8 in (0, 5) else ("gauge",))
        for kind in given.kinds.split(",")
    ]
    for number, case in enumerate(wanted):
        if case in done:
            continue
        try:
            rows.append(one_machine(*case))
        except Exception as fault:  # told, and counted by its absence
            print(case, type(fault).__name__, fault, flush=True)
            continue
        beside = given.file.with_suffix(".part")
        beside.write_text(json.dumps(rows))
        beside.replace(given.file)
        if number % 25 == 0:
            print(f"{number} of {len(wanted)}", flush=True)
    print("\n".join(lines(rows)))


if __name__ == "__main__":
    main()
