"""Tolerance tables of screws against printed rows.

Sources, one per block below: [THK] Accuracy of the Ball Screw, table 1 (web catalogue, Japanese edition);
[MISUMI1590] Economy Series catalogue p. 1590; [XLONG] Ballscrew Installation Accuracy, table 6;
[STEINMEYER] Geometric tolerances, ground P0 to P5; [REXROTH83301] STAR RE 83 301 (12.99) p. 82.  Rows
typed as printed, in um. Values marked "from memory" or "by order" (rows cut off in the copy read, put
together by the order of its columns) in the package are not checked against a print: none was at hand.
"""

import pytest

from bedsim.screws import grades

MM, UM = 1e-3, 1e-6
pytestmark = pytest.mark.exact_inputs("rows of tables, looked up at their own bounds")


def um(grade, quantity, **where):
    return grades.limit(grade, quantity, **where).value_um


@pytest.mark.read(
    "THK, Accuracy of the ball screw, table 1 (www.thk.com/jp/ja/products/ball_screw/selection/0002)"
)
@pytest.mark.parametrize(
    ("length", "printed"),
    [  # [THK] table 1: length up to (mm); C0 E, e; C1 E, e; C2 E, e; C3 E, e; C5 E, e
        (100, [3, 3, 3.5, 5, 5, 7, 8, 8, 18, 18]),
        (200, [3.5, 3, 4.5, 5, 7, 7, 10, 8, 20, 18]),
        (315, [4, 3.5, 6, 5, 8, 7, 12, 8, 23, 18]),
        (400, [5, 3.5, 7, 5, 9, 7, 13, 10, 25, 20]),
        (500, [6, 4, 8, 5, 10, 7, 15, 10, 27, 20]),
        (630, [6, 4, 9, 6, 11, 8, 16, 12, 30, 23]),
        (800, [7, 5, 10, 7, 13, 9, 18, 13, 35, 25]),
    ],
)
def test_travel_over_the_useful_length(length, printed):
    """The band that ends at the printed length, and a length one millimetre shorter, give the printed
    row."""
    for where in (length * MM, (length - 1) * MM):
        got = [um(g, q, length=where) for g in ("C0", "C1", "C2", "C3", "C5") for q in ("ep", "vup")]
        assert got == pytest.approx(printed, rel=1e-12)


@pytest.mark.read(
    "THK, Accuracy of the ball screw, table 1 (www.thk.com/jp/ja/products/ball_screw/selection/0002)"
)
def test_travel_over_any_300_mm():
    """[THK] table 1: C7 0.05, C8 0.1, C10 0.21 mm per 300 mm."""
    assert [um(g, "travel_300") for g in ("C7", "C8", "C10")] == pytest.approx([50, 100, 210])


@pytest.mark.read("MISUMI Economy Series catalogue p. 1590")
def test_worked_choice_of_class():
    """[MISUMI1590]: 842 mm thread, +-0.05 mm over 720 mm: C3 gives +-0.021, C5 gives +-0.040, C5 is
    enough."""
    assert um("C3", "ep", length=842 * MM) == pytest.approx(21)
    assert um("C5", "ep", length=842 * MM) == pytest.approx(40)
    assert um("C5", "ep", length=842 * MM) < 50


@pytest.mark.read("X-Long, Ballscrew Installation Accuracy, table 6 (x-long.com.tw)")
@pytest.mark.parametrize(
    ("diameter", "printed"),
    [  # [XLONG] table 6: shaft diameter up to (mm); C0 C1 C2 C3 C5 C7
        (8, [3, 5, 7, 8, 10, 14]),
        (12, [4, 5, 7, 8, 11, 14]),
        (20, [4, 6, 8, 9, 12, 14]),
        (32, [5, 7, 9, 10, 13, 20]),
        (50, [6, 8, 10, 12, 15, 20]),
        (80, [7, 9, 11, 13, 17, 20]),
    ],
)
def test_thread_against_journal(diameter, printed):
    got = [um(g, "thread_run_out", diameter=diameter * MM) for g in ("C0", "C1", "C2", "C3", "C5", "C7")]
    assert got == pytest.approx(printed)


@pytest.mark.read("Steinmeyer, geometric tolerances ground P0 to P5 (www.steinmeyer.com)")
@pytest.mark.parametrize(
    ("diameter", "printed"),
    [  # [STEINMEYER] Z1 and Z2, a nominal diameter inside each band; P0 P1 P3 P5
        (8, [3, 5, 8, 10]),
        (12, [4, 5, 8, 11]),
        (16, [4, 6, 9, 12]),
        (32, [5, 7, 10, 13]),
        (36, [6, 8, 12, 15]),
        (80, [7, 9, 13, 17]),
    ],
)
def test_two_makers_agree_on_thread_against_journal(diameter, printed):
    """Steinmeyer's P grades, and X-Long's C classes at the same diameters: two independent prints."""
    d = diameter * MM
    assert [um(f"P{g}", "thread_run_out", diameter=d) for g in (0, 1, 3, 5)] == pytest.approx(printed)
    assert [um(f"C{g}", "thread_run_out", diameter=d) for g in (0, 1, 3, 5)] == pytest.approx(printed)


@pytest.mark.read("STAR/Rexroth RE 83 301 (12.99) p. 82 (www.yumpu.com/en/document/view/16321794)")
def test_straightness():
    """[REXROTH83301] p. 82: t5p, l5 and t5max for grades 1, 3, 5, 7 (the column is headed 7, 9)."""
    iso = ("ISO 1", "ISO 3", "ISO 5", "ISO 7")
    assert [um(g, "t5p", diameter=12 * MM) for g in iso] == pytest.approx([20, 25, 32, 40])
    printed = {
        40: [40, 50, 64, 80],
        60: [60, 75, 96, 120],
        80: [100, 125, 160, 200],
        100: [160, 200, 256, 320],
    }
    for slenderness, row in printed.items():
        assert [um(g, "t5max", slenderness=slenderness) for g in iso] == pytest.approx(row)
    windows = [grades.straightness_length(d * MM) / MM for d in (12, 25, 50, 100, 200)]
    assert windows == pytest.approx([80, 160, 315, 630, 1250])


@pytest.mark.read("Steinmeyer, lead error per 300 mm (drive.steinmeyer.com)")
def test_grade_3_over_300_mm():
    assert um("ISO 3", "v300") == pytest.approx(12)
    assert grades.limit("ISO 3", "v300").status == "found"
