"""A finished run with what it says: figures with ranges, what each cause makes, what to measure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from bedsim.analysis.kept_answer import kept_answer
from bedsim.analysis.summary import Summary, summarise
from bedsim.background import BackgroundTask
from bedsim.ranges.kept import with_ranges
from bedsim.ranges.known import Known, known_machines, known_ranges
from bedsim.ranges.shares import shares_of, source_layers
from bedsim.ranges.swings import Found, Progress, Swings, Variation, find_ranges
from bedsim.results.layers import Run
from bedsim.scenario.load import LoadedScenario


def begun_to_vary(loaded: LoadedScenario) -> Callable[[Progress], Swings | Known]:
    """Begin, in the background where there is a second core, with what uncertain numbers do to a machine, or
    what machines do that agree with its readings; a function that waits for it, told of progress."""
    if loaded.knowledge is None:
        return Variation(loaded).swings
    return BackgroundTask(lambda channel: known_machines(loaded, channel.progress)).result


def ranges_about(run: Run, loaded: LoadedScenario, varied: Swings | Known) -> Found:
    """The ranges about a run's answer."""
    return (
        known_ranges(run, loaded, varied) if isinstance(varied, Known) else find_ranges(run, loaded, varied)
    )


def with_summary(run: Run, found: Found | None, summary: Summary) -> Run:
    """The run with its ranges and what it says."""
    whole = with_ranges(run, found) if found else run
    return replace(whole, answer=kept_answer(summary))


def answered(run: Run, loaded: LoadedScenario, *, ranges: bool) -> Run:
    """Add the answer; `ranges`: also what uncertain keys leave open, which takes about as long as a run."""
    wanted = ranges and bool(loaded.ranges)
    found = ranges_about(run, loaded, begun_to_vary(loaded)(lambda done: None)) if wanted else None
    shares = shares_of(run, source_layers(loaded))
    return with_summary(run, found, summarise(run, loaded, shares, found.ranges if found else None))
