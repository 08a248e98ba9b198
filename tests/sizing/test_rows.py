"""Rows as data: each is named once, and says a limit where it says on which side of it a value is good."""

from collections import Counter
from pathlib import Path

import pytest

from bedsim.analysis.lost_steps import SLIPPED
from bedsim.analysis.machine_says import ANSWERS
from bedsim.analysis.sizing_gather import gather
from bedsim.number_text import number
from bedsim.scenario.load import load_scenario
from bedsim.sizing.machine import SUBJECTS, size_machine
from bedsim.sizing.rows import Row, RowValue, Subject
from bedsim.sizing.unit import NEWTON

MACHINES = sorted((Path(__file__).parent / "sheets").glob("*.toml"))
SHIPPED = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml"
#: Rows that a machine has either way, with other words.
EITHER_WAY = {"critical_speed": 2, "turning_speed": 2}


def described():
    return [row for subject in (*SUBJECTS, SLIPPED) for row in subject.rows]


def test_every_row_has_a_key_of_its_own():
    assert {k: n for k, n in Counter(row.key for row in described()).items() if n > 1} == EITHER_WAY


def test_the_machine_answers_rows_that_there_are():
    assert set(ANSWERS) <= {row.key for row in described()}


@pytest.mark.parametrize("file", MACHINES, ids=lambda f: f.stem)
def test_only_rows_with_a_side_have_a_limit(file):
    sided = {row.key for row in described() if row.stays}
    checks = size_machine(gather(load_scenario(file)))
    assert {c.key for c in checks if c.limit is not None} <= sided
    parts = Counter((c.corner, c.key) for c in checks)
    assert {key for (_, key), n in parts.items() if n > 1} <= {"ball_pressure"}


def test_what_cancels_is_nothing_and_not_its_rounding():
    """A layer of four full steps repeats alike: sines of whole turns, which are 1e-16."""
    loaded = load_scenario(SHIPPED, ["print.layer_mm=0.2"])
    layer = {c.key: c for c in size_machine(gather(loaded))}["layer_thickness"]
    assert layer.value == 0.0 and number(layer.value) == "0"
    told = RowValue(1.3e-17, 9.8)
    row = Row(key="", name="push", unit=NEWTON, formula="", source="", stays="below", tell=lambda _: told)
    [none] = Subject(title="", rows=(row,)).checks(None, "")
    assert none.value == 0.0 and number(none.margin) == "unlimited"
