"""Entries of what the workshop knows: grades of screws and recipes of tests."""

from __future__ import annotations

from collections.abc import Iterator

from bedsim.explain.entry import Entry, Fact, facts
from bedsim.metrology import recipes
from bedsim.screws.grades import Grade, GradeRow, grade_rows, grades_of
from bedsim.units import MM

WORDS = {
    "ep": "mean travel over the useful length, plus or minus",
    "vup": "band of travel over the useful length",
    "v300": "band of travel over any 300 mm",
    "v2pi": "band of travel within one turn",
    "travel_300": "travel over any 300 mm, plus or minus",
    "thread_run_out": "radial run-out of the thread's root against the journals",
    "t6p": "the same by ISO 3408-3, over 80 mm",
    "total_run_out": "total radial run-out of the screw",
    "t5p": "straightness over the length l5",
    "t5max": "straightness over the whole length, by slenderness",
    "end_face": "axial run-out of the shoulder",
    "nut_flange": "axial run-out of the nut's flange",
    "nut_run_out": "radial run-out of the nut",
}
"""Quantities of `screws.grades`."""


def workshop_entries() -> Iterator[Entry]:
    """Every grade, every limited quantity, every recipe."""
    for standard in ("ISO", "JIS"):
        yield from (_grade(grade) for grade in grades_of(standard))
    for name, words in WORDS.items():
        yield Entry(
            name=name,
            sort="term",
            what=f"Tolerance of a screw: {words}.",
            facts=facts(limited_by=", ".join(_grades_with(name))),
        )
    for name in recipes.RECIPES:
        yield Entry(
            name=f"recipe {name}",
            sort="recipe",
            what=recipes.recipe(name).splitlines()[0].lstrip("# ") + ".",
            facts=(
                Fact(label="recipe", text=recipes.recipe(name), shape="verbatim"),
                Fact(label="blank table", text=recipes.blank(name), shape="verbatim"),
            ),
            other_names=(name,),
        )


def _grades_with(quantity: str) -> Iterator[str]:
    for standard in ("ISO", "JIS"):
        for grade in grades_of(standard):
            if any(row.quantity == quantity for row in grade_rows(grade)):
                yield str(grade)


def _grade(grade: Grade) -> Entry:
    table = [_limit(row) for row in grade_rows(grade)]
    rolled = grade.name in ("7", "10", "C7", "C8", "C10")
    return Entry(
        name=str(grade),
        sort="grade",
        what=f"A tolerance grade of ball screws, the usual one of {'rolled' if rolled else 'ground'} screws"
        " (common practice, no source).",
        facts=(
            *facts(measured_by="Run-out of a screw with a dial gauge: `bedsim gauge --recipe run-out`."),
            Fact(label="limits", text="\n".join(table), shape="verbatim"),
        ),
        other_names=(grade.name, f"{grade.standard} {grade.name}"),
        see=tuple(dict.fromkeys(row.quantity for row in grade_rows(grade))),
    )


def _limit(row: GradeRow) -> str:
    scale, unit = (1.0, "") if row.by == "slenderness" else (MM, " mm")
    where = f" ({row.by} {row.over / scale:g} to {row.to / scale:g}{unit})" if row.by else ""
    return f"{row.quantity}{where}: {row.value_um:g} um; {row.status}: {row.source}"
