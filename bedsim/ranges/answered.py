"""A finished run with what it says: figures with ranges, what each cause makes, what to measure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from bedsim.analysis.kept_answer import kept_answer
from bedsim.analysis.summary import Summary, summarise
from bedsim.background import BackgroundTask, Shared
from bedsim.ranges.kept import with_ranges
from bedsim.ranges.known import Known, known_machines, known_ranges
from bedsim.ranges.shares import shares_of, source_layers
from bedsim.ranges.swings import Found, Progress, Swings, Variation, find_ranges
from bedsim.results.layers import Run
from bedsim.scenario.load import LoadedScenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """Work that has begun in the background where there is a second core: functions that wait for what was
    begun `beside`, and for what uncertain numbers do to a machine; both are told of progress."""

    beside: Callable[[Progress], list[Any]]
    varied: Callable[[Progress], Swings | Known] | None


def begun_to_vary(loaded: LoadedScenario, beside: Sequence[Callable[[], Any]] = ()) -> Begun:
    """Begin with what uncertain numbers do to a machine, or what machines do that agree with its readings."""
    if loaded.knowledge is None:
        found = Variation(loaded, beside)
        return Begun(beside=found.beside, varied=found.swings)
    known = BackgroundTask(lambda channel: known_machines(loaded, channel.progress))
    return Begun(beside=begun(beside).beside, varied=known.result)


def begun(beside: Sequence[Callable[[], Any]]) -> Begun:
    """Begin with other work alone."""
    shared = Shared(beside)
    return Begun(beside=lambda progress: shared.results(), varied=None)


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
    varied = begun_to_vary(loaded).varied if wanted else None
    found = ranges_about(run, loaded, varied(lambda done: None)) if varied else None
    shares = shares_of(run, source_layers(loaded))
    return with_summary(run, found, summarise(run, loaded, shares, found.ranges if found else None))
