"""Disturbs formulas one at a time and counts how many disturbances the tests notice. Run by hand:

python tests/mutation --measure            # once, and after tests have moved: which test reaches which line
python tests/mutation                      # 375 disturbances over all packages, seed 1
python tests/mutation --package sizing --count 80 --seed 2
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import reach
import trial
from disturb import Disturbance, disturbances
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

ROOT = Path(__file__).parents[2]
COMPUTING = (
    *("components", "screws", "sizing", "metrology", "model", "engines", "analysis", "sweep"),
    *("wall", "ranges", "diagnosis", "clocking", "comparison", "tilt", "power_loss", "shake"),
)
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
PROCESSES = 2
LONGEST = 150.0  # s of one trial
BUDGET = 30.0  # s of tests of one trial, by their usual durations, quickest first


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; 0 where every package keeps its floor."""
    options = _options(arguments)
    if options.measure:
        reach.measure()
        return 0
    chosen = _chosen(options.package or COMPUTING, options.count, options.seed)
    kept = None if options.keep is None else Path(options.keep)
    before = _before(kept)
    tried = _tried([what for what in chosen if what.key not in before], reach.read(), kept)
    done = before | {what.key: caught for what, caught in tried}
    _tell([(what, done[what.key]) for what in chosen])
    return 0


def _before(kept: Path | None) -> dict[str, bool]:
    """Outcomes by key that an earlier call has kept."""
    if kept is None or not kept.exists():
        return {}
    rows = map(json.loads, kept.read_text("utf-8").splitlines())
    return {row["key"]: row["caught"] for row in rows}


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python tests/mutation", description=__doc__.splitlines()[0])
    parser.add_argument(
        "--measure", action="store_true", help="run the suite once and note what reaches what"
    )
    parser.add_argument(
        "--package", action="append", choices=COMPUTING, help="only this one; may be repeated"
    )
    parser.add_argument("--count", type=int, default=375, help="how many disturbances (default 375)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (default 1)")
    parser.add_argument(
        "--keep", help="keep every outcome in this file; what stands there is not tried again"
    )
    return parser.parse_args(arguments)


def equivalent() -> set[str]:
    """Keys of disturbances that change nothing, listed by hand with the reason behind each."""
    lines = EQUIVALENT.read_text("utf-8").splitlines()
    return {line.split()[0] for line in lines if line.strip() and not line.startswith("#")}


def _chosen(packages: Sequence[str], count: int, seed: int) -> list[Disturbance]:
    """Disturbances drawn at random over the packages, without those known to change nothing."""
    known = equivalent()
    everything = [
        what
        for package in packages
        for file in sorted((ROOT / "bedsim" / package).rglob("*.py"))
        for what in disturbances(file, ROOT)
        if what.key not in known
    ]
    rng = random.Random(seed)
    return sorted(
        rng.sample(everything, min(count, len(everything))), key=lambda what: (what.file, what.line)
    )


def _tried(
    chosen: list[Disturbance], reached: reach.Reach, kept: Path | None
) -> list[tuple[Disturbance, bool]]:
    """Every disturbance with whether a test noticed it."""
    trial.preload()
    running: dict[int, tuple[Disturbance, float]] = {}
    left, found = chosen[::-1], []
    with Progress(console=Console(stderr=True)) as progress:
        bar = progress.add_task("disturbing", total=len(chosen))
        while left or running:
            while left and len(running) < PROCESSES:
                what = left.pop()
                running[trial.start(what, _tests(what, reached))] = (what, time.monotonic())
            for outcome in trial.wait(running, LONGEST):
                found.append(outcome)
                _keep(outcome, kept)
                progress.advance(bar)
            time.sleep(0.02)
    return sorted(found, key=lambda pair: (pair[0].file, pair[0].line))


def _keep(outcome: tuple[Disturbance, bool], kept: Path | None) -> None:
    if kept is not None:
        what, caught = outcome
        row = {"key": what.key, "file": what.file, "line": what.line, "caught": caught}
        with kept.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")


def _tests(what: Disturbance, reached: reach.Reach) -> list[str]:
    """The tests that reach a disturbance, quickest first, as many as fit the budget."""
    seconds = dict(zip(reached.tests, reached.seconds, strict=True))
    chosen, spent = [], 0.0
    for test in reached.of(what.file, what.line):
        spent += seconds[test]
        if chosen and spent > BUDGET:
            break
        chosen.append(test)
    return chosen


def _tell(found: list[tuple[Disturbance, bool]]) -> None:
    console = Console()
    table = Table("package", "disturbed", "caught", "score")
    packages = sorted({what.file.split("/")[1] for what, _ in found})
    for package in [*packages, "all"]:
        here = [caught for what, caught in found if package in ("all", what.file.split("/")[1])]
        table.add_row(package, str(len(here)), str(sum(here)), f"{100 * sum(here) / len(here):.0f} %")
    for what, caught in found:
        if not caught:
            console.print(
                f"survives: {what.file}:{what.line} {what.kind}: {what.text}  [{what.key}]",
                markup=False,
                highlight=False,
                soft_wrap=True,
            )
    console.print(table)


if __name__ == "__main__":
    sys.exit(main())
