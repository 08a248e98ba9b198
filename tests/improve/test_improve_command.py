"""`bedsim improve`: its doors, its words, its files."""

import json

import jsonschema
import pytest

from bedsim.answers.schema import document_schema
from bedsim.cli.main import main
from bedsim.improve import findings
from bedsim.improve.levers import LEVERS


@pytest.fixture
def quick(monkeypatch, tmp_path):
    """The command on few levers, without the propagator, in a folder of its own."""
    whole = findings.improve
    few = tuple(lever for lever in LEVERS if lever.name in ("joint.kind", "print.first_layer_nut_mm"))

    def improve(loaded, **options):
        return whole(loaded, **{**options, "with_runs": False, "levers": few})

    monkeypatch.setattr(findings, "improve", improve)
    monkeypatch.setattr(findings, "SET_DRAWS", 3)
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="module")
def scenario(shipped, tmp_path_factory):
    loaded = shipped("bent-rolled-rigid")
    path = tmp_path_factory.mktemp("improve") / "machine.toml"
    path.write_text(loaded.source_text, "utf-8")
    return str(path)


def test_it_tells_and_draws(quick, scenario, capsys, tmp_path):
    assert main(["improve", scenario, "--set", "print.layers=10", "--target-um", "25"]) == 0
    out = capsys.readouterr().out
    assert "rolling joints between nut and carriage" in out and "Cheapest: " in out
    assert (tmp_path / "results" / "machine_print.layers_10_improve.png").is_file()


def test_json_is_alone(quick, scenario, capsys, tmp_path):
    assert main(["improve", scenario, "--json", "--no-pictures", "--set", "print.layers=10"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, document_schema("improve"))
    found = document["answer"]
    assert found["aim"] == "lateral" and found["gains"][0]["changes"][0]["lever"] == "joint.kind"
    assert not (tmp_path / "results").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--target-um", "0"), "--target-um = 0: must be above 0"),
        (("--target-um", "nan"), "--target-um = nan: must be above 0"),
        (("--probability", "1"), "--probability = 1: must be above 0 and below 1"),
        (("--price", "joint.kind"), "is written LEVER=EUR"),
        (("--output", "a.txt"), "a picture ends in .png, .svg or .pdf"),
        (("--set", "print.layer=10"), "Did you mean"),
    ],
)
def test_every_door_refuses_with_one_message(quick, scenario, capsys, tmp_path, options, words):
    assert main(["improve", scenario, *options]) == 2
    told = capsys.readouterr()
    assert words in told.err and not told.out
    assert not (tmp_path / "results").exists()
