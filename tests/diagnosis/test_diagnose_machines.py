"""`bedsim diagnose` on shipped machines: readings of one told by the same one and by another."""

from pathlib import Path

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.diagnosis.response import once_per_turn_response
from bedsim.diagnosis.screw_bounds import screw_bounds
from bedsim.errors import SolverError
from bedsim.scenario.load import load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RIGID, ROLLING = (str(SCENARIOS / f"bent-rolled-{j}.toml") for j in ("rigid", "rolling-joints"))
OFFSET_UM = np.array([88.0 * np.exp(0.35j), 128.0 * np.exp(2.36j), 69.0 * np.exp(-1.9j), 0, 0, 0])


@pytest.fixture
def readings(tmp_path):
    """A file of readings at three probes of the rigid machine with bent screws, with noise (um) or none."""

    def write(noise):
        answers = once_per_turn_response(load_scenario(Path(RIGID), ()))
        rng = np.random.default_rng(3)
        lines = ["probe,axis,eighth,reading_um"]
        for probe, at in list(zip(answers.probe_name, answers.response, strict=True))[:3]:
            for axis, row in zip("xyz", at, strict=True):
                wave = (row @ OFFSET_UM * np.exp(1j * np.arange(8) * np.pi / 4)).real
                wave = wave + noise * rng.normal(size=8)
                lines += [f"{probe},{axis},{k},{value:.2f}" for k, value in enumerate(wave)]
        path = tmp_path / "readings.csv"
        path.write_text("\n".join(lines), encoding="utf-8")
        return str(path)

    return write


def test_the_machine_that_was_read_explains_its_readings(readings, capsys):
    assert main(["diagnose", readings(1.0), RIGID]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Largest share found: run-out at front right")
    assert "the model explains the readings" in out


def test_another_machine_is_asked_about(readings, capsys):
    """Rolling joints pass a hundredth of a run-out on: no bent screw explains what rigid joints do.

    In its clamped bearing the worst screw stands less than the usual 100 um off, so that is what counts.
    """
    assert main(["diagnose", readings(1.0), ROLLING]) == 0
    out = capsys.readouterr().out
    assert out.startswith("The motion is more than the screws of this machine can cause: run-out at front")
    assert "500 µm is 5 times" in out
    assert "(joint.kind: rolling) the machine that was read?" in out
    assert "run-out at front left is hardly seen by these readings." in out
    assert "explains the readings" not in out
    assert "Next: turn" not in out


def test_readings_without_their_scatter_are_no_check(readings, capsys):
    assert main(["diagnose", readings(0.0), RIGID]) == 0
    out = capsys.readouterr().out
    assert "less than readings of the stated uncertainty leave once in 100 times" in out
    assert "explains the readings" not in out


def test_bounds_are_of_the_worst_screw_or_a_usual_one():
    """By hand: 5 x 260/2 um of bow as read in the machine, 5 x 100 um where the screws are straighter; 5 x
    123 um of travel. Clamped ends draw a bow read on the free screw straighter."""
    loaded = load_scenario(Path(RIGID), ["screw.run_out.bow_measured=mounted"])
    sources = (("run-out", "back"), ("once-per-turn travel", "back"))
    assert screw_bounds(loaded, sources) == pytest.approx([650e-6, 615e-6], rel=1e-3)
    # read on the free screw: 130 um become 88 um in the clamped bearing, less than the usual 100 um
    assert screw_bounds(load_scenario(Path(RIGID), ()), sources)[0] == pytest.approx(500e-6)
    straight = [f"corner.{c}.screw.run_out.bow_tir_um=10" for c in ("front left", "front right", "back")]
    assert screw_bounds(load_scenario(Path(RIGID), straight), sources)[0] == pytest.approx(500e-6)
    measured = load_scenario(SCENARIOS / "gauge-readings.toml", ())
    assert 500e-6 <= screw_bounds(measured, sources)[0] < 1e-3


def test_friction_is_told_with_its_range(readings, capsys):
    assert main(["diagnose", readings(1.0), RIGID]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert (
        "for this machine and its likeliest friction. Friction at the ends of its ranges moves run-out" in out
    )


def test_friction_that_cannot_be_followed_is_left_out_and_said(readings, capsys, monkeypatch):
    def fails(machine, bound):
        raise SolverError("no equilibrium found")

    monkeypatch.setattr("bedsim.diagnosis.from_bands.about", fails)
    assert main(["diagnose", readings(1.0), RIGID]) == 0
    assert "Friction is left out, the uncertainties are too small: no equilibrium" in capsys.readouterr().out
