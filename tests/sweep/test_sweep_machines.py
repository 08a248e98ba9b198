"""Machines drawn from what is not known, in a sweep: against sweeps of these machines by themselves."""

from dataclasses import replace

import numpy as np
import pytest
from plans import MACHINE, content, write_plan

from bedsim.cli.main import main
from bedsim.ranges.draws import Draw
from bedsim.results.sweep_store import read_sweep
from bedsim.scenario.load import load_scenario
from bedsim.sweep import pool
from bedsim.sweep.answers import cheapest, enough_drawn
from bedsim.sweep.machine_tasks import MachineTask, added_by_friction, drawn
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import order_of, run_sweep
from bedsim.sweep.tasks import Task

KNOWN_BADLY = ("frame.radial_n_per_um", "guide.height_mm", "damping.ratio", "guide.friction_n")
AXES = '[[axis]]\nkey = "grade"\nvalues = ["C5", "C7"]\n'
PRICES = '[prices]\ncurrency = "EUR"\nscrew = {C5 = 110, C7 = 45}\n'
SHORT = MACHINE.replace("layers = 40", "layers = 20").replace(
    "[frame]\nradial_n_per_um = 1.0", "[frame]\nradial_n_per_um = {low = 0.4, likely = 1.0, high = 4.0}"
)
DRAWN, PRINTERS = 4, 24


def few_keys(folder):
    """The machine with all uncertain keys at their likely value but a few, to be quick."""
    (folder / "all.toml").write_text(SHORT, encoding="utf-8")
    loaded = load_scenario(folder / "all.toml")
    likely = {r.key: r.likely for r in loaded.ranges if r.key not in KNOWN_BADLY}
    return loaded.with_values(likely).resolved_toml()


def plan_in(folder, engine="equilibrium", machine=None, drawn=DRAWN):
    machine = few_keys(folder) if machine is None else machine
    path = write_plan(folder, AXES + PRICES, members=PRINTERS, more=f'engine = "{engine}"', machine=machine)
    text = path.read_text().replace("machines = 1\n", f"machines = {drawn}\nprinters = 20\n")
    path.write_text(text.replace("lateral_pv_um = 6", "lateral_pv_um = 3"), encoding="utf-8")
    return load_plan(path)


@pytest.fixture(scope="module")
def still(tmp_path_factory):
    folder = tmp_path_factory.mktemp("still")
    plan = plan_in(folder)
    return plan, run_sweep(plan, folder / "out.h5", pool.here), folder / "out.h5"


def by_itself(folder, plan, number):
    """Median errors of the first 20 printers in the machine drawn, swept as a scenario of its own."""
    loaded = plan.cells[0].loaded
    machine = loaded.with_values(Draw(seed=plan.file.seed, number=number).values(loaded.ranges))
    alone = plan_in(folder, machine=machine.resolved_toml(), drawn=1)
    result = run_sweep(alone, folder / f"{number}.h5", pool.here)
    columns = [result.metrics.index(name) for name in ("lateral_pv", "height_pv")]
    return np.array([np.median(c.figures[:20, columns], axis=0) for c in result.cells])


def test_a_drawn_machine_gives_what_it_gives_by_itself(still, tmp_path):
    plan, result, _ = still
    found = np.array([c.machines[1 + 2, 2:] for c in result.cells])
    np.testing.assert_allclose(found, by_itself(tmp_path, plan, 2), rtol=1e-9)


def test_friction_at_rest_stands_for_the_engine_s(tmp_path):
    """Medians in the likely and in a drawn machine, with friction in slow steps at rest and with all
    dynamics:
    0.13 um apart at most, and half as far as without friction or less, all lateral medians together."""
    short = few_keys(tmp_path).replace("layers = 20", "layers = 6")
    plan = plan_in(tmp_path, "deviations", machine=short)
    order, apart = order_of(plan), []
    for machine in (0, 3):
        loaded = drawn(plan.cells[0].loaded, machine, plan.file.seed)
        cells = tuple(replace(c, loaded=loaded, others=()) for c in plan.cells)
        tasks = [
            Task(order=replace(order, engine=engine), cells=cells, first=0, last=PRINTERS)
            for engine in ("deviations", "equilibrium")
        ]
        medians = [[np.median(part.figures[:, :2], axis=0) for part in task.run()] for task in tasks]
        task = MachineTask(order=order, cells=plan.cells, machine=machine, each=PRINTERS, rubbing=12)
        rest = np.array([(part.lateral, part.height) for part in task.run()])
        full, still = np.array(medians)
        apart.append([np.abs(rest - full), np.abs(still - full)])
    at_rest, without = np.moveaxis(apart, 1, 0)
    assert at_rest.max() < 0.13e-6
    assert at_rest[..., 0].sum() < 0.5 * without[..., 0].sum()


def test_intervals_and_keys_come_back_from_the_file(still):
    _, result, path = still
    again = read_sweep(path)
    for one, other in zip(result.cells, again.cells, strict=True):
        np.testing.assert_array_equal(one.machines, other.machines)
        assert one.machine_interval == other.machine_interval and one.whole_interval == other.whole_interval
    assert again.doubt is not None and again.doubt.keys == result.doubt.keys
    np.testing.assert_array_equal(again.doubt.surer, result.doubt.surer)


def test_every_uncertain_key_is_told_and_those_that_act_first(still):
    plan, result, _ = still
    ranges = plan.cells[0].loaded.ranges
    assert sorted(result.doubt.keys) == sorted(r.key for r in ranges) == sorted(KNOWN_BADLY)
    parts = dict(zip(result.doubt.keys, result.doubt.part, strict=True))
    assert max(parts, key=parts.__getitem__) == "guide.height_mm"
    assert parts["damping.ratio"] < 0.01, "does nothing at rest"


def test_a_cell_that_would_do_is_not_named_if_the_machine_leaves_it_open(still):
    _, result, _ = still
    for cell in result.cells:
        assert cell.whole_interval[0] <= min(cell.wilson[0], cell.machine_interval[0])
    open_cells = [c for c in result.cells if enough_drawn(c, result) and c.whole_interval[0] < 0.9]
    best = cheapest(result)
    assert best is None or best not in open_cells


def test_goes_on_where_it_stopped(still, tmp_path):
    plan, _, path = still

    def breaks_down(tasks):
        yield from pool.here([tasks[0], tasks[2], tasks[-1]])
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_sweep(plan, tmp_path / "out.h5", breaks_down)
    again = []
    run_sweep(plan, tmp_path / "out.h5", lambda tasks: (again.append(len(tasks)), pool.here(tasks))[1])
    assert content(tmp_path / "out.h5") == content(path)
    keys = len(plan.cells[0].loaded.ranges)
    assert again == [1 + 1 + DRAWN + -(-keys // 8) - 3]


def test_answer_separates_luck_lot_and_machine(still, capsys):
    plan, _, path = still
    assert main(["sweep", str(plan.path), "--output", str(path)]) in (0, 1)
    out = capsys.readouterr().out
    for words in (
        "by machine",
        "by all",
        "What to measure next: the machine's uncertain keys",
        "none known better",
        "Median printer in the machines drawn",
        f"Machine: {DRAWN} machines drawn from the ranges of all uncertain keys",
    ):
        assert words in out, words
    assert path.with_name("out_what_to_measure.png").exists()


def test_line_of_friction_is_numpys():
    """numpy.polynomial.polynomial.polyfit of degree 1, row by row."""
    still = np.random.default_rng(1).random((2, 12))
    rubbed = still * 1.3 + 0.2 + 0.01 * np.random.default_rng(2).random((2, 12))
    a, b = added_by_friction(still, rubbed)
    for k in range(2):
        expected = np.polynomial.polynomial.polyfit(still[k], rubbed[k] - still[k], 1)
        np.testing.assert_allclose([a[k, 0], b[k, 0]], expected)
    alike = added_by_friction(np.ones((2, 3)), np.full((2, 3), 1.5))
    np.testing.assert_allclose(alike, [[[0.5], [0.5]], [[0.0], [0.0]]])


def test_machines_are_read_from_the_plan_and_one_is_the_likely_alone(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    plan = plan_in(tmp_path, drawn=1)
    result = run_sweep(plan, tmp_path / "out.h5", pool.here)
    assert result.doubt is None and not result.cells[0].machines.size
    assert np.isfinite(result.cells[0].whole_interval).all()
    text = (tmp_path / "plan.toml").read_text()
    (tmp_path / "plan.toml").write_text(text.replace("machines = 1\n", "machines = 0\n"), encoding="utf-8")
    assert main(["sweep", "plan.toml"]) == 2
    assert "machine_doubt.machines = 0" in capsys.readouterr().err
    assert load_scenario(tmp_path / "machine.toml").ranges
