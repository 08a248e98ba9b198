"""Objects printed one after the other: each is a wall of its own, of which one is shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.analysis import metrics
from bedsim.results import schema
from bedsim.results.layers import Array, LayerResult

Walls = Sequence[slice]
BY_LATERAL = "where the lateral error is largest"
OBJECTS = (
    f"Objects are printed one after the other. Walls and charts show {{}}, {BY_LATERAL}; each figure is that "
    "of the object where it is worst."
)
"""Said where one of several is shown, with its words."""
WHOLE: Walls = (slice(None),)


def largest(extent: Callable[[Array], Array], values: Array, walls: Walls = WHOLE) -> Array:
    """The extent of `values` (n, ...) over the layers, of the object where it is largest."""
    return np.asarray(np.max([extent(values[wall]) for wall in walls], axis=0))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownObject:
    """One of the objects of a run: its layers, its number from 1 and how many there are."""

    part: slice
    number: int
    count: int

    @property
    def words(self) -> str:
        """For titles and sentences; nothing where there is one only."""
        first, last = self.part.start + 1, self.part.stop
        return f"object {self.number} of {self.count}, layers {first} to {last}" if self.count > 1 else ""


def shown_object(layers: LayerResult) -> ShownObject:
    """The object whose lateral error is largest."""
    parts = metrics.objects(layers.print_height)
    extents = [metrics.lateral_peak_to_valley(layers.lateral_error[part]).max() for part in parts]
    worst = int(np.argmax(extents)) if len(parts) > 1 else 0
    return ShownObject(part=parts[worst], number=worst + 1, count=len(parts))


def only(layers: LayerResult, part: slice, probes: Sequence[int] | None = None) -> LayerResult:
    """Some layers, at some probes (indices; all by default), without time histories of others."""
    chosen = range(len(layers.probe_name)) if probes is None else probes
    kept: dict[str, Array] = {}
    for d in schema.of_group(schema.LAYERS_GROUP):
        if not d.field or d.kind == "text":
            continue
        values = getattr(layers, d.field)
        if d.dims[0] == "layer":
            values = values[part]
        if "probe" in d.dims:
            values = np.take(values, chosen, axis=d.dims.index("probe"))
        kept[d.field] = values
    names = tuple(layers.probe_name[p] for p in chosen)
    return replace(layers, probe_name=names, trace=(), **kept)  # type: ignore[arg-type]
