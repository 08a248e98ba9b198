"""`bedsim size --upkeep` as a user meets it: one page, one calendar file, one message for every fault."""

import datetime
from contextlib import contextmanager
from pathlib import Path

import pytest
from upkeep_machine import SHIPPED, plain

from bedsim.cli.main import main
from bedsim.upkeep import report as upkeep_report
from bedsim.upkeep.use import years_words
from bedsim.views import style

MACHINE = str(SHIPPED / "plain-lead-screws.toml")
QUICK = ("--set", "print.layers=2", "--set", "sizing.plain_nut_length_mm=15", "--no-pictures")


def said(capsys, *words: str) -> tuple[int, str, str]:
    code = main(["size", MACHINE, *words])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


@pytest.fixture
def still(monkeypatch):
    """No runs: they are looked at elsewhere."""
    monkeypatch.setattr(upkeep_report, "_reversals", lambda *_: (None, None, 0.0, []))
    monkeypatch.setattr(
        upkeep_report,
        "_figures",
        lambda _: ({"lateral_pv": 8e-7, "height_pv": 7e-7, "axial_force": 12.0}, []),
    )


def test_a_page_and_a_file(capsys, tmp_path, still):
    file = tmp_path / "new" / "jobs.ics"
    words = ("--upkeep", "--set", "upkeep.first_date=2027-01-04", "--calendar", str(file), *QUICK)
    code, out, err = said(capsys, *words)
    assert (code, err) == (0, "")
    heads = [out.index(f"\n{head}") for head in ("Calendar\n", "Wear\n", "Grease\n", "Noise (")]
    assert heads == sorted(heads)
    page = out[out.index("Calendar") : out.index("\nWear")].splitlines()
    assert len(page) <= 60
    assert "2027-02-04, then every 12 months: Tighten" in out
    for caution in ("propped from below", "solvents burn", "hot parts", "A bed can fall"):
        assert caution in out
    assert "common practice, no source" in out
    assert max(len(line) for line in out.splitlines()) <= 100
    before = file.read_bytes()
    assert said(capsys, *words)[0] == 0
    assert file.read_bytes() == before


def test_a_calendar_file_needs_a_day_and_nothing_is_written(capsys, tmp_path, still):
    file = tmp_path / "jobs.ics"
    code, out, err = said(capsys, "--upkeep", "--calendar", str(file), *QUICK)
    assert code == 2
    assert out == ""
    assert "upkeep.first_date" in err
    assert MACHINE in err
    assert not file.exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--set", "upkeep.first_date=2027-02-30"), "upkeep.first_date = "),
        (("--set", "upkeep.first_date=soon"), "must be a day YYYY-MM-DD"),
        (("--set", "upkeep.prints_a_month=0"), "upkeep.prints_a_month = 0: must be > 0"),
        (("--set", "upkeep.hops_per_layers=3"), "Did you mean hops_per_layer"),
        (("--set", "upkeep.dirt=dirty"), "must be one of clean, open, dusty"),
        (("--set", "upkeep.ball_diameter_mm=3"), "does nothing"),
        (("--set", "upkeep.weights.errors=1"), "Did you mean error"),
        (("--calendar", "jobs.txt"), "a calendar ends in .ics"),
        (("--beside", "nowhere.toml"), "nowhere.toml: no such file"),
        (("--beside", MACHINE, "--require", "noise<=3"), "there is no figure noise"),
    ],
)
def test_one_message_for_every_fault(capsys, words, told, still):
    code, out, err = said(capsys, "--upkeep", *words, *QUICK)
    assert code == 2
    assert out == ""
    assert told in err
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "words", [("--beside", MACHINE), ("--calendar", "a.ics"), ("--upkeep", "--require", "x<=1")]
)
def test_options_that_do_nothing_are_refused(capsys, words):
    code, _, err = said(capsys, *words, *QUICK)
    assert code == 2
    assert "does nothing without" in err


def test_a_choice_is_told_with_its_parts(capsys, still):
    """Beside the rolled balls: what decides is said, and no score stands without its parts."""
    other = str(SHIPPED / "bent-rolled-rolling-joints.toml")
    weights = ("--set", "upkeep.weights.error=1", "--set", "upkeep.weights.noise=1")
    code, out, _ = said(capsys, "--upkeep", "--beside", other, *weights, *QUICK)
    assert code == 0
    choice = out[out.index("\nChoice") :]
    assert choice.count("    part of the score ") == 2
    assert "not known of all: no part of the score" in choice
    assert "score, 0 to 1" in choice
    assert "life not known: sizing.dynamic_load_rating_n not given" in choice
    code, out, _ = said(capsys, "--upkeep", "--beside", other, "--set", "sizing.life_h=10", *QUICK)
    assert "decides alone: only plain-lead-screws meets it" in out


def test_the_day_of_a_file_may_stand_without_quotes(tmp_path):
    text = Path(MACHINE).read_text(encoding="utf-8") + "\n[upkeep]\nfirst_date = 2027-01-04\n"
    (tmp_path / "m.toml").write_text(text, encoding="utf-8")
    from bedsim.scenario.load import load_scenario

    loaded = load_scenario(tmp_path / "m.toml")
    assert loaded.scenario.upkeep.first_date == "2027-01-04"
    (tmp_path / "r.toml").write_text(loaded.resolved_toml(), encoding="utf-8")
    assert load_scenario(tmp_path / "r.toml").scenario == loaded.scenario


def test_runs_as_given_and_worn():
    """Short: the two runs are there, and the worn nut's play is what the limit adds."""
    loaded = plain(**{"print.layers": 2, "upkeep.first_date": "2027-01-04"})
    report = upkeep_report.upkeep_scenario(loaded)
    assert report.start == datetime.date(2027, 1, 4)
    assert report.worn.jump - report.new.jump == pytest.approx(1e-4)
    assert report.hop == pytest.approx(0.25e-3)  # no hops given: one layer


def test_the_picture_shows_jobs_play_and_speeds(capsys, tmp_path, monkeypatch, still):
    """What stands on it, read off the figure that is written."""
    drawn, page = [], style.page

    @contextmanager
    def seen(*words):
        with page(*words) as figure:
            yield figure
            drawn.append(figure)

    monkeypatch.setattr(style, "page", seen)
    code, _, _ = said(capsys, "--upkeep", *QUICK[:-1], "--output", str(tmp_path / "up.png"))
    assert code == 0
    (figure,) = drawn
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert titles[0] == "Jobs of two years" and titles[-1] == "Speeds that sing"
    jobs = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert "Grease the lead screws" in jobs
    assert figure.axes[0].get_xlabel() == "months from the first day"
    assert "mm/s" in figure.axes[-1].get_xlabel() and "Hz" in figure.axes[-1].get_ylabel()


@pytest.mark.parametrize(
    ("months", "says"), [(30.0, "2.5 years"), (11_999.0, "1000 years"), (1.8e11, "more than 1,000 years")]
)
def test_a_life_beyond_all_use_is_told_as_that(months, says):
    assert years_words(months) == says
