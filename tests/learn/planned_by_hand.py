"""Is the next reading worth what was said, and which wrong machines are noticed?  Half an hour, by hand.

python tests/learn/planned_by_hand.py planned.json --machines 20

Every machine is read by one gauge series along y; then the reading that `next_readings` puts first and one
from the middle of its list are really taken, by gauge, each by itself, and all is fitted again: the spread of
the answer after over before, beside what was promised.  Then two machines that are not as the scenario says
are read at two places: one whose screw at the first corner stands in bearings ten times softer than their
range, and one whose gauge stand moves 3 um once per turn along x under every series.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from by_hand import DRAWS, SIGMA, inside, read
from read_world import KINDS, UNGAUGED, gauged_rows, world

from bedsim.learn.answers import spread_of
from bedsim.learn.faults import faults_of, flips_of, unseen_axes
from bedsim.learn.fit import disturbed
from bedsim.learn.learned import _places, fitted
from bedsim.learn.next_reading import next_readings
from bedsim.learn.unknowns import unknowns_of

FIRST = ("front right", "y")
SOFT, STAND = "bearings ten times softer", "stand moves along x"


def wide(unknowns, found):
    """Standard deviation of the answer's logarithm, by refitted machines."""
    return float(np.std(np.log(spread_of(unknowns, disturbed(found, 2 * DRAWS)).lateral)))


def planned(kind, seed):
    """What two readings were said to bring, and what they brought."""
    made, rng = world(kind, seed, seed % 2 == 1), np.random.default_rng([seed, 78])
    unknowns = unknowns_of(made.given, None if seed % 2 else UNGAUGED)
    rows = gauged_rows(made.true, rng, (FIRST,))
    found = fitted(unknowns, read(made, rows))[0]
    before = wide(unknowns, found)
    every = next_readings(unknowns, _places(unknowns, found, np.zeros((0, unknowns.count)), None), SIGMA)
    gauges = [one for one in every if one.name.startswith("gauge ") and " and " not in one.name]
    told = []
    for one in (gauges[0], gauges[len(gauges) // 2]):
        axis, probe = one.name.split(",")[0].removeprefix("gauge ").split(" at ")
        more = gauged_rows(made.true, rng, ((probe, axis),))
        again = fitted(unknowns, read(made, rows + (more[::2] if "quarters" in one.name else more)))[0]
        told.append({"name": one.name, "said": one.narrows, "was": wide(unknowns, again) / before})
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

    made, rng = world(kind, seed, seed % 2 == 1), np.random.default_rng([seed, 79])
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
    answer = spread_of(unknowns, disturbed(found, DRAWS)).lateral
    return {
        "kind": kind,
        "seed": seed,
        "what": what,
        "noticed": bool(faults_of(found, flips_of(found))),
        "said": "x" in unseen_axes(found, ()),
        "covered": bool(inside(int(np.sum(answer < truth)), answer.size)),
        "off": float(np.log(np.median(answer) / truth)),
        "moved": float(np.log(truth / made.lateral)),
    }


def lines(rows):
    """What was promised against what came, and what was noticed."""
    for kind in KINDS:
        own = [r["readings"] for r in rows if r["what"] == "planned" and r["kind"] == kind]
        if own:
            off = np.array([[np.log(one["was"] / one["said"]) for one in both] for both in own])
            of = {w: np.median([[one[w] for one in both] for both in own], axis=0) for w in ("said", "was")}
            said, was = of["said"], of["was"]
            better = np.mean([both[0]["was"] < both[1]["was"] for both in own])
            yield (
                f"{kind:8}{len(own)}: first of the list said {said[0]:.2f}, was {was[0]:.2f}; middle "
                f"{said[1]:.2f}, {was[1]:.2f}; log(was/said) median {np.median(off):+.2f}, sd "
                f"{np.std(off):.2f}; first better in {better:.2f}"
            )
    for what in (SOFT, STAND):
        for kind in KINDS:
            own = [r for r in rows if r["what"] == what and r["kind"] == kind]
            if own:
                noticed, said, covered = (sum(r[w] for r in own) for w in ("noticed", "said", "covered"))
                off, moved = (np.median([abs(r[w]) for r in own]) for w in ("off", "moved"))
                yield (
                    f"{what}, {kind:8}{len(own)}: noticed {noticed}, said not to be seen {said}, truth "
                    f"inside {covered}, off by {off:.3f} (the truth moved by {moved:.3f})"
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
