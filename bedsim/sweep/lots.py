"""Lots of a plan: what is known of them, and alternatives that agree with it just as well.

The alternatives are for the second interval of every probability.  A measured lot is resampled screw by screw
(the bootstrap of Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 6).  A graded lot
rests on assumptions: each alternative takes another law and, within the ranges stated, other values of what
no standard gives.  More virtual printers cannot narrow either; more measured screws can.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from bedsim.errors import InputError
from bedsim.scenario.faults import shown
from bedsim.scenario.named_files import NamedFileError, named_file
from bedsim.scenario.schema import Scenario
from bedsim.scenario.sweep_plan import Assumed, LotTable
from bedsim.screws.grades import parse_grade
from bedsim.screws.limits import grade_limits
from bedsim.screws.lots import (
    _COLUMNS,
    Dimensions,
    GradedLot,
    Lot,
    MeanSpread,
    MeasuredLot,
    OncePerTurn,
    Spread,
    Stated,
    lot_rows,
    read_lot,
)
from bedsim.units import MM, UM

LAWS = ("normal", "uniform", "sorted")
_MOST_INSIDE = 0.99999


def dimensions_of(scenario: Scenario) -> tuple[Dimensions, ...]:
    """Dimensions of the screw of every corner."""
    return tuple(
        Dimensions(
            length=c.screw.length_mm * MM,
            diameter=c.screw.diameter_mm * MM,
            lead=c.screw.lead_mm * MM,
            free_end=c.screw.ends.endswith("-free"),
        )
        for c in scenario.corner
    )


def make_lot(name: str, table: LotTable, grade: str | None, dimensions: Dimensions, folder: Path) -> Lot:
    """The lot of a table for screws of these dimensions; `grade` wins over the table's.

    Raises InputError if neither a grade nor measured screws are given, or the grade leaves something open
    that the table does not state.
    """
    if grade is None and table.measured is not None:
        return read_lot(_beside(folder, name, table.measured), dimensions)
    chosen = grade or table.grade
    if chosen is None:
        raise InputError(
            f'lot {name!r}: needs a grade or measured screws: grade = "C7" or measured = "file.csv".'
        )
    lot = _graded(name, table, chosen, dimensions)
    grade_limits(lot)
    return lot


def _beside(folder: Path, name: str, written: str) -> Path:
    try:
        return named_file(written, folder, of="plan")
    except NamedFileError as fault:
        raise InputError(f"lot {name!r}: measured = {shown(written)}: {fault}") from None


def _graded(name: str, table: LotTable, grade: str, dimensions: Dimensions) -> GradedLot:
    once = table.once_per_turn_rms_um
    stated = {"thread_run_out": table.thread_run_out_um, "straightness": table.straightness_um}
    return GradedLot(
        name=name,
        grade=parse_grade(grade),
        dimensions=dimensions,
        spread=Spread(law=table.law, inside=table.inside.likely),
        once_per_turn=None if once is None else OncePerTurn(rms=once.likely * UM, basis=once.basis),
        straightness_grade=None
        if table.straightness_grade is None
        else parse_grade(table.straightness_grade),
        stated=tuple(
            Stated(quantity=quantity, value=value * UM, basis=table.basis)  # type: ignore[arg-type]
            for quantity, value in stated.items()
            if value is not None
        ),
        variation_share=table.variation_share.likely,
        mount_tilt=table.mount_tilt_tir_um_per_100mm.likely * UM / (100 * MM),
    )


def alternatives(
    table: LotTable, lots: tuple[Lot, ...], folder: Path, draws: int, seed: np.random.SeedSequence
) -> tuple[tuple[Lot, ...], ...]:
    """Other lots, one per corner in each, that what is known does not rule out."""
    found = []
    for child in seed.spawn(draws):
        rng = np.random.default_rng(child)
        found.append(
            _resampled(table, lots, folder, rng)
            if isinstance(lots[0], MeasuredLot)
            else _other(table, lots, rng)
        )
    return tuple(found)


def _resampled(
    table: LotTable, lots: tuple[Lot, ...], folder: Path, rng: np.random.Generator
) -> tuple[Lot, ...]:
    columns = _measured_columns(_beside(folder, "", str(table.measured)))
    count = next(iter(columns.values())).size
    picked = rng.integers(count, size=count)
    fields = {
        name: MeanSpread(mean=float(v[picked].mean()), spread=float(v[picked].std(ddof=1)))
        for name, v in columns.items()
    }
    return tuple(replace(lot, **fields) for lot in lots)  # type: ignore[arg-type]


def _measured_columns(path: Path) -> dict[str, np.ndarray]:
    rows = lot_rows(path)
    named = [c for c in rows[0] if c in _COLUMNS]
    return {_COLUMNS[c][0]: np.array([float(r[c]) for r in rows]) * _COLUMNS[c][1] for c in named}


def _other(table: LotTable, lots: tuple[Lot, ...], rng: np.random.Generator) -> tuple[Lot, ...]:
    law = LAWS[int(rng.integers(len(LAWS)))]
    inside = min(_between(table.inside, rng), _MOST_INSIDE)
    share = _between(table.variation_share, rng)
    tilt = _between(table.mount_tilt_tir_um_per_100mm, rng)
    once = table.once_per_turn_rms_um
    once_rms = _between(once, rng) if once is not None else 0.0
    changed = []
    for lot in lots:
        assert isinstance(lot, GradedLot)
        changed.append(
            replace(
                lot,
                spread=Spread(law=law, inside=inside),  # type: ignore[arg-type]
                variation_share=share,
                mount_tilt=tilt * UM / (100 * MM),
                once_per_turn=None
                if lot.once_per_turn is None
                else replace(lot.once_per_turn, rms=once_rms * UM),
            )
        )
    return tuple(changed)


def _between(value: Assumed, rng: np.random.Generator) -> float:
    return float(value.low + (value.high - value.low) * rng.random())
