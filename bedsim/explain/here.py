"""What a scenario adds to an entry: the value there, what the key moves, what moves the figure."""

from __future__ import annotations

from collections.abc import Iterator

from bedsim.explain.entry import Entry, Fact
from bedsim.explain.moves import FIGURES, KeyMoves, Progress, keys_that_move, moved_by, row_here, value_here
from bedsim.scenario.load import LoadedScenario

FRICTIONLESS = "at rest, without friction"


def here(entry: Entry, loaded: LoadedScenario, progress: Progress = lambda done: None) -> Iterator[Fact]:
    """Facts of an entry in a scenario; none of a word that is no number of a machine."""
    if entry.sort == "key":
        for moved in moved_by(loaded, entry.name):
            yield Fact(label=f"in {loaded.name}", text="\n".join(_lines(moved)), shape="verbatim")
    elif entry.sort == "row of size":
        rows = [f"{corner}: {told}" for corner, told in row_here(loaded, entry.name)]
        text = "\n".join(rows) or "This machine has no such row."
        yield Fact(label=f"in {loaded.name}", text=text, shape="verbatim")
    elif entry.name in FIGURES:
        yield Fact(label=f"in {loaded.name}", text=f"{value_here(loaded, entry.name)} ({FRICTIONLESS})")
        told = [f"{key}: {size}" for key, size in keys_that_move(loaded, entry.name, progress)]
        label = "moved most by, from low to high of each"
        yield Fact(label=label, text="\n".join(told) or "no key that is not sure", shape="verbatim")


def _lines(moved: KeyMoves) -> Iterator[str]:
    if not moved.tried:
        yield f"{moved.key} = {moved.now}. {moved.left_out}"
        return
    yield f"{moved.key} = {moved.now}; tried at {', '.join(moved.tried)}"
    if not moved.moves and not moved.left_out:
        yield "  moves nothing by more than 1 % (figures at rest, rows of size)"
    for move in moved.moves:
        yield f"  {move.answer}: {move.now} -> {' | '.join(move.then)}"
    if moved.left_out:
        yield f"  not tried: {moved.left_out}"
