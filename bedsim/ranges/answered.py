"""A finished run with what it says: figures with ranges, what each cause makes, what to measure."""

from __future__ import annotations

from dataclasses import replace

from bedsim.analysis.kept_answer import kept_answer
from bedsim.analysis.summary import summarise
from bedsim.ranges.kept import with_ranges
from bedsim.ranges.known import known_ranges, known_values
from bedsim.ranges.shares import shares_of, source_layers
from bedsim.ranges.swings import find_ranges, vary
from bedsim.results.layers import Run
from bedsim.scenario.load import LoadedScenario


def answered(run: Run, loaded: LoadedScenario, *, ranges: bool) -> Run:
    """Add the answer; `ranges`: also what uncertain keys leave open, which takes about as long as a run."""
    found = None
    if ranges and loaded.ranges and loaded.knowledge is None:
        found = find_ranges(run, loaded, vary(loaded))
    elif ranges and loaded.ranges:
        found = known_ranges(run, loaded, known_values(loaded))
    shares = shares_of(run, source_layers(loaded))
    summary = summarise(run, loaded, shares, found.ranges if found else None)
    kept = with_ranges(run, found) if found else run
    return replace(kept, answer=kept_answer(summary))
