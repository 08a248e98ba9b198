"""A quantity is added in one place: its row in the table and the line that computes it carry it everywhere.

Both are written into a copy of the program, which a process of its own then runs.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

import bedsim
from bedsim.results import schema

ROW = """    twice_the_force: Annotated[
        Array,
        Quantity(
            axes="layer corner",
            unit="N",
            meaning="twice the lateral force between carriage and guide",
            since=(1, 99),
            figure="twice the side force, largest",
            columns=("twice", "Twice the side force"),
            ranged="factors",
        ),
    ]
"""
LINE = '        "twice_the_force": 2 * np.sqrt(largest(x**2 + y**2)),\n'

LOOK = """
import json, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import numpy as np
from plans import AXES, write_plan
import bedsim
from bedsim.analysis import summary
from bedsim.ranges import alone, swings
from bedsim.analysis.figures import metric_values
from bedsim.results import schema, store
from bedsim.results.sweep_store import read_sweep
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

folder = Path(sys.argv[1])
(folder / "README.md").write_text(schema.readme(), encoding="utf-8")
found = {"of": bedsim.__file__, "version": schema.FORMAT_VERSION}
plan = write_plan(folder, AXES, members=16)
loaded = bedsim.load_scenario(folder / "machine.toml", ["print.layers=4"])
for engine in ("propagator", "equilibrium"):
    run = bedsim.simulate(loaded, engine)
    store.write_run(run, folder / f"{engine}.h5")
    back = bedsim.open_result(folder / f"{engine}.h5").layers
    found[engine] = float(np.abs(back.twice_the_force - 2 * back.side_force).max() / back.side_force.max())
    leads = alone.leads_of(loaded)
    found[f"{engine} figure"] = metric_values(back, leads)["twice_the_force"] / back.side_force.max()
page = summary.summary_lines(summary.summarise(run, loaded))
found["page"] = [line for line in page if "twice" in line]
found["ranged"] = "twice_the_force" in alone.linear_values(loaded)
run_sweep(load_plan(plan), folder / "sweep.h5", pool.here)
swept = read_sweep(folder / "sweep.h5")
columns = [swept.metrics.index(name) for name in ("twice_the_force", "side_force")]
found["sweep"] = float(np.ptp(np.divide(*swept.cells[0].figures[:, columns].T)))
print(json.dumps(found))
"""


@pytest.fixture(scope="module")
def carried(tmp_path_factory):
    """Where the changed copy wrote its files, and what it found."""
    folder = tmp_path_factory.mktemp("toy")
    copy = folder / "bedsim"
    shutil.copytree(Path(bedsim.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    _write_before(copy / "quantities.py", ROW, before="    stop_hit: Annotated[\n")
    _write_before(copy / "engines" / "base.py", LINE, before='        "load_angle": largest(')
    helpers = Path(__file__).parents[1] / "sweep"
    done = subprocess.run(
        [sys.executable, "-c", LOOK, str(folder), str(helpers)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout.splitlines()[-1])
    assert Path(found["of"]).parent == copy
    return folder, found


def _write_before(file, text, before):
    source = file.read_text("utf-8")
    assert source.count(before) == 1
    file.write_text(source.replace(before, text + before), encoding="utf-8")


@pytest.mark.parametrize("engine", ["propagator", "equilibrium"])
def test_it_is_in_the_file_and_comes_back(carried, engine):
    folder, found = carried
    with h5py.File(folder / f"{engine}.h5") as file:
        dataset, force = file["layers/twice_the_force"], file["layers/side_force"]
        assert dataset.attrs["units"] == "N"
        assert dataset.attrs["long_name"] == "twice the lateral force between carriage and guide"
        assert [d.label for d in dataset.dims] == ["layer", "corner"]
        assert dataset[()] == pytest.approx(2 * force[()], rel=1e-12)
    assert found[engine] < 1e-12


def test_it_has_a_figure_a_column_a_range_and_a_tally(carried):
    _, found = carried
    assert [found[f"{engine} figure"] for engine in ("propagator", "equilibrium")] == pytest.approx([2, 2])
    assert any(line.startswith("  twice the side force, largest") for line in found["page"])
    assert any(line.split()[:2] == ["corner", "lead"] for line in found["page"])
    assert found["ranged"]
    assert found["sweep"] < 1e-12


def test_it_is_documented_and_the_file_says_that_it_is_younger(carried):
    folder, found = carried
    row = "| `twice_the_force` | layer, corner | N | float64 | twice the lateral force between carriage and"
    assert row in (folder / "README.md").read_text("utf-8")
    assert found["version"] == [1, 99]
    assert schema.FORMAT_VERSION < (1, 99)


def test_files_from_before_it_are_read_with_the_quantity_unknown(carried):
    """The copy reads what the program as it is writes: without the dataset, of the older version."""
    folder, _ = carried
    shutil.copy(folder / "equilibrium.h5", folder / "older.h5")
    with h5py.File(folder / "older.h5", "r+") as file:
        del file["layers/twice_the_force"]
        file.attrs["format_version"] = np.array(schema.FORMAT_VERSION)
    read = "import bedsim, numpy as np; x = bedsim.open_result('older.h5').layers.twice_the_force"
    done = subprocess.run(
        [sys.executable, "-c", f"{read}; print(x.shape, np.isnan(x).all())"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "(4, 3) True", done.stderr
    assert bedsim.open_result(folder / "older.h5").layers.side_force.shape == (4, 3)
