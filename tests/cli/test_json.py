"""Every command's `--json`: one document, valid by the schema that it prints, and nothing else on stdout."""

import json
import math

import jsonschema
import numpy as np
import pytest

from bedsim.answers import schema
from bedsim.answers.models import MODELS
from bedsim.cli.main import COMMANDS, main

MACHINE = """title = "small"
bed = {size_x_mm = 300, size_y_mm = 300, mass_kg = 2.5}
print = {layers = 30, layer_mm = 0.2}
nut = {mass_kg = 0.2}
guide = {kind = "profile_rail"}
frame = {radial_n_per_um = 1.0, tangential_n_per_um = 1.0}
motor = {holding_torque_n_m = 0.4}
[screw]
kind = "rolled_ball"
diameter_mm = 16
lead_mm = 5
length_mm = 400
ends = "fixed-supported"
run_out = {bow_tir_um = 100}
[[corner]]
name = "left"
x_mm = -180
y_mm = -100
[[corner]]
name = "right"
x_mm = 180
y_mm = -100
[[corner]]
name = "rear"
x_mm = 0
y_mm = 200
"""
PLAN = """title = "small"
scenario = "m.toml"
engine = "equilibrium"
members = 3
[lot]
grade = "C5"
[lot_doubt]
draws = 1
members = 16
[machine_doubt]
machines = 1
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
"""
QUICK = ("--engine", "equilibrium", "--no-pictures", "--no-ranges")
WORDS = {
    "new": ("new", "n.toml", "--defaults"),
    "run": ("run", "m.toml", *QUICK),
    "compare": ("compare", "m.toml", "--vary", "joint.kind=rigid,rolling", *QUICK),
    "diagnose": ("diagnose", "jog.csv", "m.toml"),
    "learn": ("learn", "--recipe", "jog"),
    "report": ("report", "results/m.h5", "--no-levers", "--output", "page.html"),
    "sweep": ("sweep", "plan.toml", "--no-pictures", "--workers", "1"),
    "gauge": ("gauge", "g.csv", "--no-pictures"),
    "clock": ("clock", "m.toml", "--no-check", "--no-pictures"),
    "size": ("size", "m.toml", "--no-pictures"),
    "explain": ("explain", "TIR"),
}
"""`improve` is in its own tests: it takes long.  The print is taller than a lead, over which a jog goes."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("json")
    (made / "m.toml").write_text(MACHINE, "utf-8")
    (made / "plan.toml").write_text(PLAN, "utf-8")
    turn = [3 * math.cos(n * math.pi / 4) for n in range(9)]
    jog = [f"centre,{axis},{n},{v:.2f}" for axis in "xy" for n, v in enumerate(turn)]
    (made / "jog.csv").write_text("\n".join(["probe,axis,eighth,reading_um", *jog]), "utf-8")
    rows = [
        f"{z},{a},{20 * np.cos(np.deg2rad(a)):.1f}" for z in (50, 150, 250, 350) for a in range(0, 360, 45)
    ]
    head = ["# length_mm = 400", "position_mm,angle_deg,reading_um"]
    (made / "g.csv").write_text("\n".join([*head, *rows]), "utf-8")
    return made


@pytest.mark.parametrize("command", WORDS)
def test_what_is_printed_is_valid(command, folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    code = main([*WORDS[command], "--json"])
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema.document_schema(command))
    assert document["exit_code"] == code and document["command"] == command
    assert document["answer"] is not None and document["text"]
    if command in ("new", "run", "report", "gauge"):
        assert document["files"]


def test_every_command_has_a_schema_and_the_published_ones_are_these(capsys):
    assert set(MODELS) == set(COMMANDS)
    assert schema.FILE.read_text("utf-8") == schema.text(), "python -m bedsim.answers.schema"
    for command in COMMANDS:
        assert main([command, "--json-schema"]) == 0
        jsonschema.Draft202012Validator.check_schema(json.loads(capsys.readouterr().out))


@pytest.mark.parametrize("event", ["--power-loss", "--tilt", "--upkeep"])
def test_events_are_valid_too(event, folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    assert main(["size", "m.toml", event, "--no-pictures", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema.document_schema("size"))
    (report,) = document["answer"]["events"].values()
    assert report["title"] == "small" and report["cautions"]


@pytest.mark.long
def test_what_was_really_learnt_is_valid(folder, monkeypatch, capsys):
    """Readings, not a recipe: spreads, every screw, the next reading, and the file that was kept."""
    monkeypatch.chdir(folder)
    assert main(["learn", "jog.csv", "m.toml", "--keep", "known.json", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema.document_schema("learn"))
    answer = document["answer"]
    for spread in (answer["lateral"], answer["height"]):
        assert 0 < spread["low_m"] <= spread["middle_m"] <= spread["high_m"] < 1e-3
    assert [screw["corner"] for screw in answer["screws"]] == ["left", "right", "rear"]
    assert answer["next"] and not answer["tug"]
    written = {path.rpartition("/")[2] for path in document["files"]}
    assert written == {"known.json", "m_learn.png"}


@pytest.mark.long
@pytest.mark.parametrize("event", ["--shake", "--speeds"])
def test_slower_events_are_valid_too(event, folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    assert main(["size", "m.toml", event, "--no-pictures", "--json"]) == 0
    jsonschema.validate(json.loads(capsys.readouterr().out), schema.document_schema("size"))


@pytest.mark.parametrize("word", ["guide.radial_n_per_um", "buckling_load", "lateral_pv"])
def test_what_a_word_moves_in_a_machine_is_valid(word, folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    assert main(["explain", word, "m.toml", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, schema.document_schema("explain"))
    assert document["answer"]["here"]


def test_every_file_that_was_written_is_named(folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    (folder / "own.toml").write_text(MACHINE, "utf-8")
    words = ("g.csv", "--set", "corner=left", "--into", "own.toml", "--no-pictures")
    assert main(["gauge", *words, "--json"]) == 0
    assert {"own.toml", "own.before.toml"} < set(json.loads(capsys.readouterr().out)["files"])


def test_refused_input_leaves_stdout_empty(folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    assert main(["size", "none.toml", "--json"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "none.toml" in said.err
