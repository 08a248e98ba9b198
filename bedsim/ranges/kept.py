"""Ranges as a result keeps them, and back."""

from __future__ import annotations

import dataclasses

import numpy as np

from bedsim.analysis.summary import Influence, Ranges
from bedsim.ranges.swings import Found
from bedsim.results.layers import Open, Run


def with_ranges(run: Run, found: Found) -> Run:
    """The run with what its uncertain numbers leave open."""
    ranges = found.ranges
    names = tuple(ranges.low)
    kept = Open(
        layer=run.layers.layer,
        figure=names,
        low=np.array([ranges.low[n] for n in names]),
        high=np.array([ranges.high[n] for n in names]),
        key=tuple(i.key for i in ranges.influences),
        basis=tuple(i.basis for i in ranges.influences),
        swing=np.array([i.swing for i in ranges.influences]),
        spread=found.spread,
        method=found.method,
    )
    return dataclasses.replace(run, open=kept)


def ranges_of(run: Run) -> Ranges | None:
    """The ranges that a run keeps; None where none were found, or before results kept them."""
    if run.open is None:
        return None
    kept = run.open
    return Ranges(
        low=dict(zip(kept.figure, map(float, kept.low), strict=True)),
        high=dict(zip(kept.figure, map(float, kept.high), strict=True)),
        influences=tuple(
            Influence(key=k, basis=b, swing=float(s))
            for k, b, s in zip(kept.key, kept.basis, kept.swing, strict=True)
        ),
    )
