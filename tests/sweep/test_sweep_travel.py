"""A sweep's whole travel beside its print: against a sweep whose plan prints as high, layer by layer."""

from pathlib import Path

import numpy as np
import pytest
from plans import MACHINE, write_plan

from bedsim.analysis.travel import tallest
from bedsim.cli.sweep_output import answer_lines
from bedsim.results.sweep import SweepResult
from bedsim.results.sweep_store import read_sweep, write_sweep
from bedsim.scenario.load import scenario_from_text
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

JOINTS = """
[[axis]]
key = "grade"
values = ["C5"]
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
"""
LOW = MACHINE.replace("length_mm = 400", "length_mm = 200")
SAMPLED_LESS = 0.03
"""What layers that stand for others may miss of a peak-to-valley, which no layer makes larger."""


def swept(folder: Path, machine: str) -> SweepResult:
    folder.mkdir()
    plan = write_plan(folder, JOINTS, members=64, machine=machine)
    return run_sweep(load_plan(plan), folder / "out.h5", pool.here)


@pytest.fixture(scope="module")
def low_print(tmp_path_factory):
    return swept(tmp_path_factory.mktemp("travel") / "low", LOW)


def test_the_plans_print_is_that_of_the_table(low_print):
    lateral = low_print.metrics.index("lateral_pv")
    for cell in low_print.cells:
        assert cell.travel_height[0] == pytest.approx(cell.print_height[-1])
        assert cell.travel_lateral[0] == pytest.approx(np.median(cell.figures[:, lateral]), rel=1e-9)
        assert cell.travel_share[0] == cell.probability


def test_the_whole_travel_is_that_of_a_plan_that_prints_as_high(low_print, tmp_path):
    layers = tallest(scenario_from_text(LOW, name="low", tables={}))
    high = swept(tmp_path / "high", LOW.replace("layers = 40", f"layers = {layers}"))
    lateral = high.metrics.index("lateral_pv")
    for cell, tall in zip(low_print.cells, high.cells, strict=True):
        assert cell.travel_height[1] == pytest.approx(tall.print_height[-1])
        ratio = cell.travel_lateral[1] / np.median(tall.figures[:, lateral])
        assert 1.0 - SAMPLED_LESS < ratio < 1.0 + 1e-9
        assert cell.travel_share[1] == pytest.approx(tall.probability, abs=2 / 64)
        assert np.isnan(tall.travel_lateral).all(), "a print that uses all of it has nothing beside it"


def test_it_is_kept_and_told(low_print, tmp_path):
    write_sweep(low_print, tmp_path / "again.h5")
    for cell, again in zip(low_print.cells, read_sweep(tmp_path / "again.h5").cells, strict=True):
        assert again.travel_lateral == cell.travel_lateral and again.travel_share == cell.travel_share
    assert "are asked of this print alone" in "\n".join(answer_lines(low_print))
