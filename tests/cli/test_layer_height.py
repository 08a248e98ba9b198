"""One answer to which layer height: the same sentence in `size`, `run` and `new`, the same heights in
`diagnose`."""

from pathlib import Path

import pytest

from bedsim.analysis.layer_height import layer_height_lines
from bedsim.cli.main import main
from bedsim.scenario.load import load_scenario

MACHINE = str(Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml")
GEARED = ["--set", "motor.gear_ratio=3", "--set", "motor.microsteps=4", "--set", "print.layer_mm=0.21"]


def told(capsys):
    return " ".join(capsys.readouterr().out.split())


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    "settings", [[], pytest.param(GEARED, marks=pytest.mark.long)], ids=["as shipped", "geared"]
)
def test_every_command_says_the_same(folder, capsys, settings):
    loaded = load_scenario(MACHINE, [s for s in settings if s != "--set"])
    (line,) = layer_height_lines(loaded)
    words = line.removeprefix("Layer height: ")
    assert main(["size", MACHINE, *settings, "--no-pictures", "--all"]) == 0
    assert words in told(capsys)
    short = ["--set", "print.layers=3", "--no-pictures", "--no-ranges", "--output", "r.h5"]
    assert main(["run", MACHINE, *settings, *short]) == 0
    assert line in told(capsys)
    (folder / "bands.csv").write_text(
        "wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,5,4.0,1.25\n+Y,centre,5,1.5,3.10\n"
    )
    assert main(["diagnose", "bands.csv", MACHINE, *settings]) == 0
    heights = words.partition("of four full steps ")[2].partition(", nothing")[0]
    assert heights == ("0.2 or 0.3 mm" if not settings else "0.2 or 0.2333 mm")
    assert f"choose a layer height that is a multiple of four full steps, {heights}: the bands go." in told(
        capsys
    )


def test_a_new_machine_is_told_it_too(folder, capsys):
    assert main(["new", "m.toml", "--defaults", "--lead", "8", "--layer", "0.2"]) == 0
    out = told(capsys)
    (line,) = layer_height_lines(load_scenario("m.toml"))
    assert line in out and "of four full steps 0.16 or 0.32 mm, nothing" in out


def test_drives_that_differ_are_told_apart(folder):
    loaded = load_scenario(MACHINE, ["corner.back.screw.lead_mm=4"])
    first, second = layer_height_lines(loaded)
    assert first.startswith("Layer height, front left, front right: 0.25 mm is 10 full steps")
    assert second.startswith("Layer height, back: 0.25 mm is 12.5 full steps")


def test_of_many_heights_the_worst_is_told(shipped):
    """The others are multiples of four full steps or of half of that."""
    rows = ",".join(f"{{layers=1,layer_mm={h}}}" for h in (0.1, 0.2, 0.3, 0.17))
    name = "bent-rolled-rolling-joints"
    (line,) = layer_height_lines(shipped(name, "print.layers=4", f"print.section=[{rows}]"))
    assert line.startswith("Layer height, the worst of 4 from 0.1 to 0.3 mm: 0.17 mm is 6.8 full steps")
