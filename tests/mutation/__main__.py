"""Disturbs formulas one at a time and counts how many disturbances the tests notice. Run by hand:

python tests/mutation --measure            # once, and after tests have moved: which test reaches which line
python tests/mutation                      # 375 disturbances over all packages, seed 1
python tests/mutation --package sizing --count 80 --seed 2
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
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
    *("improve", "upkeep", "kinds", "learn"),
)
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
PROCESSES = 2
LONGEST = 150.0  # s of one trial
FLOOR, FLOOR_OF_ALL = 85.0, 90.0  # % of the disturbances of a package, and of all, that tests must notice
BUDGET = 25.0  # s of tests of one trial, by their usual durations


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; 0 where every package keeps its floor."""
    options = _options(arguments)
    if options.measure:
        reach.measure(options.files)
        return 0
    kept = None if options.keep is None else Path(options.keep)
    before = _before(kept)
    every = _everything(options.package or COMPUTING)
    if options.again:
        chosen = [what for what in every if what.key in before]
        before = {key: caught for key, caught in before.items() if caught}
    else:
        chosen = _chosen(every, options.count, options.seed)
    tried = _tried([what for what in chosen if what.key not in before], reach.read(), kept, options.budget)
    done = before | {what.key: caught for what, caught in tried}
    return int(not _tell([(what, done[what.key]) for what in chosen]))


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
    parser.add_argument("files", nargs="*", help="with --measure: only these test files, again or anew")
    parser.add_argument(
        "--package", action="append", choices=COMPUTING, help="only this one; may be repeated"
    )
    parser.add_argument("--count", type=int, default=375, help="how many disturbances (default 375)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (default 1)")
    parser.add_argument(
        "--keep", help="keep every outcome in this file; what stands there is not tried again"
    )
    parser.add_argument(
        "--again", action="store_true", help="try the survivors that FILE keeps again, in place of others"
    )
    parser.add_argument(
        "--budget", type=float, default=BUDGET, help=f"s of tests of one trial (default {BUDGET:g})"
    )
    return parser.parse_args(arguments)


def equivalent() -> set[str]:
    """Keys of disturbances that change nothing, listed by hand with the reason behind each."""
    lines = EQUIVALENT.read_text("utf-8").splitlines()
    return {line.split()[0] for line in lines if line.strip() and not line.startswith("#")}


def _everything(packages: Sequence[str]) -> list[Disturbance]:
    """All disturbances of some packages, without those known to change nothing."""
    known = equivalent()
    return [
        what
        for package in packages
        for file in sorted((ROOT / "bedsim" / package).rglob("*.py"))
        for what in disturbances(file, ROOT)
        if what.key not in known
    ]


def _chosen(every: Sequence[Disturbance], count: int, seed: int) -> list[Disturbance]:
    """`count` of them at random: lowest by a hash of their keys, which changes elsewhere leave alone."""
    lowest = sorted(every, key=lambda what: hashlib.sha256(f"{seed} {what.key}".encode()).digest())[:count]
    return sorted(lowest, key=lambda what: (what.file, what.line))


def _tried(
    chosen: list[Disturbance], reached: reach.Reach, kept: Path | None, budget: float
) -> list[tuple[Disturbance, bool]]:
    """Every disturbance with whether a test noticed it."""
    trial.preload()
    early = [what for what in chosen if trial.at_import(what)]
    later = [what for what in chosen if what not in early]
    with Progress(console=Console(stderr=True)) as progress:
        bar = progress.add_task("disturbing", total=len(chosen))

        def follow(
            whats: list[Disturbance], start: Callable[[Disturbance], int]
        ) -> list[tuple[Disturbance, bool]]:
            return _followed(whats, start, lambda outcome: (_keep(outcome, kept), progress.advance(bar)))

        found = follow(
            early, lambda what: trial.begin(lambda: trial.anew(what, _tests(what, reached, budget)))
        )
        if later:
            house = _Collected(
                lambda items: follow(
                    later,
                    lambda what: trial.begin(
                        lambda: trial.in_place(
                            what, [items[t] for t in _tests(what, reached, budget) if t in items]
                        )
                    ),
                )
            )
            pytest.main([*trial.QUIET, "-o", "tmp_path_retention_policy=none", str(ROOT / "tests")], [house])
            found += house.found
    return sorted(found, key=lambda pair: (pair[0].file, pair[0].line))


class _Collected:
    """Runs what it is given in place of the collected tests, with these by name."""

    def __init__(self, work: Callable[[dict[str, pytest.Item]], list[tuple[Disturbance, bool]]]) -> None:
        self.work = work
        self.found: list[tuple[Disturbance, bool]] = []

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.found = self.work({item.nodeid: item for item in session.items})
        return True


def _followed(
    chosen: list[Disturbance],
    start: Callable[[Disturbance], int],
    tell: Callable[[tuple[Disturbance, bool]], object],
) -> list[tuple[Disturbance, bool]]:
    running: dict[int, tuple[Disturbance, float]] = {}
    left, found = chosen[::-1], []
    while left or running:
        while left and len(running) < PROCESSES:
            what = left.pop()
            running[start(what)] = (what, time.monotonic())
        for outcome in trial.wait(running, LONGEST):
            found.append(outcome)
            tell(outcome)
        time.sleep(0.02)
    return found


def _keep(outcome: tuple[Disturbance, bool], kept: Path | None) -> None:
    if kept is not None:
        what, caught = outcome
        row = {"key": what.key, "file": what.file, "line": what.line, "caught": caught}
        with kept.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")


def _tests(what: Disturbance, reached: reach.Reach, budget: float) -> list[str]:
    """The tests that reach a disturbance, the most likely to notice it first, as many as fit the budget."""
    seconds = dict(zip(reached.tests, reached.seconds, strict=True))
    chosen, spent = [], 0.0
    for test in reached.of(what.file, what.line):
        spent += seconds[test]
        if chosen and spent > budget:
            break
        chosen.append(test)
    return chosen


def _tell(found: list[tuple[Disturbance, bool]]) -> bool:
    """Print survivors and scores; whether all floors are kept."""
    console = Console()
    table = Table("package", "disturbed", "caught", "score")
    packages, kept = sorted({what.file.split("/")[1] for what, _ in found}), True
    for package in [*packages, "all"]:
        here = [caught for what, caught in found if package in ("all", what.file.split("/")[1])]
        score = 100 * sum(here) / len(here)
        kept &= score >= (FLOOR_OF_ALL if package == "all" else FLOOR)
        table.add_row(package, str(len(here)), str(sum(here)), f"{score:.0f} %")
    for what, caught in found:
        if not caught:
            console.print(
                f"survives: {what.file}:{what.line} {what.kind}: {what.text}  [{what.key}]",
                markup=False,
                highlight=False,
                soft_wrap=True,
            )
    console.print(table)
    return kept


if __name__ == "__main__":
    sys.exit(main())
