"""Writes results/validation.html: every check against the outside, collected from the tests as they run.

python tests/validation [--output FILE] [--learn FILE] [FOLDERS...]      minutes, by hand
"""

from __future__ import annotations

import argparse
import platform
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy
import pytest
import scipy

sys.path.insert(0, str(Path(__file__).parent))

from page import lines, page
from recorder import Recorder
from study import read_study

ROOT = Path(__file__).parents[2]
CHECKED = ("published", "derived", "independent", "agreement/test_order_of_convergence.py")


def commit() -> str:
    """The commit that is checked, and whether files differ from it."""
    head = subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False)
    state = subprocess.run(
        ["git", "status", "--porcelain"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return (head.stdout.strip() or "unknown") + (" with changes" if state.stdout.strip() else "")


def record(tests: list[str], *options: str) -> Recorder:
    """Run tests and note what they compare."""
    sys.pycache_prefix = tempfile.mkdtemp()  # assertions must be rewritten anew for the hook
    found = Recorder()
    with found:
        pytest.main(
            [
                "-q",
                "-p",
                "no:xdist",
                "-p",
                "no:cacheprovider",
                "-o",
                "enable_assertion_pass_hook=true",
                "--tb=short",
                "--continue-on-collection-errors",
                *options,
                *tests,
            ],
            plugins=[found],
        )
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--output", type=Path, default=ROOT / "results" / "validation.html")
    parser.add_argument("--learn", type=Path, help="the file that tests/learn/by_hand.py wrote")
    parser.add_argument("folders", nargs="*", default=list(CHECKED), help="below tests/")
    given = parser.parse_args()
    try:
        study = read_study(given.learn) if given.learn else None
    except ValueError as fault:
        print(fault, file=sys.stderr)
        return 2
    found = record([str(ROOT / "tests" / name) for name in given.folders])
    versions = f"Python {platform.python_version()}, numpy {numpy.__version__}, scipy {scipy.__version__}"
    given.output.parent.mkdir(parents=True, exist_ok=True)
    given.output.write_text(page(found, commit(), versions, study), encoding="utf-8")
    print("\n".join(lines(found)))
    print(f"Page: {given.output}")
    return 1 if found.broken or any(c.outcome == "failed" for c in found.checks.values()) else 0


if __name__ == "__main__":
    raise SystemExit(main())
