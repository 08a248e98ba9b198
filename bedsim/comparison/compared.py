"""Runs side by side: what can be compared of them, and what changed by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis import metrics
from bedsim.analysis.cautions import cautions
from bedsim.analysis.figures import metric_values
from bedsim.analysis.objects import BY_LATERAL, only, shown_object
from bedsim.comparison.changed_keys import ChangedKey, changed_keys
from bedsim.comparison.difference import Difference, Open, differences
from bedsim.errors import InputError
from bedsim.number_text import number
from bedsim.results.layers import Array, LayerResult, Run
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import Shown
from bedsim.units import MM

FEWEST_LAYERS = 2
"""Fewer common layers than these have no difference to speak of."""
SAME_PLACE = 1e-6
"""Probes nearer than this (m) are at the same place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One run with its scenario, as the comparison names it; `software`: what it takes off of the run before
    it, "" where a part shows all."""

    label: str
    run: Run
    loaded: LoadedScenario
    software: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aligned:
    """Layers of all runs up to the height they have in common, at the probes they have in common."""

    layers: tuple[LayerResult, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Comparison(Shown):
    """Every run against the first one (SI); `differences` and `changed` have one entry per further run."""

    labels: tuple[str, ...]
    engines: tuple[str, ...]
    layers: tuple[LayerResult, ...]
    values: tuple[Mapping[str, float], ...]
    differences: tuple[tuple[Difference, ...], ...]
    changed: tuple[tuple[ChangedKey, ...], ...]
    swings: tuple[Open, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def compare(items: Sequence[Compared], swings: Sequence[Open] = ()) -> Comparison:
    """Compare runs with the first of them; `swings` (one per run, or none) give the differences a range.

    Raises InputError when the runs have no layers or no probes in common.
    """
    aligned = align(items)
    values = [metric_values(part, _leads(i)) for part, i in zip(aligned.layers, items, strict=True)]
    pairs = [(swings[0], s) for s in swings[1:]] if swings else [None] * (len(items) - 1)
    return Comparison(
        labels=tuple(i.label for i in items),
        engines=tuple(i.run.engine for i in items),
        layers=aligned.layers,
        values=tuple(values),
        differences=tuple(differences(values[0], v, p) for v, p in zip(values[1:], pairs, strict=True)),
        changed=tuple(changed_keys(items[0].loaded.scenario, i.loaded.scenario) for i in items[1:]),
        swings=tuple(swings),
        notes=(
            *aligned.notes,
            *(i.software for i in items if i.software),
            *_engine_note(items),
            *_learnt(items),
        ),
        cautions=tuple(dict.fromkeys(text for i in items for text in cautions(i.loaded.scenario))),
    )


def _leads(item: Compared) -> list[float]:
    return [c.screw.lead_mm * MM for c in item.loaded.scenario.corner]


def _learnt(items: Sequence[Compared]) -> tuple[str, ...]:
    """What readings have told of the machines."""
    known = [i.loaded.knowledge.sentences for i in items if i.loaded.knowledge is not None]
    return tuple(dict.fromkeys(text for sentences in known for text in sentences))


def _engine_note(items: Sequence[Compared]) -> tuple[str, ...]:
    used = {i.label: i.run.engine for i in items}
    if len(set(used.values())) < 2:
        return ()
    told = ", ".join(f"{label} {engine}" for label, engine in used.items())
    return (f"The runs come from different engines ({told}): part of a difference may be theirs.",)


# ---- what the runs have in common ---------------------------------------------------------------------


def align(items: Sequence[Compared]) -> Aligned:
    """Cut all runs to their common height and their common probes, and say what was left out.

    Figures of the same stretch of the same wall can be compared whatever the thickness of its layers: nothing
    is interpolated.  Raises InputError when fewer than two layers or no probe are left.
    """
    names, probe_note = _common_probes(items)
    notes, walls = list(probe_note), []
    for item in items:
        shown = shown_object(item.run.layers)
        walls.append(only(item.run.layers, shown.part))
        if shown.words:
            notes.append(f"{item.label}: {shown.words}, {BY_LATERAL}.")
    height = min(float(wall.print_height[-1]) for wall in walls)
    parts, cut = [], []
    for item, layers in zip(items, walls, strict=True):
        count = int(np.count_nonzero(layers.print_height <= height * (1.0 + 1e-9)))
        if count < FEWEST_LAYERS:
            raise InputError(
                f"{item.label}: has {count} of its layers below {number(height / MM, 4)} mm, where the "
                f"lowest print "
                f"ends; at least {FEWEST_LAYERS} are needed to compare."
            )
        if count < len(layers.layer):
            cut.append(f"{item.label} to layer {layers.layer[count - 1]} of {layers.layer[-1]}")
        parts.append(only(layers, slice(count), [layers.probe_name.index(n) for n in names]))
    if cut:
        notes.append(f"Compared up to the common height of {number(height / MM, 4)} mm: {', '.join(cut)}.")
    thickness = {number(_thickness(p) / MM, 4) for p in parts}
    if len(thickness) > 1:
        notes.append(
            f"Layers are {' and '.join(sorted(thickness))} mm thick: layer-thickness errors are per layer, "
            "and thick layers sample short bands coarsely."
        )
    return Aligned(layers=tuple(parts), notes=tuple(notes))


def _thickness(layers: LayerResult) -> float:
    return metrics.usual_thickness(layers.print_height)


def _common_probes(items: Sequence[Compared]) -> tuple[list[str], list[str]]:
    first = items[0].run.layers
    common = [
        name
        for name, place in zip(first.probe_name, first.probe_position, strict=True)
        if all(_has_probe(i.run.layers, name, place) for i in items)
    ]
    if not common:
        told = "; ".join(f"{i.label} has {', '.join(i.run.layers.probe_name)}" for i in items)
        raise InputError(
            f"probes: none has the same name and place in all runs ({told}). Give all scenarios the same "
            "[[probe]]s."
        )
    every = dict.fromkeys(n for i in items for n in i.run.layers.probe_name)
    missing = [n for n in every if n not in common]
    note = f"Only probes at the same place in all runs are compared; left out: {', '.join(missing)}."
    return common, [note] if missing else []


def _has_probe(layers: LayerResult, name: str, place: Array) -> bool:
    if name not in layers.probe_name:
        return False
    own = layers.probe_position[layers.probe_name.index(name)]
    return float(np.linalg.norm(own - place)) < SAME_PLACE


# ---- what is drawn ------------------------------------------------------------------------------------


def worst_probe(comparison: Comparison) -> int:
    """Index of the common probe with the largest lateral peak-to-valley in any of the runs."""
    extents = [metrics.lateral_peak_to_valley(part.lateral_error) for part in comparison.layers]
    return int(np.argmax(np.max(extents, axis=0)))
