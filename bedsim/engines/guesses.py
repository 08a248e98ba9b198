"""What segments of a print begin from before they are integrated: guesses of the state before some layers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import resting_path
from bedsim.engines import state
from bedsim.engines.base import Job
from bedsim.engines.rest_of_layers import rest_of_layers
from bedsim.engines.sensitivity import sensitivity
from bedsim.engines.solved import Solved
from bedsim.engines.state import State

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Solve = Callable[..., Solved]

HEAD = 3  # layers of unlike motion done one by one first: what segments guess from
WARM = 3  # layers before it that shake such a guess, roughly until the last of them
TURNS, TURN_STEPS = 1.0, 36  # of the screws, before a segment begins, and slow steps in them


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """Layers: forces (k, d) N of the bristles at the begin and end of each."""

    begin: Array
    end: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What segments begin from, and of the layer before each but the first what it came from."""

    now: State
    before: Ends


def led(job: Job, layers: Layers, begin: State, forces: Array, rough: Solve, starts: Layers) -> Guess:
    """A guess from forces (l, d) before each layer, improved by integrating the layer before each start."""
    which = starts[starts > layers[0]] - layers[0] - 1
    # where segments are one layer long all are stepped: what is known of them serves again
    stepped = np.arange(layers.size) if starts.size == layers.size else which
    before = rest_of_layers(job, layers[stepped] - 1).states(np.arange(stepped.size), forces[stepped])
    solved = rough(job, layers[stepped], before)
    carry, give = sensitivity(solved)
    after = solved.after.part(slice(0, which.size))
    q, known = after.q.copy(), forces.copy()
    for k, at in enumerate(which):
        error = carry[k] @ (known[at] - forces[at])
        known[at + 1] = after.f[k] + error
        q[k] += solved.modes.modes[k] @ (give[k] @ error)
    now = State(q=q, v=after.v, f=known[which + 1])
    return _guess(starts, begin, now, Ends(begin=forces[which], end=after.f))


def warmed(job: Job, first: int, begin: State, solve: Solve, rough: Solve, starts: Layers) -> Guess:
    """A guess for layers of unlike motion: bristles as after the first layers, turned slowly with the screws
    up to `WARM` layers before, which are then integrated."""
    known = begin
    for layer in range(first, first + HEAD):
        known = rough(job, np.array([layer]), known).after
    layers = starts[starts > first] - WARM
    now = turned(job, np.append(first, layers), known).part(slice(1, None))
    for j in range(WARM):
        earlier = now
        now = (rough if j < WARM - 1 else solve)(job, layers + j, now).after
    return _guess(starts, begin, now, Ends(begin=earlier.f, end=now.f))


def _guess(starts: Layers, begin: State, now: State, before: Ends) -> Guess:
    """A guess for segments; what is known `begin`s the first unless that was guessed too."""
    if now.f.shape[0] < starts.size:
        return Guess(now=state.join([begin, now]), before=before)
    return Guess(now=now, before=Ends(begin=before.begin[1:], end=before.end[1:]))


def turned(job: Job, layers: Layers, begin: State) -> State:
    """States (k, ...) before some layers, reached slowly over the last turns of the screws."""
    machine, program = job.machine, job.program
    system, end = machine.system(layers), program.height(layers - 1)
    turn = 2 * np.pi / float(np.abs(machine.command).max())
    # no higher than where the print began
    heights = np.minimum(end[:, None] + TURNS * turn * np.linspace(1, 0, TURN_STEPS + 1), end[0])
    time, at = np.repeat(program.start_time(layers), heights.shape[1]), heights.reshape(-1, 1)
    path = resting_path(time, at * np.ones(program.corners))
    imposed = machine.imposed(path, job.amounts[0]).reshape(*heights.shape, -1)
    force = imposed @ np.swapaxes(system.imposed_force, 1, 2) + system.weight[:, None]
    slip = np.diff(heights).T[..., None] * machine.contact_command.sum(axis=1)
    f = np.repeat(begin.f, layers.size, axis=0)
    balance = (force[:, 0] - f @ machine.contact_rows)[..., None]
    q = np.asarray(np.linalg.solve(system.K, balance)[..., 0], dtype=float)
    now = State(q=q, v=np.zeros_like(q), f=f)
    slow = state.slow_layer(job, system, slice(0, layers.size))
    return state.slow_steps(slow, now, force[:, 1:], imposed[:, 1:], slip)
