"""`bedsim diagnose` with a machine answer made up here."""

import numpy as np
import pytest
from made_up_report import made_up_run

from bedsim.cli.diagnose import BANDS_EXAMPLE, GAUGE_EXAMPLE
from bedsim.cli.main import main
from bedsim.diagnosis import response
from bedsim.diagnosis.readings import read_readings
from bedsim.diagnosis.response import UnitResponses

SOURCES = tuple(("run-out", c) for c in ("front left", "front right", "back"))
PROBES = ("centre", "front left")
RESPONSE = np.array(
    [
        [[0.5, 0.3, 0.2], [-0.5j, -0.3j, -0.1j], [0, 0, 0]],
        [[0.6, 0.1, 0.3], [-0.4j, -0.5j, -0.2j], [0.1, -0.1, 0.3j]],
    ],
    complex,
)


@pytest.fixture
def machine(monkeypatch, tmp_path):
    """A scenario file and a stand-in for the linear machine."""
    made_up = UnitResponses(probe_name=PROBES, sources=SOURCES, response=RESPONSE)
    monkeypatch.setattr(response, "once_per_turn_response", lambda loaded: made_up)
    path = tmp_path / "machine.toml"
    path.write_text(made_up_run(5e-6, title="Machine").scenario_resolved, encoding="utf-8")
    return path


def readings(path, true, probes=PROBES, axes="xyz", extra=0.0):
    rng = np.random.default_rng(2)
    lines = ["probe,axis,eighth,reading_um"]
    for p, probe in enumerate(PROBES):
        for a, axis in enumerate("xyz"):
            if probe in probes and axis in axes:
                value = RESPONSE[p, a] @ true + (extra if axis == "x" else 0)
                for k in range(8):
                    reading = (value * np.exp(1j * k * np.pi / 4)).real + rng.normal(0, 0.2)
                    lines.append(f"{probe},{axis},{k},{reading:.3f}")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


TRUE = np.array([20.0, 0.5, 4j])


def test_culprit_is_named(machine, tmp_path, capsys):
    file = readings(tmp_path / "r.csv", TRUE)
    assert main(["diagnose", str(file), str(machine), "--sigma-um", "0.2"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Largest share found: run-out at front left")
    assert "the model explains the readings" in out
    assert "extruder drive out of round (extruded volume): length not known" in out


def test_too_few_readings_cannot_tell_and_name_the_next_test(machine, tmp_path, capsys):
    file = readings(tmp_path / "r.csv", TRUE, probes=("centre",), axes="x")
    assert main(["diagnose", str(file), str(machine)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("These readings cannot tell which screw does most; likeliest the one at")
    assert "invented machines jogged under a gauge" in out
    assert "Next: turn the screw at" in out
    assert "Caution: the bed can drop" in out
    assert "Not separated: run-out at front left, run-out at front right, run-out at back" in out


def test_cause_outside_the_model_is_told(machine, tmp_path, capsys):
    file = readings(tmp_path / "r.csv", TRUE, extra=6j)
    assert main(["diagnose", str(file), str(machine), "--sigma-um", "0.2", "--heater-s", "40"]) == 0
    out = capsys.readouterr().out
    assert "the readings hold something no screw of the model makes" in out
    assert "heater of bed or nozzle switching (time): bands of 0.4 mm" in out


def test_different_leads_are_refused(machine, tmp_path, capsys):
    file = readings(tmp_path / "r.csv", TRUE)
    assert main(["diagnose", str(file), str(machine), "--set", "corner.back.screw.lead_mm=4"]) == 2
    assert "a diagnosis by phase needs one lead" in capsys.readouterr().err


def test_unknown_probe_is_refused(machine, tmp_path, capsys):
    file = tmp_path / "r.csv"
    file.write_text("probe,axis,eighth,reading_um\n" + "".join(f"middle,x,{k},1\n" for k in range(8)))
    assert main(["diagnose", str(file), str(machine)]) == 2
    assert "probe = 'middle': must be one of centre" in capsys.readouterr().err


def test_bands_of_another_length_are_told_what_could_make_them(machine, tmp_path, capsys):
    """Worked by hand: 0.2 mm layers of 30 mm3 and a drive of 480 mm3 a turn give bands of 3.2 mm."""
    file = tmp_path / "b.csv"
    file.write_text("wall,probe,wavelength_mm,amplitude_um,crest_mm\n+X,centre,3.2,4,1\n")
    layer = ["--set", "print.layer_mm=0.2", "--layer-mm3", "30", "--extruder-mm3", "480"]
    assert main(["diagnose", str(file), str(machine), *layer]) == 2
    err = capsys.readouterr().err
    assert (
        "b.csv: line 2: wavelength_mm = 3.2: screws and motors of this machine and layer height make" in err
    )
    assert "bands of 5 (lead), 2.5 (travel twice per turn), 1.67 (travel three times per turn)" in err
    assert "Of about that length: extruder drive out of round." in err
    assert "extruder drive out of round (extruded volume): bands of 3.2 mm" in err


def test_shares_beyond_the_whole_are_explained_where_they_are_told(machine, tmp_path, capsys):
    """Two screws that all but cancel: one makes more than is left of both."""
    usual = [str(machine), "--sigma-um", "0.2"]
    file = readings(tmp_path / "r.csv", np.array([20.0, -12.0, 0.0]))
    assert main(["diagnose", str(file), *usual]) == 0
    assert "Causes may cancel each other" in capsys.readouterr().out
    file = readings(tmp_path / "r.csv", np.array([20.0, 0.0, 0.0]))
    assert main(["diagnose", str(file), *usual]) == 0
    assert "cancel" not in capsys.readouterr().out


def test_examples_in_the_help_are_such_files(tmp_path, capsys):
    assert main(["diagnose", "--help"]) == 0
    shown = capsys.readouterr().out
    for number, example in enumerate((GAUGE_EXAMPLE, BANDS_EXAMPLE)):
        assert all(line in shown for line in example.splitlines())
        file = tmp_path / f"{number}.csv"
        file.write_text(example, encoding="utf-8")
        assert len(read_readings(file)) == number + 1
