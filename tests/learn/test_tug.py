"""A reader's own tug of war: predictions against a closed form, an invented machine, one that is another."""

import json
import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from bedsim.answers.schema import document_schema
from bedsim.cli.main import main
from bedsim.learn import tug
from bedsim.learn.reading_files import read_files
from bedsim.metrology.tug_recipe import HEIGHTS_MM, SERIES, tug_blank
from bedsim.scenario.load import load_scenario
from bedsim.units import GRAVITY, MM, UM

MACHINE = """
title = "one corner of three for a tug of war"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3
[print]
layers = 6
layer_mm = 0.25
[screw]
kind = "rolled_ball"
diameter_mm = 12
root_diameter_mm = 10
lead_mm = 5
length_mm = 420
ends = "fixed-free"
bearing_radial_n_per_um = 30
bearing_tilt_nm_per_rad = 3000
[nut]
tilt_nm_per_rad = 1e-9
thread_height_mm = -30
radial_n_per_um = 40
mass_kg = 0.1
[joint]
kind = "rigid"
height_mm = -30
[mount]
kind = "groove"
[guide]
kind = "profile_rail"
height_mm = -30
tilt_nm_per_rad = 1e9
yaw_nm_per_rad = 1e9
radial_n_per_um = 40
tangential_n_per_um = 40
[frame]
rotation_nm_per_rad = 1e9
radial_n_per_um = {low = 0.5, likely = 1, high = 2, basis = "estimated"}
tangential_n_per_um = {low = 0.5, likely = 1, high = 2, basis = "estimated"}
[carriage]
mass_kg = 0.4
[motor]
holding_torque_n_m = 0.4
"""
CORNERS = "".join(
    f'[[corner]]\nname = "{n}"\nx_mm = {180 * math.cos(a):.6f}\ny_mm = {180 * math.sin(a):.6f}\n'
    for n, a in zip("ABC", (0.0, 2.0943951, 4.1887902), strict=True)
)


def gain(height, frame):
    """k_s/(k_s + k_g) with forces alone, derived: the shaft is a cantilever pressed by what hangs on it, on a
    bearing that tilts, d/F = (t/(1 - P t/k_tilt) - a)/P with t = tan(k a)/k, k = sqrt(P/EI); nut and bearing
    sideways behind it; against rail and frame one behind the other."""
    P, EI = 0.5 * GRAVITY, 206e9 * math.pi / 64 * 10e-3**4
    k = math.sqrt(P / EI)
    t = np.tan(k * height) / k
    shaft = 1 / ((t / (1 - P * t / 3000) - height) / P + 1 / 30e6 + 1 / 40e6)
    guide = 1 / (1 / 40e6 + 1 / (frame * 1e6))
    return shaft / (shaft + guide)


def written(folder, frame, noise_um, seed=1, gauge_deg=0.0):
    """Invented readings of a screw 90 um out of its axis at 70 degrees, upright: scenario and table."""
    (folder / "machine.toml").write_text(MACHINE + CORNERS)
    rng = np.random.default_rng(seed)
    lines = ["# test = tug", "# corner = A", f"# gauge_deg = {gauge_deg}", "# resolution_um = 1"]
    lines.append("nut,gauge,height_mm,angle_deg,reading_um")
    for nut, gauge in SERIES:
        for h in HEIGHTS_MM:
            share = 1.0 if nut == "free" else gain(h * MM, frame)
            for angle in range(0, 360, 45):
                value = 90 * share * math.cos(math.radians(angle + 70 - gauge_deg)) + rng.normal(0, noise_um)
                lines.append(f"{nut},{gauge},{h},{angle},{value:.3f}")
    (folder / "tug.csv").write_text("\n".join(lines) + "\n")
    return folder / "machine.toml", folder / "tug.csv"


@pytest.mark.parametrize("gauge_deg", [0.0, 90.0])
def test_predictions_are_the_closed_form(tmp_path, gauge_deg):
    """To 0.2 %: the axis stands straight, so that a slope does nothing."""
    scenario, table = written(tmp_path, 1.0, 0.0, gauge_deg=gauge_deg)
    loaded = load_scenario(scenario)
    read = tug.read_tug(table, loaded)
    found = np.abs(tug.predicted(loaded, read)) / UM
    expected = 90 * gain(np.array(HEIGHTS_MM) * MM, 1.0)
    np.testing.assert_allclose(found, np.stack([expected, expected]), rtol=2e-3)
    assert 0.2 < expected[0] / 90 < 0.8  # neither side simply wins there


def test_an_invented_machine_within_its_ranges_agrees(tmp_path, capsys):
    """Its frame is 1.4 times the likely one: E is large, and so is what was not known."""
    scenario, table = written(tmp_path, 1.4, 0.5)
    assert main(["learn", str(table), str(scenario), "--no-pictures"]) == 0
    said = capsys.readouterr().out
    assert "agree within what is known of both" in " ".join(said.split())
    assert said.count("\n  ") > 28


def test_the_slope_between_heights_is_u_num(tmp_path):
    """A bend of half a wave in 300 mm, whose slope is known, on a nut that passes it on: the spline through
    seven heights is off by no more than twice what doubling them tells."""
    scenario, table = written(tmp_path, 1.0, 0.0)
    scenario.write_text(scenario.read_text().replace("tilt_nm_per_rad = 1e-9", "tilt_nm_per_rad = 300"))
    loaded = load_scenario(scenario)
    read = tug.read_tug(table, loaded)
    k = math.pi / 0.3
    r, slope = 90 * UM * np.sin(k * read.height), 90 * UM * k * np.cos(k * read.height)
    bent = replace(read, wave={**read.wave, tug.FREE: r.astype(complex)})
    exact = np.einsum("ghi,hi->gh", tug.answer_of_corner(loaded, bent)[..., :2], np.stack([r, slope], -1))
    rows = [row for row in tug.compare(bent, loaded, ()) if row.part == "with the bend"]
    off = np.abs([row.S for row in rows] - np.abs(exact).ravel() * np.sign(exact.real * r).ravel())
    doubt = np.array([row.u_num for row in rows])
    assert 0.05 * UM < off.max() < 2 * doubt.max() < 0.5 * UM
    assert all(row.u_val >= math.hypot(row.u_num, row.u_data) for row in rows)


def test_the_picture_and_the_answer_as_data(tmp_path, monkeypatch, capsys):
    scenario, table = written(tmp_path, 1.4, 0.5)
    monkeypatch.chdir(tmp_path)
    assert main(["learn", str(table), str(scenario), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, document_schema("learn"))
    assert len(found["answer"]["tug"]) == 28 and found["answer"]["tug"][0]["gauge"] == "nut"
    assert (tmp_path / "results" / "machine_tug.png").read_bytes()[:4] == b"\x89PNG"
    assert main(["learn", str(table), str(scenario), "--no-pictures", "--output", "mine.png"]) == 0
    assert not (tmp_path / "mine.png").exists()


PUSHED = """# test = stiffness
# corner = A
# resolution_um = 1
# resolution_n = 0.1
place,direction,force_n,displacement_um
"""


def test_push_pull_narrows_what_is_not_known_and_another_machine_stands_out(tmp_path, capsys):
    """The frame pushed at 1 N/um, the readings those of one of 2: as described it is another machine."""
    scenario, table = written(tmp_path, 2.0, 0.3)
    loops = [
        f"frame,{way},{force},{force / 1.0}"
        for way in ("radial", "tangential")
        for force in (0, 10, 20, 30, 20, 10, 0, -10, -20, -30, -20, -10, 0)
    ]
    (tmp_path / "push.csv").write_text(PUSHED + "\n".join(loops) + "\n")
    loaded = load_scenario(scenario)
    read = tug.read_tug(table, loaded)
    before = [row.u_input for row in tug.compare(read, loaded, ())]
    assert main(["learn", str(table), str(tmp_path / "push.csv"), str(scenario), "--no-pictures"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "does not do what this machine does" in said
    observations = read_files([tmp_path / "push.csv"], loaded, UM).observations
    rows = tug.compare(read, loaded, observations)
    assert max(r.u_input for r in rows) < 0.5 * max(before)
    lowest = next(r for r in rows if r.gauge == "carriage")
    assert 2 * lowest.u_val < lowest.E  # a softer frame is pushed further than was read


def test_blank_table_holds_all_series(tmp_path):
    target = tmp_path / "tug.csv"
    assert main(["learn", "--blank", "tug", str(target)]) == 0
    assert target.read_text() == tug_blank()
    assert len(tug_blank().strip().splitlines()) == 5 + 3 * 7 * 8


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("corner = A", "corner = Z", "# corner = 'Z'"),
        ("free,nut,60", "loose,nut,60", "nut = 'loose'"),
        ("reading_um", "reading_u", "reading_u"),
        (",360,", ",500,", "height_mm"),
        ("free,nut,110,45,", "free,nut,110,xx,", "angle_deg"),
        ("bolted,carriage", "bolted,nut", "gauge = carriage"),
        ("# test = tug", "# test = tugg", "tug"),
    ],
)
def test_bad_tables_are_refused_in_one_message(tmp_path, capsys, old, new, said):
    scenario, table = written(tmp_path, 1.0, 0.5)
    table.write_text(table.read_text().replace(old, new))
    assert main(["learn", str(table), str(scenario)]) == 2
    told = capsys.readouterr()
    assert said in told.err and str(table) in told.err.replace("test = 'tugg'", str(table))
    assert not told.out


@pytest.mark.parametrize("option", [["--keep", "k.json"], ["--then", "joint.kind=rolling"]])
def test_what_learns_nothing_keeps_nothing(tmp_path, capsys, option):
    scenario, table = written(tmp_path, 1.0, 0.5)
    assert main(["learn", str(table), str(scenario), *option]) == 2
    assert option[0] in capsys.readouterr().err
