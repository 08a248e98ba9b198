"""Tolerance grades of screws as data: ISO 3408-3 grades and JIS B 1192 classes, every value with its
source.

Two traps.  ISO v300p and JIS e300 are different limits: grade 3 allows 12 um where class C3 allows 8 um.
And the mean-travel tolerance `ep` is one-sided (plus-minus), while `vup`, `v300` and `v2pi` are full widths
of a band. A value that no table gives is absent: nothing is interpolated between rows and nothing is
carried from one standard to the other here.

Quantities: `ep`, `vup` (useful travel), `v300`, `v2pi`, `travel_300` (plus-minus over any 300 mm, the only
travel limit of C7, C8 and C10), `thread_run_out` (thread root against journal axis), `t6p` (the same of ISO
3408-3, over 80 mm), `total_run_out`, `t5p`, `t5max` (straightness), `end_face`, `nut_flange`,
`nut_run_out`.
"""

from __future__ import annotations

import csv
import difflib
import math
import re
from dataclasses import dataclass
from functools import cache
from importlib import resources

from bedsim.errors import InputError
from bedsim.units import MM, UM

ISO_GRADES = ("0", "1", "3", "5", "7", "10")
JIS_CLASSES = ("C0", "C1", "C2", "C3", "C5", "C7", "C8", "C10")
QUANTITIES = (
    "ep",
    "vup",
    "v300",
    "v2pi",
    "travel_300",
    "thread_run_out",
    "t6p",
    "total_run_out",
    "t5p",
    "t5max",
    "end_face",
    "nut_flange",
    "nut_run_out",
)
_WHY_ABSENT = {
    ("JIS", "v2pi"): "JIS B 1192 limits the once-per-turn travel of the positioning classes C0 to C5 only; "
    "the lot must state it, measured or as an assumption.",
    ("ISO", "v2pi"): "ISO 3408-3 limits the travel within a turn for grades 0 to 5 only; "
    "the lot must state it, measured or as an assumption.",
    (
        "JIS",
        "total_run_out",
    ): "The table of JIS B 1192 clause 6.5 was not available (one worked example "
    "exists: 0.060 mm for C5, 20 mm diameter, 500 mm length); ISO 3408-3 straightness t5max is the nearest "
    "stand-in.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """A tolerance grade: `standard` is "ISO" or "JIS", `name` e.g. "7" or "C7"."""

    standard: str
    name: str

    def __str__(self) -> str:
        return f"ISO 3408-3 grade {self.name}" if self.standard == "ISO" else f"JIS B 1192 class {self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeLimit:
    """One tolerance [m] with where it comes from; `status` is "found" (read in
    print), "by order" (read, a row put together by the order of its columns) or "from memory"."""

    grade: Grade
    quantity: str
    value: float
    status: str
    source: str
    note: str

    @property
    def value_um(self) -> float:
        """The tolerance in micrometres."""
        return self.value / UM


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeRow:
    """One row of the tables, SI: its `value` holds where `by` is within `over` to `to`."""

    grade: Grade
    quantity: str
    by: str
    over: float
    to: float
    over_included: bool
    value: float
    status: str
    source: str
    note: str

    @property
    def value_um(self) -> float:
        """The tolerance in micrometres."""
        return self.value / UM


def parse_grade(text: str) -> Grade:
    """Read "C7", "JIS C7", "ISO 5", "P5" or "T7" as a grade; raises InputError for anything else."""
    word = re.sub(r"[\s_-]+", "", text).upper().replace("ISO34083", "ISO").replace("JISB1192", "JIS")
    if match := re.fullmatch(r"(?:JIS)?(C\d+)", word):
        if match[1] in JIS_CLASSES:
            return Grade(standard="JIS", name=match[1])
    elif (match := re.fullmatch(r"(?:ISO(?:GRADE)?)?[PT]?(\d+)", word)) and match[1] in ISO_GRADES:
        return Grade(standard="ISO", name=match[1])
    names = [*JIS_CLASSES, *(f"ISO {g}" for g in ISO_GRADES)]
    near = difflib.get_close_matches(text, names, n=1, cutoff=0.3)
    hint = f" Did you mean {near[0]}?" if near else ""
    raise InputError(f"grade = {text!r}: must be one of {', '.join(names)}.{hint}")


def limit(grade: Grade | str, quantity: str, **where: float) -> GradeLimit:
    """Look up one tolerance.

    Parameters
    ----------
    grade : Grade or text such as "C7", "ISO 5"
    quantity : one of QUANTITIES
    where : `length` [m], `diameter` [m], `nut_diameter` [m] or `slenderness` [1], as the quantity's table
    asks.

    Returns
    -------
    Limit, value in m: full band width for v300, v2pi, vup; plus-minus for ep, travel_300; total indicator
    reading for thread_run_out, t6p, t5p, t5max, nut_run_out.

    Raises
    ------
    InputError if no table gives the value, with the reason where one is known.

    For ISO grades 7 and 10 (transport screws) ep = 2 (length/300 mm) v300p.
    Source: [ISO3408-3], from memory; the other rows carry their own source.
    """
    g = parse_grade(grade) if isinstance(grade, str) else grade
    if quantity not in QUANTITIES:
        near = difflib.get_close_matches(quantity, QUANTITIES, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise InputError(f"quantity = {quantity!r}: must be one of {', '.join(QUANTITIES)}.{hint}")
    if g.standard == "ISO" and quantity == "ep" and g.name in ("7", "10"):
        return _transport_travel(g, _need(where, "length", g, quantity))
    rows = [r for r in _rows() if r.grade == g and r.quantity == quantity]
    for r in rows:
        if not r.by or _inside(r, _need(where, r.by, g, quantity)):
            return GradeLimit(
                grade=g, quantity=quantity, value=r.value, status=r.status, source=r.source, note=r.note
            )
    raise InputError(_absent(g, quantity, rows, where))


def has_limit(grade: Grade | str, quantity: str, **where: float) -> bool:
    """Tell whether a table gives this tolerance."""
    try:
        limit(grade, quantity, **where)
    except InputError:
        return False
    return True


def straightness_length(diameter: float) -> float:
    """Return the length l5 [m] over which t5p holds, for a nominal diameter [m].

    Source: [REXROTH83301] p. 82, after ISO 3408-3.  Raises InputError outside the table (6 to 200 mm).
    """
    for row in _read("straightness_length.csv"):
        if float(row["diameter_over_mm"]) * MM < diameter * (1 + 1e-9) and diameter <= float(
            row["diameter_to_mm"]
        ) * MM * (1 + 1e-9):
            return float(row["l5_mm"]) * MM
    raise InputError(
        f"diameter_mm = {diameter / MM:g}: no table gives the straightness length l5 (over 6 to 200 mm)."
    )


def grades_of(standard: str) -> tuple[Grade, ...]:
    """All grades of "ISO" or "JIS", finest first."""
    names = ISO_GRADES if standard == "ISO" else JIS_CLASSES
    return tuple(Grade(standard=standard, name=n) for n in names)


def grade_rows(grade: Grade) -> tuple[GradeRow, ...]:
    """Every row of the tables for a grade."""
    return tuple(row for row in _rows() if row.grade == grade)


def _transport_travel(g: Grade, length: float) -> GradeLimit:
    v300 = limit(g, "v300")
    return GradeLimit(
        grade=g,
        quantity="ep",
        value=2.0 * length / (300 * MM) * v300.value,
        status="from memory",
        source="ISO 3408-3",
        note="transport screws: ep = 2 (length/300 mm) v300p",
    )


def _need(where: dict[str, float], key: str, g: Grade, quantity: str) -> float:
    if key in where and math.isfinite(where[key]):
        return where[key]
    raise InputError(f"{quantity} of {g}: the table asks for {key}.")


def _inside(r: GradeRow, value: float) -> bool:
    slack = 1e-9 * max(r.to, 1e-12)
    above = value >= r.over - slack if r.over_included else value > r.over + slack
    return above and value <= r.to + slack


def _absent(g: Grade, quantity: str, rows: list[GradeRow], where: dict[str, float]) -> str:
    if rows:
        by, scale = rows[0].by, 1.0 if rows[0].by == "slenderness" else MM
        unit = "" if scale == 1.0 else " mm"
        bands = ", ".join(f"{r.over / scale:g} to {r.to / scale:g}" for r in rows)
        return (
            f"{quantity} of {g} at {by} = {where[by] / scale:g}{unit}: no table gives it "
            f"(bands: {bands}{unit}); values between or beyond bands are not invented."
        )
    return f"{quantity} of {g}: no table gives it. {_WHY_ABSENT.get((g.standard, quantity), '')}".strip()


@cache
def _rows() -> tuple[GradeRow, ...]:
    return tuple(_row(r) for name in ("travel.csv", "run_out.csv") for r in _read(name))


def _row(r: dict[str, str]) -> GradeRow:
    scale = MM if r["by"].endswith("_mm") else 1.0
    return GradeRow(
        grade=Grade(standard=r["standard"], name=r["grade"]),
        quantity=r["quantity"],
        by=r["by"].removesuffix("_mm"),
        over=float(r["over"] or 0.0) * scale,
        to=float(r["to"] or "inf") * scale,
        over_included=r["over_included"] == "yes",
        value=float(r["value_um"]) * UM,
        status=r["status"],
        source=r["source"],
        note=r["note"],
    )


def _read(name: str) -> list[dict[str, str]]:
    text = (resources.files("bedsim.screws") / "tables" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
