"""The shipped scenarios load, validate against the JSON Schema, and are described by a README in step."""

import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from bedsim.scenario.json_schema import file_schema
from bedsim.scenario.load import load_scenario, scenario_from_tree
from bedsim.scenario.reference import README, reference_text

FILES = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))


def test_at_least_six_are_shipped():
    assert len(FILES) >= 6


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_shipped_scenario_loads_and_resolves_to_itself(path):
    loaded = load_scenario(path)
    assert 40 <= loaded.scenario.print.layers <= 90
    text = loaded.resolved_toml()
    assert (
        scenario_from_tree(tomllib.loads(text), folder=path.parent, source=text, name="x").scenario
        == loaded.scenario
    )


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_shipped_scenario_says_what_it_shows(path):
    assert path.read_text(encoding="utf-8").startswith("# ")


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_shipped_scenario_and_its_resolved_form_meet_the_json_schema(path):
    validator = Draft202012Validator(file_schema())
    for text in (path.read_text(encoding="utf-8"), load_scenario(path).resolved_toml()):
        assert [e.message for e in validator.iter_errors(tomllib.loads(text))] == []


def test_the_json_schema_is_valid_and_refuses_what_the_loader_refuses(text):
    schema = file_schema()
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    assert not list(validator.iter_errors(tomllib.loads(text)))
    for old, new in (
        ("lead_mm = 5", "lead_mm = -5"),
        ("lead_mm = 5", "lead = 5"),
        ("layers = 40", "layers = 0"),
        ("rolled_ball", "roled_ball"),
        ("mass_kg = 2.5", "mass_kg = {low = 2, high = 3}"),
    ):
        assert list(validator.iter_errors(tomllib.loads(text.replace(old, new)))), new


def test_the_story_is_told_on_one_machine():
    """To rolling joints only the joint differs from the first build, to plain screws only screw, nut and
    speed."""
    first, rolling, plain = (
        tomllib.loads((README.parent / f"{name}.toml").read_text(encoding="utf-8"))
        for name in ("bent-rolled-rigid", "bent-rolled-rolling-joints", "plain-lead-screws")
    )
    assert {k for k in first if first[k] != rolling.get(k)} == {"title", "joint"}
    assert {k for k in plain if plain[k] != first.get(k)} == {"title", "motion", "screw", "nut"}


def test_readings_in_the_gauge_scenario_are_near_the_bows_of_the_story():
    """A bow of 260 um TIR is an offset of 130 um at mid-length, the eccentricity adds at most 10 um."""
    tables = load_scenario(README.parent / "gauge-readings.toml").tables
    x, y = tables["gauge-readings/front-right.csv"][3, 1:]
    assert 115 < (x**2 + y**2) ** 0.5 < 145


def test_the_readme_is_in_step_with_schema_and_defaults():
    assert README.read_text(encoding="utf-8") == reference_text(README.parent), (
        "run: python -m bedsim.scenario.reference"
    )
