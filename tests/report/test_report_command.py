"""`bedsim report` and its faults."""

import csv
from pathlib import Path

import numpy as np
import pytest
from made_up_report import made_up_run

from bedsim.cli.main import main
from bedsim.ranges.motion import bed_motion
from bedsim.results.store import write_run
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.views.report_charts import stacked
from bedsim.views.report_figures import Reported, Seen
from bedsim.views.report_run import part_reliefs
from bedsim.wall.bands import source_shares
from bedsim.wall.visibility import Viewing
from bedsim.wall.worst import WallPlace, printed_walls

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def once(result_files, tmp_path):
    def call(*arguments):
        return main(
            ["report", str(result_files[0]), "--no-levers", "--output", str(tmp_path / "r.html"), *arguments]
        )

    return call


def test_measured_tables_are_in_the_result_and_their_shares_in_the_report(tmp_path, capsys):
    """The scenario's folder is not needed any more."""
    measured = load_scenario(SCENARIOS / "gauge-readings.toml", ["print.layers=8"])
    write_run(simulate(measured, engine="equilibrium"), tmp_path / "m.h5")
    assert (
        main(
            [
                "report",
                str(tmp_path / "m.h5"),
                "--no-levers",
                "--output",
                str(tmp_path / "r.html"),
                "--wall",
                "+X",
            ]
        )
        == 0
    )
    text = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "who makes the relief" in text
    assert "not computed" in text
    assert text.count("the result keeps no ranges") == 1
    assert capsys.readouterr().err == ""


def test_no_word_of_ranges_where_every_number_is_known_exactly(once, tmp_path):
    assert once() == 0
    assert "keeps no ranges" not in (tmp_path / "r.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--wall", "up"), "wall = 'up': must be +X, -X, +Y, -Y or an angle"),
        (("--probe", "nowhere"), "probe = 'nowhere': must be one of centre"),
        (("--light-deg", "95"), "--light-deg = 95: must be above 0 and at most 85."),
        (("--distance-m", "0"), "--distance-m = 0: must be at least 0.05"),
        (("--threshold-um", "-1"), "--threshold-um = -1: must be above 0"),
    ],
)
def test_unusable_options_are_told_in_one_message(once, capsys, tmp_path, arguments, message):
    assert once(*arguments) == 2
    assert message in capsys.readouterr().err
    assert not (tmp_path / "r.html").exists()


def test_missing_and_doubled_results_are_refused(result_files, tmp_path, capsys):
    assert main(["report", str(tmp_path / "none.h5")]) == 2
    assert (
        main(["report", str(result_files[0]), str(result_files[0]), "--output", str(tmp_path / "x.html")])
        == 2
    )
    assert "given twice" in capsys.readouterr().err


def test_unwritable_page_is_told(result_files, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["report", str(result_files[0]), "--output", str(tmp_path / "file" / "r.html")]) == 2
    assert "cannot be made" in capsys.readouterr().err


def test_own_threshold_and_coupon(once, tmp_path, capsys):
    """The threshold stands in the page; the coupon's blocks lie a quarter to four times around it."""
    coupon = tmp_path / "coupon.csv"
    assert once("--threshold-um", "3", "--wall", "45", "--coupon", str(coupon)) == 0
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "your own: 3 µm" in page
    assert "Wall 45°" in page
    with coupon.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    sizes = sorted({float(r["block_amplitude_um"]) for r in rows})
    assert sizes == [0, 0.75, 1.5, 3, 6, 12]
    offsets = np.array([float(r["offset_um"]) for r in rows])
    assert offsets.max() == pytest.approx(12, rel=0.01)
    assert "microstep" in capsys.readouterr().out


def test_flat_walls_and_shares_are_told(tmp_path):
    """A bed that does not stray at all still gives a report."""
    write_run(made_up_run(0.0, layers=12), tmp_path / "still.h5")
    assert (
        main(
            [
                "report",
                str(tmp_path / "still.h5"),
                "--no-levers",
                "--output",
                str(tmp_path / "r.html"),
                "--wall",
                "+X",
            ]
        )
        == 0
    )
    assert "less than 0.01 µm" in (tmp_path / "r.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("layers", [2, 5])
def test_prints_of_few_layers_are_reported(tmp_path, layers):
    """Too low for any band: said so, and nothing breaks."""
    write_run(made_up_run(3e-6, layers=layers), tmp_path / "low.h5")
    assert (
        main(
            [
                "report",
                str(tmp_path / "low.h5"),
                "--no-levers",
                "--output",
                str(tmp_path / "r.html"),
                "--wall",
                "+X",
            ]
        )
        == 0
    )
    assert "too low to tell bands of the leads" in (tmp_path / "r.html").read_text(encoding="utf-8")


def test_shares_stand_in_the_report(page_file):
    text = page_file.read_text(encoding="utf-8")
    assert "who makes the relief" in text
    assert "friction and vibration" in text


def test_what_each_pushes_adds_up_to_the_wall_and_works_either_way():
    """Two bent screws of which one takes part of the other off at a corner: that one alone makes more than
    the wall, the other stands left of zero, and layer by layer the drawn parts add up to the wall."""
    bent = {"front left": (260, 0), "front right": (250, 180), "back": (0, 0)}
    keys = [
        f"corner.{c}.screw.run_out.{key}={value}"
        for c, values in bent.items()
        for key, value in zip(("bow_tir_um", "bow_deg"), values, strict=True)
    ]
    loaded = load_scenario(SCENARIOS / "bent-rolled-rigid.toml", ["print.layers=40", *keys])
    run = simulate(loaded, engine="equilibrium")
    walls = printed_walls(run.layers, loaded.scenario)
    judged = walls.judged(WallPlace(wall="+Y", probe="front right"), Viewing())
    motion, sources = bed_motion(run, loaded)
    shares = source_shares(judged.wall, sources, run.layers.probe_name.index("front right"), walls.leads)
    assert max(s.variance_share for s in shares) > 1 and min(s.variance_share for s in shares) < -0.1
    item = Reported(label="x", path="x", run=run, whole=run, loaded=loaded, motion=motion, sources=sources)
    reliefs = part_reliefs(Seen(reported=item, judged=judged, wave=None, shares=shares))
    assert np.sum([*reliefs.values()], axis=0) == pytest.approx(judged.wall.relief, abs=1e-11)
    edges = stacked([*reliefs.values()])
    assert all(np.all(high >= low) for low, high in edges)
    assert edges[-1][1] + edges[-2][0] == pytest.approx(judged.wall.relief, abs=1e-11)
