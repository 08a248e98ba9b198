"""A bolted mount has no force of its own; beside one the others still tell theirs, and their place."""

import math
from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis.figures import metric_values, places_of_worst
from bedsim.analysis.summary import summarise, summary_lines
from bedsim.ranges.alone import leads_of
from bedsim.results import schema
from bedsim.scenario.load import load_scenario
from bedsim.simulation import simulate

MACHINE = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml"


@pytest.fixture(scope="module")
def ran():
    """The front left mount bolted, the others grooves; weight on those two by statics."""
    loaded = load_scenario(MACHINE, ["print.layers=3", 'corner.front left.mount.kind="bolted"'])
    return loaded, simulate(loaded, engine="equilibrium")


def test_the_least_force_is_that_of_the_mounts_that_have_one(ran):
    loaded, run = ran
    force = run.layers.mount_force
    assert np.isnan(force[:, 0]).all() and not np.isnan(force[:, 1:]).any()
    assert metric_values(run.layers, leads_of(loaded))["mount_force"] == force[:, 1:].min()
    assert places_of_worst(run.layers)["mount_force"] in ("front right", "back")
    text = "\n".join(summary_lines(summarise(run, loaded)))
    assert text.split("Per corner")[1].count("bolted") == 1


def test_where_all_are_bolted_the_figure_says_so():
    loaded = load_scenario(MACHINE, ["print.layers=2", 'mount.kind="bolted"'])
    run = simulate(loaded, engine="equilibrium")
    assert math.isnan(metric_values(run.layers, leads_of(loaded))["mount_force"])
    line = next(x for x in summary_lines(summarise(run, loaded)) if "mount force, smallest" in x)
    assert line.split() == ["mount", "force,", "smallest", "bolted"]


def test_the_result_file_says_what_is_not_a_number():
    said = {d.name: d.long_name for d in schema.of_group("layers")}
    assert "not a number where it is bolted" in said["mount_force"]
    assert "not a number where it is bolted" in schema.README.read_text(encoding="utf-8")
