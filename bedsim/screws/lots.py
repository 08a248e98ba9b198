"""Lots: what is known of a batch of screws before any of them is measured.

A graded lot knows its tolerance grade; a measured lot knows mean and spread from screws of the same batch.
Where a grade sets no limit the lot itself must state one with its basis; a lot that stays silent is refused,
and every statement that rests on no limit is handed on with the screws (`assumptions`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from bedsim.errors import InputError, UnreadableError
from bedsim.number_text import number
from bedsim.screws.grades import Grade, parse_grade
from bedsim.table_text import LARGEST_NUMBER, as_number, in_units, read_table_text
from bedsim.units import MM, UM


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimensions:
    """Free length, nominal diameter and lead [m]; `free_end`: the upper end is not held."""

    length: float
    diameter: float
    lead: float
    free_end: bool = False

    def __post_init__(self) -> None:
        for name in ("length", "diameter", "lead"):
            if not getattr(self, name) > 0:
                raise InputError(f"{name}_mm = {getattr(self, name) / MM:g}: must be > 0.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How a lot fills its grade.

    `inside`: share of the screws that meet every limit of the grade together.  `law`: "normal" (offsets in
    two directions and signed errors are normal), "uniform" (any offset within the circle alike), "sorted"
    (normal, with the screws beyond the grade thrown out by the maker: all inside).  No standard states
    such a law: our assumption.
    """

    law: Literal["normal", "uniform", "sorted"] = "normal"
    inside: float = 0.997

    def __post_init__(self) -> None:
        if self.law not in ("normal", "uniform", "sorted"):
            raise InputError(f"law = {self.law!r}: must be normal, uniform or sorted.")
        if not 0.5 <= self.inside < 1:
            raise InputError(f"inside = {self.inside:g}: must be from 0.5 to below 1.")


@dataclass(frozen=True, slots=True, kw_only=True)
class OncePerTurn:
    """Once-per-turn travel error of a lot: root mean square [m] of the periodic error over all its screws.

    The complex amplitude is taken normal in both parts, so the amplitude is Rayleigh distributed with
    scale `rms`.
    """

    rms: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A limit [m] the lot states because its grade has none, e.g. quantity "thread_run_out"."""

    quantity: Literal["thread_run_out", "straightness", "travel_300"]
    value: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Waves:
    """Slow travel variation as a sum of waves: number, range of wavelengths [m], growth of amplitude with
    wavelength.

    Wavelengths are drawn log-uniformly, one per equal part of the range; amplitude goes with wavelength to
    the power `growth`.  Our assumption: no standard gives a spectrum.
    """

    count: int = 3
    shortest: float = 0.040
    longest: float = 0.300
    growth: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedLot:
    """A lot known by its grade.

    `once_per_turn`: needed where the grade does not limit it (JIS C7, C8, C10; ISO 7, 10).
    `straightness_grade`: ISO grade whose straightness stands in where the class's own table is missing;
    default the ISO grade of the same number.  `variation_share`: part of travel_300 that goes to slow
    variation, the rest to slope (C7, C8, C10). `mount_tilt`: growth of run-out, as TIR per metre, from the
    mounting of a screw with a free end; no grade limits it.
    """

    name: str
    grade: Grade
    dimensions: Dimensions
    spread: Spread = Spread()
    once_per_turn: OncePerTurn | None = None
    straightness_grade: Grade | None = None
    stated: tuple[Stated, ...] = ()
    variation_share: float = 0.5
    mount_tilt: float = 0.0
    waves: Waves = Waves()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanSpread:
    """Mean and standard deviation of a quantity over a lot, in SI."""

    mean: float = 0.0
    spread: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLot:
    """A lot known by measured mean and spread.

    Run-outs and peak-to-valleys [m] and `tilt_tir` [m/m] are magnitudes, taken
    log-normal with the given mean and spread, in any direction alike; `slope` [m/m] is signed, taken
    normal.  `inside`: the quantile that stands for the limit mode.
    """

    name: str
    dimensions: Dimensions
    basis: str
    eccentricity_tir: MeanSpread = MeanSpread()
    tilt_tir: MeanSpread = MeanSpread()
    bow_tir: MeanSpread = MeanSpread()
    slope: MeanSpread = MeanSpread()
    variation_pv: MeanSpread = MeanSpread()
    once_per_turn_pv: MeanSpread = MeanSpread()
    inside: float = 0.997
    waves: Waves = Waves()


Lot = GradedLot | MeasuredLot

# Fifteen rolled class-7 ball screws of 5 mm lead on a rotary-encoder rig: once-per-turn travel error 28 um
# RMS over all data, 123 um at most.  A scale for lots of such screws, not a limit.
CLASS_7_FIELD_TEST = OncePerTurn(
    rms=28 * UM,
    basis="a machine builder's published test (name withheld) of fifteen rolled class-7 screws of 5 mm lead, "
    "28 um RMS, up to 123 um: a scale, not a limit",
)

_COLUMNS = {
    "eccentricity_tir_um": ("eccentricity_tir", UM),
    "tilt_tir_um_per_100mm": ("tilt_tir", UM / (100 * MM)),
    "bow_tir_um": ("bow_tir", UM),
    "slope_um_per_300mm": ("slope", UM / (300 * MM)),
    "variation_pv_um": ("variation_pv", UM),
    "once_per_turn_pv_um": ("once_per_turn_pv", UM),
}


def graded_lot(name: str, grade: str, dimensions: Dimensions, **more: object) -> GradedLot:
    """Build a graded lot from a grade as people write it ("C7", "ISO 5"); `more`: other fields of
    GradedLot.
    """
    return GradedLot(name=name, grade=parse_grade(grade), dimensions=dimensions, **more)  # type: ignore[arg-type]


def lot_rows(path: Path) -> list[dict[str, str]]:
    """Lines of a table of measured screws, remarks left out.  Raises UnreadableError."""
    table = in_units(read_table_text(path), _COLUMNS)
    for line, cells in table.rows[1:]:
        if (wrong := table.wrong_count(cells)) is not None:
            raise UnreadableError(path, f"line {line}: {wrong}")
    return [dict(zip(table.header, cells, strict=True)) for _, cells in table.rows[1:]]


def read_lot(path: Path, dimensions: Dimensions) -> MeasuredLot:
    """Read a CSV with one measured screw per line into a lot with their mean and standard deviation.

    Columns (any of): eccentricity_tir_um, tilt_tir_um_per_100mm, bow_tir_um, slope_um_per_300mm,
    variation_pv_um, once_per_turn_pv_um; a column `screw` names them.  Raises InputError naming file, line
    and column; at least two screws are needed for a spread.
    """
    rows = lot_rows(path)
    found = [c for c in (rows[0] if rows else {}) if c in _COLUMNS]
    unknown = [c for c in (rows[0] if rows else {}) if c not in _COLUMNS and c != "screw"]
    if unknown or not found:
        raise InputError(
            f"{path}: columns {', '.join(map(str, unknown)) or '(none)'}: must be among screw, "
            f"{', '.join(_COLUMNS)}."
        )
    if len(rows) < 2:
        raise InputError(f"{path}: {len(rows)} screw: a lot needs at least two screws to have a spread.")
    values = {c: np.array([_number(path, i, c, r.get(c)) for i, r in enumerate(rows, 1)]) for c in found}
    fields = {
        _COLUMNS[c][0]: MeanSpread(
            mean=float(v.mean()) * _COLUMNS[c][1], spread=float(v.std(ddof=1)) * _COLUMNS[c][1]
        )
        for c, v in values.items()
    }
    basis = f"{len(rows)} screws measured ({path.name}); not measured and taken as zero: " + (
        ", ".join(c for c in _COLUMNS if c not in found) or "nothing"
    )
    return MeasuredLot(name=path.stem, dimensions=dimensions, basis=basis, **fields)  # type: ignore[arg-type]


def _number(path: Path, line: int, column: str, text: str | None) -> float:
    value = as_number(text or "")
    if np.isnan(value) or (value < 0 and column != "slope_um_per_300mm"):
        rule = f"must be a number, not negative, {number(LARGEST_NUMBER)} at most"
        raise InputError(f"{path}: screw {line}, {column} = {text!r}: {rule}.")
    return value
