"""A summary as what is kept of it in the result file."""

from __future__ import annotations

import numpy as np

from bedsim.analysis.figures import METRICS
from bedsim.analysis.summary import Summary, headline
from bedsim.results.answer import RunAnswer


def kept_answer(summary: Summary) -> RunAnswer:
    """The same numbers and the same sentence."""
    low, high = (summary.ranges.low, summary.ranges.high) if summary.ranges is not None else ({}, {})
    keys = summary.ranges.influences if summary.ranges is not None else ()
    shares = list(summary.shares.items())
    return RunAnswer(
        verdict=headline(summary),
        figure=tuple(m.name for m in METRICS),
        figure_unit=tuple(m.unit for m in METRICS),
        figure_text=tuple(m.text for m in METRICS),
        figure_where=tuple(summary.where.get(m.name, "") for m in METRICS),
        figure_value=np.array([summary.values[m.name] for m in METRICS]),
        figure_low=np.array([low.get(m.name, np.nan) for m in METRICS]),
        figure_high=np.array([high.get(m.name, np.nan) for m in METRICS]),
        source=tuple(f"{cause}, {corner}" if corner else cause for (cause, corner), _ in shares),
        source_cause=tuple(cause for (cause, _), _ in shares),
        source_corner=tuple(corner for (_, corner), _ in shares),
        source_height=np.array([values[0] for _, values in shares], dtype=float),
        source_lateral=np.array([values[1] for _, values in shares], dtype=float),
        key=tuple(k.key for k in keys),
        key_basis=tuple(k.basis for k in keys),
        key_swing=np.array([k.swing for k in keys], dtype=float),
    )
