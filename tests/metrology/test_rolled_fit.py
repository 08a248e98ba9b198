"""A screw on a plate: gaps to keys, and every fault by its line."""

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.metrology import recipes, rolled_fit
from bedsim.metrology.snippet import StatedKey
from bedsim.units import DEG, UM

NOTES = "# length_mm = 400\n# mark_deg = 30\n"
TABLE = "position_mm,go_um,no_go_um\n100,60,70\n200,90,100\n300,60,70\n"


def read(tmp_path, text):
    (tmp_path / "plate.csv").write_text(text)
    return rolled_fit.read_rolled(tmp_path / "plate.csv")


def test_a_half_sine_between_the_ends(tmp_path):
    """sin 45 deg of 94 is 66: the gaps of a bow of 93.5 um; TIR is twice that."""
    fit = read(tmp_path, NOTES + TABLE)
    assert fit.bow == pytest.approx(93.5 * UM, abs=1.5 * UM)
    assert fit.direction == pytest.approx(30 * DEG)
    keys, _ = rolled_fit.scenario_keys(fit)
    assert keys[0].key == "bow_tir_um" and keys[0].likely == pytest.approx(2 * fit.bow / UM)
    assert keys[-1] == StatedKey(table="screw.run_out", key="bow_measured", value="free")


def test_a_rod_sags_by_the_beams_formula(tmp_path):
    """5 w a^4/(384 EI), written out for a rod of 10.44 mm: w = 6.59 N/m, EI = 120.1 N m2: 18.3 um at the
    middle of 0.4 m."""
    fit = read(tmp_path, NOTES + "# diameter_mm = 12\n" + TABLE)
    w, ei = 7850 * np.pi / 4 * 0.01044**2 * 9.80665, 206e9 * np.pi / 64 * 0.01044**4
    assert (
        fit.sag == pytest.approx(5 * w * 0.4**4 / (384 * ei), rel=1e-6) == pytest.approx(18.3 * UM, rel=0.01)
    )
    assert fit.bow > read(tmp_path, NOTES + TABLE).bow + 15 * UM


def test_free_upper_end_and_touches_elsewhere(tmp_path):
    """1 - cos from its chord is largest 42 % up: 0.21 of the bow at the free end (derived)."""
    s = np.array([0.1, 0.17, 0.25])
    x = s / 0.4
    shape = np.abs(1 - np.cos(np.pi * x / 2) - x)
    fit = rolled_fit.fit_rolled(
        s, 300 * UM * shape, 300 * UM * shape, length=0.4, free_end=True, touches=(0, 0.4)
    )
    assert fit.bow == pytest.approx(300 * UM) and fit.chi_square == pytest.approx(0, abs=1e-12)
    inner = read(tmp_path, NOTES + "# touches_mm = 50, 350\n" + TABLE)
    assert inner.bow > read(tmp_path, NOTES + TABLE).bow


def test_inches_and_thousandths(tmp_path):
    inch = "# length_inch = 15.748\n# mark_deg = 30\nposition_inch,go_thou,no_go_thou\n3.937,2,3\n7.874,3,4\n"
    metric = NOTES + "position_mm,go_um,no_go_um\n100,50.8,76.2\n200,76.2,101.6\n"
    assert read(tmp_path, inch).bow == pytest.approx(read(tmp_path, metric).bow, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            NOTES + TABLE.replace("60,70\n200", "70,70\n200"),
            "csv: line 4, no_go = 70 um: must be above",
        ),
        (
            NOTES + TABLE.replace("300,", "400,"),
            "line 6, position_mm = 400: must lie between",
        ),
        (TABLE, "length_mm: write"),
        (NOTES + "position_mm,go_um\n1,2\n", "column no_go_um is missing"),
        (NOTES + "# touches_mm = 5\n" + TABLE, "touches_mm = 5: must be two numbers"),
        (NOTES.replace("30", "up") + TABLE, "mark_deg = up: must be a number"),
        (NOTES + "# ends = two\n" + TABLE, "ends = two: must be one of both, one"),
        (NOTES + TABLE.replace("90", "x"), "line 5, go_um = 'x': must be a number"),
    ],
)
def test_faults_are_named(tmp_path, text, told):
    with pytest.raises(InputError, match=told):
        read(tmp_path, text)


def test_what_no_bow_makes_is_told(tmp_path):
    kinked = NOTES + "position_mm,go_um,no_go_um\n100,10,20\n200,90,100\n300,200,210\n"
    assert any("no single bow" in w for w in read(tmp_path, kinked).warnings)


def test_the_example_goes_from_the_command_to_a_scenario(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["gauge", "--example", "rolled", "r.csv"]) == 0
    assert main(["gauge", "r.csv"]) == 0
    assert "bow_tir_um = {low =" in capsys.readouterr().out
    assert (tmp_path / "results/r_gauge.png").exists()
    assert main(["gauge", "--example", "rolled", "r.csv"]) == 2
    assert recipes.which_test(["position_mm", "go_um", "no_go_um"], {}) == "rolled"
