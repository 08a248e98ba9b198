"""What a run says of a part's own program: how it was read, where it lays too early, where its walls show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from bedsim.number_text import number
from bedsim.program.laid import Laid
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM, UM
from bedsim.wall.outlines import OutlineWall, outline_walls, tried_places, worst_stretch

Index = NDArray[np.int64]

SOON = 0.1  # s: a bed that has moved may still swing (a mode of 20 Hz at 3 % of damping loses a third in it)
MATTERS = 1.1  # times more at one place of the bed than at another
FEW = 6  # layers named one by one


def program_sentences(loaded: LoadedScenario) -> list[str]:
    """What is known of a program before it is printed; nothing without one."""
    laid = loaded.scenario.print.laid
    return [] if laid is None else [*_read(loaded, laid), *_speeds(loaded, laid), *_early(laid)]


def printed_sentences(layers: LayerResult, loaded: LoadedScenario) -> list[str]:
    """What a run shows of it: ridges of layers that lay too early, the worst band, better places."""
    laid = loaded.scenario.print.laid
    if laid is None:
        return []
    walls = outline_walls(layers, loaded)
    return [*_ridges(laid, walls), *_worst(loaded, walls), *_places(layers, loaded, walls)]


def _read(loaded: LoadedScenario, laid: Laid) -> Iterator[str]:
    job = loaded.scenario.print
    objects = len(np.unique(laid.first))
    several = f" in {objects} objects one after the other" if objects > 1 else ""
    thin, thick = float(laid.thickness.min()), float(laid.thickness.max())
    heights = number(thin) if thick - thin < 1e-3 else f"{number(thin)} to {number(thick)}"
    took = _clock(float((laid.printing + laid.settle + laid.after).sum()))
    yield (
        f"Program {job.program}: {laid.count} layers of {heights} mm{several}, "
        f"{number(job.part_mass_kg * 1000)} g, {took} at {number(laid.settings.acceleration)} mm/s2; its "
        f"centre stands at ({job.part_x_mm:.0f}, {job.part_y_mm:.0f}) mm on the bed."
    )
    if laid.primed:
        yield f"Left out: what is laid ahead of the part and higher ({laid.primed} heights), as priming."
    if laid.passed:
        words = ", ".join(f"{word} ({count})" for word, count in sorted(laid.passed.items()))
        yield f"Passed on unread, with how often: {words}."
    if laid.outlines.size == 0:
        yield "No closed outer wall was found in it: errors are told at the probes alone."


def _speeds(loaded: LoadedScenario, laid: Laid) -> Iterator[str]:
    """At which speeds Z moves, and where the machine's own limit stands in their place."""
    most = loaded.scenario.motion.speed_mm_s
    held = (
        (laid.speed == 0) | (laid.speed > most) | ((laid.hop > 0) & ((laid.back == 0) | (laid.back > most)))
    )
    own = np.flatnonzero(~held)
    if own.size:
        back = laid.back[own][laid.hop[own] > 0]
        hops = f", back from hops at {_range(back)}" if back.size else ""
        yield f"Z moves at {_range(laid.speed[own])} mm/s{hops}, as its words F say ({_numbers(own)})."
    asked = np.maximum(laid.speed, np.where(laid.hop > 0, laid.back, 0.0))[held]
    if held.any():
        words = (
            f"the program asks for up to {number(float(asked.max()))}" if asked.any() else "no word F says"
        )
        yield (
            f"Z moves at {number(most)} mm/s at most, motion.speed_mm_s, where {words} "
            f"({_numbers(np.flatnonzero(held))})."
        )


def _range(values: Array) -> str:
    ends = dict.fromkeys(number(float(v)) for v in (values.min(), values.max()))
    return " to ".join(ends)


def _numbers(index: Index) -> str:
    """Layers by their numbers, those that follow each other as a range."""
    groups = np.split(index + 1, np.flatnonzero(np.diff(index) > 1) + 1)
    if len(groups) > FEW:
        return f"{index.size} layers, {index[0] + 1} the first"
    told = [f"{g[0]}" if g.size == 1 else f"{g[0]} to {g[-1]}" for g in groups]
    return f"{'layer' if index.size == 1 else 'layers'} {', '.join(told)}"


def _clock(seconds: float) -> str:
    minutes = max(round(seconds / 60), 1)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"


def without_hop(laid: Laid) -> Index:
    """Indices of layers that begin without a hop where others begin with one."""
    rises = laid.first != np.arange(1, laid.count + 1)
    bare = rises & (laid.hop == 0)
    return np.flatnonzero(bare & np.any(rises & ~bare))


def soon(laid: Laid) -> Index:
    """Indices of layers that lay within `SOON` of the bed's motion."""
    return np.flatnonzero(laid.settle < SOON)


def _early(laid: Laid) -> Iterator[str]:
    """Warnings that need no run."""
    bare = without_hop(laid)
    if bare.size:
        later = np.count_nonzero(laid.hops_inside[bare] > 0)
        late = f" ({later} hop later, after they have begun to lay)" if later else ""
        yield (
            f"{_layers(bare)} without a hop{late}, the others after one: friction then leaves the bed "
            "elsewhere. Hop before every layer or before none."
        )
    early = soon(laid)
    if early.size:
        least = number(float(laid.settle[early].min()) * 1000, 2)
        yield (
            f"{_layers(early)} as soon as {least} ms after the bed has moved, while it may still swing: "
            f"a pause of {number(SOON * 1000)} ms (G4) after the last word Z lets it come to rest."
        )


def _layers(index: Index) -> str:
    numbers = [str(k + 1) for k in index]
    if len(numbers) == 1:
        return f"Layer {numbers[0]} begins"
    if len(numbers) > FEW:
        return f"{len(numbers)} layers, {numbers[0]} the first, begin"
    return f"Layers {', '.join(numbers[:-1])} and {numbers[-1]} begin"


def _ridges(laid: Laid, walls: Sequence[OutlineWall]) -> Iterator[str]:
    """What layers without a hop do to the wall."""
    bare = without_hop(laid)
    if not bare.size or not walls:
        return
    marked = np.zeros(laid.count + 2, dtype=bool)
    marked[bare] = marked[bare + 1] = True  # the layer after it is laid on what it left
    there = elsewhere = 0.0
    for wall in walls:
        ridge = np.abs(np.diff(wall.relief, axis=0)).max(axis=1)
        of = marked[wall.layer[1:] - 1]
        there = max(there, float(ridge[of].max(initial=0.0)))
        elsewhere = max(elsewhere, float(ridge[~of].max(initial=0.0)))
    yield (
        f"Where layers begin without a hop, or follow on one, the wall steps by up to {_um(there)} from a "
        f"layer to the next; elsewhere by {_um(elsewhere)}."
    )


def _worst(loaded: LoadedScenario, walls: Sequence[OutlineWall]) -> Iterator[str]:
    lead = max(c.screw.lead_mm for c in loaded.scenario.corner) * MM
    found = worst_stretch(walls, lead)
    if found is None:
        return
    wall = found.wall
    x, y = wall.place[found.first, found.around] / MM
    error = max(float(np.abs(w.thickness_error).max()) for w in walls)
    low, high = (number(height / MM) for height in found.heights)
    many = f"{len(walls)} of them" if len(walls) > 1 else "one"
    yield (
        f"The part's own outer walls ({many}): the worst band is {_um(found.size)} of relief, {low} to "
        f"{high} mm high, on the side facing {found.facing}, at ({x:.0f}, {y:.0f}) mm on the bed. A layer's "
        f"thickness where it is laid is off by {_um(error)} at most."
    )


def _places(layers: LayerResult, loaded: LoadedScenario, walls: Sequence[OutlineWall]) -> Iterator[str]:
    found = tried_places(layers, loaded, walls)
    if found is None:
        return
    if found.most < MATTERS * found.least:
        ends = dict.fromkeys((_um(found.least), _um(found.most)))
        yield (
            f"Where on the bed it stands hardly matters: its walls show {_um(found.here)}, peak to valley, "
            f"and would show {' to '.join(ends)} elsewhere."
        )
        return
    (a, b), (c, d) = ((x / MM, y / MM) for x, y in (found.least_at, found.most_at))
    yield (
        f"Where it stands its walls show {_um(found.here)}, peak to valley; with its middle at ({a:.0f}, "
        f"{b:.0f}) mm they would show {_um(found.least)}, at ({c:.0f}, {d:.0f}) mm {_um(found.most)} (its "
        "weight counted where it stands now)."
    )


def _um(value: float) -> str:
    return "less than 0.01 µm" if value < 0.01 * UM else f"{number(value / UM, 2)} µm"
