"""Bands of every length that `run` shows, read off its walls by a fit written here, told by `diagnose`."""

from pathlib import Path

import numpy as np
import pytest

from bedsim import load_scenario, simulate
from bedsim.cli.main import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
QUIET = [f"motor.place_error_{k}_deg=0" for k in (1, 2, 3, 4)]
WALLS = {"+X": (1.0, 0.0), "+Y": (0.0, 1.0)}
PROBES = ("centre", "front left", "back right")
CORNERS = ("front left", "front right", "back")
STRAIGHT = [f"corner.{name}.screw.run_out.bow_tir_um=0" for name in CORNERS]
EVEN = [f"corner.{name}.screw.travel.once_per_turn_pv_um=0" for name in CORNERS]


def read_bands(scenario, changes, length_mm, turned=","):
    """Rows of the bands of one length on the walls of a run, amplitude and crest by least squares.

    A wall stands out where the bed had moved away from it, -(n . d), and where the bed came nearer to the
    nozzle than at the layer below: a line of one volume grows wider by w/h per thickness lost, half of it
    here.
    """
    loaded = load_scenario(scenario, changes)
    run = simulate(loaded)
    settings = loaded.scenario.print
    h, w = settings.layer_mm, settings.line_width_mm
    lines = []
    layers = run.layers
    names = list(layers.probe_name)
    for probe in PROBES:
        p = names.index(probe)
        lateral, height = layers.lateral_error[:, p] * 1e6, layers.height_error[:, p] * 1e6
        squeeze = np.diff(height, prepend=np.nan) * w / (2 * h)
        for wall, normal in WALLS.items():
            relief = (-lateral @ np.array(normal) + squeeze)[1:]
            z = h * np.arange(1, 1 + relief.size)
            turn = 2 * np.pi * z / length_mm
            design = np.stack([np.cos(turn), np.sin(turn), np.ones_like(z), z], axis=1)
            c, s = np.linalg.lstsq(design, relief, rcond=None)[0][:2]
            crest = np.arctan2(s, c) / (2 * np.pi) * length_mm % length_mm
            lines.append(f"{wall},{probe},{length_mm},{np.hypot(c, s):.6f},{crest:.6f},{turned}")
    return lines


def write(path, lines):
    head = "wall,probe,wavelength_mm,amplitude_um,crest_mm,turned,turned_deg"
    path.write_text("\n".join([head, *lines]), encoding="utf-8")
    return str(path)


def told(capsys, cause, corner):
    """Amplitude (um) and direction (degrees) in the table's row of a source."""
    out = capsys.readouterr().out
    row = next(line for line in out.splitlines() if line.strip().startswith(cause) and f" {corner} " in line)
    cells = [cell.strip() for cell in row.split("  ") if cell.strip()]
    return out, float(cells[2].split()[0]), cells[4]


def test_a_lead_that_thick_layers_show_longer_is_told_with_its_direction(tmp_path, capsys):
    """1.2 mm layers on a lead of 2 mm show 3 mm, and backwards: the screw's own direction comes out all the
    same."""
    right = "corner.front right.screw.run_out.eccentricity"
    changes = [*QUIET, *STRAIGHT, *EVEN, f"{right}_tir_um=120"]
    scenario = str(SCENARIOS / "thick-layers.toml")
    lines = read_bands(scenario, [*changes, f"{right}_deg=35"], 3.0)
    lines += [line.removesuffix(",,") + ",back,90" for line in lines]  # a straight screw: the same bands
    lines += read_bands(scenario, [*changes, f"{right}_deg=125"], 3.0, turned="front right,90")
    file = write(tmp_path / "b.csv", lines)
    sets = [word for change in changes for word in ("--set", change)]
    assert main(["diagnose", file, scenario, *sets, "--sigma-um", "0.1"]) == 0
    out, amplitude, direction = told(capsys, "run-out", "front right")
    assert out.startswith("Largest share found: run-out at front right")
    assert amplitude == pytest.approx(60, rel=0.02)
    assert direction == "35°"


def test_half_of_the_lead_is_told_by_travel(tmp_path, capsys):
    """A screw that lifts its nut by 3 um twice per turn, beside two even ones."""
    height = np.arange(0.0, 500.0, 0.25)
    rows = [f"{z:.2f},{3 * np.cos(2 * np.pi * z / 2.5):.5f}" for z in height]
    (tmp_path / "travel.csv").write_text("position_mm,deviation_um\n" + "\n".join(rows), encoding="utf-8")
    text = (SCENARIOS / "bent-rolled-rigid.toml").read_text(encoding="utf-8")
    scenario = tmp_path / "machine.toml"
    scenario.write_text(text, encoding="utf-8")
    clean = [*QUIET, *STRAIGHT, *EVEN]
    changes = [*clean, "corner.back.screw.travel.table=travel.csv"]
    file = write(tmp_path / "b.csv", read_bands(scenario, changes, 2.5))
    sets = [word for change in clean for word in ("--set", change)]
    assert main(["diagnose", file, str(scenario), *sets, "--sigma-um", "0.1"]) == 0
    out, amplitude, _ = told(capsys, "travel twice per turn", "back")
    assert out.startswith("Bands of 2.5 mm: travel twice per turn.")
    assert "Largest share found: travel twice per turn at back" in out
    assert amplitude == pytest.approx(3, rel=0.01)


def test_a_motor_is_told_by_the_length_that_layers_show(tmp_path, capsys):
    """0.21 mm layers on full steps of 0.025 mm: 2.1 tooth pitches a layer, bands of 2.1 mm. 0.5 degrees of a
    motor lift by 0.5/360 x 5 mm = 6.94 um."""
    scenario = str(SCENARIOS / "bent-rolled-rigid.toml")
    clean = [*QUIET, *STRAIGHT, *EVEN, "print.layer_mm=0.21"]
    changes = [*clean, "corner.front left.motor.place_error_1_deg=0.5"]
    file = write(tmp_path / "b.csv", read_bands(scenario, changes, 2.1))
    sets = [word for change in clean for word in ("--set", change)]
    assert main(["diagnose", file, scenario, *sets, "--sigma-um", "0.1"]) == 0
    out, amplitude, _ = told(capsys, "motor once in four full steps", "front left")
    assert "Largest share found: motor once in four full steps at front left" in out
    assert amplitude == pytest.approx(0.5 / 360 * 5000, rel=0.01)
