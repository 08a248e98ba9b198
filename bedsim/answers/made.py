"""Answers as models: the same numbers, and the words that the text has."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from bedsim.analysis.figures import METRICS, Metric, metric_values
from bedsim.analysis.kept_answer import kept_answer
from bedsim.analysis.sizing_report import SizingReport
from bedsim.analysis.summary import Summary
from bedsim.answers import models
from bedsim.answers.plain import plain
from bedsim.clocking.advice import Advice, Setting
from bedsim.comparison.compared import Comparison
from bedsim.comparison.text import verdicts
from bedsim.compensate.advice import Compensation
from bedsim.compensate.text import CAUTIONS
from bedsim.diagnosis.least_squares import Diagnosis
from bedsim.errors import InputError
from bedsim.improve.findings import Improvement
from bedsim.improve.text import as_json
from bedsim.learn.answers import AnswerSpread
from bedsim.learn.learned import Learned
from bedsim.learn.text import fault_text
from bedsim.learn.tug import TugRow
from bedsim.metrology.gauged import Gauged
from bedsim.metrology.snippet import MeasuredKey, StatedKey
from bedsim.results.answer import RunAnswer
from bedsim.results.layers import Run
from bedsim.results.reload import scenario_of
from bedsim.results.sweep import CellResult, SweepResult
from bedsim.sweep.answers import cheapest, good_enough, has_target
from bedsim.units import MM


def answer_of(found: Any) -> models.Says:
    """The model of an answer.  Raises InputError for what is none."""
    made = _MADE.get(type(found))
    if made is None:
        raise InputError(f"{type(found).__name__}: is no answer of bedsim.")
    return made(found)


def of_summary(summary: Summary) -> models.RunSays:
    """A run as its summary tells it."""
    return models.RunSays(
        title=summary.title,
        engine=summary.engine,
        layers=summary.layers,
        targets=list(summary.targets),
        warnings=list(summary.warnings),
        cautions=list(summary.cautions),
        notes=list(summary.notes),
        **_kept(kept_answer(summary)),
    )


def of_run(run: Run) -> models.RunSays:
    """A run, with its answer where that was worked out."""
    scenario = scenario_of(run, "run").scenario
    values = metric_values(run.layers, [c.screw.lead_mm * MM for c in scenario.corner])
    says = {"figures": _figures(values)} if run.answer is None else _kept(run.answer)
    return models.RunSays(
        title=scenario.title,
        engine=run.engine,
        layers=len(run.layers.layer),
        notes=list(run.notes),
        **says,
    )


def _kept(answer: RunAnswer) -> dict[str, Any]:
    figures = zip(
        *(answer.figure, answer.figure_text, answer.figure_unit, answer.figure_value),
        *(answer.figure_low, answer.figure_high, answer.figure_where),
        strict=True,
    )
    sources = zip(
        answer.source_cause, answer.source_corner, answer.source_height, answer.source_lateral, strict=True
    )
    return {
        "verdict": answer.verdict,
        "figures": [
            models.FigureSays(name=n, text=t, unit=u, value=v, low=low, high=high, where=w)
            for n, t, u, v, low, high, w in figures
        ],
        "sources": [
            models.SourceSays(cause=c, corner=k, height_m=h, lateral_m=side) for c, k, h, side in sources
        ],
        "keys": [
            models.KeySays(key=k, basis=b, swing_m=s)
            for k, b, s in zip(answer.key, answer.key_basis, answer.key_swing, strict=True)
        ],
    }


def _figures(values: Mapping[str, float], shown: Sequence[Metric] = METRICS) -> list[models.FigureSays]:
    return [
        models.FigureSays(name=m.name, text=m.text, unit=m.unit, value=values[m.name])
        for m in shown
        if m.name in values
    ]


def of_comparison(found: Comparison) -> models.CompareSays:
    """Runs side by side."""
    differences = ((), *found.differences)
    changed = ((), *found.changed)
    runs = [
        models.ComparedSays(
            label=label,
            engine=found.engines[k],
            figures=_figures(found.values[k]),
            differences=[
                models.DifferenceSays(name=d.name, change=d.change, low=d.low, high=d.high, ratio=d.ratio)
                for d in differences[k]
            ],
            changed={c.key: [_plain(c.first), _plain(c.other)] for c in changed[k]},
        )
        for k, label in enumerate(found.labels)
    ]
    return models.CompareSays(
        runs=runs, verdicts=verdicts(found), cautions=list(found.cautions), notes=list(found.notes)
    )


def _plain(value: Any) -> Any:
    """A key's value as JSON has it."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value if isinstance(value, str | bool | int | float) or value is None else str(value)


def of_sweep(result: SweepResult) -> models.SweepSays:
    """Every cell of a sweep."""
    best = cheapest(result) if has_target(result) else None
    return models.SweepSays(
        title=result.title,
        engine=result.engine,
        currency=result.currency,
        wanted_probability=result.wanted_probability,
        lateral_target_m=result.lateral_target,
        height_target_m=result.height_target,
        axes={n: list(labels) for n, labels in zip(result.axis_names, result.axis_labels, strict=True)},
        cells=[_cell(cell, result) for cell in result.cells],
        cheapest=None if best is None else best.index,
        measure_next=list(result.doubt.keys) if result.doubt is not None else [],
        notes=list(result.notes),
    )


def _cell(cell: CellResult, result: SweepResult) -> models.CellSays:
    middle = [f"{x:g}" for x in result.levels].index("0.5")
    ends = {
        "by_number": cell.wilson,
        "by_lot": cell.lot_interval,
        "by_machine": cell.machine_interval,
        "by_all": cell.whole_interval,
    }
    labels = zip(result.axis_names, result.axis_labels, cell.place, strict=False)
    return models.CellSays(
        cell=cell.index,
        label=cell.label,
        place={name: names[i] for name, names, i in labels},
        settings=json.loads(cell.settings),
        printers=cell.members,
        probability=cell.probability,
        good_enough=has_target(result) and good_enough(cell, result),
        price=cell.price,
        medians=dict(zip(result.metrics, map(float, cell.quantiles[middle]), strict=True)),
        **{name: models.IntervalSays(low=low, high=high) for name, (low, high) in ends.items()},
    )


def of_sizing(report: SizingReport) -> models.SizeSays:
    """Every row at its worst corner."""
    same = ("key", "subject", "name", "corner", "value", "limit", "margin", "unit")
    told = ("formula", "source", "note", "missing", "machine")
    return models.SizeSays(
        title=report.title,
        rows=[models.RowSays(**{n: getattr(c, n) for n in (*same, *told)}) for c in report.checks],
        exceeded=[f"{c.name} ({c.corner})" for c in report.passed_limits],
        missing=list(report.missing),
        assumptions=list(report.assumptions),
        cautions=list(report.cautions),
    )


def of_keys(
    test: str, keys: Sequence[MeasuredKey | StatedKey], remarks: Sequence[str] = ()
) -> models.GaugeSays:
    """Keys that were measured."""
    says = [
        models.MeasuredSays(key=f"{k.table}.{k.key}", value=k.likely, uncertainty=k.uncertainty)
        if isinstance(k, MeasuredKey)
        else models.MeasuredSays(key=f"{k.table}.{k.key}", value=k.value)
        for k in keys
    ]
    return models.GaugeSays(test=test, keys=says, remarks=list(remarks))


def of_learned(found: Learned) -> models.LearnSays:
    """What readings taught."""
    names = [c.name for c in found.unknowns.loaded.scenario.corner]
    low, middle, high = found.after.share_ends()
    return models.LearnSays(
        lateral=_spread(found.before, found.after, "lateral"),
        height=_spread(found.before, found.after, "height"),
        screws=[
            models.ScrewSays(corner=n, low=low[k], middle=middle[k], high=high[k])
            for k, n in enumerate(names)
        ],
        contradictions=[fault_text(fault) for fault in found.faults],
        next=[models.ReadingSays(name=r.name, narrows=r.narrows, minutes=r.minutes) for r in found.following],
    )


def of_tug(rows: Iterable[TugRow]) -> models.LearnSays:
    """A reader's own tug of war, place by place."""
    return models.LearnSays(
        tug=[
            models.TugSays(
                height_m=row.height,
                gauge=row.gauge,
                part=row.part,
                predicted_m=row.S,
                read_m=row.D,
                u_data_m=row.u_data,
                u_input_m=row.u_input,
                u_num_m=row.u_num,
                agrees=row.agrees,
            )
            for row in rows
        ]
    )


def _spread(before: AnswerSpread, after: AnswerSpread, name: str) -> models.SpreadSays:
    (low, middle, high), (first, _, last) = after.ends(name), before.ends(name)
    return models.SpreadSays(low_m=low, middle_m=middle, high_m=high, before_low_m=first, before_high_m=last)


def of_diagnosis(bands: str, found: Diagnosis) -> models.DiagnosedSays:
    """Readings of one kind, source by source."""
    return models.DiagnosedSays(
        bands=bands,
        estimates=[
            models.EstimateSays(
                cause=e.source[0],
                corner=e.source[1],
                amplitude_m=e.amplitude,
                uncertainty_m=e.uncertainty,
                direction_rad=e.direction,
                share=e.share,
                told=e.told,
            )
            for e in found.estimates
        ],
        chance=found.chance,
        can_tell=found.can_tell,
    )


def of_advice(advice: Advice) -> models.ClockSays:
    """How the screws are to be turned."""
    return models.ClockSays(
        title=advice.title,
        aim=advice.aim,
        leave=bool(advice.leave),
        now=_setting(advice.now),
        best=_setting(advice.best),
        placements=[
            models.PlacementSays(
                corner=p.corner, screw=p.screw, moved=p.moved, turn_rad=p.turn, clocking_rad=p.clocking
            )
            for p in advice.placements
        ],
    )


def _setting(setting: Setting) -> models.SettingSays:
    return models.SettingSays(placed_m=setting.placed, expected_m=setting.expected, worst_m=setting.worst)


def of_compensation(found: Compensation) -> models.CompensateSays:
    """What can be taken off, and what is left."""
    rows = found.rows
    columns = {
        "layer": rows.layer,
        "top_m": rows.top,
        "x_m": rows.whole.a,
        "y_m": rows.whole.b,
        "turn_rad": rows.whole.turn,
        "shift_only_x_m": rows.shift.a,
        "shift_only_y_m": rows.shift.b,
    }
    return models.CompensateSays(
        title=found.title,
        worst_place=found.place,
        refused=list(found.refused),
        ways=plain(found.ways),
        shift_leaves=plain(found.shift_leaves),
        worth=plain(found.worth),
        travel=plain(found.travel),
        phase=plain(found.phase),
        height_map=plain(found.maps),
        table={name: [float(v) for v in values] for name, values in columns.items()},
        cautions=list(CAUTIONS),
    )


_MADE: dict[type, Callable[[Any], models.Says]] = {
    Run: of_run,
    Summary: of_summary,
    Comparison: of_comparison,
    SweepResult: of_sweep,
    SizingReport: of_sizing,
    Improvement: lambda found: models.ImproveSays(**as_json(found)),
    Learned: of_learned,
    Gauged: lambda found: of_keys(found.test, found.keys, found.remarks),
    Advice: of_advice,
    Compensation: of_compensation,
}
