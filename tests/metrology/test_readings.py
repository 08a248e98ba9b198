"""Files of readings: both gauges, jog instead of angle, and a clear message for every fault."""

import numpy as np
import pytest

from bedsim.errors import InputError
from bedsim.metrology.readings import Extremes, read_readings
from bedsim.metrology.runout_fit import fit_positions

TURN = [(0, 10), (90, 20), (180, 10), (270, 0)]


def write(tmp_path, text):
    path = tmp_path / "screw.csv"
    path.write_text(text)
    return path


def table(rows, header="position_mm,angle_deg,reading_um", notes=""):
    return notes + header + "\n" + "".join(",".join(str(c) for c in r) + "\n" for r in rows)


def rows(position=50):
    return [(position, a, r) for a, r in TURN]


@pytest.mark.parametrize(
    ("column", "factor"),
    [("reading_um", 1e-6), ("reading_mm", 1e-3), ("reading_thou", 25.4e-6), ("reading_inch", 25.4e-3)],
)
def test_metric_and_inch_gauges(tmp_path, column, factor):
    """One thou is 25.4 um (international inch, 1959)."""
    readings, _ = read_readings(write(tmp_path, table(rows(), f"position_mm,angle_deg,{column}")))
    assert readings.value == pytest.approx(np.array([10, 20, 10, 0]) * factor)


def test_notes_on_top_and_options(tmp_path):
    notes = "# setup = bearings\n# length_mm = 400   # free\n# ends = one\n# resolution_thou = 0.5\n"
    _, setup = read_readings(write(tmp_path, table(rows(), notes=notes)), {"length_mm": "410"})
    assert (setup.how, setup.free_end, setup.length) == ("bearings", True, pytest.approx(0.41))
    assert setup.resolution == pytest.approx(12.7e-6)


def test_jog_distance_in_place_of_angle(tmp_path):
    """A right-hand screw of 5 mm lead turns 90 degrees clockwise seen from above to lift its nut by 1.25
    mm."""
    data = [(100, j, 1) for j in (0, 1.25, 2.5, 3.75)]
    notes = "# lead_mm = 5\n# zero_position_mm = 100\n"
    readings, _ = read_readings(write(tmp_path, table(data, "position_mm,jog_mm,reading_um", notes)))
    assert readings.angle == pytest.approx(-np.radians([0, 90, 180, 270]))
    assert readings.travelled == pytest.approx([0.1, 0.10125, 0.1025, 0.10375])
    left, _ = read_readings(
        write(tmp_path, table(data, "position_mm,jog_mm,reading_um", notes + "# hand = left\n"))
    )
    assert left.angle == pytest.approx(-readings.angle)


def test_turns_of_the_screw_or_marks_around_it(tmp_path):
    """A turn counts as written; mark 90 comes under a gauge at +X when the screw turns 90 degrees
    clockwise."""
    turned, _ = read_readings(write(tmp_path, table(rows())))
    assert turned.angle == pytest.approx(np.radians([0, 90, 180, 270]))
    marks, _ = read_readings(write(tmp_path, table(rows(), notes="# angles = marks\n")))
    assert marks.angle == pytest.approx(-np.radians([0, 90, 180, 270]))


@pytest.mark.parametrize("gauge", [0, 130])
@pytest.mark.parametrize("angles", ["turned", "marks"])
def test_either_way_of_counting_gives_the_same_offset(tmp_path, gauge, angles):
    """Material at angle b on the screw stands b + turn from +X; the gauge reads the part of the offset
    towards it."""
    turn = np.arange(0, 360, 45)
    towards = np.radians(turn - gauge)
    value = 30 * np.cos(towards) + 12 * np.sin(towards)  # offset 30, -12 um in the screw's frame
    written = np.mod(gauge - turn, 360) if angles == "marks" else turn
    data = [(50, a, v) for a, v in zip(written, value, strict=True)]
    notes = f"# length_mm = 400\n# gauge_deg = {gauge}\n# angles = {angles}\n"
    readings, setup = read_readings(write(tmp_path, table(data, notes=notes)))
    assert fit_positions(readings, setup)[0].offset == pytest.approx(30e-6 - 12e-6j)


def test_extremes_only(tmp_path):
    found, _ = read_readings(write(tmp_path, "position_mm,max_mm,min_mm\n200,0.2,0.05\n20,0.1,0.02\n"))
    assert isinstance(found, Extremes)
    assert found.largest - found.smallest == pytest.approx([80e-6, 150e-6])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (table([(50, 1)], "position_mm,reading_um"), r"column angle_deg \(or jog_mm\) is missing"),
        (table([(50, 0, 1), (50, "", 2), (50, 180, 1)]), "line 3, angle_deg: is empty"),
        (
            table([(50, 0, 1), *[(50, 90, "")] * 3, (50, 180, 1), (50, 270, "")]),
            "lines 3 to 5, 7, reading_um: is empty",
        ),
        (
            table([(50, 0, "10um"), (50, 90, 2), (50, 180, 1)]),
            "reading_um = '10um': must be a number; the unit",
        ),
        (
            table([(50, 0, '"0,01"'), (50, 90, 2.5), (50, 180, 1)]),
            "line 2: 0,01 beside 2.5 in line 3: decimals",
        ),
        (
            table([(50, 0, 1, 1)], "position_mm,angle_deg,reading_um,reading_mm"),
            "columns reading_um and reading_mm: mixed units",
        ),
        (
            table([*rows(), (50, 90, 7)]),
            "lines 3 and 6: position_mm = 50 with the same angle_deg stands twice",
        ),
        (table(rows(450), notes="# length_mm = 400\n"), "position_mm = 450: is off the screw.*0 to 400"),
        (table(rows(-5)), "position_mm = -5: is off the screw"),
        (table([*rows(), (90, 0, 3)]), "position_mm = 90: one reading only"),
        (table([*rows(), (90, 0, 3), (90, 180, 5)]), "position_mm = 90: 2 angles"),
        (table(rows(), "position_mm,angel_deg,reading_um"), r"angle_deg \(or jog_mm\) is missing"),
        (table(rows(), "position_mm,angle_deg,reading_microns"), "Did you mean"),
        (table(rows(), notes="# setpu = nut\n"), "setpu = nut: key not known. Did you mean setup"),
        (table(rows(), notes="# setup = vblock\n"), "must be one of nut, bearings, centres, v-block"),
        (table(rows(), notes="# setup = v-block\n"), "supports_mm: V-block readings need"),
        (table(rows(), notes="# length_mm = long\n"), "length_mm = long: must be a number"),
        (table(rows(), notes="# resolution_um = 0\n"), "resolution_um = 0: must be > 0"),
        (table(rows(), "position_mm,jog_mm,reading_um"), "lead_mm: readings by jog distance need the lead"),
        ("position_mm;angle_deg;reading_um\n50;0;1\n", "one reading only"),
        ("position_mm,angle_deg,reading_um\n50,0,1,5\n", "has 4 cells.*decimal commas need semicolons"),
        ("", "holds no table"),
        ("position_mm,angle_deg,reading_um\n", "no rows"),
        ("position_mm,angle_deg,reading_um\n50,0\n", "line 2 has 2 cells"),
        ("position_mm,max_um,min_um\n50,1,2\n", "must not be below min"),
        ("position_mm,max_um,min_um\n50,2,1\n50,3,1\n", "stands twice"),
    ],
)
def test_bad_files(tmp_path, text, says):
    with pytest.raises(InputError, match=says) as caught:
        read_readings(write(tmp_path, text))
    assert "screw.csv" in str(caught.value)


def test_all_faults_in_one_list(tmp_path):
    with pytest.raises(InputError) as caught:
        read_readings(write(tmp_path, table([(50, "x", "y"), ("", 90, 2)])))
    assert len(str(caught.value).splitlines()) == 3


def test_repeated_turns_are_numbered(tmp_path):
    both = [(*r, k) for k in (1, 2) for r in rows()]
    readings, _ = read_readings(write(tmp_path, table(both, "position_mm,angle_deg,reading_um,round")))
    assert readings.value.size == 8


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_readings(tmp_path / "none.csv")
