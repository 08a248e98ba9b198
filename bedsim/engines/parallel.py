"""Parallel in time: a long print of one machine, its layers in segments that are integrated side by side.

Layers follow from each other only through the bristle deflections that are carried over, so this is
multiple shooting with those forces f as unknowns.  Every segment starts from a guess of f (`_warmed`).  A
bristle's law is linear in f along a given path, and modes answer linearly: the propagation of an error in f
through a layer (`carry`), and the change it makes in the layer's print (`answer`), are known once the layer
is integrated (`sensitivity`).  With all segments integrated the jump between the end of each and the guess
after it is the error of that guess; errors are propagated from segment to segment and what they caused is
subtracted, one Newton step with an approximate Jacobian.  Its remainder is of second order.

The check: the first layer of every segment is integrated again from its corrected start, and stands.  Where
it differs from the corrected one by more than `FIRST`, or the error at its end would shift a later layer by
more than `SEAM`, all segments are integrated again from the corrected starts, at most `PASSES` times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.background import BackgroundTask, Channel
from bedsim.components.row import resting_path
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, Job
from bedsim.engines.solved import Solved, report
from bedsim.engines.state import State
from bedsim.model.stations import Stations

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Solve = Callable[[Job, Layers, State], Solved]

MOST = 48
HEAD = 3  # layers done one by one first: what segments guess from
SHORTEST = 6  # layers in a segment
EARLIER = 0.53  # of a print: its later part has a guess of its own to make first
WARM = 3  # layers before it that shake a guess, roughly until the last of them
TOGETHER = 2048  # layers kept at once
SEAM = 4e-9  # m: what probes may differ by where segments begin
FIRST = 1e-8  # m: and by how much what was corrected in the first layer of a segment: 4 to 5 times the second
PASSES = 4
FORGOTTEN = 60.0  # breakaways: after such a path nothing is left of a bristle's past
TURNS, TURN_STEPS = 1.0, 36  # of the screws, before a segment begins, and slow steps in them
PARTS = 64  # in which the exponential of `sensitivity` is taken


def worth(job: Job, layers: int) -> bool:
    """Whether segments pay: one machine, many layers, friction."""
    return job.members == 1 and layers >= 2 * SHORTEST and bool(job.machine.frictions)


def stretches(stations: Stations, first: int) -> list[tuple[int, int]]:
    """First and last layers of stretches from `first` on that can go side by side, at most `TOGETHER` long;
    layers between of which too few can are one stretch, and are integrated one by one."""
    kind = stations.stretch[first - 1 :]
    starts = np.append(np.flatnonzero(np.diff(kind, prepend=-1)), kind.size)
    found: list[list[int]] = []
    for start, stop in pairwise(starts):
        short = stop - start < 2 * SHORTEST
        if short and found and found[-1][2]:
            found[-1][1] = stop
        else:
            found.append([start, stop, short])
    return [
        (first + int(at), first + int(min(at + TOGETHER, stop)) - 1)
        for start, stop, _ in found
        for at in range(start, stop, TOGETHER)
    ]


def sensitivity(solved: Solved) -> tuple[Array, Array]:
    """Derivatives of a layer's outcome by the bristle forces it starts from: of the forces at its end,
    `carry` (k, d, d), and of the mean modal coordinates in print, `answer` (k, n, d).

    With g = phi - zeta and the bed at rest zeta = -L g, so phi = (1 - L) g.  Along the path X of a contact g'
    = -X' phi, hence g1 = exp(-X (1 - L)) g0; the exponential as a power of its first diagonal approximant.
    """
    layer, rows = solved.modes, solved.modes.rows
    b = rows.bristles
    compliance = -(rows.push[:, :b] / layer.frequency[:, None] ** 2)  # (k, b, n)
    one, stuck = np.eye(b), layer.bristle_compliance
    path = np.minimum(rows.every(solved.path).T, FORGOTTEN)  # (k, b)
    half = path[:, :, None] * stuck / (2 * PARTS)
    left = np.linalg.matrix_power(np.linalg.solve(one + half, one - half), PARTS) @ np.linalg.inv(stuck)
    limit = rows.limit
    carry = np.empty_like(left)
    carry[:, rows.order[:, None], rows.order] = limit[:, :, None] * (stuck @ left) / limit[:, None]
    answer = np.empty((limit.shape[0], layer.frequency.shape[1], b))
    answer[:, :, rows.order] = np.swapaxes(compliance, 1, 2) @ left / limit[:, None]
    return carry, answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One layer of each of the k segments that are not at their end yet, with its `sensitivity`."""

    solved: Solved
    carry: Array
    answer: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreed:
    """Segments that agree: their layers, what corrects each (k, n) of eta, and the state at the end of
    all."""

    steps: list[Step]
    shifts: list[Array]
    end: State

    def chunk(self) -> Chunk:
        """What is reported of all layers."""
        return _joined([_layers(step, by) for step, by in zip(self.steps, self.shifts, strict=True)])


def run(
    job: Job, first: int, last: int, begin: State, solve: Solve, rough: Solve
) -> tuple[State, Chunk] | None:
    """Layers `first` to `last` of one machine from the state `begin`: the state at the end and what is
    reported.  `rough` solves layers for guesses.

    None if segments do not pay or do not agree.
    """
    count = last - first + 1
    stretch = job.program.stations.stretch
    if not worth(job, count) or stretch[first - 1] != stretch[last - 1]:
        return None
    if count > 2 * MOST * SHORTEST:
        return _in_two(job, first, last, begin, solve, rough)
    agreed = _agreed(job, first, last, begin, lambda: begin, solve, rough)
    return None if agreed is None else (agreed.end, agreed.chunk())


def _in_two(
    job: Job, first: int, last: int, begin: State, solve: Solve, rough: Solve
) -> tuple[State, Chunk] | None:
    """Likewise in two processes: the later part from a guess until the first is at its end.  None if
    segments do not agree."""
    middle, ways = first + int(EARLIER * (last - first + 1)), (solve, rough)
    quiet = replace(job, progress=lambda done: None)

    def later(channel: Channel) -> tuple[State, Chunk] | None:
        guess = _warmed(quiet, np.array([first, middle]), begin, *ways).part(slice(1, None))
        found = _agreed(quiet, middle, last, guess, channel.hear, *ways)
        return None if found is None else (found.end, found.chunk())

    task = BackgroundTask(later)
    shown = replace(job, progress=lambda done: job.progress(min(2 * done, last)))
    found = _agreed(shown, first, middle - 1, begin, lambda: begin, *ways)
    if found is None:
        return None
    task.tell(found.end)
    chunk, other = found.chunk(), task.result()
    return None if other is None else (other[0], _joined([chunk, other[1]]))


def _agreed(
    job: Job, first: int, last: int, guess: State, begin: Callable[[], State], solve: Solve, rough: Solve
) -> Agreed | None:
    """Layers in segments from a guess of the state before them; `begin`, asked when they are integrated,
    gives the state itself.  None if segments do not agree."""
    count = last - first + 1
    # segments that are a layer longer come first, so that those still on are always the first k
    lengths = np.array([part.size for part in np.array_split(np.arange(count), min(MOST, count // SHORTEST))])
    starts = first + np.cumsum(lengths) - lengths
    now = _warmed(job, starts, guess, solve, rough)
    known: State | None = None
    for _ in range(PASSES):
        steps, end = _integrated(job, starts, lengths, now, solve)
        if not all(step.solved.still for step in steps):
            return None
        known = begin() if known is None else known
        errors, end = _errors(steps, lengths, known, now, end)
        shifts = [_times(step.answer, error) for step, error in zip(steps, errors, strict=True)]
        now = state.join([known, end.part(slice(0, -1))])
        again = solve(job, starts, now)
        if _agree(steps[0], errors[0], shifts[0], again):
            first_steps = replace(steps[0], solved=again)
            shifts[0] = np.zeros_like(shifts[0])
            return Agreed(steps=[first_steps, *steps[1:]], shifts=shifts, end=end.part(slice(-1, None)))
    return None


def _times(matrices: Array, vectors: Array) -> Array:
    """Products (k, i) of matrices (k, i, j) with vectors (k, j)."""
    return np.asarray((matrices @ vectors[:, :, None])[..., 0])


def _warmed(job: Job, starts: Layers, begin: State, solve: Solve, rough: Solve) -> State:
    """A guess of the states before some layers: bristles as at the beginning, turned slowly with the
    screws up to `WARM` layers before, which are then integrated."""
    layers = starts - WARM
    layers[0] = starts[0]
    now = turned(job, layers, begin)
    for j in range(WARM):
        way = rough if j < WARM - 1 else solve
        now = way(job, np.append(starts[0], layers[1:] + j), now).after
    return state.join([begin, now.part(slice(1, None))])


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


def _integrated(
    job: Job, starts: Layers, lengths: Layers, now: State, solve: Solve
) -> tuple[list[Step], State]:
    """Integrate all layers of all segments: their steps, and the states at the ends of the segments."""
    steps: list[Step] = []
    for j in range(int(lengths[0])):
        on = int(np.count_nonzero(lengths > j))
        solved = solve(job, starts[:on] + j, now.part(slice(0, on)))
        carry, answer = sensitivity(solved)
        steps.append(Step(solved=solved, carry=carry, answer=answer))
        now = state.join([solved.after, now.part(slice(on, None))])
        job.progress(int(np.minimum(lengths, j + 1).sum()))
    return steps, now


def _errors(
    steps: list[Step], lengths: Layers, begin: State, now: State, end: State
) -> tuple[list[Array], State]:
    """Errors (k, d) N of the forces at the start of each step, to be added, and the corrected ends; segments
    went from `now` to `end`, the first should have begun at `begin`."""
    errors = [np.zeros((step.carry.shape[0], now.f.shape[1])) for step in steps]
    q, f = end.q.copy(), end.f.copy()
    error = begin.f[0] - now.f[0]
    for segment, length in enumerate(lengths):
        for j, step in enumerate(steps[:length]):
            errors[j][segment] = error
            moved = step.solved.modes.modes[segment] @ (step.answer[segment] @ error)
            error = step.carry[segment] @ error
        q[segment] += moved
        f[segment] += error
        if segment + 1 < lengths.size:
            error = f[segment] - now.f[segment + 1]
    return errors, State(q=q, v=end.v, f=f)


def _agree(step: Step, errors: Array, shift: Array, again: Solved) -> bool:
    """Whether the first layer of every segment, `again` from its corrected start, confirms the correction:
    in print to `FIRST`, and in what its end does to the next layer to `SEAM`."""
    moved = _times(again.probes, again.mean - step.solved.mean - shift)
    left = _times(step.carry, errors) + step.solved.after.f - again.after.f
    carried = _times(np.abs(again.probes @ step.answer), np.abs(left))
    return bool(np.abs(moved).max() < FIRST and carried.max() < SEAM)


def _layers(step: Step, shift: Array) -> Chunk:
    """What is reported of a layer of each segment, as layers of one member."""
    chunk = report(step.solved, shift)
    return replace(chunk, **{key: np.swapaxes(getattr(chunk, key), 0, 1) for key in base.BY_MEMBER})


def _joined(chunks: Sequence[Chunk]) -> Chunk:
    """What is reported of all layers, in order."""
    layers = np.concatenate([chunk.layers for chunk in chunks])
    order = np.argsort(layers)
    fields: dict[str, Any] = {
        key: np.concatenate([getattr(chunk, key) for chunk in chunks], axis=1)[:, order]
        for key in base.BY_MEMBER
    }
    histories = sorted((h for chunk in chunks for h in chunk.histories), key=lambda h: h.layer)
    return Chunk(layers=layers[order], histories=tuple(histories), statistics=base.total(chunks), **fields)
