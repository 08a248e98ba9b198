"""CSV tables beside a scenario: where they may lie, what they may hold, gauge readings."""

import numpy as np
import pytest

from bedsim.scenario.load import load_scenario

RUN_OUT = ("[guide]", '[screw.run_out]\ntable = "run-out.csv"\n[guide]')
GOOD = "position_mm,offset_x_um,offset_y_um\n0,1,2\n100,3,4\n"


def _load(write, tmp_path, content):
    path = write(RUN_OUT)
    (tmp_path / "run-out.csv").write_text(content)
    return load_scenario(path)


def test_a_table_is_read_by_its_written_name_in_the_files_units(write, tmp_path):
    loaded = _load(write, tmp_path, "# a remark\noffset_y_um, position_mm ,offset_x_um\n2,0,1\n\n4,100,3\n")
    assert np.array_equal(loaded.tables["run-out.csv"], [[0, 1, 2], [100, 3, 4]])


def test_with_values_keeps_the_tables_without_reading_them_again(write, tmp_path):
    loaded = _load(write, tmp_path, GOOD)
    (tmp_path / "run-out.csv").unlink()
    assert np.array_equal(
        loaded.with_values({"bed.mass_kg": 3}).tables["run-out.csv"], [[0, 1, 2], [100, 3, 4]]
    )


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (
            "position_mm,offset_x_um,offset_y_um\n0,1,2\n100,a,4\n",
            "line 3: offset_x_um = 'a' is not a number",
        ),
        ("position_mm,offset_x_um,offset_y_um\n0,1,2\n100,,4\n", "line 3: offset_x_um = '' is not a number"),
        (
            "position_mm,offset_x_um,offset_y_um\n0,1,2\n100,nan,4\n",
            "line 3: offset_x_um = 'nan' is not a number",
        ),
        (
            "position_mm,offset_x_um\n0,1\n100,3\n",
            "must have the columns position_mm, offset_x_um, offset_y_um or",
        ),
        ("position_mm;offset_x_um;offset_y_um\n0;1;2\n", "has fewer than 2 rows"),
        ("position_mm,offset_x_um,ofset_y_um\n0,1,2\n", "ofset_y_um: did you mean offset_y_um?"),
        (
            "position_mm,offset_x_um,offset_y_um\n0,1,2\n0,3,4\n",
            "line 3: position_mm = 0 repeats the one before",
        ),
        (
            "position_mm,offset_x_um,offset_y_um\n5,1,2\n0,3,4\n",
            "line 3: position_mm = 0 is below the one before",
        ),
        ("position_mm,offset_x_um,offset_y_um\n0,1,2\n", "has fewer than 2 rows"),
        ("position_mm,offset_x_um,offset_y_um\n0,1,2\n9,3,4,5\n", "line 3: has 4 cells, the header has 3"),
        ("", "has fewer than 2 rows"),
    ],
)
def test_a_bad_table_is_refused_with_its_line(write, faults, tmp_path, content, told):
    (tmp_path / "run-out.csv").write_text(content)
    lines = faults(write(RUN_OUT))
    assert len(lines) == 1
    assert lines[0].startswith("screw.run_out.table: run-out.csv")
    assert told in lines[0]


@pytest.mark.parametrize(
    "name", ["../run-out.csv", "/etc/passwd", "a/../../b.csv", "C:/x.csv", "..\\\\x.csv", ""]
)
def test_a_table_may_not_lie_outside_the_scenarios_folder(write, faults, tmp_path, name):
    (tmp_path.parent / "run-out.csv").write_text(GOOD)
    lines = faults(write(("[guide]", f'[screw.run_out]\ntable = "{name}"\n[guide]')))
    assert [line.split(": ")[1] for line in lines] == [
        "must name a file in the scenario's folder or below it."
    ]


def test_a_link_may_not_lead_outside_either(write, faults, tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "run-out.csv").write_text(GOOD)
    inside = tmp_path / "inside"
    inside.mkdir()
    (inside / "run-out.csv").symlink_to(outside / "run-out.csv")
    path = inside / "machine.toml"
    path.write_text(write(RUN_OUT).read_text())
    assert "A link leads out of it." in faults(path)[0]


def test_a_missing_table_is_told_with_the_nearest_name(write, faults, tmp_path):
    (tmp_path / "runout.csv").write_text(GOOD)
    assert faults(write(RUN_OUT)) == [
        'screw.run_out.table = "run-out.csv": no such file. Did you mean "runout.csv"?'
    ]


def _readings(offset: complex, angles, position: float, zero: float) -> list[str]:
    return [f"{position},{a},{zero + (offset * np.exp(1j * np.radians(a))).real:.9f}" for a in angles]


def test_gauge_readings_around_a_screw_give_its_offset(write, tmp_path):
    """Turned by a, a round screw off its axis by (x, y) stands off towards +X by x cos(a) - y sin(a).

    The span of the readings is twice the offset.
    """
    angles = np.arange(0, 360, 30)
    rows = _readings(30 - 40j, angles, 50, 7.0) + _readings(-5 + 12j, angles, 150, -100.0)
    loaded = _load(write, tmp_path, "position_mm,angle_deg,reading_um\n" + "\n".join(rows))
    table = loaded.tables["run-out.csv"]
    assert table == pytest.approx(np.array([[50, 30, -40], [150, -5, 12]]), abs=1e-6)
    readings = [float(row.split(",")[2]) for row in _readings(30 - 40j, np.arange(0, 360, 0.1), 50, 7.0)]
    assert max(readings) - min(readings) == pytest.approx(2 * abs(30 - 40j), rel=1e-5)


@pytest.mark.parametrize(
    "note", ["gauge_deg = 90", "angles = marks", "setup = v-block", "setup = centres", "lead_mm = 5"]
)
def test_readings_taken_another_way_are_left_to_the_gauge_command(write, faults, tmp_path, note):
    rows = [f"{s},{a},1" for s in (50, 150) for a in range(0, 360, 45)]
    (tmp_path / "run-out.csv").write_text(f"# {note}\nposition_mm,angle_deg,reading_um\n" + "\n".join(rows))
    told = faults(write(RUN_OUT))[0]
    assert f"the note {note.split()[0]} on how it was read is not taken here" in told


def test_notes_that_leave_the_offsets_as_they_are_are_taken(write, tmp_path):
    rows = "\n".join(f"{s},{a},1" for s in (50, 150) for a in range(0, 360, 45))
    notes = "# setup = bearings\n# gauge_deg = 0   # +X\n# resolution_um = 2\n# length_mm = 420\n"
    bare = _load(write, tmp_path, "position_mm,angle_deg,reading_um\n" + rows)
    noted = _load(write, tmp_path, notes + "position_mm,angle_deg,reading_um\n" + rows)
    assert np.array_equal(bare.tables["run-out.csv"], noted.tables["run-out.csv"])


def test_lobes_of_an_unround_screw_do_not_pass_for_an_offset(write, tmp_path):
    angles = np.arange(0, 360, 30)
    rows = [f"{s},{a},{10 * np.cos(3 * np.radians(a)):.6f}" for s in (50, 150) for a in angles]
    loaded = _load(write, tmp_path, "position_mm,angle_deg,reading_um\n" + "\n".join(rows))
    assert loaded.tables["run-out.csv"][:, 1:] == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize("angles", [[0, 120, 240], [0, 5, 10, 15], [0, 90, 180, 360]])
def test_readings_that_do_not_go_round_the_screw_are_refused(write, faults, tmp_path, angles):
    rows = [f"{s},{a},1" for s in (50, 150) for a in angles]
    (tmp_path / "run-out.csv").write_text("position_mm,angle_deg,reading_um\n" + "\n".join(rows))
    assert "needs at least 4 readings spread around the screw" in faults(write(RUN_OUT))[0]


def test_gauge_readings_are_not_taken_for_travel_deviation(write, faults, tmp_path):
    (tmp_path / "run-out.csv").write_text(GOOD)
    lines = faults(write(("[guide]", '[screw.travel]\ntable = "run-out.csv"\n[guide]')))
    assert "must have the columns position_mm, deviation_um; it has" in lines[0]
