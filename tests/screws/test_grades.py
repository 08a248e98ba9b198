"""The package's tolerance tables: statuses, refusals, spellings, order."""

import pytest

from bedsim.errors import InputError
from bedsim.screws import grades


def test_iso_and_jis_are_not_the_same():
    """Grade 3 over 300 mm: ISO 12 um; C3 8 um, from memory."""
    found = {name: grades.limit(name, "v300") for name in ("ISO 3", "C3")}
    assert [x.value_um for x in found.values()] == pytest.approx([12, 8])
    assert [x.status for x in found.values()] == ["found", "from memory"]


def test_rows_put_together_by_the_order_of_columns_say_so():
    """C0 and C1 above 800 mm: the copy read is cut off there."""
    for grade in ("C0", "C1"):
        for quantity in ("ep", "vup"):
            assert grades.limit(grade, quantity, length=0.9).status == "by order"
            assert grades.limit(grade, quantity, length=0.7).status == "found"


@pytest.mark.parametrize(
    ("grade", "quantity", "where"),
    [
        ("C7", "v2pi", {}),
        ("C10", "v2pi", {}),
        ("ISO 7", "v2pi", {}),
        ("C5", "total_run_out", {"length": 0.5, "diameter": 0.02}),
        ("C10", "thread_run_out", {"diameter": 0.012}),
        ("P5", "thread_run_out", {"diameter": 0.009}),
        ("C3", "ep", {"length": 1.2}),
    ],
)
def test_absent_values_say_so(grade, quantity, where):
    with pytest.raises(InputError, match="no table gives it"):
        grades.limit(grade, quantity, **where)


@pytest.mark.parametrize(
    ("text", "hint"), [("C6", "Did you mean"), ("P4", "must be one of"), ("gut", "must be")]
)
def test_unknown_grades_are_refused(text, hint):
    with pytest.raises(InputError, match=hint):
        grades.parse_grade(text)


@pytest.mark.parametrize(
    ("text", "standard"), [("c7", "JIS"), ("JIS C7", "JIS"), ("P5", "ISO"), ("T 7", "ISO")]
)
def test_spellings(text, standard):
    assert grades.parse_grade(text).standard == standard


def test_every_row_has_status_and_source():
    rows = grades._rows()
    assert len(rows) > 400
    assert all(r.status in ("found", "by order", "from memory") and r.source and r.value > 0 for r in rows)


def test_finer_grades_never_allow_more():
    """In every table each band's limits grow with the grade."""
    order = {g.name: i for s in ("ISO", "JIS") for i, g in enumerate(grades.grades_of(s))}
    bands = {}
    for r in grades._rows():
        bands.setdefault((r.grade.standard, r.quantity, r.by, r.over, r.to), []).append(
            (order[r.grade.name], r.value)
        )
    for key, values in bands.items():
        limits = [v for _, v in sorted(values)]
        assert limits == sorted(limits), key


def test_a_ratio_is_told_without_a_unit():
    """Slenderness has none; a length is told in mm."""
    with pytest.raises(InputError, match=r"slenderness = 500: no table .*80 to 100\)"):
        grades.limit("ISO 7", "t5max", slenderness=500.0)
    with pytest.raises(InputError, match=r"length = 1200 mm: .* mm\)"):
        grades.limit("C3", "ep", length=1.2)
