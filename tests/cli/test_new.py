"""`bedsim new`: answers by option, by prompt or by suggestion; a short file that loads."""

import json
import tomllib

import pytest

import bedsim.cli.new
from bedsim.cli.main import main
from bedsim.cli.new import QUESTIONS
from bedsim.scenario.load import load_scenario
from bedsim.scenario.template import corner_places, plain_starts


def test_at_most_eighteen_things_are_asked():
    assert len(QUESTIONS) <= 18


@pytest.mark.parametrize("frame", ["not_known", "welded", "extrusion", "printed"])
@pytest.mark.parametrize("mount", ["groove", "bolted", "flexure"])
def test_frames_and_mounts_are_taken_over(tmp_path, frame, mount):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--defaults", "--frame", frame, "--mount", mount]) == 0
    corner = load_scenario(path).scenario.corner[0]
    assert corner.mount.kind == mount
    assert corner.frame.section == {"welded": "steel_40x20x2", "extrusion": "30x30"}.get(frame)
    assert (corner.frame.radial_n_per_um == 0.3) == (frame == "printed")


def test_each_screw_may_have_its_own_run_out(tmp_path, capsys):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--defaults", "--run-out", "80,100,120"]) == 0
    corners = load_scenario(path).scenario.corner
    assert [c.screw.run_out.bow_tir_um for c in corners] == [80, 100, 120]
    assert main(["new", str(tmp_path / "n.toml"), "--defaults", "--run-out", "80,100"]) == 2
    assert "2 numbers are given for 3 screws" in capsys.readouterr().err
    assert main(["new", str(tmp_path / "n.toml"), "--defaults", "--run-out", "80,x"]) == 2
    assert not (tmp_path / "n.toml").exists()


@pytest.mark.parametrize("screw", ["ground_ball", "rolled_ball", "plain"])
@pytest.mark.parametrize("joint", ["rigid", "rolling", "sliding", "flexure", "air_film"])
@pytest.mark.parametrize("corners", ["3", "4"])
def test_every_choice_gives_a_short_file_that_loads(tmp_path, capsys, screw, joint, corners):
    path = tmp_path / "my-machine.toml"
    options = ["--defaults", "--screw", screw, "--joint", joint, "--corners", corners]
    assert main(["new", str(path), *options]) == 0
    told = capsys.readouterr().out
    assert told.startswith(f"Wrote {path}. Next: bedsim run {path}\n")
    assert "Layer height: 0.2 mm is 8 full steps of the motor, a multiple of four" in told
    scenario = load_scenario(path).scenario
    assert scenario.title == "my machine"
    assert len(scenario.corner) == int(corners)
    assert {c.screw.kind for c in scenario.corner} == {screw}
    assert {c.joint.kind for c in scenario.corner} == {joint}
    assert len(path.read_text().splitlines()) <= 32
    assert "# " in path.read_text()


@pytest.mark.parametrize("guide", ["profile_rail", "round_rod", "wheels"])
@pytest.mark.parametrize("ends", ["fixed-free", "supported-supported", "fixed-supported", "fixed-fixed"])
def test_guides_and_ends_are_taken_over(tmp_path, guide, ends):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--defaults", "--guide", guide, "--ends", ends]) == 0
    corner = load_scenario(path).scenario.corner[0]
    assert (corner.guide.kind, corner.screw.ends) == (guide, ends)


def test_numbers_are_written_as_given(tmp_path):
    path = tmp_path / "m.toml"
    numbers = {
        "--bed-x": "310.5",
        "--bed-mass": "3.25",
        "--lead": "8",
        "--run-out": "80",
        "--layers": "30",
        "--gear": "3",
    }
    assert main(["new", str(path), "--defaults", *(x for pair in numbers.items() for x in pair)]) == 0
    tree = tomllib.loads(path.read_text())
    assert (tree["bed"]["size_x_mm"], tree["bed"]["mass_kg"]) == (310.5, 3.25)
    assert (tree["screw"]["lead_mm"], tree["print"]["layers"]) == (8, 30)
    assert tree["motor"]["gear_ratio"] == 3
    found = {r.key: r for r in load_scenario(path).ranges}["screw.run_out.bow_tir_um"]
    assert (found.low, found.likely, found.high, found.basis) == (40, 80, 160, "estimated")


def test_without_run_out_nothing_is_made_up(tmp_path):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--defaults", "--run-out", "0"]) == 0
    assert "run_out" not in path.read_text()


def test_in_a_pipe_the_missing_options_are_named(tmp_path, capsys):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--bed-x", "200", "--lead", "4"]) == 2
    told = capsys.readouterr().err
    assert "--bed-y, --bed-mass, --screw, --diameter, --length must be given, or --defaults." in told
    assert not path.exists()


def test_in_a_pipe_the_rest_is_suggested(tmp_path):
    path = tmp_path / "m.toml"
    bed = ["--bed-x", "200", "--bed-y", "200", "--bed-mass", "1"]
    screw = ["--screw", "plain", "--diameter", "8", "--lead", "8", "--length", "300"]
    assert main(["new", str(path), *bed, *screw]) == 0
    assert load_scenario(path).scenario.corner[0].screw.starts == 4


def test_on_a_terminal_only_what_is_missing_is_asked(tmp_path, monkeypatch):
    asked = []

    def prompt(words, default, type):
        asked.append(words)
        return 3.5 if "Mass" in words else default

    monkeypatch.setattr(bedsim.cli.new, "asks", lambda: True)
    monkeypatch.setattr(bedsim.cli.new.click, "prompt", prompt)
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--lead", "4", "--joint", "rolling"]) == 0
    assert len(asked) == len(QUESTIONS) - 2
    scenario = load_scenario(path).scenario
    assert (scenario.bed.mass_kg, scenario.corner[0].screw.lead_mm) == (3.5, 4)


def test_a_file_is_not_overwritten_unless_forced(tmp_path, capsys):
    path = tmp_path / "m.toml"
    path.write_text("mine")
    assert main(["new", str(path), "--defaults"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert path.read_text() == "mine"
    assert main(["new", str(path), "--defaults", "--force"]) == 0
    assert path.read_text() != "mine"


def test_answers_that_make_no_machine_are_refused_and_nothing_is_written(tmp_path, capsys):
    path = tmp_path / "m.toml"
    assert main(["new", str(path), "--defaults", "--lead", "-3"]) == 2
    assert f"{path}: screw.lead_mm = -3: must be > 0." in capsys.readouterr().err
    assert main(["new", str(path), "--defaults", "--layers", "5000"]) == 2
    assert "the nut runs off the screw" in capsys.readouterr().err
    assert not path.exists()


def test_a_folder_that_is_not_there_is_told(tmp_path, capsys):
    assert main(["new", str(tmp_path / "none" / "m.toml"), "--defaults"]) == 2
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["new", "run"])
def test_the_json_schema_is_printed_without_a_file(capsys, command):
    assert main([command, "--schema"]) == 0
    assert json.loads(capsys.readouterr().out)["properties"]["bed"]


# Tr8x2, Tr8x8(P2), Tr10x2, Tr12x3, Tr16x4, Tr20x20(P4): pitches of ISO 2904; Tr8x2 and its multiple starts
# are common practice, no source.
@pytest.mark.parametrize(
    ("diameter", "lead", "starts"), [(8, 2, 1), (8, 8, 4), (10, 2, 1), (12, 3, 1), (16, 4, 1), (20, 20, 5)]
)
def test_starts_of_plain_screws(diameter, lead, starts):
    assert plain_starts(diameter, lead) == starts


@pytest.mark.parametrize("corners", [3, 4])
def test_screws_stand_outside_the_bed_and_around_its_centre(corners):
    places = corner_places(300, 200, corners)
    assert all(abs(x) > 150 or abs(y) > 100 for _, x, y in places)
    assert {x > 0 for _, x, _ in places} == {True, False}
    assert {y > 0 for _, _, y in places} == {True, False}
