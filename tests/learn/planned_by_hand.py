"""Is the next reading worth what was said, and which wrong machines are noticed?  Half an hour, by hand.

python tests/learn/planned_by_hand.py planned.json --machines 20

Every machine is read by one gauge series along y; then the gauge reading that `next_readings` puts first and
one from the middle of its list are really taken, each by itself and several times with other noise, and all
is fitted again: the spread of the answer after over before, beside what was promised.  Then two machines that
are not as the scenario says are read at two places: one whose screw at the first corner stands in bearings
ten times softer than their range, and one whose gauge stand moves 3 um once per turn along x under every
series.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from by_hand import DRAWS, SIGMA, inside, own_draws, read
from read_world import KINDS, UNGAUGED, gauged_rows, world

from bedsim.learn.answers import spread_of
from bedsim.learn.faults import faults_of, flips_of, unseen_axes
from bedsim.learn.fit import disturbed
from bedsim.learn.learned import DRAWS as MACHINES
from bedsim.learn.learned import fitted
from bedsim.learn.next_reading import IN_QUARTERS, next_readings
from bedsim.learn.soft_bearings import soft_bearings
from bedsim.learn.unknowns import unknowns_of

FIRST = ("front right", "y")
REPEATS = 3
SOFT, STAND = "bearings ten times softer", "stand moves along x"


def answers(unknowns, found):
    """Machines that agree, and their answers; the same luck before and after."""
    machines = disturbed(found, MACHINES)
    spread = spread_of(unknowns, machines)
    return machines[spread.built], spread.lateral


def planned(kind, seed):
    """What two readings were said to bring, and what they brought."""
    made, rng = world(kind, seed, seed % 2 == 1), np.random.default_rng([seed, 78, list(KINDS).index(kind)])
    unknowns = unknowns_of(made.given, None if seed % 2 else UNGAUGED)
    rows = gauged_rows(made.true, rng, (FIRST,))
    machines, lateral = answers(unknowns, fitted(unknowns, read(made, rows))[0])
    before, every = np.std(np.log(lateral)), next_readings(unknowns, machines, lateral, SIGMA)
    gauges = [one for one in every if one.name.startswith("gauge ")]
    told = []
    for one in (gauges[0], gauges[len(gauges) // 2]):
        axes, probe = one.name.removesuffix(IN_QUARTERS).removeprefix("gauge ").split(" at ")
        was = []
        for _ in range(REPEATS):
            more = gauged_rows(made.true, rng, [(probe, axis) for axis in axes.split(" and ")])
            taken = more[::2] if one.name.endswith(IN_QUARTERS) else more
            after = answers(unknowns, fitted(unknowns, read(made, rows + taken))[0])[1]
            was.append(float(np.std(np.log(after)) / before))
        told.append({"name": one.name, "said": one.narrows, "was": was})
    return {"kind": kind, "seed": seed, "what": "planned", "readings": told}


def softened(made):
    """The machine with the first corner's bearings a tenth of the least that its scenario thinks."""
    corner = made.given.scenario.corner[0].name
    low = {key.key.split(".")[-1]: key.low for key in made.given.ranges}
    soft = {name: 0.1 * least for name, least in low.items() if name.startswith("bearing_")}
    values = {f"corner.{corner}.screw.{name}": value for name, value in soft.items()}
    assert values, "a scenario whose bearings are sure"
    return made.true.with_values(values)


def wrong(kind, seed, what):
    """A machine that is not as its scenario says: noticed or not, named or not as not noticeable, and
    whether the answer holds."""
    from bedsim.analysis.linear_machine import without_play
    from bedsim.ranges.alone import linear_values

    made, rng = world(kind, seed, seed % 2 == 1), np.random.default_rng([seed, 79, list(KINDS).index(kind)])
    true, truth = made.true, made.lateral
    if what == SOFT:
        true = softened(made)
        truth = linear_values(without_play(true))["lateral_pv"]
    rows = gauged_rows(true, rng)
    if what == STAND:
        phase = rng.uniform(0, 2 * np.pi)
        for row in rows:
            row[3] += 3.0 * np.cos(row[2] * np.pi / 4 + phase) * (row[1] == "x")
    unknowns = unknowns_of(made.given, None if seed % 2 else UNGAUGED)
    found = fitted(unknowns, read(made, rows))[0]
    answer = spread_of(unknowns, disturbed(found, DRAWS, seed=own_draws(kind, seed))).lateral
    return {
        "kind": kind,
        "seed": seed,
        "what": what,
        "noticed": bool(faults_of(found, flips_of(found))),
        "said": "x" in unseen_axes(found, ()) if what == STAND else not soft_bearings(found)[0].noticed,
        "covered": bool(inside(int(np.sum(answer < truth)), answer.size)),
        "off": float(np.log(np.median(answer) / truth)),
        "moved": float(np.log(truth / made.lateral)),
    }


def lines(rows):
    """What was promised against what came, and what was noticed."""
    for gauged in (False, True):
        own = [r["readings"] for r in rows if r["what"] == "planned" and r["seed"] % 2 == gauged]
        if own:
            said = np.array([[one["said"] for one in both] for both in own])
            was = np.array([[one["was"] for one in both] for both in own])
            off = np.log(was / said[..., None])
            for k, which in enumerate(("first of the list", "middle")):
                by_machine, screws = off[:, k].mean(axis=-1), "gauged" if gauged else "unknown"
                yield (
                    f"{screws} {len(own)}, {which}: said {np.median(said[:, k]):.2f}, "
                    f"was {np.median(was[:, k]):.2f}; log(was/said) {np.median(by_machine):+.2f}, sd "
                    f"{np.std(by_machine):.2f}, of noise {np.sqrt(off[:, k].var(axis=-1, ddof=1).mean()):.2f}"
                )
            yield f"first better in {np.mean(was[:, 0].mean(axis=-1) < was[:, 1].mean(axis=-1)):.2f}"
    for what in (SOFT, STAND):
        for kind in KINDS:
            own = [r for r in rows if r["what"] == what and r["kind"] == kind]
            if own:
                noticed, said, covered = (sum(r[w] for r in own) for w in ("noticed", "said", "covered"))
                neither = sum(not r["noticed"] and not r["said"] for r in own)
                off, moved = (np.median([abs(r[w]) for r in own]) for w in ("off", "moved"))
                yield (
                    f"{what}, {kind:8}{len(own)}: noticed {noticed}, said not to be seen {said}, "
                    f"neither {neither}, truth inside {covered}, off by {off:.3f} (the truth moved by "
                    f"{moved:.3f})"
                )


def main():
    parser = argparse.ArgumentParser(
        formatter_class=argparse.RawDescriptionHelpFormatter, description=__doc__
    )
    parser.add_argument("file", type=Path)
    parser.add_argument("--machines", type=int, default=20)
    given = parser.parse_args()
    rows = json.loads(given.file.read_text()) if given.file.exists() else []
    done = {(r["kind"], r["seed"], r["what"]) for r in rows}
    for seed in range(500, 500 + given.machines):
        for kind in KINDS:
            for what in ("planned", SOFT, STAND):
                if (kind, seed, what) in done:
                    continue
                try:
                    rows.append(planned(kind, seed) if what == "planned" else wrong(kind, seed, what))
                except Exception as fault:  # told, and counted by its absence
                    print(kind, seed, what, type(fault).__name__, fault, flush=True)
                    continue
                beside = given.file.with_suffix(".part")
                beside.write_text(json.dumps(rows))
                beside.replace(given.file)
    print("\n".join(lines(rows)))


if __name__ == "__main__":
    main()
