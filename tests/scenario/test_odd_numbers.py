"""Numbers that seldom are meant become questions; shipped machines hear none."""

from pathlib import Path

import pytest

from bedsim.cli.main import main
from bedsim.scenario.load import load_scenario
from bedsim.scenario.odd_numbers import USUAL, odd_numbers

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
RIGID = str(next(f for f in SCENARIOS if f.stem == "bent-rolled-rigid"))


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_shipped_machines_are_usual(file):
    assert odd_numbers(load_scenario(file).scenario) == ()


@pytest.mark.parametrize(
    ("change", "asked"),
    [
        ("bed.size_x_mm=15.7", "bed.size_x_mm = 15.7: usual are 50 to 3000. Is it meant, and its unit?"),
        ("bed.size_x_mm=100", "bed.size_x_mm = 100: its screws stand 380 apart. Is it meant, and its unit?"),
        ("motor.holding_torque_n_m=40", "motor.holding_torque_n_m = 40: usual are 0.02 to 15."),
        (
            "corner.back.screw.run_out.bow_tir_um=9000",
            "screw.run_out.bow_tir_um = 9000: usual are 0 to 5000",
        ),
    ],
)
def test_odd_ones_are_asked_about(change, asked):
    assert odd_numbers(load_scenario(RIGID, [change]).scenario)[0].startswith(asked)


def test_size_asks(capsys):
    assert main(["size", RIGID, "--no-pictures", "--set", "motor.holding_torque_n_m=40"]) == 0
    assert "motor.holding_torque_n_m = 40: usual are 0.02 to 15" in " ".join(capsys.readouterr().out.split())


def test_every_usual_range_belongs_to_a_key():
    scenario = load_scenario(RIGID).scenario
    for key, (low, high) in USUAL.items():
        part, *steps = key.split(".")
        found = getattr(scenario if hasattr(scenario, part) else scenario.corner[0], part)
        for step in steps:
            found = getattr(found, step)
        assert isinstance(found, float) and low < high


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("gauge", RIGID), "bedsim gauge --blank NAME FILE"),
        (("report", RIGID), f"bedsim run {RIGID} makes one"),
    ],
)
def test_a_scenario_in_another_place_hears_what_to_do_first(words, told, capsys):
    assert main(list(words)) == 2
    assert told in capsys.readouterr().err
