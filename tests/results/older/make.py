"""Writes small result files of every kind into a folder, with the bedsim that stands on the path.

By hand, from a clone of an older version: PYTHONPATH=CLONE python tests/results/older/make.py CLONE FOLDER
What they held is kept beside them as plain numbers, read by that version itself.
"""

import gzip
import json
import sys
from pathlib import Path

from bedsim.results.store import read_run, write_run
from bedsim.results.sweep_store import read_sweep
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate
from bedsim.sweep import pool
from bedsim.sweep.plan import load_plan
from bedsim.sweep.run import run_sweep

RUNS = {
    "rigid": ("bent-rolled-rigid", "propagator", ()),
    "rolling": ("bent-rolled-rolling-joints", "propagator", ("output.trace_layers=[2]",)),
    "plain": ("plain-lead-screws", "equilibrium", ()),
    "four": ("four-screws", "equilibrium", ()),
    "ground": ("ground-stiff", "equilibrium", ("print.seconds_per_layer=40",)),
    "gauged": ("gauge-readings", "equilibrium", ()),
    "thick": ("thick-layers", "equilibrium", ("joint.kind=rolling",)),
}
PLAN = """title = "small"
scenario = "{scenario}"
members = 3
seed = 5
{more}
[lot]
{grade}
once_per_turn_rms_um = {{low = 4, likely = 8, high = 16, basis = "assumed"}}
thread_run_out_um = 150
basis = "assumed"
[lot_doubt]
draws = 2
members = 16
"""
GRID = """
[[axis]]
key = "grade"
values = ["C5", "C7"]
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
[target]
lateral_pv_um = 6
[prices]
screw = {C5 = 120, C7 = 45}
"""
ONE_AXIS = '[[axis]]\nkey = "frame.radial_n_per_um"\nvalues = [0.5, 1.0]\n'
LIST = '[[cell]]\ngrade = "C5"\n[[cell]]\ngrade = "C7"\n"joint.kind" = "rolling"\n'
SWEEPS = {
    "grid": ('engine = "equilibrium"', "", GRID),
    "axis": ('engine = "equilibrium"', 'grade = "C7"', ONE_AXIS),
    "list": ('engine = "equilibrium"\nmode = "list"', "", LIST),
}


def main(clone: Path, folder: Path) -> None:
    """Write the files and what was in them."""
    held = {}
    for name, (scenario, engine, more) in RUNS.items():
        words = ("print.layers=3", "output.trace_layers=[]", *more)
        run = simulate(load_scenario(clone / "scenarios" / f"{scenario}.toml", words), engine)
        write_run(run, folder / f"run-{name}.h5")
        layers = read_run(folder / f"run-{name}.h5").layers
        held[f"run-{name}"] = [float(layers.height_error.sum()), float(layers.lateral_error[-1, 0, 0])]
    for name, (more, grade, axes) in SWEEPS.items():
        scenario = folder / "machine.toml"
        text = (clone / "scenarios" / "bent-rolled-rigid.toml").read_text("utf-8")
        scenario.write_text(text.replace("layers = 60", "layers = 3"), "utf-8")
        plan = folder / "plan.toml"
        plan.write_text(PLAN.format(scenario=scenario.name, more=more, grade=grade) + axes, "utf-8")
        target = folder / f"sweep-{name}.h5"
        run_sweep(load_plan(plan), target, pool.here)
        figures = [float(c.figures[:, 0].sum()) for c in read_sweep(target).cells]
        held[f"sweep-{name}"] = figures
        plan.unlink()
        scenario.unlink()
    for file in folder.glob("*.h5"):
        with gzip.GzipFile(folder / f"{file.name}.gz", "wb", mtime=0) as packed:
            packed.write(file.read_bytes())
        file.unlink()
    (folder / "held.json").write_text(json.dumps(held, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
