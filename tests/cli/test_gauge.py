"""`bedsim gauge` from end to end: what it prints, writes and refuses, and that a scenario takes what it
writes."""

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from bedsim.cli.main import main
from bedsim.scenario.load import load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
POSITIONS = (20, 110, 200, 290, 380)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def readings(centreline, notes="", angles=range(0, 360, 45), positions=POSITIONS, noise=1.0, header=None):
    """A file of readings (um) of a centreline (um, complex), the screw turned under a gauge at +X."""
    rng = np.random.default_rng(12)
    head = (
        "# setup = nut\n# length_mm = 400\n# diameter_mm = 12\n# resolution_um = 2\n# repeatability_um = 1\n"
    )
    lines = [head + notes + (header or "position_mm,angle_deg,reading_um")]
    for s in positions:
        for a in angles:
            value = np.real(centreline(s) * np.exp(1j * np.radians(a))) + rng.normal(0, noise)
            lines.append(f"{s},{a},{value:.1f}")
    return "\n".join(lines) + "\n"


def bent(s):
    return 20 * np.exp(0.5j) + 50 * np.exp(2j) * np.sin(np.pi * s / 400)


def write(folder, text, name="screw.csv"):
    (folder / name).write_text(text)
    return name


def test_a_bent_screw(folder, capsys):
    """40 um of eccentricity and 100 um of bow come back within their stated uncertainty, in words, keys and
    files."""
    assert main(["gauge", write(folder, readings(bent))]) == 0
    out = capsys.readouterr().out
    found = {
        m[1]: (float(m[2]), float(m[3]))
        for m in re.finditer(r"(eccentricity|bow) +([\d.]+) ± ([\d.]+) µm TIR", out)
    }
    assert abs(found["eccentricity"][0] - 40) <= 3 * found["eccentricity"][1]
    assert abs(found["bow"][0] - 100) <= 3 * found["bow"][1]
    assert "meets no class surely" in out
    keys = tomllib.loads((folder / "results/screw_keys.toml").read_text())["screw"]["run_out"]
    assert keys["bow_tir_um"]["low"] < 100 < keys["bow_tir_um"]["high"]
    assert keys["bow_deg"]["likely"] == pytest.approx(np.degrees(2), abs=5)
    assert (folder / "results/screw_gauge.png").read_bytes().startswith(b"\x89PNG")
    rows = (folder / "results/screw_centreline.csv").read_text().splitlines()
    assert rows[0] == "position_mm,offset_x_um,offset_y_um" and len(rows) == 1 + len(POSITIONS)


def in_shipped_scenario(folder, toml):
    """The shipped scenario of gauge readings with the first corner's run-out replaced by `toml`."""
    text = (SCENARIOS / "gauge-readings.toml").read_text()
    (folder / "gauge-readings").mkdir(exist_ok=True)
    for source in (SCENARIOS / "gauge-readings").glob("*.csv"):
        (folder / "gauge-readings" / source.name).write_text(source.read_text())
    old = '[corner.screw.run_out]\ntable = "gauge-readings/front-left.csv"\n'
    assert old in text
    (folder / "machine.toml").write_text(text.replace(old, toml))
    return load_scenario(folder / "machine.toml")


def test_a_scenario_takes_the_keys_as_they_are(folder):
    main(["gauge", write(folder, readings(bent)), "--corner", "--no-pictures"])
    loaded = in_shipped_scenario(folder, (folder / "results/screw_keys.toml").read_text())
    run_out = loaded.scenario.corner[0].screw.run_out
    assert run_out.bow_tir_um == pytest.approx(100, abs=5)
    ranges = {r.key: r for r in loaded.ranges}
    assert any("bow_tir_um" in key and r.basis == "measured" for key, r in ranges.items())


def test_a_screw_of_another_shape_comes_as_a_table_the_scenario_takes(folder, capsys):
    """An S-shaped screw is not eccentricity, tilt and bow: the keys name the measured table, and only
    that."""
    path = write(folder, readings(lambda s: 60 * np.sin(2 * np.pi * s / 400), positions=range(20, 400, 40)))
    main(["gauge", path, "--corner", "--no-pictures", "--output", "."])
    assert "use the measured table" in " ".join(capsys.readouterr().out.split())
    loaded = in_shipped_scenario(folder, (folder / "screw_keys.toml").read_text())
    run_out = loaded.scenario.corner[0].screw.run_out
    assert run_out.table == "screw_centreline.csv" and run_out.bow_tir_um == 0
    assert np.abs(loaded.tables["screw_centreline.csv"][:, 1]).max() == pytest.approx(60, abs=4)


def test_the_same_offsets_as_a_scenario_takes_from_the_raw_readings(folder):
    """Directions and signs agree with those of a table of raw readings named in a scenario."""
    source = SCENARIOS / "gauge-readings/front-left.csv"
    main(["gauge", str(source), "--set", "length_mm=420", "--no-pictures"])
    mine = np.genfromtxt(folder / "results/front-left_centreline.csv", delimiter=",", skip_header=1)
    theirs = load_scenario(SCENARIOS / "gauge-readings.toml").tables["gauge-readings/front-left.csv"]
    assert mine == pytest.approx(theirs, abs=2e-3)


@pytest.mark.parametrize(
    ("offset", "code", "says"),
    [
        (2.0, 0, "met by this measurement"),
        (7.0, 1, "undecided, not a pass"),
        (75.0, 1, "over ten times the limit (10.7)"),
    ],
)
def test_grade_as_sold(folder, capsys, offset, code, says):
    """C7, 12 mm diameter: 14 um run-out; 0.15 mm is over ten times that."""
    path = write(folder, readings(lambda s: offset + 0j, noise=0.0))
    assert main(["gauge", path, "--grade", "C7", "--no-pictures"]) == code
    assert says in " ".join(capsys.readouterr().out.split())


def test_the_class_is_held_against_the_ends_never_against_the_middle(folder, capsys):
    """The limit is that near the journals: a straight-running end passes whatever the bow in the middle."""
    path = write(folder, readings(lambda s: 75 * np.sin(np.pi * s / 400) + 0j, noise=0.0))
    main(["gauge", path, "--grade", "C7", "--no-pictures"])
    out = " ".join(capsys.readouterr().out.split())
    assert "over ten times" not in out and "0.150 mm" not in out
    assert "end: run-out 0.000 mm on a screw whose class (C7) allows 0.014 mm: within the limit" in out


def test_readings_in_mm_under_um_pass_no_grade(folder, capsys):
    """A thousandth of every reading looks like the best of screws; so do extremes."""
    lines = (SCENARIOS / "gauge-readings/back.csv").read_text().splitlines()
    first = 1 + next(i for i, line in enumerate(lines) if line.startswith("position_mm"))
    for i, (s, a, v) in enumerate((line.split(",") for line in lines[first:]), first):
        lines[i] = f"{s},{a},{float(v) / 1000}"
    usual = ["--no-pictures", "--set", "length_mm=420", "--set", "diameter_mm=16", "--grade", "C7"]
    extremes = "position_mm,max_um,min_um\n20,0.15,0\n200,0.2,0\n"
    for text in ("\n".join(lines), extremes):
        assert main(["gauge", write(folder, text), *usual]) == 1
        out = " ".join(capsys.readouterr().out.split())
        assert "less than one division of the gauge" in out and "are they mm" in out
        assert "meets" not in out and "C7: no limit can be held" in out


def test_what_neither_file_nor_options_give_is_said_to_be_assumed(folder, capsys):
    rows = "position_mm,angle_deg,reading_um\n" + "".join(f"50,{a},{a}\n" for a in range(0, 360, 45))
    usual = ["gauge", write(folder, "# repeatability_thou = 0.1\n" + rows), "--no-pictures"]
    main(usual)
    assert "neither file nor --set gives it: setup = nut, resolution_um = 10." in capsys.readouterr().out
    main([*usual, "--set", "setup=bearings", "--set", "resolution_um=2"])
    assert "Assumed" not in capsys.readouterr().out


def test_the_shipped_readings_say_how_they_were_taken(folder, capsys):
    for path in sorted((SCENARIOS / "gauge-readings").glob("*.csv")):
        main(["gauge", str(path), "--no-pictures"])
        out = capsys.readouterr().out
        assert "thread's crest, in the machine's own bearings" in out
        assert "Assumed" not in out and "not given" not in out and "outlier" not in out


def test_v_blocks_say_what_they_cannot_see(folder, capsys):
    notes = "# setup = v-block\n# supports_mm = 20, 380\n# ends = one\n"
    main(["gauge", write(folder, readings(bent, notes)), "--no-pictures"])
    out = " ".join(capsys.readouterr().out.split())
    assert "eccentricity and tilt against the bearings are not measured" in out
    assert "form only" in out
    assert "swings almost five times the bench reading" in out
    assert "eccentricity_tir_um" not in (folder / "results/screw_keys.toml").read_text()
    assert not (folder / "results/screw_centreline.csv").exists()


def test_extremes_give_no_keys(folder, capsys):
    text = "# diameter_mm = 12\nposition_mm,max_mm,min_mm\n20,0.15,0\n200,0.2,0\n"
    assert main(["gauge", write(folder, text), "--grade", "C7"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "a scenario gets no keys" in out and "over ten times" in out
    assert (folder / "results/screw_gauge.png").exists() and not (folder / "results/screw_keys.toml").exists()


def test_an_outlier_is_named_by_its_line(folder, capsys):
    lines = readings(bent, angles=range(0, 360, 30)).splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("position"))
    cells = lines[head + 3].split(",")
    lines[head + 3] = f"{cells[0]},{cells[1]},{float(cells[2]) + 90:.1f}"
    main(["gauge", write(folder, "\n".join(lines)), "--no-pictures"])
    assert f"line {head + 4}, 20 mm" in capsys.readouterr().out
    main(["gauge", "screw.csv", "--no-pictures", "--drop-outliers"])
    assert "left out" in capsys.readouterr().out


def test_a_decimal_point_lost_among_eight_readings_is_named_by_its_line(folder, capsys):
    """660 in place of the 54 um of the shipped screw: three lobes would pass through it."""
    clean = (SCENARIOS / "gauge-readings/back.csv").read_text()
    typed = clean.replace("210,90,54", "210,90,660")
    line = 1 + typed.splitlines().index("210,90,660")
    usual = ["--no-pictures"]
    main(["gauge", write(folder, clean, "clean.csv"), *usual])
    assert "outlier" not in capsys.readouterr().out
    main(["gauge", write(folder, typed), *usual, "--drop-outliers"])
    assert f"line {line}, 210 mm, reading 660.0 µm: left out" in capsys.readouterr().out
    tables = [
        np.genfromtxt(f"results/{n}_centreline.csv", delimiter=",", skip_header=1) for n in ("clean", "screw")
    ]
    assert tables[1] == pytest.approx(tables[0], abs=2)


def test_without_length_or_diameter_it_says_what_is_missing(folder, capsys):
    rows = "".join(f"50,{a},{a % 90}\n" for a in range(0, 360, 45))
    assert main(["gauge", write(folder, "position_mm,angle_deg,reading_thou\n" + rows), "--no-pictures"]) == 0
    assert "length_mm, the free length between the bearings" in capsys.readouterr().out
    main(["gauge", "screw.csv", "--no-pictures", "--set", "length_mm=400"])
    assert "diameter_mm is not given" in capsys.readouterr().out


def test_stiffness_decay_and_cord(folder, capsys):
    push = "place,direction,force_n,displacement_um\n" + "".join(
        f"carriage,radial,{f},{f * 0.5 - 1.5 * np.sign(d):.2f}\n"
        for f, d in zip(
            [0, 10, 20, 30, 20, 10, 0, -10, -20, -10, 0], [1, 1, 1, 1, -1, -1, -1, -1, -1, 1, 1], strict=True
        )
    )
    assert main(["gauge", write(folder, "# resolution_um = 1\n" + push, "push.csv")]) == 0
    assert main(["gauge", write(folder, "cycle,amplitude_um\n0,100\n1,80\n2,65\n3,52\n", "tap.csv")]) == 0
    cord = "# radius_mm = 10\ndirection,motor,mass_g\nraises,off,200\nlowers,off,150\n"
    assert main(["gauge", write(folder, cord, "cord.csv")]) == 0
    out = capsys.readouterr().out
    assert "[guide]" in out and "[damping]" in out and "[nut]" in out
    assert "the bed can fall" in out
    guide = tomllib.loads((folder / "results/push_keys.toml").read_text())["guide"]["radial_n_per_um"]
    assert guide["likely"] == pytest.approx(2.0, abs=0.05)
    assert {p.name for p in (folder / "results").glob("*.png")} == {"push_gauge.png", "tap_gauge.png"}


@pytest.mark.parametrize("name", ["run-out", "stiffness", "decay", "cord"])
def test_recipes_and_blanks(folder, capsys, name):
    assert main(["gauge", "--recipe", name]) == 0
    assert "You need" in capsys.readouterr().out
    assert main(["gauge", "--blank", name, "new.csv"]) == 0
    assert main(["gauge", "--blank", name, "new.csv"]) == 2
    assert "exists already" in capsys.readouterr().err
    assert main(["gauge", "new.csv"]) == 2
    told = capsys.readouterr().err
    assert "is empty in all" in told and len(told.splitlines()) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["gauge"], "name a file of readings"),
        (["gauge", "none.csv"], "none.csv: cannot be read"),
        (["gauge", "--recipe", "runoutt"], "Did you mean run-out"),
        (["gauge", "screw.csv", "--set", "length"], "must be KEY=VALUE"),
        (["gauge", "screw.csv", "--set", "lenght_mm=4"], "Did you mean length_mm"),
        (["gauge", "screw.csv", "--grade", "C6"], "must be one of"),
        (["gauge", "screw.csv", "--set", "length_mm=100"], "position_mm = 110: is off the screw"),
    ],
)
def test_bad_input_is_one_message_and_code_2(folder, capsys, arguments, says):
    write(folder, readings(bent))
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert says in err and "Traceback" not in err


@pytest.mark.parametrize(
    ("notes", "measured"),
    [
        ("", "mounted"),
        ("# setup = bearings\n", "mounted"),
        ("# setup = centres\n", "free"),
        ("# setup = v-block\n# supports_mm = 20, 380\n", "free"),
    ],
)
def test_the_keys_say_how_the_bow_was_read(folder, notes, measured):
    main(["gauge", write(folder, readings(bent, notes)), "--no-pictures", "--corner"])
    toml = (folder / "results/screw_keys.toml").read_text()
    assert in_shipped_scenario(folder, toml).scenario.corner[0].screw.run_out.bow_measured == measured


@pytest.mark.parametrize(("how", "measured"), [("bearings", "mounted"), ("centres", "free")])
def test_a_table_says_how_it_was_read(folder, how, measured):
    notes = f"# setup = {how}\n"
    shape = readings(lambda s: 60 * np.sin(2 * np.pi * s / 400), notes, positions=range(20, 400, 40))
    main(["gauge", write(folder, shape), "--corner", "--no-pictures", "--output", "."])
    run_out = (
        in_shipped_scenario(folder, (folder / "screw_keys.toml").read_text()).scenario.corner[0].screw.run_out
    )
    assert (run_out.table, run_out.table_measured) == ("screw_centreline.csv", measured)


def test_gauge_asks_whether_an_end_is_clamped(folder, capsys):
    """In its bearings a clamped screw stands as no half sine: what was read is then the table."""
    path = write(folder, readings(bent))
    question = "Is an end clamped (fixed-supported, fixed-fixed)?"
    for more, asked, table in (
        ([], True, False),
        (["clamped=no"], False, False),
        (["clamped=yes"], False, True),
    ):
        main(["gauge", path, "--no-pictures", *(w for m in more for w in ("--set", m))])
        assert (question in " ".join(capsys.readouterr().out.split())) == asked
        keys = tomllib.loads((folder / "results/screw_keys.toml").read_text())["screw"]["run_out"]
        assert ("table" in keys) == table
    assert main(["gauge", path, "--set", "clamped=maybe"]) == 2
    assert "clamped = maybe: must be one of yes, no" in capsys.readouterr().err
