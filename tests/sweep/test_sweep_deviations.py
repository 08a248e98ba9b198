"""A sweep with friction by default: the engine that says how far off it is."""

import numpy as np
import pytest
from plans import MACHINE, write_plan

from bedsim.errors import InputError
from bedsim.results.sweep_store import read_sweep
from bedsim.scenario.sweep_plan import PlanFile
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

UM = 1e-6
SMALL = MACHINE.replace("layers = 40", "layers = 3")
GRADES = '[[axis]]\nkey = "grade"\nvalues = ["C3", "C7"]\n'


def swept(folder, engine, members=12):
    plan = load_plan(write_plan(folder, GRADES, members=members, more=f'engine = "{engine}"', machine=SMALL))
    return run_sweep(plan, folder / f"{engine}.h5", pool.here), folder / f"{engine}.h5"


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sweeps")
    return swept(folder, "deviations"), swept(folder, "propagator")


def test_friction_is_the_default():
    assert PlanFile.model_fields["engine"].default == "deviations"


def test_printers_are_those_of_the_propagator(both):
    (found, _), (full, _) = both
    assert found.metrics == full.metrics
    for name in ("lateral_pv", "height_pv"):
        k = found.metrics.index(name)
        for one, other in zip(found.cells, full.cells, strict=True):
            assert np.abs(one.figures[:, k] - other.figures[:, k]).max() < 0.01 * UM


def test_both_grades_differ_by_far_more(both):
    (found, _), _ = both
    better, worse = (np.median(c.figures[:, 0]) for c in found.cells)
    assert worse - better > 0.2 * UM


def test_measured_error_stands_in_notes_and_file(both):
    (found, path), _ = both
    height, lateral = found.cells[0].engine_error
    assert 0 <= height < 0.01 * UM and 0 < lateral < 0.01 * UM
    note = next(x for x in found.notes if x.startswith("Error of the engine"))
    assert f"{lateral / UM:.3f} µm sideways" in note
    again = read_sweep(path)
    assert again.cells[1].engine_error == pytest.approx(found.cells[1].engine_error)
    assert again.notes == found.notes


def test_other_engines_measure_none(both):
    _, (full, _) = both
    assert np.isnan(full.cells[0].engine_error).all()
    assert not any(x.startswith("Error of the engine") for x in full.notes)


def test_play_is_refused_with_the_engine_that_takes_it(tmp_path):
    plain = SMALL.replace('kind = "rolled_ball"', 'kind = "plain"')
    with pytest.raises(InputError, match='engine = "deviations": leaves play out'):
        load_plan(write_plan(tmp_path, GRADES, more='engine = "deviations"', machine=plain))
