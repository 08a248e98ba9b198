"""What a run says, in one sentence and a page of figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bedsim.analysis.cautions import cautions, leaning, one_caution, warnings
from bedsim.analysis.figures import (
    METRICS,
    CornerFigures,
    Metric,
    WorstBand,
    band_window,
    corner_figures,
    metric_text,
    metric_values,
    places_of_worst,
    worst_band,
)
from bedsim.analysis.move_speeds import shaken_warnings
from bedsim.analysis.printed import FLOOR, quantity, span
from bedsim.number_text import number
from bedsim.quantities import PER_CORNER
from bedsim.results.layers import Run
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Scenario
from bedsim.units import MM, UM

MOST_TOLD = 5
"""Keys told of a list."""

CHOSEN = ("height_mm", "first_layer_nut_mm", "element_radius_mm", "current_percent", "magnet_force_n")
"""Ends of keys that a builder chooses."""

Shares = Mapping[tuple[str, str], tuple[float, float]]
"""(cause, corner) -> peak-to-valley it contributes to height and to lateral error, m."""

GUESSES = ("estimated", "default")
"""What a number may rest on without ever having been looked up or measured for this machine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """An uncertain key and how far it alone moves the lateral peak-to-valley over its range (m)."""

    key: str
    basis: str
    swing: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """Answers as ranges: low and high per metric name, and the keys that move the answer most, largest
    first.
    """

    low: Mapping[str, float]
    high: Mapping[str, float]
    influences: tuple[Influence, ...]

    @property
    def guessed_share(self) -> float:
        """Part of the squared swings that comes from keys resting on a guess; NaN when nothing moves."""
        squares = [i.swing**2 for i in self.influences]
        guessed = sum(i.swing**2 for i in self.influences if i.basis in GUESSES)
        return guessed / sum(squares) if sum(squares) > 0 else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Everything the summary page says, as numbers (SI) and finished sentences."""

    title: str
    engine: str
    layers: int
    values: Mapping[str, float]  # per metric name
    where: Mapping[str, str]  # probe or corner of the worst, per metric name
    corners: tuple[CornerFigures, ...]
    band: WorstBand
    shares: Shares
    split: tuple[str, ...]  # where the lateral error comes from, in lines
    ranges: Ranges | None
    uncertain_keys: int  # numbers of the scenario that are not known exactly
    guessed_keys: int  # those among them that rest on a guess
    targets: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]


# ---- numbers ------------------------------------------------------------------------------------------


def _targets(scenario: Scenario, values: Mapping[str, float]) -> tuple[str, ...]:
    wanted = {"lateral": scenario.target.lateral_pv_um, "height": scenario.target.height_pv_um}
    lines = []
    for name, limit in wanted.items():
        if limit is not None:
            met = "met" if values[f"{name}_pv"] <= limit * UM else "missed"
            lines.append(f"target {met}: {name} error of at most {limit:g} µm peak to valley")
    return tuple(lines)


def summarise(
    run: Run,
    loaded: LoadedScenario,
    shares: Shares | None = None,
    ranges: Ranges | None = None,
    split: Sequence[str] = (),
) -> Summary:
    """Sum up a run; `shares` say what each cause contributes, `ranges` what the uncertain keys leave open,
    `split` in lines how the lateral error adds up."""
    scenario, layers = loaded.scenario, run.layers
    leads = [c.screw.lead_mm * MM for c in scenario.corner]
    values = metric_values(layers, leads)
    return Summary(
        title=scenario.title,
        engine=run.engine,
        layers=len(layers.layer),
        values=values,
        where=places_of_worst(layers),
        corners=corner_figures(layers, leads),
        band=worst_band(layers, band_window(layers, leads)),
        shares=shares or {},
        split=tuple(split),
        ranges=ranges,
        uncertain_keys=len(loaded.ranges),
        guessed_keys=sum(r.basis in GUESSES for r in loaded.ranges),
        targets=_targets(scenario, values),
        notes=run.notes,
        warnings=(*warnings(layers), *leaning(scenario, layers), *shaken_warnings(loaded, layers)),
        cautions=cautions(scenario),
    )


# ---- words --------------------------------------------------------------------------------------------


FIRST_CAUSES, FIRST_KEYS = 3, 3


def summary_lines(summary: Summary, walls: Sequence[str] = ()) -> list[str]:
    """The summary as lines for a terminal, not yet broken: one sentence first, `walls` told under it, what
    matters on one screen, then everything in detail."""
    told = [headline(summary), *(f"  {wall}" for wall in walls), *_first_screen(summary)]
    return [*told, "", "In detail:", *_detail_lines(summary)]


def _first_screen(summary: Summary) -> list[str]:
    """What matters, on one screen: causes, what to measure next, limits passed, cautions."""
    lines = _share_lines(summary.shares, FIRST_CAUSES)
    if summary.ranges is not None:
        head = "What to measure next (lateral error over each key's own range):"
        lines += _influence_list(head, to_measure(summary.ranges)[:FIRST_KEYS])
    told = [*summary.targets, *(f"Warning: {w}" for w in summary.warnings)]
    return [*lines, "", *told, one_caution(summary.cautions)]


def _detail_lines(summary: Summary) -> list[str]:
    """All figures and tables as lines for a terminal, and the run's notes."""
    lines = [_metric_line(summary, m) for m in METRICS]
    lines += [_band_line(summary.band), ""]
    lines += _corner_table(summary.corners)
    lines += _share_lines(summary.shares)
    lines += ["", *summary.split] if summary.split else []
    lines += _influence_lines(summary.ranges)
    return [*lines, "", *summary.notes] if summary.notes else lines


def headline(summary: Summary) -> str:
    """How far sideways, how far in height, mainly from which cause, how much of it rests on guesses."""
    sideways, up = (told_range(summary, name) for name in ("lateral_pv", "height_pv"))
    where, above = (_where(summary, name) for name in ("lateral_pv", "height_pv"))
    one = where == above
    parts = [
        f"The bed strays {sideways} sideways{'' if one else where} and {up} in height{above} (peak to "
        f"valley, worst place{'' if one else 's'})"
    ]
    return f"{', '.join(parts + _causes(summary))}.{_guesses(summary)}"


def _where(summary: Summary, name: str) -> str:
    """Where an error is worst; "" where there is none."""
    return f" at {summary.where[name]}" if summary.values[name] >= FLOOR else ""


def told_range(summary: Summary, name: str) -> str:
    """A figure as its range, or as one number where it has none."""
    metric = next(m for m in METRICS if m.name == name)
    r = summary.ranges
    if r is not None and name in r.low and name in r.high:
        return span(r.low[name], r.high[name], metric.unit)
    return metric_text(metric, summary.values[name])


def _causes(summary: Summary) -> list[str]:
    if not summary.shares or max(summary.values["lateral_pv"], summary.values["height_pv"]) < FLOOR:
        return []
    sideways, up = main_cause(summary.shares, 1), main_cause(summary.shares, 0)
    if sideways == up:
        return [f"mainly from {sideways}"]
    return [f"sideways mainly from {sideways}", f"in height mainly from {up}"]


def main_cause(shares: Shares, which: int) -> str:
    """The cause with the largest summed share, with its corner where one corner makes more than half of it.

    `which`: 0 height, 1 lateral.
    """
    totals: dict[str, float] = {}
    for (cause, _), values in shares.items():
        totals[cause] = totals.get(cause, 0.0) + values[which]
    cause = max(totals, key=lambda name: totals[name])
    corner, largest = max(
        ((corner, v[which]) for (c, corner), v in shares.items() if c == cause), key=lambda pair: pair[1]
    )
    return f"{cause} at {corner}" if corner and largest > 0.5 * totals[cause] else cause


def _guesses(summary: Summary) -> str:
    if summary.ranges is None:
        if not summary.uncertain_keys:
            return ""
        return f" {summary.guessed_keys} of {summary.uncertain_keys} uncertain numbers behind it are guesses."
    share = summary.ranges.guessed_share
    return "" if np.isnan(share) else f" {_in_tenths(share)} of this range comes from guessed inputs."


def _in_tenths(share: float) -> str:
    percent = 10 * round(10 * share)
    return {0: "Next to nothing", 100: "Nearly all"}.get(percent, f"{percent} %")


def _metric_line(summary: Summary, metric: Metric) -> str:
    value = abs(summary.values[metric.name])
    told = not np.isnan(value) and (metric.unit != "m" or value >= FLOOR)
    place = summary.where.get(metric.name) if told else None
    line = f"  {metric.text:<46}{told_range(summary, metric.name)}"
    return f"{line}  ({place})" if place else line


def _band_line(band: WorstBand) -> str:
    heights = f"{number(band.bottom / MM, 4)} to {number(band.top / MM, 4)} mm"
    place = f"{heights}, layers {band.first_layer} to {band.last_layer}"
    text = "worst height band, lateral peak to valley"
    return f"  {text:<46}{quantity(band.lateral_pv, 'm')}  ({place}, {band.probe})"


def _corner_table(corners: Sequence[CornerFigures]) -> list[str]:
    head = ("corner", "lead", "on the wall", "sideways", "height", *(q.columns[0] for q in PER_CORNER))
    rows = [head, *(_corner_row(c) for c in corners)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
    text = ["  " + "  ".join(v.ljust(w) for v, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    note = "  Sideways and height: amplitude at the wavelength on the wall, at the probe nearest the screw."
    return ["Per corner:", *text, note]


def _corner_row(c: CornerFigures) -> tuple[str, ...]:
    seen = "none" if np.isinf(c.wall_wavelength) else f"{number(c.wall_wavelength / MM)} mm"
    told = [quantity(v, "m") for v in (c.lateral_amplitude, c.height_amplitude)]
    told += [metric_text(q, c.worst[q.name]) for q in PER_CORNER]
    return (c.name, f"{c.lead / MM:g} mm", seen, *(text.replace("less than ", "<") for text in told))


def told_shares(shares: Shares, most: int = 8) -> list[tuple[str, str, str]]:
    """What each cause makes alone, what makes most first: its name, how far sideways and in height."""
    told = sorted(shares.items(), key=lambda item: -max(item[1]))
    return [
        (f"{cause}, {corner}" if corner else cause, quantity(lateral, "m"), quantity(height, "m"))
        for (cause, corner), (height, lateral) in told
        if max(height, lateral) >= FLOOR
    ][:most]


def _share_lines(shares: Shares, most: int = 8) -> list[str]:
    told = told_shares(shares, most)
    wide = max((len(name) for name, _, _ in told), default=0) + 4
    head = ["", "What each cause alone contributes, peak to valley:"] if told else []
    return [*head, *(f"  {name:<{wide}}{aside} sideways, {up} in height" for name, aside, up in told)]


def _influence_lines(ranges: Ranges | None) -> list[str]:
    """What to measure and what to choose, in lines."""
    if ranges is None:
        return []
    return [
        *_influence_list(
            "What to measure next (lateral error over each key's own range):", to_measure(ranges)
        ),
        *_influence_list("What to choose (bedsim improve ranks it):", to_choose(ranges)),
    ]


def to_measure(ranges: Ranges) -> list[Influence]:
    """Conditions to be measured, those that move the answer most first; a measured key never heads them."""
    told = [i for i in ranges.influences if i.swing >= FLOOR and not is_choice(i.key)]
    unknown = sorted(told, key=lambda i: i.basis == "measured")
    return [] if unknown and unknown[0].basis == "measured" else unknown[:MOST_TOLD]


def to_choose(ranges: Ranges) -> list[Influence]:
    """What a builder chooses, what moves the answer most first."""
    return [i for i in ranges.influences if i.swing >= FLOOR and is_choice(i.key)][:MOST_TOLD]


def _influence_list(head: str, told: Sequence[Influence]) -> list[str]:
    rows = [f"  {i.key:<46}moves it by {quantity(i.swing, 'm')}  ({i.basis})" for i in told]
    return ["", head, *rows] if rows else []


def is_choice(key: str) -> bool:
    """Whether a key is a builder's to choose (a place, a setting) rather than a condition to be measured."""
    return key.rpartition(".")[2].endswith(CHOSEN)
