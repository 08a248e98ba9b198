"""Screws pressed beyond their buckling load: a run says so, `size` says so, `improve` makes none worse."""

from pathlib import Path

import pytest

from bedsim.analysis.sizing_report import size_scenario
from bedsim.analysis.summary import summarise
from bedsim.improve.answers import Standing
from bedsim.improve.side_effects import weakened
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

PLAIN = Path(__file__).parents[2] / "scenarios" / "plain-lead-screws.toml"
LEANS = (
    "print.layers=3",
    'screw.ends="motor-free"',
    'coupling.kind="helical"',
    "screw.root_diameter_mm=5.5",
    "bed.mass_kg=6",
)


@pytest.mark.parametrize(("more", "leans"), [(LEANS, True), (LEANS[:1], False)])
def test_a_run_says_that_a_screw_leans(more, leans):
    """A column on a soft coupling, free at its top, buckles under less than a third of a bed of 6 kg."""
    loaded = load_scenario(PLAIN, more)
    told = summarise(simulate(loaded, engine="equilibrium"), loaded).warnings
    assert any("leans on its nut" in line for line in told) is leans
    rows = [r for r in size_scenario(loaded).all_checks if r.key == "column_push"]
    assert any("beyond the buckling load" in row.note for row in rows) is leans
    for row in rows:  # one buckling load: what the run compares with is twice the row's limit
        assert (row.value > 2 * row.limit) is ("beyond" in row.note)


@pytest.mark.parametrize(
    ("before", "after", "bad"),
    [(8.0, 2.9, True), (0.59, 0.44, True), (0.44, 0.59, False), (8.0, 4.0, False), (2.0, 1.95, False)],
)
def test_no_change_is_offered_that_brings_a_screw_nearer_to_buckling(before, after, bad):
    """Below three times, for the worse by more than a tenth."""
    told = weakened(Standing(buckling=before, mode=30.0), Standing(buckling=after, mode=30.0))
    assert bool(told) is bad
