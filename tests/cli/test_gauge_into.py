"""`bedsim gauge --into`: one command from readings to a scenario, the old one kept."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.scenario.load import load_scenario

SHIPPED = Path(__file__).parents[2] / "scenarios/bent-rolled-rigid.toml"
NOTES = "# length_mm = 420\n# diameter_mm = 16\n# resolution_um = 2\n# repeatability_um = 1\n"


def turns(notes="", slips=(), lobes=0.0):
    """A screw bent to one side, read on the nut at five heights; `slips`: row and by how much."""
    rng, lines = np.random.default_rng(5), [NOTES + notes + "position_mm,angle_deg,reading_um"]
    for s in (20, 110, 200, 290, 400):
        for a in np.radians(range(0, 360, 45)):
            offset = 6 * np.exp(1j) + 70 * np.sin(np.pi * s / 420)
            value = (offset * np.exp(1j * a)).real + lobes * np.cos(2 * a + 1) + rng.normal(0, 1)
            by = dict(slips).get(len(lines) - 1, 0)
            lines.append(f"{s},{np.degrees(a):.0f},{round((value + by) / 2) * 2}")
    return "\n".join(lines) + "\n"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(SHIPPED, "m.toml")
    return tmp_path


def gauge(*words):
    return main(["gauge", "s.csv", "--no-pictures", "--into", "m.toml", *words])


def test_a_screw_goes_to_its_corner_and_the_old_file_stays(folder, capsys):
    Path("s.csv").write_text(turns())
    before = Path("m.toml").read_bytes()
    assert gauge("--set", "corner=back") == 0
    assert Path("m.before.toml").read_bytes() == before
    corners = {c.name: c.screw.run_out for c in load_scenario("m.toml").scenario.corner}
    assert corners["back"].bow_tir_um == pytest.approx(140, abs=4)
    assert corners["back"].bow_measured == "mounted"
    assert corners["front left"].bow_tir_um == 180
    assert "# pulled sideways with a spring balance" in Path("m.toml").read_text()
    assert "corner back" in " ".join(capsys.readouterr().out.split())
    assert gauge("--set", "corner=back") == 0  # again: nothing kept is lost
    assert Path("m.before.toml").read_bytes() == before and Path("m.before2.toml").exists()


def test_a_table_takes_the_place_of_keys_and_lies_beside_the_scenario(folder):
    Path("s.csv").write_text(turns("# corner = back\n# setup = bearings\n# clamped = yes\n"))
    assert gauge() == 0
    loaded = load_scenario("m.toml")
    assert loaded.scenario.corner[2].screw.run_out.table == "s_centreline.csv"
    assert loaded.tables["s_centreline.csv"].shape == (5, 3)
    assert (
        '# bow_tir_um = {low = 120, likely = 140, high = 160, basis = "measured"}'
        in Path("m.toml").read_text()
    )


def test_push_and_pull_of_all_corners_and_what_some_have_of_their_own(folder, capsys):
    text = Path("m.toml").read_text()
    Path("m.toml").write_text(
        text.replace("bow_deg = 250", "bow_deg = 250\n[corner.frame]\nradial_n_per_um = 2")
    )
    rows = "".join(
        f"frame,radial,{f},{f * 0.5 - 1.5 * d:.2f}\n"
        for f, d in zip([0, 10, 20, 30, 20, 10, 0, -10, 0], [1, 1, 1, 1, -1, -1, -1, -1, 1], strict=True)
    )
    Path("s.csv").write_text("place,direction,force_n,displacement_um\n" + rows)
    assert gauge() == 0
    assert load_scenario("m.toml").scenario.corner[0].frame.radial_n_per_um == pytest.approx(2, abs=0.01)
    assert "frame.radial_n_per_um: back have their own, which stays." in capsys.readouterr().out
    assert gauge("--set", "corner=front left") == 0
    assert "[corner.frame]\nradial_n_per_um = {low" in Path("m.toml").read_text()


@pytest.mark.parametrize(
    ("text", "words", "told"),
    [
        (turns(), [], "s.csv: corner: which screw this is must be said"),
        (turns("# corner = bakc\n"), [], "corner = bakc: must be one of front left, front right, back. Did"),
        (turns("# corner = back\n", [(9, 90)]), [], "s.csv: no keys while readings are suspected"),
        (turns("# corner = back\n").replace("# length_mm = 420\n", ""), [], "without length_mm there are"),
        ("# corner = back\nposition_mm,max_um,min_um\n20,9,1\n", [], "readings without angles give no keys"),
        (turns("# corner = back\n"), ["--set", "setup=v-block", "--set", "supports_mm=20 400"], None),
    ],
)  # fmt: skip
def test_what_cannot_be_put_in_is_one_message_and_nothing_is_written(folder, capsys, text, words, told):
    Path("s.csv").write_text(text)
    before = Path("m.toml").read_bytes()
    code = gauge(*words)
    if told is None:
        assert code == 0
        return
    assert code == 2 and told in " ".join(capsys.readouterr().err.split())
    assert Path("m.toml").read_bytes() == before
    assert sorted(p.name for p in folder.iterdir()) == ["m.toml", "s.csv"]


def test_what_all_screws_share_is_not_added_to_what_was_measured(folder, capsys):
    text = Path("m.toml").read_text()
    Path("t.csv").write_text("position_mm,offset_x_um,offset_y_um\n0,1,2\n400,3,4\n")
    for _ in ("180", "260", "140"):
        start = text.index("[corner.screw.run_out]")
        end = text.find("\n[[corner]]", start)
        text = text[:start] + text[end + 1 if end > 0 else len(text) :]
    text = text.replace("[guide]\n", '[screw.run_out]\ntable = "t.csv"\n\n[guide]\n')
    Path("m.toml").write_text(text)
    Path("s.csv").write_text(turns("# corner = back\n"))
    assert gauge() == 2
    assert Path("m.toml").read_text() == text and not Path("m.before.toml").exists()
    assert "m.toml: screw.run_out.table is that of all corners" in capsys.readouterr().err


@pytest.mark.parametrize("ends", ["fixed-free", "supported-supported", "fixed-fixed"])
def test_keys_that_would_rest_are_left_out(folder, ends):
    text = Path("m.toml").read_text().replace('"fixed-supported"', f'"{ends}"')
    Path("m.toml").write_text(text)
    one = "one" if ends == "fixed-free" else "both"
    Path("s.csv").write_text(turns(f"# corner = back\n# ends = {one}\n"))
    assert gauge() == 0
    assert ("bow_measured" in Path("m.toml").read_text()) == (ends == "fixed-fixed")


def test_a_slip_that_no_reading_can_be_blamed_for_gives_no_keys_until_the_turn_is_left_out(folder, capsys):
    """60 um twice in one turn: rougher than the others, no single reading."""
    Path("s.csv").write_text(turns("# corner = back\n", [(17, 60), (20, 60)]))
    assert main(["gauge", "s.csv", "--no-pictures"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "which reading slipped cannot be told: --drop-outliers leaves the whole turn out" in said
    assert "There are no keys while readings are suspected" in said
    assert not list(Path("results").glob("*keys.toml"))
    assert gauge("--drop-outliers") == 0
    assert load_scenario("m.toml").scenario.corner[2].screw.run_out.bow_tir_um == pytest.approx(140, abs=4)
