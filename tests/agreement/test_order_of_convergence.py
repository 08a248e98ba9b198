"""The propagator's error falls with the square of the spacing or faster."""

from dataclasses import replace

from engine_machines import apart, drawn, poses

from bedsim.engines import state
from bedsim.engines.propagator import Pace, PropagatorEngine
from bedsim.simulation import make_job


def test_second_order_in_the_spacing():
    """Spacing fixed, from 1 ms to 0.125 ms: a straight line in logarithms of slope 2 or more."""
    job = make_job(drawn(1, layers=2))
    begin = state.start(job)

    def at(spacing):
        pace = replace(Pace(), drive=spacing, touch=spacing, rest=(spacing,), tolerance=1e-6)
        return poses(PropagatorEngine(pace=pace), job, begin)

    truth = at(3.125e-5)
    coarse, middle, fine = (apart(job, at(spacing), truth) for spacing in (1e-3, 5e-4, 2.5e-4))
    print(f"1 ms {coarse:.5f} um, 0.5 ms {middle:.5f} um, 0.25 ms {fine:.5f} um")
    assert coarse / fine > 4**2 * 0.8
    assert middle / fine > 2**2 * 0.7
