"""Ranges as a result keeps them, and back."""

from __future__ import annotations

import dataclasses

import numpy as np

from bedsim.analysis.summary import Influence, Ranges
from bedsim.ranges.swings import Found
from bedsim.results.layers import Open, Run


def with_ranges(run: Run, found: Found) -> Run:
    """The run with what its uncertain numbers leave open."""
    kept = Open(layer=run.layers.layer, spread=found.spread, method=found.method)
    return dataclasses.replace(run, open=kept)


def ranges_of(run: Run) -> Ranges | None:
    """The ranges that a run keeps; None where none were found, or before results kept them."""
    kept = run.answer
    if kept is None or run.open is None:
        return None
    known = np.isfinite(kept.figure_low)
    names = [name for name, there in zip(kept.figure, known, strict=True) if there]
    return Ranges(
        low=dict(zip(names, map(float, kept.figure_low[known]), strict=True)),
        high=dict(zip(names, map(float, kept.figure_high[known]), strict=True)),
        influences=tuple(
            Influence(key=k, basis=b, swing=float(s))
            for k, b, s in zip(kept.key, kept.key_basis, kept.key_swing, strict=True)
        ),
    )
