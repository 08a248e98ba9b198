"""A comparison in words: tables for a terminal, and one sentence that says what changed by how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from bedsim.analysis.cautions import warnings
from bedsim.analysis.figures import METRICS, Metric, metric_text
from bedsim.analysis.printed import FLOOR, quantity, rounded, span
from bedsim.analysis.requirements import NAMES, Requirement
from bedsim.comparison.changed_keys import ChangedKey
from bedsim.comparison.compared import Comparison
from bedsim.comparison.difference import Difference, shared_keys
from bedsim.number_text import number
from bedsim.quantities import FIGURES
from bedsim.units import DEG

_LEAST = {"m": FLOOR, "N": 1e-3, "rad": 1e-3 * DEG}
"""Differences below these are not told: the solvers' own noise."""

MOST_KEYS = 6
"""Keys that differ and are named; more are counted."""


def table_lines(comparison: Comparison) -> list[str]:
    """What differs, the figures and their differences, as lines for a terminal."""
    lines = [line for label, keys in _others(comparison) for line in _changed_lines(label, keys)]
    return [*lines, "", *_values_table(comparison), "", *_difference_table(comparison)]


def remarks(comparison: Comparison) -> list[str]:
    """What a comparison must not be read without, one paragraph each."""
    told = [
        f"Warning: {label}: {text}"
        for label, layers in zip(comparison.labels, comparison.layers, strict=True)
        for text in warnings(layers)
    ]
    return [*comparison.notes, _method(comparison), *told, *comparison.cautions]


def verdicts(comparison: Comparison) -> list[str]:
    """One sentence for every run after the first."""
    return [
        verdict(comparison.labels[0], label, comparison, found)
        for label, found in zip(comparison.labels[1:], comparison.differences, strict=True)
    ]


def _others(comparison: Comparison) -> list[tuple[str, Sequence[ChangedKey]]]:
    return list(zip(comparison.labels[1:], comparison.changed, strict=True))


def _changed_lines(label: str, keys: Sequence[ChangedKey]) -> list[str]:
    if not keys:
        return [f"{label}: the same scenario."]
    told = [f"  {k.key} = {_plain(k.other)} instead of {_plain(k.first)}" for k in keys[:MOST_KEYS]]
    more = len(keys) - MOST_KEYS
    return [
        f"{label} differs in:",
        *told,
        *([f"  and {more} more key{'s' * (more > 1)}"] if more > 0 else []),
    ]


def _plain(value: Any) -> str:
    if value is None:
        return "nothing"
    return f"{value:g}" if isinstance(value, float) else str(value)


# ---- tables -------------------------------------------------------------------------------------------


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  " + "  ".join(v.ljust(w) for v, w in zip(row, widths, strict=True)).rstrip() for row in rows]


def shown_figures() -> list[Metric]:
    """All figures but the solver's own."""
    of_solver = [q.name for q in FIGURES if q.of_solver]
    return [m for m in METRICS if m.name not in of_solver]


def _values_table(comparison: Comparison) -> list[str]:
    head = ["figure (worst over the print)", *comparison.labels]
    return _table(
        [head, *([m.text, *(metric_text(m, v[m.name]) for v in comparison.values)] for m in shown_figures())]
    )


def _difference_table(comparison: Comparison) -> list[str]:
    first = comparison.labels[0]
    head = ["difference", *(f"{label} - {first}" for label in comparison.labels[1:])]
    rows = [head]
    for metric in shown_figures():
        found = [_by_name(d, metric.name) for d in comparison.differences]
        rows.append([metric.text, *(change_text(d, metric.unit) for d in found)])
    return _table(rows)


def _by_name(found: Sequence[Difference], name: str) -> Difference:
    return next(d for d in found if d.name == name)


def change_text(difference: Difference, unit: str) -> str:
    """A difference with its sign, and its range where one is known: "-65 µm (-100 to -31)"."""
    if math.isnan(difference.change):
        return "unknown"
    bounds = [v for v in (difference.change, difference.low, difference.high) if not math.isnan(v)]
    if max(abs(v) for v in bounds) < _LEAST[unit]:
        return "none"
    text, *ends = (_signed(v, unit) for v in bounds)
    if not ends:
        return text
    low, high = ends
    same = low.partition(" ")[2] == high.partition(" ")[2]
    return f"{text} ({low.partition(' ')[0] if same else low} to {high})"


def _signed(value: float, unit: str) -> str:
    if abs(value) < _LEAST[unit]:
        return quantity(0.0, unit).replace("less than 0.01", "0")
    return f"{'+' if value > 0 else ''}{quantity(value, unit)}"


# ---- sentences ----------------------------------------------------------------------------------------


def verdict(first: str, other: str, comparison: Comparison, found: Sequence[Difference]) -> str:
    """What changed by how much, with its uncertainty where there is one."""
    sideways = _clause(_by_name(found, "lateral_pv"), "sideways")
    up = _clause(_by_name(found, "height_pv"), "in height")
    place = comparison.labels.index(other)
    values = comparison.values
    instead = (
        f"{quantity(values[place]['lateral_pv'], 'm')} instead of {quantity(values[0]['lateral_pv'], 'm')}"
        f"{_factor(_by_name(found, 'lateral_pv'))}"
    )
    told = f"Against {first}, {other} strays {sideways}: {instead}; {up}."
    return f"{told} Peak to valley, worst place of the bed."


def _clause(d: Difference, where: str) -> str:
    if abs(d.change) < FLOOR and not d.is_open:
        return f"as far {where}"
    text = f"{_more(d.change)} {where}"
    if math.isnan(d.low):
        return text
    if d.is_open:
        ends = f"{_more(d.low)} to {_more(d.high)}"
        return f"{text} ({ends}: the uncertain numbers leave open which is better)"
    low, high = sorted((abs(d.low), abs(d.high)))
    return f"{text} ({span(low, high, 'm')})"


def _more(change: float) -> str:
    if abs(change) < FLOOR:
        return "no more"
    return f"{quantity(abs(change), 'm')} {'more' if change > 0 else 'less'}"


def _factor(d: Difference) -> str:
    """The ratio, where both errors are large enough for one."""
    if math.isnan(d.ratio) or d.ratio <= 0.0:
        return ""
    text = f", {rounded(d.ratio)} times as much"
    if math.isnan(d.ratio_low):
        return text
    return f"{text} ({rounded(d.ratio_low)} to {rounded(d.ratio_high)})"


def _method(comparison: Comparison) -> str:
    if not comparison.swings:
        return "Differences are between the likely answers; no range was computed."
    first, *others = comparison.swings
    if not any(s.changes for s in comparison.swings):
        return "Differences have no range: the scenarios give no number as uncertain."
    counts = [shared_keys(first, s) for s in others]
    told = "; ".join(
        f"{label}: {both} keys common to both, {single} of one alone"
        for label, (both, single) in zip(comparison.labels[1:], counts, strict=True)
    )
    left = sum(len(s.left_out) for s in comparison.swings)
    text = (
        "Ranges of differences: every uncertain key alone at its low and high, the same value in both "
        f"machines where they share it, both at rest, joined by root-sum-square ({told})."
    )
    return text + (f" {left} could not be varied." if left else "")


def requirement_lines(comparison: Comparison, requirements: Sequence[Requirement]) -> tuple[list[str], bool]:
    """One line per condition and run after the first, and whether all are met."""
    lines, met = [], True
    for requirement in requirements:
        for place, label in enumerate(comparison.labels[1:], start=1):
            values, first = comparison.values[place], comparison.values[0]
            holds = requirement.holds(values, first)
            met &= holds
            found = requirement.value(values, first)
            told = number(found, 4)
            if math.isnan(found):
                metric = NAMES[requirement.name][0]
                told = f"{metric} is not known from engine {comparison.engines[place]}"
            lines.append(f"required {requirement.text}: {'met' if holds else 'missed'} by {label} ({told})")
    return lines, met
