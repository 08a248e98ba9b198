"""What `bedsim run` finds of ranges is in its result: of every layer, and of the figures in its words."""

from pathlib import Path

import numpy as np

from bedsim.cli.main import main
from bedsim.ranges.kept import ranges_of
from bedsim.results.store import read_run

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def test_a_run_keeps_ranges_and_answer_together(tmp_path, capsys):
    file = tmp_path / "r.h5"
    words = ["--set", "print.layers=6", "--engine", "equilibrium", "--no-pictures", "--output", str(file)]
    main(["run", str(SCENARIOS / "ground-stiff.toml"), *words])
    run = read_run(file)
    assert run.open is not None and run.answer is not None
    assert np.nanmax(run.open.spread) > 0 and run.open.method in " ".join(capsys.readouterr().out.split())
    ranges = ranges_of(run)
    assert ranges is not None and ranges.influences
    assert ranges.low["lateral_pv"] <= run.answer.figure_value[0] <= ranges.high["lateral_pv"]
