"""`bedsim sweep` as a user meets it: answers, pictures, one printer again, faults of a plan in one list."""

import pytest
from matplotlib.text import Text
from plans import AXES, FRICTIONLESS, MACHINE, write_plan

from bedsim.analysis.figures import METRICS, metric_values
from bedsim.cli.main import main
from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario
from bedsim.screws.drawn import TABLE_ERROR
from bedsim.simulation import simulate
from bedsim.sweep.member import member_again
from bedsim.sweep.plan import load_plan
from bedsim.sweep.prices import cell_price, reject_price
from bedsim.sweep.tasks import leads_of
from bedsim.views import style

METRIC_UNITS = {m.name: m.unit for m in METRICS}

PRICES = """
[prices]
currency = "EUR"
screw = {C3 = 190, C5 = 110, C7 = 45}
per_corner = {"joint.kind" = {rigid = 0, rolling = 30}}
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words):
    return main(["sweep", "plan.toml", "--workers", "1", *words])


def test_prints_the_answers_and_draws_them(folder, capsys):
    write_plan(folder, AXES + PRICES)
    assert run() == 0
    out = capsys.readouterr().out
    for words in (
        "Target, peak to valley at every probe: lateral 6 µm, height 60 µm at most, for 90 % of printers",
        "by number drawn",
        "by lot",
        "Cheapest cell that is good enough:",
        "Worth their price",
        "What matters most",
        "luck of the draw",
        "without friction",
        "No standard states how a lot fills its grade",
        "Result: results/plan.h5",
    ):
        assert words in out, words
    names = {p.name for p in (folder / "results").glob("*.png")}
    endings = ("probability", "distributions", "height", "price", "what_matters")
    assert names == {f"plan_{ending}.png" for ending in endings}
    assert run("--member", "3,41") == 0
    out = capsys.readouterr().out
    assert "Cell 3, C5, rolling; printer 41" in out and "bit as in results/plan.h5: yes" in out
    assert "corner.rear.screw.run_out.bow_tir_um = " in out
    assert ".table" not in out and "variation_deg" not in out and "--write FILE.toml" in out


CLOCKED = """
[[axis]]
name = "screws"
[[axis.choice]]
label = "best of five, clocked"
set = {grade = "C5", buy = 5, clocking = "best"}
"""


@pytest.mark.parametrize(
    ("axes", "member"),
    [(AXES, "4,41"), (AXES, "5,66"), (CLOCKED, "0,7")],
    ids=("rigid", "rolling", "clocked"),
)
def test_a_printer_written_as_a_scenario_gives_its_own_figures(folder, capsys, axes, member):
    """Three waves of slow travel in a table: read back from the files alone, all friction set to zero.

    The sweep searches the largest lateral extent more coarsely: 0.1 %.  Heights come from tables that are
    within 2 nm (`drawn.TABLE_ERROR`) of the waves at every corner; a stiff bed on three screws passes them on
    to its probes by at most the sum of its levers, below 3 here.
    """
    machine = MACHINE.replace("[joint]", "[screw.travel]\nvariation_pv_um = 11\n[joint]")
    write_plan(folder, axes, machine=machine)
    assert run("--member", member, "--write", "printers/one.toml") == 0
    told = capsys.readouterr().out
    assert "Next: bedsim run printers/one.toml" in told
    names = sorted(p.name for p in (folder / "printers").iterdir())
    assert names == ["one.toml", "one_1_left_travel.csv", "one_2_right_travel.csv", "one_3_rear_travel.csv"]
    cell, printer = (int(x) for x in member.split(","))
    found = member_again(load_plan(folder / "plan.toml"), cell, printer)
    free = load_scenario("printers/one.toml").with_values(FRICTIONLESS)
    again = metric_values(simulate(free, engine="equilibrium").layers, leads_of(found.cell))
    for name, value in zip(found.metrics, found.figures, strict=True):
        relative = 1e-3 if name == "lateral_pv" else 1e-9
        absolute = 4 * 3 * TABLE_ERROR if METRIC_UNITS[name] == "m" else 1e-6
        assert again[name] == pytest.approx(value, rel=relative, abs=absolute), name


def test_a_written_printer_of_a_batch_with_friction_gives_its_own_figures(folder, capsys):
    """Where the solver's steps stop depends on the batch: both engines agree to 0.01 um (tests/agreement)."""
    axis = '[[axis]]\nkey = "grade"\nvalues = ["C5"]\n'
    machine = MACHINE.replace("layers = 40", "layers = 5")
    write_plan(folder, axis, members=3, more='engine = "propagator"', machine=machine)
    assert run("--member", "0,2", "--write", "one.toml") == 0
    assert "every friction set to 0" not in (folder / "one.toml").read_text(encoding="utf-8")
    found = member_again(load_plan(folder / "plan.toml"), 0, 2)
    again = metric_values(simulate(load_scenario("one.toml")).layers, leads_of(found.cell))
    for name, value in zip(found.metrics, found.figures, strict=True):
        if METRIC_UNITS[name] == "m":
            assert again[name] == pytest.approx(value, rel=1e-3, abs=0.02e-6, nan_ok=True), name


def test_a_written_printer_keeps_the_tables_of_its_guides(folder):
    (folder / "rail.csv").write_text("position_mm,offset_x_um,offset_y_um\n0,0,0\n200,30,-10\n400,0,0\n")
    machine = MACHINE.replace('kind = "profile_rail"', 'kind = "profile_rail"\ntable = "rail.csv"')
    write_plan(folder, AXES, machine=machine)
    assert run("--member", "0,0", "--write", "far/one.toml") == 0
    loaded = load_scenario("far/one.toml")
    assert loaded.scenario.corner[2].guide.table == "one_3_rear_guide.csv"
    assert loaded.tables["one_3_rear_guide.csv"].tolist() == [[0, 0, 0], [200, 30, -10], [400, 0, 0]]


def test_a_printer_is_not_written_over_a_file_or_half(folder, capsys):
    write_plan(folder)
    for words, says in (
        (["--write", "one.toml"], "--write one.toml: goes with --member"),
        (["--member", "0,0", "--write", "one.csv"], "ends in .toml, for example one.toml"),
        (["--member", "0,0", "--write", "machine.toml"], "machine.toml exists already"),
    ):
        assert run(*words) == 2
        assert says in capsys.readouterr().err
    (folder / "one_2_right_travel.csv").mkdir()
    assert run("--member", "0,0", "--write", "one.toml") == 2
    (folder / "file").write_text("")
    assert run("--member", "0,0", "--write", "file/one.toml") == 2
    assert "cannot be written" in capsys.readouterr().err
    assert sorted(p.name for p in folder.iterdir()) == sorted(
        ["plan.toml", "machine.toml", "one_2_right_travel.csv", "file"]
    )


def test_pictures_say_what_they_leave_out_and_what_the_target_is(folder, monkeypatch):
    written = {}

    def note(figure, path, **_):
        written[path.name] = [t.get_text() for t in figure.findobj(Text)]
        path.touch()

    monkeypatch.setattr(style, "save", note)
    joints = '[[axis]]\nkey = "joint.kind"\nvalues = ["rigid", "rolling"]\n'
    write_plan(folder, '[[axis]]\nkey = "grade"\nvalues = ["C5", "C7", "C10"]\n' + joints, members=20)
    assert run() in (0, 1)
    note = "4 of 6 cells: best, worst and between, by median lateral error"
    assert note in written["plan_height.png"]
    target = "target: lateral error at most 6 µm, height error at most 60 µm"
    assert target in written["plan_distributions.png"]


def test_no_cell_good_enough_is_exit_code_1(folder, capsys):
    plan = write_plan(folder, '[[axis]]\nkey = "grade"\nvalues = ["C10"]\n', members=20)
    plan.write_text(plan.read_text().replace("lateral_pv_um = 6", "lateral_pv_um = 0.5"), encoding="utf-8")
    assert run("--no-pictures") == 1
    assert "No cell is sure to meet the target for 90 % of printers." in capsys.readouterr().out


def test_a_plan_without_axes_target_and_prices_still_tells_the_spread(folder, capsys):
    plan = write_plan(folder, "", members=20)
    text = plan.read_text()
    start, end = text.index("[target]"), text.index("[lot]")
    plan.write_text((text[:start] + text[end:]).replace("[lot]", '[lot]\ngrade = "C7"'), encoding="utf-8")
    assert run() == 0
    out = capsys.readouterr().out
    assert "No target" in out and "as the scenario" in out
    assert len(list((folder / "results").glob("*.png"))) == 2


def test_lists_random_cells_and_measured_lots(folder, capsys):
    """Two lots of one plan side by side; a listed plan; random values within a range, the same each time."""
    (folder / "box.csv").write_text(
        "screw,eccentricity_tir_um,bow_tir_um,slope_um_per_300mm\n1,20,80,10\n2,35,60,-5\n3,15,120,20\n",
        encoding="utf-8",
    )
    lots = '[lots.box]\nmeasured = "box.csv"\n[lots.shop]\ngrade = "C5"\n'
    write_plan(folder, '[[axis]]\nkey = "lot"\nvalues = ["box", "shop"]\n' + lots, members=30)
    run("--no-pictures")
    assert "3 screws measured (box.csv)" in capsys.readouterr().out
    cells = '[[cell]]\ngrade = "C5"\n"frame.radial_n_per_um" = 2.0\n[[cell]]\ngrade = "C7"\n'
    loaded = load_plan(write_plan(folder, cells, more='mode = "list"'))
    assert [c.label for c in loaded.cells] == ["C5, frame radial 2 N/um", "C7"]
    axis = '[[axis]]\nkey = "frame.radial_n_per_um"\nlow = 0.5\nhigh = 4.0\n'
    axis += '[[axis]]\nkey = "grade"\nvalues = ["C5"]\n'
    once, twice = (load_plan(write_plan(folder, axis, more='mode = "random"\ncells = 7')) for _ in range(2))
    values = [c.settings["frame.radial_n_per_um"] for c in once.cells]
    assert values == [c.settings["frame.radial_n_per_um"] for c in twice.cells]
    assert len(set(values)) == 7 and all(0.5 <= v <= 4 for v in values)


def test_price_counts_rejects_gauging_and_what_the_axes_cost(folder):
    text = """
    [[axis]]
    key = "buy"
    values = [3, 5]
    [[axis]]
    key = "frame.radial_n_per_um"
    values = [1.0, 3.0]
    [prices]
    screw = {C7 = 40}
    gauging_per_screw = 2
    per_machine = {"frame.radial_n_per_um" = {"1" = 0, "3" = 60}}
    rest = 100
    """
    plan = write_plan(folder, text)
    plan.write_text(plan.read_text().replace("[lot]", '[lot]\ngrade = "C7"'), encoding="utf-8")
    loaded = load_plan(plan)
    found = [cell_price(loaded.file.prices, c) for c in loaded.cells]
    assert found == [100 + 120, 100 + 120 + 60, 100 + 200 + 10, 100 + 200 + 10 + 60]
    assert [reject_price(loaded.file.prices, c) for c in loaded.cells] == [0, 0, 80, 80]


FAULTS = {
    "a key near another": (
        '[[axis]]\nkey = "joint.knd"\nvalues = ["rigid"]',
        "joint.knd",
        "Did you mean kind?",
    ),
    "a value near another": (
        '[[axis]]\nkey = "joint.kind"\nvalues = ["rolin"]',
        'joint.kind = "rolin"',
        'Did you mean "rolling"?',
    ),
    "a grade that is none": ('[[axis]]\nkey = "grade"\nvalues = ["C6"]', "grade = 'C6'", "Did you mean"),
    "a special key": ('[[axis]]\nkey = "clockin"\nvalues = ["best"]', "clockin", "Did you mean clocking?"),
    "a clocking": ('[[axis]]\nkey = "clocking"\nvalues = ["bset"]', "clocking", 'Did you mean "best"?'),
    "too few screws": ('[[axis]]\nkey = "buy"\nvalues = [2]', "buy = 2", "at least 3"),
    "a lot without a table": (
        '[[axis]]\nkey = "lot"\nvalues = ["boxx"]\n[lots.box]\ngrade = "C5"',
        "lot",
        'Did you mean "box"?',
    ),
    "a plan key": ('[[axis]]\nkye = "grade"\nvalues = ["C5"]', "axis.1.kye", "Did you mean key?"),
    "a target key": ("[stop]\ninterval_bellow = 0.1", "stop.interval_bellow", "Did you mean interval_below?"),
    "an axis without values": ('[[axis]]\nkey = "grade"', "axis.1", "needs either values"),
    "out of range": (
        '[[axis]]\nkey = "print.layer_mm"\nvalues = [-0.2]',
        "print.layer_mm = -0.2",
        "must be > 0",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_faults_name_file_key_value_rule_and_nearest_spelling(folder, capsys, name):
    text, *expected = FAULTS[name]
    plan = write_plan(folder, text)
    if "lot" not in name and "grade" not in text:
        plan.write_text(plan.read_text().replace("[lot]", '[lot]\ngrade = "C5"'), encoding="utf-8")
    assert run() == 2
    told = capsys.readouterr().err
    assert told.startswith("plan.toml: ") and "Traceback" not in told
    for words in expected:
        assert words in told, told


def test_all_faults_of_a_plan_come_in_one_list(folder):
    plan = write_plan(
        folder, '[[axis]]\nkey = "grade"\nvalues = ["C5"]\n[stop]\nstep = 10\n', more="engin = 1"
    )
    with pytest.raises(InputError) as told:
        load_plan(plan)
    lines = str(told.value).splitlines()
    assert len(lines) == 3, lines  # engin, interval_below missing, step too small
    assert any("Did you mean engine?" in line for line in lines)


def test_what_a_grade_leaves_open_must_be_stated(folder):
    plan = write_plan(folder, '[[axis]]\nkey = "grade"\nvalues = ["C7"]\n')
    text = plan.read_text()
    start = text.index("once_per_turn_rms_um")
    plan.write_text(text[:start] + text[text.index("thread_run_out") :], encoding="utf-8")
    with pytest.raises(InputError, match=r"plan\.toml: cell 'C7'.*once_per_turn.*the lot must"):
        load_plan(plan)


def test_what_a_sweep_cannot_vary_is_refused(folder):
    grade = '[[axis]]\nkey = "grade"\nvalues = ["C5"]\n'
    (folder / "bent.csv").write_text(
        "position_mm,offset_x_um,offset_y_um\n0,0,0\n400,50,0\n", encoding="utf-8"
    )
    machine = MACHINE.replace("[joint]", '[screw.run_out]\ntable = "bent.csv"\n[joint]')
    with pytest.raises(InputError, match="measured table of one screw"):
        load_plan(write_plan(folder, grade, machine=machine))
    plain = MACHINE.replace('"rolled_ball"', '"plain"').replace(
        "[joint]", "[nut]\nclearance_um = 50\n[joint]"
    )
    with pytest.raises(InputError, match="leaves play out"):
        load_plan(
            write_plan(
                folder, grade, machine=plain.replace("diameter_mm = 16", "diameter_mm = 16\nstarts = 1")
            )
        )


@pytest.mark.parametrize("written", ["3", "a,b", "1,2,3", "-1,0"])
def test_member_is_two_numbers(folder, capsys, written):
    write_plan(folder)
    assert run("--member", written) == 2
    assert "two whole numbers" in capsys.readouterr().err


def test_workers_and_scheduler_exclude_each_other(folder, capsys):
    write_plan(folder)
    assert run("--scheduler", "tcp://127.0.0.1:1") == 2
    assert "one of the two" in capsys.readouterr().err
