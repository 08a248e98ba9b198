"""Every command names the file, the key or line, the value and what is allowed, for all kinds of bad file."""

import random

import bases
import pytest

from bedsim.cli.main import main

READERS = {
    "run": ("run", "{}"),
    "size": ("size", "{}"),
    "size --tilt": ("size", "{}", "--tilt"),
    "clock": ("clock", "{}"),
    "compare": ("compare", "{}", "--vary", "joint.kind=rigid,rolling"),
    "break-even": ("compare", "{}", "--break-even"),
    "diagnose": ("diagnose", "bands.csv", "{}"),
}
BAD_SCENARIOS = {
    "a value": ("mass_kg = 2.5", "mass_kg = -2.5", ("bed.mass_kg = -2.5", "must be > 0")),
    "a kind of value": ("layers = 8", 'layers = "8"', ('print.layers = "8"', "must be a whole number")),
    "a bound": ("lead_mm = 5", "lead_mm = 1e9", ("screw.lead_mm = 1000000000", "must be at most 100000")),
    "an unknown key": ("mass_kg = 2.5", "mas_kg = 2.5", ("bed.mas_kg", "Did you mean mass_kg?")),
    "a choice": ('"profile_rail"', '"rail"', ('guide.kind = "rail"', "must be one of profile_rail")),
    "a table outside": ("[nut]", '[guide]\ntable = "../x.csv"\n[nut]', ("line",)),
    "no TOML": ("[bed]", "[bed", ("line 2",)),
    "a control character": ("[bed]", '[bed]\n"a\\u001b[2J" = 1', ("bed.a\\x1b[2J", "unknown key")),
}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "machine.toml").write_text(bases.SCENARIO)
    (tmp_path / "lot.csv").write_text(bases.LOT)
    (tmp_path / "bands.csv").write_text(bases.BANDS)
    (tmp_path / "travel.csv").write_text(bases.TRAVEL)
    return tmp_path


def refused(capsys, *words):
    """The message of a command that cannot use its input."""
    assert main([*words]) == 2, words
    out, err = capsys.readouterr()
    assert out == "" and "Traceback" not in err
    return err


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", BAD_SCENARIOS)
def test_a_bad_scenario(folder, capsys, reader, kind):
    before, after, told = BAD_SCENARIOS[kind]
    assert before in bases.SCENARIO
    (folder / "bad.toml").write_text(bases.SCENARIO.replace(before, after, 1))
    said = refused(capsys, *(word.format("bad.toml") for word in READERS[reader]))
    assert all(line.startswith("bad.toml: ") for line in said.splitlines())
    assert all(words in said for words in told), said


BAD_READINGS = {
    ("run-out", "350,90,17.0", "350,90,x"): ("line 29", "reading_um = 'x'", "must be a number"),
    ("run-out", "# length_mm = 400", "# length_mm = far"): ("length_mm = far", "must be a number"),
    ("run-out", "reading_um", "reading_mu"): ("column 'reading_mu'", "Did you mean reading_um?"),
    ("jog", "50,0.0,11.0", "50,0.0,"): ("line 5", "reading_um"),
    ("extremes", "200,5,80", "200,80,5"): ("line 4", "max = 5 um", "must not be below min"),
    ("push", "carriage,radial", "carriage,up"): ("line 4", "direction = 'up'", "radial"),
    ("tap", "resolution_um = 1", "resolution_um = 0"): ("resolution_um = 0", "must be a number > 0"),
    ("cord", "raises,off,200", "raises,off,-200"): ("line 5", "mass = -200 g", "must not be negative"),
}


@pytest.mark.parametrize("case", BAD_READINGS, ids=lambda case: f"{case[0]}: {case[2]}")
def test_bad_readings_of_a_gauge(folder, capsys, case):
    kind, before, after = case
    assert before in bases.GAUGES[kind]
    (folder / "bad.csv").write_text(bases.GAUGES[kind].replace(before, after, 1))
    said = refused(capsys, "gauge", "bad.csv", "--no-pictures")
    assert all(line.startswith("bad.csv: ") for line in said.splitlines())
    assert all(words in said for words in BAD_READINGS[case]), said


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ("machine.toml", "/etc/passwd", 'scenario = "/etc/passwd": must name a file in the plan\'s folder'),
        ("machine.toml", "../../x.toml", 'scenario = "../../x.toml": must name a file in the plan\'s folder'),
        ("machine.toml", "x/../../../y.toml", "must name a file in the plan's folder"),
        ("machine.toml", "C:\\\\x.toml", "must name a file in the plan's folder"),
        ("machine.toml", "a\\u0000.toml", "must name a file in the plan's folder"),
        ("machine.toml", "machin.toml", 'no such file. Did you mean "machine.toml"?'),
        ("lot.csv", "../lot.csv", 'measured = "../lot.csv": must name a file in the plan\'s folder'),
        ("lot.csv", "/dev/zero", 'measured = "/dev/zero": must name a file in the plan\'s folder'),
        ("members = 4", "members = 0", "members = 0: must be at least 1"),
        ("[lot]", "[lott]", "lott"),
    ],
)
def test_a_bad_plan(folder, capsys, before, after, told):
    (folder / "bad.toml").write_text(bases.PLAN.replace(before, after, 1))
    said = refused(capsys, "sweep", "bad.toml")
    assert said.startswith("bad.toml: ") and told in said


def test_a_link_leads_out_of_no_plan(folder, tmp_path_factory, capsys):
    far = tmp_path_factory.mktemp("far") / "far.toml"
    far.write_text(bases.SCENARIO)
    (folder / "link.toml").symlink_to(far)
    (folder / "bad.toml").write_text(bases.PLAN.replace("machine.toml", "link.toml"))
    assert "A link leads out of it." in refused(capsys, "sweep", "bad.toml")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("gauge", "machine.toml"), "machine.toml: is a file of keys (TOML), not a table of readings."),
        (("report", "machine.toml"), "is a scenario, not a result: bedsim run machine.toml makes one of it."),
        (("diagnose", "machine.toml", "bands.csv"), "bands.csv: looks like a table of readings (CSV)"),
        (("diagnose", "machine.toml", "machine.toml"), "READINGS come first, SCENARIO second"),
        (
            ("clock", "machine.toml", "--spares", "machine.toml"),
            "is a scenario or a plan, not a file of",
        ),
        (
            ("size", "machine.toml", "--output", "x.toml"),
            "--output x.toml: a picture ends in .png, .svg or .pdf",
        ),
        (
            ("clock", "machine.toml", "--output", "x.toml"),
            "--output x.toml: a picture ends in .png, .svg or .pdf",
        ),
        (("report", "r.h5", "--output", "x.toml"), "--output x.toml: a report ends in .html or .htm"),
        (("run", "o" * 300 + ".toml"), "is not the name of a file: File name too long."),
        (("compare", "zero\0.csv", "b.csv"), "is not the name of a file"),
        (("size", "machine.toml", "--output", "o" * 300 + ".png"), "is not the name of a file"),
    ],
)
def test_a_file_in_the_wrong_place(folder, capsys, words, told):
    said = refused(capsys, *words)
    assert told in said and len(said.splitlines()) == 1


def test_what_was_given_on_the_command_line_is_shown_with_escapes(folder, capsys):
    """A terminal obeys what it is sent."""
    said = refused(capsys, "run", "machine.toml", "a\x07b")
    assert "unexpected extra argument (a\\x07b)" in said and "\x07" not in said


DEEP = "t = " + "[" * 300 + "]" * 300


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("scenario", ("run", "deep.toml")),
        ("plan", ("sweep", "deep.toml")),
        ("spares", ("clock", "machine.toml", "--spares", "deep.toml")),
    ],
)
def test_tables_nested_without_end(folder, capsys, name, words):
    text = {"scenario": bases.SCENARIO, "plan": bases.PLAN, "spares": bases.SPARES}[name]
    (folder / "deep.toml").write_text(f"{DEEP}\n{text}")
    assert "nested too deeply" in refused(capsys, *words)


def test_numbers_that_powers_run_over_are_refused_by_their_bound(folder, capsys):
    (folder / "bad.toml").write_text(bases.SCENARIO.replace("diameter_mm = 16", "diameter_mm = 1e308"))
    said = refused(capsys, "run", "bad.toml")
    assert "screw.diameter_mm" in said and "must be at most 100000." in said


def test_a_screw_like_a_hair_is_asked_about(folder, capsys):
    """Rounding leaves no critical speed of it beside its bearings."""
    assert main(["size", "machine.toml", "--no-pictures", "--set", "screw.diameter_mm=0.012"]) in (0, 2)
    out, err = capsys.readouterr()
    assert "screw.diameter_mm = 0.012: usual are 3 to 80. Is it meant, and its unit?" in out + err


def test_a_section_without_layers_is_told_with_its_place(folder, capsys):
    (folder / "bad.toml").write_text(bases.SCENARIO + "[[print.section]]\nlayer_mm = 0.3\n")
    said = refused(capsys, "size", "bad.toml", "--no-pictures")
    assert "bad.toml: print.section.1.layers: is missing." in said


def test_a_cell_without_end_is_told_with_its_line(folder, capsys):
    (folder / "bad.csv").write_text(bases.BANDS + "+X,centre," + "5" * 200_000 + ",1,1\n")
    assert "bad.csv: line 4: " in refused(capsys, "diagnose", "bad.csv", "machine.toml")
    (folder / "bad.csv").write_text(bases.RUN_OUT + "\n1,2," + "5" * 200_000)
    assert "bad.csv: line 35: " in refused(capsys, "gauge", "bad.csv")


def test_no_number_is_called_so_and_why(capsys):
    import click

    from bedsim.cli.endings import plain_output

    with plain_output():
        click.echo(f"{float('nan'):>8.1f} N, {float('-inf'):.2g} mm; nan.h5 and 'inf' are names")
    assert capsys.readouterr().out == (
        " unknown N, -unlimited mm; nan.h5 and 'inf' are names\n"
        "unknown: these inputs leave it without a value; unlimited: they leave it without a bound.\n"
    ).replace(" unknown", "     unknown", 1)


def test_numbers_have_no_exponent_where_people_write_none():
    from bedsim.number_text import number

    assert [number(v, d) for v, d in ((59712.0, 4), (150.0, 2), (95000.0, 2), (5.1e-5, 2), (1e9, 3))] == [
        "59710",
        "150",
        "95000",
        "0.000051",
        "1000000000",
    ]
    assert [number(v) for v in (1.234e-9, 2.5e12, float("nan"), float("inf"))] == [
        "1.23e-09",
        "2.5e+12",
        "unknown",
        "unlimited",
    ]
    rng = random.Random(1)
    for value in (10 ** rng.uniform(-6, 8.9) for _ in range(2000)):
        text = number(value, 4)
        assert "e" not in text and abs(float(text) / value - 1) < 5.1e-4
