"""Scenarios as a gallery: each is run, and says in a sentence what it shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from bedsim.analysis.figures import METRICS, metric_text
from bedsim.analysis.summary import headline, summarise
from bedsim.results.layers import LayerResult
from bedsim.scenario.load import LoadedScenario, load_scenario
from bedsim.simulation import simulate

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Exhibit:
    """One scenario that was run: what it is, the run's sentence, its figures as told."""

    name: str
    loaded: LoadedScenario
    layers: LayerResult
    sentence: str
    figures: tuple[tuple[str, str], ...]


def gallery(files: Sequence[Path], progress: Progress = lambda done: None) -> Iterator[Exhibit]:
    """Run every scenario as `bedsim run --no-ranges` does."""
    for number, file in enumerate(files):
        yield exhibit(file.name, load_scenario(file))
        progress(number + 1)


def exhibit(name: str, loaded: LoadedScenario) -> Exhibit:
    """Run one."""
    run = simulate(loaded)
    found = summarise(run, loaded)
    return Exhibit(
        name=name,
        loaded=loaded,
        layers=run.layers,
        sentence=headline(found),
        figures=tuple((m.text, metric_text(m, found.values[m.name])) for m in METRICS),
    )
