"""What the bristles of a print hold before each of its layers, guessed: the first layers are stepped
coarsely, all others march as slow deviations from the last of these.

Layers of one motion differ by where the screws' imperfections and the height let the contacts stand; how a
move shakes the bed is nearly the same in all.  So a contact travels in any layer what it does in the one that
was stepped, the nominal, and a slow deviation besides (`deviation_steps.py`), which follows from where the
layer's known forces let the contacts stand at a few instants.  With rolling joints such a guess is off by a
few hundredths of the friction limits, which is less than two passes through all layers side by side leave of
one that begins with bristles turned slowly.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bedsim.engines import deviation_steps
from bedsim.engines.base import Job
from bedsim.engines.contact_space import contact_space, limited
from bedsim.engines.deviation_steps import Deviation, DrivenPath
from bedsim.engines.layer_problem import LayerProblem, Problems
from bedsim.engines.modes import LayerModes, Real
from bedsim.engines.solved import Solved
from bedsim.engines.state import LAYERS_AT_ONCE, State

Array = NDArray[np.float64]
Layers = NDArray[np.int64]

INTERVALS, ROUNDS = 2, 2  # of `deviation_steps`: more make the guess no better
HEAD = 2  # layers that are stepped; after the first alone the run-in is not forgotten


def marched(job: Job, layers: Layers, begin: State, rough: Callable[..., Solved], kept: Problems) -> Array:
    """Forces (l, d) before each of some layers in order, all of one motion, from the state `begin`; `rough`
    solves layers."""
    forces = [begin.f[0]]
    now = begin
    for layer in layers[:HEAD]:
        solved = rough(job, np.array([layer]), now, trailed=True)
        now = solved.after
        forces.append(now.f[0])
    assert solved.trail is not None
    order, breaks = solved.modes.rows.order, solved.plan.motion.time
    phi, ended = (forces[k][order] / solved.modes.rows.limit[0] for k in (-2, -1))
    start = limited(solved.modes.rows, phi[:, None])
    (path,) = deviation_steps.driven_paths(
        contact_space(solved.modes), solved.trail, start, breaks, INTERVALS
    )
    for first in range(0, layers.size, LAYERS_AT_ONCE):
        problem = kept.of(layers[first : first + LAYERS_AT_ONCE])
        modes, stands = problem.layer, _stands(problem, path, breaks)
        if first == 0:
            usual = stands[HEAD - 1]
        for k in range(HEAD if first == 0 else 0, stands.shape[0]):
            before = limited(modes.rows, (forces[-1][order] / modes.rows.limit[k])[:, None])
            after = _end(modes, k, path, before - start, (stands[k] - usual)[:, :, None])
            force = np.empty_like(forces[-1])
            force[order] = (ended + after) * modes.rows.limit[k]
            forces.append(force)
    return np.array(forces[: layers.size])


def _stands(problem: LayerProblem, path: DrivenPath, breaks: Array) -> Array:
    """Where known forces let the bristle rows of some layers stand (l, k+1, b) at the nodes of a path."""
    modes = problem.layer
    piece = np.clip(np.searchsorted(breaks, path.time), 1, breaks.size - 1) - 1
    imposed = problem.plan.imposed(path.time, piece).reshape(problem.index.size, path.time.size, -1)
    force = imposed @ modes.imposed + modes.weight[:, None]
    return (force / modes.frequency[:, None] ** 2) @ modes.rows.place[..., : modes.rows.bristles]


def _end(modes: LayerModes, k: int, path: DrivenPath, psi: Array, stands: Array) -> Array:
    """Deviation (b,) of the deflections at the end of the k-th layer, from that at its begin, `psi` (b, 1),
    and where the rows stand beside the nominal's (k+1, b, 1)."""
    space = contact_space(modes, k)
    # psi = g + d, d = stands - L g
    g = np.linalg.solve(np.eye(psi.shape[0]) - space.compliance, psi - stands[0])
    deviation = Deviation(psi=psi, place=psi - g, g=g)
    return deviation_steps.march(space, path, deviation, stands.astype(Real), ROUNDS)[1].psi[:, 0]
