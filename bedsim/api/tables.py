"""What every answer shows of itself: a few rows, with the words that the commands use."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from bedsim.analysis.figures import METRICS, metric_text, metric_values
from bedsim.analysis.printed import quantity, span
from bedsim.analysis.sizing_report import SizingReport
from bedsim.comparison.compared import Comparison
from bedsim.comparison.text import shown_figures
from bedsim.compensate.advice import Compensation
from bedsim.compensate.text import headline as compensation_headline
from bedsim.errors import BedsimError
from bedsim.improve.findings import Improvement
from bedsim.improve.text import headline, times
from bedsim.learn.learned import Learned
from bedsim.metrology.gauged import Gauged
from bedsim.metrology.snippet import MeasuredKey
from bedsim.number_text import number
from bedsim.quantities import FIGURES
from bedsim.results.answer import RunAnswer
from bedsim.results.layers import Run
from bedsim.results.reload import scenario_of
from bedsim.results.sweep import CellResult, SweepResult
from bedsim.scenario.load import LoadedScenario
from bedsim.shown import ShownTable
from bedsim.sweep.answers import has_target
from bedsim.units import MM

MOST_ROWS = 12


def table_of(answer: Any) -> ShownTable | None:
    """The table of an answer; None where it has none."""
    made = _MADE.get(type(answer))
    return None if made is None else made(answer)


def _run(run: Run) -> ShownTable:
    layers = run.layers
    try:
        scenario = scenario_of(run, "run").scenario
        title, leads = scenario.title, [c.screw.lead_mm * MM for c in scenario.corner]
    except BedsimError:  # made by a bedsim that knew other keys
        title, leads = "run", []
    values = metric_values(layers, leads) if leads else {}
    answer = run.answer
    ends = {} if answer is None else dict(_ends(answer))
    hidden = {q.name for q in FIGURES if q.of_solver}
    rows = []
    for m in METRICS:
        if m.name in values and m.name not in hidden:
            low, high = ends.get(m.name, (float("nan"), float("nan")))
            rows.append(
                (m.text, metric_text(m, values[m.name]), span(low, high, m.unit) if low == low else "")
            )
    count = f"{len(layers.layer)} layers, {len(layers.probe_name)} probes, {len(layers.corner_name)} screws"
    below = () if answer is None else (answer.verdict,)
    return ShownTable(
        title=f"{title}: {count}, {run.engine}",
        head=("worst over the print", "value", "range"),
        rows=tuple(rows),
        below=below,
    )


def _ends(answer: RunAnswer) -> Iterator[tuple[str, tuple[float, float]]]:
    for name, low, high in zip(answer.figure, answer.figure_low, answer.figure_high, strict=True):
        yield name, (float(low), float(high))


def _sweep(result: SweepResult) -> ShownTable:
    asked = has_target(result)
    head = ("cell", "", "printers", "lateral, median", "height, median", *(("meets",) if asked else ()))
    rows = [_cell(c, result, asked) for c in result.cells[:MOST_ROWS]]
    more = len(result.cells) - len(rows)
    return ShownTable(
        title=f"{result.title}: {len(result.cells)} cells, {result.engine}",
        head=head,
        rows=tuple(rows),
        below=(f"and {more} more cells",) if more else (),
    )


def _cell(cell: CellResult, result: SweepResult, asked: bool) -> tuple[str, ...]:
    middle = [f"{x:g}" for x in result.levels].index("0.5")
    told = [
        quantity(cell.quantiles[middle, result.metrics.index(n)], "m") for n in ("lateral_pv", "height_pv")
    ]
    meets = (f"{100 * cell.probability:.0f} %",) if asked else ()
    return (str(cell.index), cell.label, str(cell.members), *told, *meets)


def _scenario(loaded: LoadedScenario) -> ShownTable:
    s = loaded.scenario
    rows = [
        (
            c.name,
            f"{c.x_mm:g}, {c.y_mm:g}",
            f"{c.screw.kind} {c.screw.diameter_mm:g} x {c.screw.lead_mm:g}",
            c.screw.ends,
            c.joint.kind,
            c.guide.kind,
        )
        for c in s.corner
    ]
    bed = f"bed {s.bed.size_x_mm:g} x {s.bed.size_y_mm:g} mm"
    return ShownTable(
        title=f"{s.title or loaded.name}: {s.print.layers} layers of {s.print.layer_mm:g} mm, {bed}",
        head=("corner", "place, mm", "screw, mm", "ends", "joint", "guide"),
        rows=tuple(rows),
        below=(f"{len(loaded.ranges)} numbers are not known exactly",) if loaded.ranges else (),
    )


def _comparison(found: Comparison) -> ShownTable:
    return ShownTable(
        title="Worst over the print",
        head=("", *found.labels),
        rows=tuple((m.text, *(metric_text(m, v[m.name]) for v in found.values)) for m in shown_figures()),
        below=found.notes,
    )


def _sizing(report: SizingReport) -> ShownTable:
    asked = sorted((c for c in report.checks if c.margin is not None), key=lambda c: c.margin or 0.0)
    return ShownTable(
        title=f"{report.title}: smallest margins (1: just reached; no proof)",
        head=("", "value", "limit", "unit", "margin", "at"),
        rows=tuple(
            (c.name, number(c.value), number(c.limit or 0.0), c.unit, number(c.margin or 0.0, 2), c.corner)
            for c in asked[:MOST_ROWS]
        ),
    )


def _improvement(found: Improvement) -> ShownTable:
    rows = [(t.trial.words, times(t.trial.gain(found.aim)), f"{t.cost:.0f}", t.refused) for t in found.gains]
    return ShownTable(
        title=headline(found), head=("change", "gain", "EUR", "refused"), rows=tuple(rows[:MOST_ROWS])
    )


def _compensation(found: Compensation) -> ShownTable:
    rows = []
    for way in found.ways:
        left = way.left
        told = ("", "", "") if left is None else (left.lateral, left.stepped, left.height)
        rows.append((way.name, *(v if isinstance(v, str) else quantity(v, "m") for v in told), way.refused))
    return ShownTable(
        title=f"{found.title}: what is left, peak to valley at the worst place",
        head=("taken off", "sideways", f"X, Y in {quantity(found.asked.step, 'm')}", "height", "not here"),
        rows=tuple(rows),
        below=(compensation_headline(found),),
    )


def _learned(found: Learned) -> ShownTable:
    rows = []
    for text, name in (("sideways", "lateral"), ("in height", "height")):
        (low, middle, high), (first, _, last) = found.after.ends(name), found.before.ends(name)
        rows.append((text, quantity(middle, "m"), span(low, high, "m"), span(first, last, "m")))
    return ShownTable(
        title="The bed strays, peak to valley at the worst probe",
        head=("", "likely", "90 % lie in", "before"),
        rows=tuple(rows),
    )


def _gauged(found: Gauged) -> ShownTable:
    rows = [
        (f"{k.table}.{k.key}", f"{k.likely:.4g}", f"{k.uncertainty:.2g}")
        if isinstance(k, MeasuredKey)
        else (f"{k.table}.{k.key}", k.value, "")
        for k in found.keys
    ]
    return ShownTable(
        title=f"{found.test} test",
        head=("key", "value", "standard uncertainty"),
        rows=tuple(rows),
        below=found.remarks,
    )


_MADE: dict[type, Callable[[Any], ShownTable]] = {
    Run: _run,
    SweepResult: _sweep,
    LoadedScenario: _scenario,
    Comparison: _comparison,
    SizingReport: _sizing,
    Improvement: _improvement,
    Compensation: _compensation,
    Learned: _learned,
    Gauged: _gauged,
}
