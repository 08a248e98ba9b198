"""`bedsim clock` as a user meets it: figures, steps, spares, picture, bad input."""

import shutil
from pathlib import Path

import pytest

from bedsim.cli.main import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHORT = ["--set", "print.layers=24"]
BADLY_CLOCKED = [*SHORT, "--set", "corner.back.screw.clocking_deg=120"]

SPARES = """
[[screw]]
name = "S1"
[screw.run_out]
bow_tir_um = {low = 8, likely = 10, high = 12, basis = "measured"}
bow_deg = 10
[screw.travel]
once_per_turn_pv_um = 3
[[screw]]
name = "S2"
[screw.run_out]
bow_tir_um = 400
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(SCENARIOS / "bent-rolled-rigid.toml", tmp_path / "machine.toml")
    (tmp_path / "spares.toml").write_text(SPARES, encoding="utf-8")
    return tmp_path


def told(capsys):
    return " ".join(capsys.readouterr().out.split())


def test_tells_before_after_levelling_cost_and_steps(folder, capsys):
    assert main(["clock", "machine.toml", *BADLY_CLOCKED]) == 0
    out = told(capsys)
    assert out.startswith("Clocking takes the lateral error")
    for words in (
        "RMS as placed",
        "RMS after levelling, expected",
        "RMS after levelling, worst case",
        "peak to valley as placed",
        "height, peak to valley",
        "What inaccurate clocking costs",
        "With friction, play and vibration, as a run has them",
        "seen from above",
        "Take up the height at the bed's mounts",
        "turns the screws by up to: front left 36°",
        "Caution: a bed can fall",
        "Picture: results/machine_clock.png",
    ):
        assert words in out
    assert (folder / "results" / "machine_clock.png").stat().st_size > 10_000
    assert "safe" not in out.lower().split()


def test_the_run_it_proposes_is_the_advised_machine(folder, capsys):
    """The printed --set options are taken by the scenario and give what was promised with friction."""
    import shlex

    main(["clock", "machine.toml", "--no-swap", "--no-pictures", "--no-check", *BADLY_CLOCKED])
    line = next(x for x in capsys.readouterr().out.splitlines() if x.startswith("To see it"))
    arguments = shlex.split(line.partition("bedsim ")[2])
    extra = ["--engine", "equilibrium", "--no-pictures", "--no-ranges", "--output", "r.h5", *SHORT]
    assert main([*arguments, *extra]) == 0
    assert "clocking_deg" in line


def test_spares_from_toml_and_from_a_table_of_the_gauge(folder, capsys):
    """The nearly straight spare is put in, the badly bent one is left over; a CSV is a screw too."""
    shutil.copy(SCENARIOS / "gauge-readings" / "back.csv", folder / "measured.csv")
    usual = ["clock", "machine.toml", "--no-check", "--no-pictures", *SHORT]
    assert main([*usual, "--spares", "spares.toml", "--spares", "measured.csv"]) == 0
    out = told(capsys)
    assert "put in spare screw S1" in out
    assert "by 0°" not in out
    assert "Left over:" in out
    assert "spare screw S2" in out.split("Left over:")[1]
    assert "120 sets of screws" in out


def test_keys_as_the_gauge_writes_them_are_one_screw_named_by_its_file(folder, capsys):
    (folder / "third.toml").write_text("[screw.run_out]\nbow_tir_um = 5\n", encoding="utf-8")
    usual = ["clock", "machine.toml", "--no-check", "--no-pictures", *SHORT]
    assert main([*usual, "--spares", "third.toml"]) == 0
    assert "put in spare screw third" in told(capsys)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[[screw]]\nname = "A"\nrun_out = {bow_tir = 3}', "Did you mean bow_tir_um?"),
        ('[[screw]]\nname = "A"\nlead_mm = 4', "all else is that of the scenario's screws"),
        ('[[screw]]\nname = "A"\nrun_out = {bow_tir_um = -3}', "bow_tir_um = -3: must be at least 0"),
        ('[[screw]]\nname = "A"\nrun_out = {bow_tir_um = "3"}', "must be a number"),
        ('[[screw]]\nname = "A"\nrun_out = {table = "no.csv"}', "no such file"),
        ('[[screw]]\nname = "A"\nrun_out = {bow_tir_um = {low = 3, likely = 2, high = 5}}', "low <= likely"),
        ('[[screw]]\nname = "A"\n[[screw]]\nname = "A"', "is given twice"),
        ("[nut]\nmass_kg = 1", "unknown key"),
        ("screw = 3", "must be a list of tables"),
        ("[[screw]", "is not TOML"),
    ],
)
def test_bad_spares_get_one_message(folder, capsys, text, message):
    (folder / "bad.toml").write_text(text, encoding="utf-8")
    assert main(["clock", "machine.toml", "--spares", "bad.toml", *SHORT]) == 2
    err = capsys.readouterr().err
    assert message in " ".join(err.split())
    assert "bad.toml" in err or "spares" in err
    assert "Traceback" not in err


def test_bad_options_get_one_message(folder, capsys):
    for options, message in (
        (["--spares", "none.toml"], "no such file"),
        (["--probe", "middle"], "Allowed: centre"),
        (["--probe", "center"], "Did you mean centre?"),
        (["--levelling-correction-mm", "-1"], "must be at least 0"),
        (["--levelling-correction-mm", "nan"], "must be at least 0"),
        (["--levelling-correction-mm", "500"], "at most 10. It is in mm, 0.5 is 500 µm"),
        (["--aim", "best"], "expected"),
    ):
        assert main(["clock", "machine.toml", *options, *SHORT]) == 2
        assert message in capsys.readouterr().err


@pytest.mark.parametrize("name", ["bent-rolled-rigid", "gauge-readings", "plain-lead-screws", "four-screws"])
def test_where_little_is_gained_the_screws_are_left_and_no_steps_told(name, capsys):
    """The shipped screws lie well, or stray by less than is seen: no coupling is worth loosening."""
    assert main(["clock", str(SCENARIOS / f"{name}.toml"), "--no-pictures"]) == 0
    out = told(capsys)
    assert out.startswith("Leave the screws as they are: clocking gains little here")
    least = "0.50 µm RMS" if name == "four-screws" else "10 %"
    assert f"Less than {least} is not worth the work (our assumption)" in out
    assert "In the workshop" not in out
    assert "bedsim run" not in out


def test_where_levelling_undoes_every_clocking_the_screws_are_left(folder, capsys):
    """Levelling by a lead turns the screws anywhere: the mean over it is the same for every clocking."""
    usual = ["clock", "machine.toml", "--no-check", "--no-pictures", *SHORT]
    assert main([*usual, "--levelling-correction-mm", "5"]) == 0
    out = told(capsys)
    assert out.startswith("Leave the screws as they are")
    assert "In the workshop" not in out


def test_what_is_worse_with_friction_is_not_advised(folder, capsys):
    """A setting that is worse than the machine is told as such, by the machine with friction."""
    from dataclasses import replace

    from bedsim.cli.clock import _worse_with_friction
    from bedsim.clocking.advice import advise
    from bedsim.scenario.load import load_scenario

    loaded = load_scenario(Path("machine.toml"), tuple(v for v in BADLY_CLOCKED if v != "--set"))
    advice = advise(loaded, swap=False)
    assert not _worse_with_friction(loaded, advice)
    well = load_scenario(Path("machine.toml"), ("print.layers=24",))
    capsys.readouterr()
    assert _worse_with_friction(well, replace(advice, best=advice.now))
    assert "Leave the screws as they are: with friction, play and vibration the RMS goes from" in told(capsys)


def test_screws_that_cancel_to_nothing_are_advised_too(tmp_path, capsys):
    """Four screws alike: the least mean square is zero, which rounding leaves a little below."""
    file = str(tmp_path / "four.toml")
    assert main(["new", file, "--defaults", "--corners", "4"]) == 0
    assert main(["clock", file, "--output", str(tmp_path / "four.png")]) == 0
    assert "bedsim run" in capsys.readouterr().out
