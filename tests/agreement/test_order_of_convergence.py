"""The propagator's error falls with the square of the step or faster, and single precision adds next to
nothing."""

from dataclasses import replace

import numpy as np
from engine_machines import apart, poses, shipped

from bedsim.engines import course, modes, state, steps, track
from bedsim.engines.propagator import Pace, PropagatorEngine
from bedsim.simulation import make_job


def test_second_order_in_the_step():
    """Steps fixed, from 1 ms to 0.25 ms: a straight line in logarithms of slope 2 or more."""
    job = make_job(shipped("bent-rolled-rolling-joints", 2))
    begin = state.start(job)

    def at(step):
        pace = replace(Pace(), drive=step, touch=step, rest=(step,), tolerance=1e-6)
        return poses(PropagatorEngine(pace=pace), job, begin)

    truth = at(1.25e-4)
    coarse, middle, fine = (apart(job, at(step), truth) for step in (1e-3, 5e-4, 2.5e-4))
    print(f"1 ms {coarse:.5f} um, 0.5 ms {middle:.5f} um, 0.25 ms {fine:.5f} um")
    assert coarse / fine > 4**2 * 0.8
    assert middle / fine > 2**2 * 0.7


def test_single_precision_moves_the_outcome_by_less_than_a_tenth_of_a_nanometre(monkeypatch):
    """The same steps in double precision."""
    job = make_job(shipped("bent-rolled-rolling-joints", 2))
    begin = state.start(job)
    single = poses(PropagatorEngine(), job, begin)
    for module in (modes, steps, course, track):
        monkeypatch.setattr(module, "Real", np.float64)
    steps.desk.cache_clear()
    double = poses(PropagatorEngine(), job, begin)
    steps.desk.cache_clear()
    assert 0 < apart(job, single, double) < 1e-4
