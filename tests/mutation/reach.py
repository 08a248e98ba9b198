"""Which tests reach which line, and how long each takes: measured by a run of the suite, kept in a file."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path

import numpy

ROOT = Path(__file__).parents[2]
KEPT = Path(".mutation")  # in the repository's folder, ignored by git
FAILED = re.compile(r"^(?:FAILED|ERROR) (\S+)", re.MULTILINE)
CLOSED_FORMS = ("tests/analytic/", "tests/derived/", "tests/published/")
DURATION = re.compile(r"^([\d.]+)s (?:call|setup|teardown)\s+(\S.*)$")


@dataclass(frozen=True, kw_only=True)
class Reach:
    """`lines`: file -> line -> numbers of tests; `tests` by number; `seconds` of each."""

    tests: list[str]
    seconds: list[float]
    lines: dict[str, dict[str, list[int]]]

    def of(self, file: str, line: int) -> list[str]:
        """Tests that run a line, those of its package first, then quick ones that run little else; for a line
        that runs at import, those that run the file at all."""
        here = self.lines.get(file, {})
        found = set(here.get(str(line), [])) or {test for tests in here.values() for test in tests}
        found = found or set(range(len(self.tests)))  # constants that other files take at import
        return [
            self.tests[t] for t in sorted(found, key=lambda t: (self.seconds[t] + 0.02) * self.breadth[t])
        ]

    @cached_property
    def breadth(self) -> list[int]:
        """How many lines each test runs: what runs a line among few others looks at it closely."""
        return numpy.bincount(
            [test for here in self.lines.values() for tests in here.values() for test in tests],
            minlength=len(self.tests),
        ).tolist()


def read() -> Reach:
    """What `measure` has kept. Raises FileNotFoundError before it has been run."""
    return Reach(**json.loads((ROOT / KEPT / "reach.json").read_text("utf-8")))


def measure(files: Sequence[str]) -> None:
    """Run the suite with every line's tests noted, in two processes; or only some test files, whose tests are
    then added to those known."""
    folder = ROOT / KEPT
    folder.mkdir(exist_ok=True)
    settings = folder / "coveragerc"
    settings.write_text("[run]\nsource = bedsim\n", "utf-8")
    environment = os.environ | {"COVERAGE_FILE": str(folder / "coverage")}
    options = ["-m", "pytest", "-n", "2", "--durations=0", "-vv", "--cov=bedsim", "--cov-context=test"]
    options += [f"--cov-config={settings}", "--cov-report=", *files]
    ran = subprocess.run(
        [sys.executable, *options], cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True, check=False
    )
    if ran.returncode not in (0, 1):
        raise SystemExit(ran.stdout[-4000:])
    (folder / "report.txt").write_text(ran.stdout, "utf-8")
    found = _reach(folder / "coverage", _durations(ran.stdout), set(FAILED.findall(ran.stdout)))
    whole = _joined(read(), found) if files else found
    (folder / "reach.json").write_text(json.dumps(asdict(whole)), "utf-8")


def _joined(known: Reach, found: Reach) -> Reach:
    """What is known, with tests found anew in place of what they were."""
    tests = list(dict.fromkeys([*known.tests, *found.tests]))
    number = {test: k for k, test in enumerate(tests)}
    seconds = dict(zip(known.tests, known.seconds, strict=True)) | dict(
        zip(found.tests, found.seconds, strict=True)
    )
    lines: dict[str, dict[str, list[int]]] = {}
    for old, fresh in ((known, set(found.tests)), (found, set[str]())):
        for file, here in old.lines.items():
            for line, reaching in here.items():
                kept = [number[old.tests[t]] for t in reaching if old.tests[t] not in fresh]
                lines.setdefault(file, {}).setdefault(line, []).extend(kept)
    return Reach(tests=tests, seconds=[seconds[test] for test in tests], lines=lines)


def _durations(printed: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for line in printed.splitlines():
        if match := DURATION.match(line.strip()):
            found[match[2]] = found.get(match[2], 0.0) + float(match[1])
    return found


def _reach(file: Path, seconds: dict[str, float], failed: set[str]) -> Reach:
    """Tests that fail undisturbed would catch everything: they are left out."""
    from coverage import CoverageData

    data = CoverageData(str(file))
    data.read()
    numbers: dict[str, int] = {}
    lines: dict[str, dict[str, list[int]]] = {}
    for measured in data.measured_files():
        here: dict[str, list[int]] = {}
        for line, contexts in data.contexts_by_lineno(measured).items():
            names = {c.rsplit("|", 1)[0] for c in contexts if c} - failed
            if names:
                here[str(line)] = [numbers.setdefault(name, len(numbers)) for name in sorted(names)]
        lines[Path(measured).relative_to(ROOT).as_posix()] = here
    tests = sorted(numbers, key=lambda name: numbers[name])
    return Reach(tests=tests, seconds=[seconds.get(test, 0.005) for test in tests], lines=lines)
