"""Parallel in time: a print of one machine, its layers in segments that are integrated side by side.

Layers follow from each other only through the bristle deflections that are carried over, so this is
multiple shooting with those forces f as unknowns.  Every segment starts from a guess of f (`Guess`); in a
short print of layers of one motion it is one layer long, so that all of them go side by side.  A bristle's
law is linear in f along a given path, and modes answer linearly: the propagation of an error in f through a
layer, `carry`, is known once the layer is integrated, and so is where the layer then rests (`sensitivity`).
How strongly the forces at the start shake the bed, which they change besides, is learnt from layers that were
integrated twice (`believed`).  With all segments integrated the jump between the end of each and the guess
after it is the error of that guess; errors are propagated from segment to segment and what they caused is
subtracted, one Newton step with an approximate Jacobian.  Its remainder is of second order.

The check: the first layers of some segments, among them those that are corrected most, are integrated again
from their corrected starts, and stand.  Where one differs from the corrected one by more than `FIRST`, or the
error at its end would shift a later layer by more than `SEAM`, all segments are integrated again from the
corrected starts, at most `PASSES` times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.background import BackgroundTask, Channel
from bedsim.engines import base, state
from bedsim.engines.base import Chunk, Job
from bedsim.engines.guesses import Ends, Guess, led, warmed
from bedsim.engines.layer_problem import Problems
from bedsim.engines.marched import marched
from bedsim.engines.sensitivity import believed, sensitivity, times
from bedsim.engines.solved import Shift, Solved, report
from bedsim.engines.state import State
from bedsim.model.stations import Stations

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Indices = NDArray[np.intp]
Solve = Callable[..., Solved]

MOST = 64
FEWEST = 12  # layers that go side by side
SHORTEST = 6  # layers in a segment whose motions are unlike: what it begins from costs three layers more
LEAD = 3  # first layers of other motion that are split off
ALONE = 576  # layers of more than that are shared with a second process
EARLIER = 0.53  # of a print: its later part has a guess of its own to make first
CHECKED = 8  # segments, half of them those that are corrected most
TOGETHER = 2048  # layers kept at once
SEAM = 4e-9  # m: what probes may differ by where segments begin
FIRST = 1e-8  # m: and by how much what was corrected in the first layer of a segment: 4 to 5 times the second
PASSES = 4


def worth(job: Job, layers: int) -> bool:
    """Whether segments pay: one machine, many layers, friction."""
    return job.members == 1 and layers >= FEWEST and bool(job.machine.frictions)


def stretches(stations: Stations, first: int) -> list[tuple[int, int]]:
    """First and last layers of stretches from `first` on that can go side by side, at most `TOGETHER` long;
    layers between of which too few can are one stretch, and are integrated one by one.  So are first layers
    of other motion than all that follow, as thick ones on the plate are."""
    kind = stations.stretch[first - 1 :]
    cuts = np.append(np.flatnonzero(np.diff(kind, prepend=-1)), kind.size)
    found: list[list[int]] = []
    for start, stop in pairwise(cuts):
        like = stations.kind[first - 1 + start : first - 1 + stop]
        lead = 1 + int(np.flatnonzero(like != like[-1]).max(initial=-1))
        for at, end in ((start, start + lead), (start + lead, stop)) if lead <= LEAD else ((start, stop),):
            short = end - at < FEWEST
            if short and found and found[-1][2]:
                found[-1][1] = end
            elif end > at:
                found.append([at, end, short])
    return [
        (first + int(at), first + int(min(at + TOGETHER, stop)) - 1)
        for start, stop, _ in found
        for at in range(start, stop, TOGETHER)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One layer of each of the k segments that are not at their end yet, from forces `begin` (k, d), with its
    `sensitivity`."""

    solved: Solved
    begin: Array
    carry: Array
    give: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreed:
    """Segments that agree: their layers, what corrects each, those layers that were integrated again, and the
    state at the end of all."""

    steps: list[Step]
    shifts: list[Shift]
    again: Solved
    end: State

    def chunk(self) -> Chunk:
        """What is reported of all layers."""
        parts = [report(step.solved, by) for step, by in zip(self.steps, self.shifts, strict=True)]
        return _joined([_layers(chunk) for chunk in (*parts, report(self.again))])


def run(
    job: Job, first: int, last: int, begin: State, solve: Solve, rough: Solve, kept: Problems
) -> tuple[State, Chunk] | None:
    """Layers `first` to `last` of one machine from the state `begin`: the state at the end and what is
    reported.  `rough` solves layers for guesses; what both ask for is `kept`.

    None if segments do not pay or do not agree.
    """
    layers = np.arange(first, last + 1)
    stations = job.program.stations
    if not worth(job, layers.size) or stations.stretch[first - 1] != stations.stretch[last - 1]:
        return None
    quiet, shortest = replace(job, progress=lambda done: None), 1
    guess: Callable[[Layers], Guess]
    if stations.alike(layers):
        guess = partial(led, quiet, layers, begin, marched(quiet, layers, begin, rough, kept), rough)
    else:
        guess, shortest = partial(warmed, quiet, first, begin, solve, rough), SHORTEST
    if layers.size > ALONE:
        return _in_two(job, layers, begin, guess, shortest, solve)
    agreed = _agreed(job, layers, guess, shortest, lambda: begin, solve)
    return None if agreed is None else (agreed.end, agreed.chunk())


def _in_two(
    job: Job, layers: Layers, begin: State, guess: Callable[[Layers], Guess], shortest: int, solve: Solve
) -> tuple[State, Chunk] | None:
    """Likewise in two processes: the later part from a guess until the first is at its end.  None if
    segments do not agree."""
    middle = int(EARLIER * layers.size)

    def later(channel: Channel) -> tuple[State, Chunk] | None:
        quiet = replace(job, progress=lambda done: None)
        found = _agreed(quiet, layers[middle:], guess, shortest, channel.hear, solve)
        return None if found is None else (found.end, found.chunk())

    task = BackgroundTask(later)
    shown = replace(job, progress=lambda done: job.progress(min(2 * done, int(layers[-1]))))
    found = _agreed(shown, layers[:middle], guess, shortest, lambda: begin, solve)
    if found is None:
        return None
    task.tell(found.end)
    chunk, other = found.chunk(), task.result()
    return None if other is None else (other[0], _joined([chunk, other[1]]))


def _agreed(
    job: Job,
    layers: Layers,
    guess: Callable[[Layers], Guess],
    shortest: int,
    begin: Callable[[], State],
    solve: Solve,
) -> Agreed | None:
    """Layers in segments of at least so many, from a guess of the states before them; `begin`, asked when
    they are integrated, gives that before the first.  None if segments do not agree."""
    # segments that are a layer longer come first, so that those still on are always the first k
    parts = np.array_split(layers, min(MOST, layers.size // shortest))
    starts, lengths = np.array([part[0] for part in parts]), np.array([part.size for part in parts])
    guessed = guess(starts)
    now, before = guessed.now, guessed.before
    known: State | None = None
    for _ in range(PASSES):
        steps, end = _integrated(job, starts, lengths, now, solve)
        if not all(step.solved.still for step in steps):
            return None
        known = begin() if known is None else known
        more, before = _learnt(steps, lengths, before, end)
        errors, end = _errors(steps, lengths, more, known, now, end)
        shifts = [_shift(step, more, error) for step, error in zip(steps, errors, strict=True)]
        now = state.join([known, end.part(slice(0, -1))])
        which = _to_check(steps[0], shifts[0].rest)
        again = solve(job, starts[which], now.part(which))
        if _agree(steps[0], which, more, errors[0], shifts[0].rest, again):
            return Agreed(steps=steps, shifts=shifts, again=again, end=end.part(slice(-1, None)))
    return None


def _shift(step: Step, more: Array, error: Array) -> Shift:
    """What errors (k, d) of the forces at the begin of layers move them by."""
    return Shift(start=times(step.give, error), rest=times(step.give, times(step.carry + more, error)))


def _integrated(
    job: Job, starts: Layers, lengths: Layers, now: State, solve: Solve
) -> tuple[list[Step], State]:
    """Integrate all layers of all segments: their steps, and the states at the ends of the segments."""
    steps: list[Step] = []
    for j in range(int(lengths[0])):
        on = int(np.count_nonzero(lengths > j))
        solved = solve(job, starts[:on] + j, now.part(slice(0, on)))
        carry, give = sensitivity(solved)
        steps.append(Step(solved=solved, begin=now.f[:on], carry=carry, give=give))
        now = state.join([solved.after, now.part(slice(on, None))])
        job.progress(int(np.minimum(lengths, j + 1).sum()))
    return steps, now


def _learnt(steps: list[Step], lengths: Layers, before: Ends, end: State) -> tuple[Array, Ends]:
    """What forces do beside the carry, from the last layers of segments, integrated `before` from other
    forces, and how these went now.  A coarser control shifts all ends alike: means are left out."""
    last = [(steps[length - 1], k) for k, length in enumerate(lengths[:-1])]
    now = Ends(begin=np.array([step.begin[k] for step, k in last]), end=end.f[:-1])
    carry = np.array([step.carry[k] for step, k in last])
    by = now.begin - before.begin
    more = now.end - before.end - times(carry, by)
    rows = steps[0].solved.modes.rows
    limit = np.empty(rows.bristles)
    limit[rows.order] = rows.limit[0]
    return believed(limit, by - by.mean(axis=0), more - more.mean(axis=0), carry), now


def _errors(
    steps: list[Step], lengths: Layers, more: Array, begin: State, now: State, end: State
) -> tuple[list[Array], State]:
    """Errors (k, d) N of the forces at the start of each step, to be added, and the corrected ends; segments
    went from `now` to `end`, the first should have begun at `begin`."""
    errors = [np.zeros((step.carry.shape[0], now.f.shape[1])) for step in steps]
    q, f = end.q.copy(), end.f.copy()
    error = begin.f[0] - now.f[0]
    for segment, length in enumerate(lengths):
        for j, step in enumerate(steps[:length]):
            errors[j][segment] = error
            error = (step.carry[segment] + more) @ error
            moved = step.solved.modes.modes[segment] @ (step.give[segment] @ error)
        q[segment] += moved
        f[segment] += error
        if segment + 1 < lengths.size:
            error = f[segment] - now.f[segment + 1]
    return errors, State(q=q, v=end.v, f=f)


def _to_check(step: Step, shift: Array) -> Indices:
    """Segments whose first layers, shifted by (k, n) of eta, are integrated again: those shifted most, and
    some over all."""
    moved = np.abs(times(step.solved.probes, shift)).max(axis=1)
    spread = np.linspace(0, moved.size - 1, CHECKED // 2).astype(np.intp)
    return np.unique(np.append(np.argsort(moved)[-CHECKED // 2 :], spread))


def _agree(step: Step, which: Indices, more: Array, errors: Array, shift: Array, again: Solved) -> bool:
    """Whether first layers of segments, `again` from their corrected start, confirm the correction: in print
    to `FIRST`, and in what their end does to the next layer to `SEAM`."""
    carry, probes = step.carry[which], step.solved.probes[which]
    # modes of one frequency may be mixed otherwise when a layer is solved again: only motions compare
    corrected = times(probes, step.solved.mean[which] + shift[which])
    moved = times(again.probes, again.mean) - corrected
    left = times(carry + more, errors[which]) + step.solved.after.f[which] - again.after.f
    carried = times(np.abs(probes @ (step.give[which] @ carry)), np.abs(left))
    return bool(np.abs(moved).max() < FIRST and carried.max() < SEAM)


def _layers(chunk: Chunk) -> Chunk:
    """What is reported of layers side by side, as layers of one member."""
    return replace(chunk, **{key: np.swapaxes(getattr(chunk, key), 0, 1) for key in base.BY_MEMBER})


def _joined(chunks: Sequence[Chunk]) -> Chunk:
    """What is reported of all layers, in order; of a layer that comes twice, as it came last."""
    layers = np.concatenate([chunk.layers for chunk in chunks])
    order = layers.size - 1 - np.unique(layers[::-1], return_index=True)[1]
    fields: dict[str, Any] = {
        key: np.concatenate([getattr(chunk, key) for chunk in chunks], axis=1)[:, order]
        for key in base.BY_MEMBER
    }
    histories = {h.layer: h for chunk in chunks for h in chunk.histories}
    return Chunk(
        layers=layers[order],
        histories=tuple(histories[layer] for layer in sorted(histories)),
        statistics=base.total(chunks),
        **fields,
    )
