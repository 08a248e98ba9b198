"""A gauge's log: the wave per turn as the jog test would read it, and every fault by its line."""

import numpy as np
import pytest

from bedsim.diagnosis.readings import read_readings
from bedsim.errors import InputError
from bedsim.metrology import recipes
from bedsim.metrology.log_fit import read_log
from bedsim.units import UM

HEAD = "# probe = centre\n# axis = y\n# lead_mm = 5\n"


def write(tmp_path, rows, head=HEAD, columns="down_mm,reading_um"):
    text = head + columns + "\n" + "".join(f"{a:g},{b:.6f}\n" for a, b in rows)
    (tmp_path / "log.csv").write_text(text)
    return tmp_path / "log.csv"


def wave(down):
    psi = 2 * np.pi * down / 5
    return 7 * np.cos(psi - 0.5) + 2 * np.cos(2 * psi) + np.cos(3 * psi + 1) + 0.3 * down + 100


def test_wave_by_way_and_by_time_and_as_the_jog_test_reads_it(tmp_path):
    down = np.arange(0, 20.01, 0.25)
    by_way = read_log(write(tmp_path, zip(down, wave(down), strict=True)))
    assert by_way.waves[0] == pytest.approx(7 * UM * np.exp(-0.5j))
    assert abs(by_way.waves[1]) == pytest.approx(2 * UM) and by_way.drift == pytest.approx(6 * UM)
    timed = HEAD + "# speed_mm_s = 2\n# start_s = 3\n"
    rows = zip(3000 + down / 2 * 1000, wave(down), strict=True)
    by_time = read_log(write(tmp_path, [(0, 90), *rows], timed, "time_ms,reading_um"))
    assert by_time.waves[0] == pytest.approx(by_way.waves[0])
    jog = "probe,axis,eighth,reading_um\n" + "".join(
        f"centre,y,{k},{7 * np.cos(k * np.pi / 4 - 0.5)}\n" for k in range(8)
    )
    (tmp_path / "jog.csv").write_text(jog)
    one = read_readings(tmp_path / "jog.csv")[0]
    assert read_readings(write(tmp_path, zip(down, wave(down), strict=True)))[0].value == pytest.approx(
        one.value
    )


def test_the_start_counts_by_the_speed(tmp_path):
    """0.05 s at 2 mm/s on a lead of 5 mm is 7.2 degrees: an eighth of the amplitude."""
    down = np.arange(0, 20.01, 0.25)
    fit = read_log(
        write(
            tmp_path, zip(down / 2, wave(down), strict=True), HEAD + "# speed_mm_s = 2\n", "time_s,reading_um"
        )
    )
    assert fit.uncertainty == pytest.approx(7 * UM * np.radians(7.2), rel=1e-3)


@pytest.mark.parametrize(
    ("rows", "head", "columns", "told"),
    [
        ([(0, 1), (1, 2)], HEAD, "down_mm,reading_um", "covers 0.20 turns"),
        ([(k, 1) for k in range(11)], HEAD, "down_mm,reading_um", "5.5 readings a turn: at least 8"),
        ([(0, 1), (2, 1), (1, 1)], HEAD, "down_mm,reading_um", "log.csv: line 7, down = 0.001: goes back"),
        ([(0, 1)], HEAD.replace("= y", "= w"), "down_mm,reading_um", "axis = w: write"),
        ([(0, 1)], "# probe = a\n# axis = x\n", "down_mm,reading_um", "lead_mm: write"),
        ([(0, 1)], HEAD, "time_s,reading_um", "speed_mm_s: a log by time needs"),
        ([(0, 1)], HEAD + "# spede = 1\n", "down_mm,reading_um", "spede = 1: key not known"),
        ([(0, 1)], HEAD + "# turned = a\n", "down_mm,reading_um", "turned and turned_deg belong together"),
        ([(0, 1)], HEAD + "# speed_mm_s = 1\n# start_s = x\n", "time_s,reading_um", "start_s = x: must be a"),
    ],
)
def test_faults_are_named(tmp_path, rows, head, columns, told):
    with pytest.raises(InputError, match=told):
        read_log(write(tmp_path, rows, head, columns))


def test_the_example_is_a_log_of_what_it_says(tmp_path):
    (tmp_path / "e.csv").write_text(recipes.example("log"))
    fit = read_log(tmp_path / "e.csv")
    assert abs(fit.waves[0]) == pytest.approx(6 * UM, abs=3 * fit.uncertainty)
    assert recipes.which_test(["time_s", "reading_um"], {}) == "log"
