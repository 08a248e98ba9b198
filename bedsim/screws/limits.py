"""What a graded lot's screws must keep: the limits of the grade gathered for one screw, and what rests on
none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bedsim.errors import InputError
from bedsim.screws.drawn import bow_shape
from bedsim.screws.grades import (
    ISO_GRADES,
    Grade,
    GradeLimit,
    has_limit,
    limit,
    straightness_length,
)
from bedsim.screws.lots import GradedLot
from bedsim.screws.standard_evaluation import evaluate_centreline
from bedsim.units import MM, UM


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeLimits:
    """Limits of one screw [m].

    `thread_run_out`: TIR at a held end.  `bow`: offset amplitude of the bow shape that just meets the
    straightness limits.  `mean_error`: plus-minus over the length.  `band`, `band_300`, `change_300`,
    `turn`: vup, v300, the variation's part of travel_300, v2pi; None where the grade sets none.  `count`:
    independent magnitudes limited.
    """

    thread_run_out: float
    bow: float
    mean_error: float
    band: float | None
    band_300: float | None
    change_300: float | None
    turn: float | None
    count: int
    assumptions: tuple[str, ...]


def grade_limits(lot: GradedLot) -> GradeLimits:
    """Gather the limits of a lot's grade; raises InputError where neither grade nor lot gives one that is
    needed.
    """
    notes: list[str] = []
    run_out = _thread_run_out(lot, notes)
    bow = _bow(lot, notes)
    mean_error, change = _mean_error(lot, notes)
    band = _optional(lot, "vup", length=lot.dimensions.length)
    band_300 = _optional(lot, "v300")
    turn = _optional(lot, "v2pi")
    if turn is None:
        notes.append(_open_turn(lot, band_300 is not None))
    if lot.dimensions.free_end:
        tir = lot.mount_tilt * 100 * MM / UM
        notes.append(
            f"No grade limits the tilt of a screw's mounting; the lot states {tir:g} um TIR per 100 mm."
        )
    notes.append(
        f"No standard states how a lot fills its grade: {lot.spread.law} law, "
        f"{100 * lot.spread.inside:g} % inside."
    )
    notes.append("Wavelengths of the slow travel variation are assumed.")
    return GradeLimits(
        thread_run_out=run_out,
        bow=bow,
        mean_error=mean_error,
        band=band,
        band_300=band_300,
        change_300=change,
        turn=turn,
        count=4 + (not lot.dimensions.free_end) + (turn is not None),
        assumptions=tuple(notes),
    )


def stand_in_grade(grade: Grade) -> Grade | None:
    """Return the ISO grade of the same number, for the straightness a JIS class's missing table would
    give.
    """
    number = grade.name.removeprefix("C")
    return Grade(standard="ISO", name=number) if number in ISO_GRADES else None


def straightness_limits(
    grade: Grade, length: float, diameter: float
) -> tuple[GradeLimit, GradeLimit | None, float]:
    """Return t5p, t5max (None for screws shorter than 4 l5) and l5 [m] of an ISO grade.

    Raises InputError where no table gives them.  Source: [REXROTH83301] p. 82.
    """
    window = straightness_length(diameter)
    local = limit(grade, "t5p", diameter=diameter)
    whole = limit(grade, "t5max", slenderness=length / diameter) if length >= 4 * window else None
    return local, whole, window


def _thread_run_out(lot: GradedLot, notes: list[str]) -> float:
    d = lot.dimensions
    for quantity in ("thread_run_out", "t6p"):
        if has_limit(lot.grade, quantity, diameter=d.diameter):
            found = limit(lot.grade, quantity, diameter=d.diameter)
            return found.value
    return _stated(lot, "thread_run_out", notes)


def _bow(lot: GradedLot, notes: list[str]) -> float:
    d = lot.dimensions
    if any(s.quantity == "straightness" for s in lot.stated):
        return _stated(lot, "straightness", notes) / _unit_bow(lot, None)[0]
    grade = lot.straightness_grade or stand_in_grade(lot.grade)
    if grade is None or not has_limit(grade, "t5p", diameter=d.diameter):
        return _stated(lot, "straightness", notes)
    if grade != lot.grade:
        notes.append(f"Straightness of {lot.grade} is taken from {grade}: its own table was not available.")
    local, whole, window = straightness_limits(grade, d.length, d.diameter)
    unit_whole, unit_local = _unit_bow(lot, window)
    bow = local.value / unit_local
    return bow if whole is None else min(bow, whole.value / unit_whole)


def _unit_bow(lot: GradedLot, window: float | None) -> tuple[float, float]:
    """Straightness and local run-out (TIR) of a bow of offset 1."""
    d = lot.dimensions
    s = np.linspace(0.0, d.length, 801)
    found = evaluate_centreline(s, bow_shape(s, d.length, d.free_end), window or d.length)
    return float(found.straightness), float(found.local)


def _mean_error(lot: GradedLot, notes: list[str]) -> tuple[float, float | None]:
    length = lot.dimensions.length
    if not has_limit(lot.grade, "travel_300"):
        return limit(lot.grade, "ep", length=length).value, None
    whole = limit(lot.grade, "travel_300").value
    share = lot.variation_share
    notes.append(
        f"{lot.grade} limits only the change over 300 mm: {100 * share:g} % of it is taken as slow "
        "variation, "
        "the rest as slope (assumption)."
    )
    return whole * (1 - share) * length / (300 * MM), whole * share


def _optional(lot: GradedLot, quantity: str, **where: float) -> float | None:
    return limit(lot.grade, quantity, **where).value if has_limit(lot.grade, quantity, **where) else None


def _open_turn(lot: GradedLot, cut: bool) -> str:
    if lot.once_per_turn is None:
        raise InputError(
            f"lot {lot.name!r}, once_per_turn: {lot.grade} sets no once-per-turn limit, so the lot must "
            "state it. "
            "For scale: fifteen rolled class-7 screws of 5 mm lead were measured at 28 um RMS, up to 123 um "
            "(lots.CLASS_7_FIELD_TEST)."
        )
    tail = " It is cut off where the grade's v300 would be exceeded." if cut else ""
    return f"Once-per-turn travel rests on no limit of the grade but on: {lot.once_per_turn.basis}.{tail}"


def _stated(lot: GradedLot, quantity: str, notes: list[str]) -> float:
    for s in lot.stated:
        if s.quantity == quantity:
            notes.append(f"{quantity} {s.value / UM:g} um is stated by the lot: {s.basis}.")
            return s.value
    raise InputError(
        f"lot {lot.name!r}, {quantity}: no table gives it for {lot.grade}; the lot must state it."
    )
