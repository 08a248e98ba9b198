"""Without friction a batch of machines is a sum of answers to single imperfections, and equals machines one
by one."""

from dataclasses import replace

import numpy as np
from engine_machines import shipped

from bedsim.engines.equilibrium import linear_poses, responses
from bedsim.simulation import make_job


def job_and_system():
    job = make_job(shipped("bent-rolled-rolling-joints", 5))
    return job, job.machine.system(np.arange(1, 6))


def test_sums_of_answers_are_the_machines_to_rounding():
    job, system = job_and_system()
    used = int(np.count_nonzero(job.amounts[0]))
    amounts = job.amounts * np.random.default_rng(2).uniform(0.2, 2.0, (used + 9, job.amounts.shape[1]))
    many, imposed = linear_poses(replace(job, amounts=amounts), system)
    for k in (0, used + 8):
        one, own = linear_poses(replace(job, amounts=amounts[k : k + 1]), system)
        np.testing.assert_allclose(many[k], one[0], rtol=0, atol=1e-15)
        np.testing.assert_allclose(imposed[k], own[0], rtol=0, atol=1e-15)


def test_last_answer_is_that_to_weight():
    job, system = job_and_system()
    answers, _ = responses(job, system, np.array([0]))
    np.testing.assert_allclose(
        np.einsum("lij,lj->li", system.K, answers[-1]), system.weight, rtol=1e-9, atol=1e-9
    )
