"""The way of a gauge in place of a print's: how high the print would be does not matter."""

from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis.linear_machine import jogged_down
from bedsim.model.assembly import nut_position
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

SCENARIO = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rolling-joints.toml"


@pytest.mark.parametrize("layers", [1, 2, 60])
def test_a_lead_is_jogged_on_a_print_of_any_height(layers):
    job = make_job(load_scenario(SCENARIO, [f"print.layers={layers}"]))
    jogged = jogged_down(job, 5e-3 / 8, 9)
    every = np.arange(1, 10)
    system = jogged.machine.system(every)
    nuts = nut_position(jogged.machine, every)
    np.testing.assert_allclose(np.diff(nuts[1:], axis=0), -5e-3 / 8)
    np.testing.assert_allclose(system.M, np.broadcast_to(system.M[0], system.M.shape))
    assert jogged.program.layers == 9 and job.program.layers == layers
