"""`bedsim size` as a user meets it: table, missing things, cautions, picture, bad input."""

import pytest

from bedsim.cli.main import main

MACHINE = """
title = "Three rolled ball screws"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3.0
[print]
layers = 100
layer_mm = 0.2
[screw]
kind = "rolled_ball"
diameter_mm = 16
lead_mm = 5
length_mm = 400
[joint]
kind = "rigid"
[guide]
kind = "profile_rail"
[motor]
holding_torque_n_m = 0.4
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


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "machine.toml").write_text(MACHINE, encoding="utf-8")
    return tmp_path


def test_the_first_screen_has_the_verdict_first_and_the_smallest_margins(folder, capsys):
    assert main(["size", "machine.toml", "--no-pictures"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "limits" in lines[2] and "kept" in lines[2]
    head = next(k for k, line in enumerate(lines) if line.startswith("the smallest margins"))
    margins = [float(line[76:84]) for line in lines[head + 1 : head + 6]]
    assert margins == sorted(margins)
    assert len(lines) <= 36
    assert any("--all" in line for line in lines)
    assert "Shigley" not in "".join(lines)


def test_prints_values_limits_margins_and_sources(folder, capsys):
    assert main(["size", "machine.toml", "--no-pictures", "--all"]) == 0
    out = capsys.readouterr().out
    for words in (
        "push against half the buckling load",
        "torque to hold when shaken",
        "THK",
        "Shigley",
        "Missing:",
        "Assumptions:",
        "Ball or plain screw",
        "Caution:",
    ):
        assert words in out
    assert not (folder / "results").exists()


def test_never_says_safe_and_names_who_decides(folder, capsys):
    main(["size", "machine.toml", "--no-pictures"])
    out = capsys.readouterr().out
    words = out.lower().replace("static safety", "").split()
    assert "safe" not in [w.strip(".,;:") for w in words]
    assert "must decide" in " ".join(out.split())
    assert "licensed practitioners" in out


def test_a_ball_screw_without_brake_is_never_called_held(folder, capsys):
    """Only the detent holds it: the caution says so, even with a strong detent."""
    main(["size", "machine.toml", "--no-pictures", "--set", "motor.detent_torque_n_m=0.1"])
    out = " ".join(capsys.readouterr().out.split())
    assert "these screws do not hold by themselves" in out
    main(["size", "machine.toml", "--no-pictures", "--set", "motor.detent_torque_n_m=0"])
    out = " ".join(capsys.readouterr().out.split())
    assert "the bed is not held when the motors are off" in out


def test_lines_fit_a_terminal(folder, capsys):
    main(["size", "machine.toml", "--no-pictures"])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 100


def test_writes_one_picture_beside_other_results(folder, capsys):
    assert main(["size", "machine.toml"]) == 0
    assert "results/machine_size.png" in capsys.readouterr().out
    assert (folder / "results" / "machine_size.png").stat().st_size > 20000


def test_override_changes_the_answer(folder, capsys):
    main(["size", "machine.toml", "--no-pictures"])
    before = capsys.readouterr().out
    main(["size", "machine.toml", "--no-pictures", "--set", "screw.lead_mm=10"])
    assert capsys.readouterr().out != before


def test_every_corner_on_demand(folder, capsys):
    main(["size", "machine.toml", "--no-pictures", "--every-corner"])
    out = capsys.readouterr().out
    assert out.count("push against half the buckling load") == 3


def test_a_missing_file_is_one_message_and_exit_code_2(folder, capsys):
    assert main(["size", "machin.toml"]) == 2
    caught = capsys.readouterr()
    assert "Did you mean machine.toml?" in caught.err
    assert caught.out == ""


def test_a_picture_that_cannot_be_written_is_told(folder, capsys):
    (folder / "blocked").write_text("", encoding="utf-8")
    assert main(["size", "machine.toml", "--output", "blocked/a.png"]) == 2
    assert "blocked" in capsys.readouterr().err
