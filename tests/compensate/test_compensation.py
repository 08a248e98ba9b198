"""The whole answer on a machine of one turn of its screws, its table, its refusals and its command."""

import csv
import dataclasses
import io
import json

import jsonschema
import numpy as np
import pytest

import bedsim
from bedsim.analysis.figures import metric_values
from bedsim.analysis.metrics import widest
from bedsim.answers.schema import document_schema
from bedsim.cli.main import main as command
from bedsim.comparison.compared import Compared, compare
from bedsim.comparison.compensated import with_software
from bedsim.compensate import advice
from bedsim.compensate.advice import compensate
from bedsim.compensate.printed import at_heights, printed
from bedsim.compensate.table import table_text
from bedsim.compensate.text import lines
from bedsim.compensate.ways import HEIGHT, MOTORS, OVER, Base, whole_microsteps
from bedsim.compensate.worth import _against
from bedsim.errors import InputError
from bedsim.improve.answers import answer
from bedsim.improve.levers_software import SOFTWARE
from bedsim.improve.ranking import trial
from bedsim.improve.steps import every_step
from bedsim.improve.taken import table_of
from bedsim.simulation import make_job, simulate
from bedsim.units import MM, UM

LAYERS = "print.layers=21"


@pytest.fixture(scope="module")
def rigid(shipped):
    return compensate(shipped("bent-rolled-rigid", LAYERS))


def way(found, name):
    return next(w for w in found.ways if w.name == name)


@pytest.fixture(scope="module")
def run(shipped):
    return simulate(shipped("bent-rolled-rigid", LAYERS))


def test_it_starts_from_what_run_tells(rigid, run, shipped):
    loaded = shipped("bent-rolled-rigid", LAYERS)
    run = metric_values(run.layers, [c.screw.lead_mm * MM for c in loaded.scenario.corner])
    now = way(rigid, "as it is").left
    assert (now.lateral, now.height, now.thickness) == pytest.approx(
        (run["lateral_pv"], run["height_pv"], run["thickness_error"]), rel=1e-9
    )
    assert rigid.worth.before == pytest.approx(run["lateral_pv"], rel=1e-9)


def test_compare_and_improve_say_the_same(rigid, run, shipped):
    """Of this print, and of the whole travel: one number each, however it is asked for."""
    loaded = shipped("bent-rolled-rigid", LAYERS)
    item = Compared(label="a", run=run, loaded=loaded)
    other = with_software(item, rigid.asked.step)
    found = compare([item, other])
    assert found.labels[1] == "a, compensated" and found.values[0]["lateral_pv"] == rigid.worth.before
    assert found.values[1]["lateral_pv"] == pytest.approx(rigid.worth.stepped, rel=1e-9)
    assert found.values[1]["lateral_pv"] == pytest.approx(way(rigid, "shift and turn").left.stepped, rel=1e-9)
    assert found.values[1]["height_pv"] == found.values[0]["height_pv"]
    assert other.software in found.notes and "Not to be done" not in other.software
    now = answer(loaded)
    (step,) = every_step(loaded, SOFTWARE)
    one = trial(loaded, now, [step])
    assert table_of(loaded, ()).gain == rigid.travel and not one.refused
    assert one.after.lateral == pytest.approx(rigid.travel.stepped, rel=1e-9)
    assert one.after == dataclasses.replace(now, lateral=one.after.lateral)
    assert now.lateral == pytest.approx(rigid.travel.before, rel=1e-9)


def test_what_ways_leave(rigid):
    """Three numbers take all that a rigid bed does sideways, one shift leaves the turn; a map taken at the
    bed changes nothing that a part shows; the step of a motor is 1.56 um."""
    before = way(rigid, "as it is").left
    whole, shift = way(rigid, "shift and turn").left, way(rigid, "shift").left
    assert whole.lateral < 2e-9 < 0.5 * before.lateral < shift.lateral < before.lateral
    assert 4 * UM < whole.stepped <= whole.stepped_worst < 2**0.5 * 5 * UM + 1e-9
    assert way(rigid, "height map").left == before
    for name in (HEIGHT, MOTORS):
        left = way(rigid, name).left
        assert left.height < 0.6 * before.height and left.lateral == pytest.approx(before.lateral, rel=1e-3)
    one, two = (way(rigid, name) for name in OVER)
    assert "the other direction of travel" in [c.name for c in one.causes]
    assert "the other direction of travel" not in [c.name for c in two.causes]
    assert rigid.shift_leaves[0].name == "run-out"
    assert rigid.shift_leaves[0].lateral == pytest.approx(shift.lateral, rel=0.01)


def test_exact_heights_of_motors_take_all_heights_off(shipped):
    """Three numbers for a rigid bed on three screws: what is left are springs, a thousandth."""
    loaded = shipped("ground-stiff", "print.layers=12")
    job = make_job(loaded)
    run = printed(loaded, job)
    base = Base(loaded=loaded, job=job, layers=run, step=0.0)
    flat = printed(loaded, at_heights(job, -base.heights))
    assert np.abs(flat.height_error).max() < 1e-3 * np.abs(run.height_error).max()
    told = whole_microsteps(base, base.heights)
    assert told / (5 * MM / 3200) == pytest.approx(np.round(told / (5 * MM / 3200)), abs=1e-6)


def test_what_the_law_says_a_late_run_leaves(rigid):
    """5 degrees late, a run with friction: 9 % of the error."""
    assert rigid.worth.late / rigid.worth.before == pytest.approx(0.087, rel=0.05)
    assert rigid.worth.over.harms == 0.0 and not rigid.refused
    low, middle, high = rigid.worth.over.left
    assert low < middle < high < rigid.worth.over.before[1]


def test_the_table_takes_off_what_it_says(rigid):
    """Read as anybody would read it, comments left out."""
    text = table_text(rigid)
    rows = list(csv.DictReader(io.StringIO("".join(x for x in text.splitlines(True) if x[0] != "#"))))
    assert [r["layer"] for r in rows] == [str(k) for k in range(1, 22)]
    x, y, turn = (np.array([float(r[k]) for r in rows]) for k in ("x_um", "y_um", "turn_urad"))
    places, lateral = rigid.layers.probe_position, rigid.layers.lateral_error
    moves = np.stack(
        [
            x[:, None] * UM - turn[:, None] * 1e-6 * places[:, 1],
            y[:, None] * UM + turn[:, None] * 1e-6 * places[:, 0],
        ],
        axis=-1,
    )
    assert widest(rigid.layers.print_height, lateral - moves).max() < 0.01 * UM
    assert {"all_motors_um", "motor_front_left_um", "top_mm", "bed_z_mm"} <= set(rows[0])
    head = " ".join(x[2:] for x in text.splitlines() if x[0] == "#")
    assert "no proof" in head and "hand on the switch" in head and "counter-clockwise" in head


def test_from_python_it_shows_itself_and_is_written(rigid, tmp_path):
    shown = repr(rigid)
    assert "shift and turn" in shown and "Worth it" in shown and len(shown) < 4000
    assert bedsim.to_csv(rigid, tmp_path / "t.csv").read_text("utf-8") == table_text(rigid)
    against = dataclasses.replace(rigid.worth, refused=("it is below",))
    with pytest.raises(InputError, match="not written: it is below"):
        bedsim.to_csv(dataclasses.replace(rigid, worth=against), tmp_path / "u.csv")
    assert [p.name for p in tmp_path.iterdir()] == ["t.csv"]


def test_the_map_says_why_it_changes(rigid):
    m = rigid.maps
    assert {s.corner for s in m.screws} == set(rigid.corners)
    assert all(s.change <= s.any_turn + 1e-12 for s in m.screws)
    assert m.change[0] == 0.0 and m.reversal > 0


def test_words_and_cautions(rigid):
    said = "\n".join(lines(rigid))
    assert said.startswith("Worth it") and "index mark" in said and "hot, heavy machine" in said


def test_refusals_name_what_speaks_against_it(rigid):
    """Above the limit; below two steps; at an angle that nobody knows."""
    w = rigid.worth
    assert not _against(w, 5 * UM, 0.1)
    assert "limit of 0.3 mm" in _against(dataclasses.replace(w, largest=0.31 * MM), 5 * UM, 0.1)[0]
    assert "below 2 steps" in _against(w, 100 * UM, 0.1)[0]
    assert "not known well enough" in _against(w, 5 * UM, 1.2)[0]


@pytest.fixture
def answering(rigid, monkeypatch, tmp_path, shipped):
    """The command on a machine that was worked out before; `against`: what speaks against it."""

    def ask(*words, against=()):
        told = dataclasses.replace(rigid, worth=dataclasses.replace(rigid.worth, refused=against))
        monkeypatch.setattr(advice, "compensate", lambda *given: told)
        return command(["compensate", str(shipped("bent-rolled-rigid").path.resolve()), *words])

    monkeypatch.chdir(tmp_path)
    return ask


def test_the_command_writes_no_table_that_harms(answering, tmp_path, capsys):
    assert answering("--output", "t.csv", "--no-pictures", "--json", against=("it is below",)) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["answer"]["refused"] == ["it is below"] and document["files"] == []
    assert any("t.csv: not written: it is below." in line for line in document["text"])
    assert not list(tmp_path.iterdir())


def test_the_command_writes_table_and_pictures(answering, capsys):
    assert answering("--output", "out/t.csv", "--json") == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, document_schema("compensate"))
    assert document["files"] == ["out/t.csv", "out/t.png", "out/t_height_map.png"]
    assert len(document["answer"]["table"]["x_m"]) == 21


def test_options_are_checked(answering, capsys):
    assert answering("--step-um", "-1") == 2
    assert "--step-um = -1: must be at least 0" in capsys.readouterr().err
    assert answering("--output", "t.txt") == 2


def test_the_step_is_the_scenarios_unless_another_is_asked_for(shipped, monkeypatch):
    steps = []

    def heard(loaded, asked, progress):
        steps.append(asked.step)
        raise InputError("heard")

    monkeypatch.setattr(advice, "compensate", heard)
    words = ["compensate", str(shipped("bent-rolled-rigid").path), "--set", "motion.plane_step_um=12.5"]
    assert [command(words), command([*words, "--step-um", "2"])] == [2, 2]
    np.testing.assert_allclose(steps, [12.5e-6, 2e-6])
