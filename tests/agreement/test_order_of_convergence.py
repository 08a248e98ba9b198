"""The propagator's error falls with the square of the step or faster, with its third power where nothing
reverses; a ring-down done in one go leaves what it says; and single precision adds next to nothing. The
reference's error falls with its tolerance, the equilibrium's friction with the slow step."""

from dataclasses import replace

import numpy as np
import pytest
from engine_machines import apart, drawn, observed, poses, shipped
from quiet import QUIET

from bedsim.engines import (
    course,
    known_forcing,
    layer_integrator,
    linear_layer,
    modes,
    ring_down,
    state,
    step_error,
    step_tables,
    steps,
    workspace,
)
from bedsim.engines.propagator import PropagatorEngine, StepControl
from bedsim.engines.reference import ReferenceEngine
from bedsim.simulation import make_job

STEPS = replace(StepControl(), decay=0.0)  # all the way


def test_second_order_in_the_step(record_property):
    """Steps fixed, from 2 ms to 0.5 ms: a straight line in logarithms of slope 2 or more.  Motors without
    place errors: those ring on, and contacts then reverse at other instants from step to step, which moves
    the smaller steps by 2 nm in no order."""
    quiet = shipped("bent-rolled-rolling-joints", 2).with_values({f"motor.{key}": 0.0 for key in QUIET})
    job = make_job(quiet)
    begin = state.start(job)

    def at(step):
        control = replace(STEPS, drive=step, touch=step, rest=(step,), tolerance=1e-6, still=1e-10)
        return poses(PropagatorEngine(control=control), job, begin)

    truth = at(1.25e-4)
    coarse, middle, fine = (apart(job, at(step), truth) for step in (2e-3, 1e-3, 5e-4))
    record_property("convergence", observed("propagator", "step (ms)", (2, 1, 0.5), (coarse, middle, fine)))
    assert coarse / fine > 4**2 * 0.8
    assert middle / fine > 2**2 * 0.7


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "four-screws"])
def test_third_order_while_driven(name, record_property):
    """The bed moves one way and contacts slide: half the step, an eighth of the error or less."""
    job = make_job(shipped(name, 2))
    begin = state.start(job)

    def at(step):
        control = replace(STEPS, drive=step, rest=(2.5e-4,), tolerance=1e-6)
        return poses(PropagatorEngine(control=control), job, begin)

    truth = at(2e-4)
    coarse, middle, fine = (apart(job, at(step), truth) for step in (3e-3, 1.6e-3, 8e-4))
    record_property("convergence", observed("propagator", "step (ms)", (3, 1.6, 0.8), (coarse, middle, fine)))
    assert coarse / fine > 2**3


def test_long_steps_do_not_feed_modes_that_ring_long():
    """Steps of 2 ms on a machine with little damping: with speeds of contacts as predicted, not as
    corrected, it goes astray by 2 um."""
    job = make_job(drawn(25, ratio=0.012))
    begin = state.start(job)
    truth = poses(PropagatorEngine(control=replace(STEPS, rest=(2.5e-4,))), job, begin)
    found = poses(PropagatorEngine(control=replace(STEPS, rest=(2e-3,))), job, begin)
    assert apart(job, found, truth) < 0.05


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "four-screws"])
@pytest.mark.parametrize("doubt", [1e-9, 4e-9])
def test_a_ring_down_in_one_go(name, doubt):
    """Against steps all the way: where a layer is left to itself, heights and lateral errors come out within
    what was allowed, or twice that over the layers that hand on their bristles."""
    job = make_job(shipped(name, 3))
    begin = state.start(job)
    fine = replace(STEPS, rest=(2.5e-4, 5e-4, 1e-3), error=1e-9, still=2e-10)
    truth = poses(PropagatorEngine(control=fine), job, begin)
    found = poses(PropagatorEngine(control=replace(fine, decay=doubt)), job, begin)
    off = apart(job, found, truth)
    print(f"{doubt * 1e6} um allowed: {off:.5f} um")
    assert 0 < off < 2e6 * doubt


def test_single_precision_moves_the_outcome_by_less_than_a_tenth_of_a_nanometre(monkeypatch):
    """The same steps in double precision."""
    job = make_job(shipped("bent-rolled-rolling-joints", 2))
    begin = state.start(job)
    single = poses(PropagatorEngine(), job, begin)
    stepping = (modes, step_tables, known_forcing, workspace, steps, step_error)
    for module in (*stepping, course, layer_integrator, linear_layer, ring_down):
        monkeypatch.setattr(module, "Real", np.float64)
    workspace.workspace.cache_clear()
    double = poses(PropagatorEngine(), job, begin)
    workspace.workspace.cache_clear()
    assert 0 < apart(job, single, double) < 1e-4


def test_the_reference_follows_its_tolerance(record_property):
    """A tenth of the tolerance, a tenth of the error (a factor of 5 to 50); nearest what decides engines."""
    job = make_job(drawn(0, layers=2))
    begin = state.start(job)

    def at(rtol):
        return poses(ReferenceEngine(rtol=rtol, atol=rtol * 1e-4), job, begin)

    truth, tried = at(1e-8), (1e-3, 1e-4, 1e-5)
    off = [apart(job, at(rtol), truth) for rtol in tried]
    record_property("convergence", observed("reference", "relative tolerance", tried, off))
    assert off[0] / off[2] > 5**2
    assert off[2] < 1e-3


def slow_poses(job, begin, steps):
    """Poses (m, n, b) of all layers as the equilibrium engine has them, so many slow steps on every way."""
    system, now, found = job.machine.system(np.arange(1, job.program.layers + 1)), begin, []
    for k, layer in enumerate(system.layers):
        now = now.within_limit(job.machine, system.friction_limit[k])
        before = np.full(job.program.corners, float(job.program.height(layer - 1)))
        ways = job.program.turning_points(job.program.layer_change(int(layer)))
        path = state.slow_path(job, ways, time=job.program.start_time(int(layer)), turn=np.inf, least=steps)
        now = state.follow(job, system, k, path, before, now)
        found.append(now.q[..., :6])
    return np.stack(found, axis=1)


def test_slow_steps_of_the_equilibrium_are_of_first_order(record_property):
    """Where a layer slips little, contacts turn their force on the way: half the step, half the error; the
    engine's own step of 5 degrees leaves a tenth of what it is off by without a ring-down."""
    job = make_job(shipped("bent-rolled-rolling-joints", 6))
    begin = state.start(job)
    turn = 360 * 0.25 / 5  # degrees of the screw in a layer
    truth, tried = slow_poses(job, begin, 256), (4, 16, 32, 64)
    off = [apart(job, slow_poses(job, begin, steps), truth) for steps in tried]
    degrees = [turn / steps for steps in tried]
    record_property("convergence", observed("equilibrium", "screw's turn in a slow step (deg)", degrees, off))
    assert off[0] < 0.02
    assert min(off[1] / off[2], off[2] / off[3]) > 1.6
