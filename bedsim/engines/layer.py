"""A layer of some members: from the states before it to its outcome."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.driven import FREELY, drive, forcing_spacing, parts_of
from bedsim.engines.layer_integrator import begin, joined, leave
from bedsim.engines.layer_problem import LayerProblem
from bedsim.engines.linear_layer import linear_layer
from bedsim.engines.ring_down import ring_down
from bedsim.engines.solved import Solved
from bedsim.engines.state import State
from bedsim.engines.step_control import spaces

Array = NDArray[np.float64]


def solve(problem: LayerProblem, members: slice, before: State) -> Solved:
    """A layer of some members from the states before it. Raises SolverError if contacts find no solution."""
    mix = None if problem.plan.mix is None else np.ascontiguousarray(problem.plan.mix[:, members])
    found = None
    if problem.layer.rows.bristles == 0:
        parts = parts_of(problem, FREELY, 1)
        integrator = begin(problem, mix, before, parts[0])
        found = linear_layer(integrator, parts) if integrator.untouched() else None
    if found is None:
        control = problem.control
        # quick modes that ring long ask for more steps
        spacing = control.drive * problem.damping_factor ** (1 / 2)
        stride = 2 * spaces(spacing, 2 * forcing_spacing(problem))  # nodes of known forcing in a step
        parts = parts_of(problem, spacing, stride)
        integrator = begin(problem, mix, before, parts[0])
        drive(integrator, parts, stride)
        found = ring_down(integrator)
    bound, mean = found
    n, m = integrator.now.motion.shape[1:]
    return Solved(
        plan=problem.plan,
        modes=problem.layer,
        observer=problem.observer,
        index=problem.index,
        view=problem.view,
        mix=mix,
        after=leave(problem.layer, integrator.now),
        time=np.array(integrator.times),
        seen=np.concatenate(integrator.seen),
        imposed=np.concatenate(integrator.imposed, axis=1),
        places=np.array(integrator.places) if integrator.places else np.zeros((0, n, m)),
        mean=mean,
        bound=bound,
        path=np.zeros((problem.layer.rows.contacts, m)) + integrator.path,
        trail=joined(integrator.trails) if integrator.trails else None,
        statistics={
            k: float(v) * problem.index.size
            for k, v in (("steps", integrator.taken), ("tries", integrator.tries))
        },
    )
