"""A long print of one machine from some of its layers: the others are fitted in height and turn.

Layers of one motion differ by the height and by the angle of the screws and rotors alone, and what a layer
makes of the bristles it begins with is a smooth function of both (`fit_basis.py`).  So a few layers are
stepped in full, side by side, each from a guess of the bristles at its start; with f their forces,

    f_end(n, f) = h(n) + r(n) + A(n) (f - g(n)),        pose(n) = rest(n, f_end) + p(n)

where g is a smooth course of the guesses, and r, A, p of any layer come from those in full by least squares.
Not fitted is where the machine rests: it is solved at every layer, with all its imperfections.  Nor is h,
what slow contacts hold of their force (`_held`).  A is what bristles forget along their path
(`sensitivity.py`) and, found from layers that were stepped twice, how strongly the forces at the
start shake the bed (`_beside`).  From the known state before the first layer forces are then followed from
layer to layer, which shows what the guesses were wrong by; layers in full are stepped again from the forces
so found.

The error is measured: layers between those in full are stepped in full besides.  What they differ by in
print, and what the differences at their ends become, each layer given one of them in turn and followed from
layer to layer as the forces are, is told, and must be below `WITHIN`, that of extremes below
`EXTREMES_WITHIN`; else the print is not fitted.

Extremes are fitted as what they exceed those at rest by, before and after the move; times until vibration has
settled, which jump, are those of the layer in full that a layer takes most from.

Not carried: nuts whose flanks change sides, screws of unlike leads, layers of unlike motion, hops (their
extremes stand at the turn, not at rest: fitted, a joint's excursion was wrong by 1 %).  Nor is a print fitted
in which a stop is reached: nothing is smooth there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.background import each
from bedsim.engines import base, fit_basis, guesses
from bedsim.engines.base import Chunk, Job
from bedsim.engines.fit_basis import Basis
from bedsim.engines.rest_of_layers import rest_of_layers
from bedsim.engines.sensitivity import HOLDS, beside, sensitivity, times
from bedsim.engines.solved import EXTREME, Solved, report
from bedsim.engines.state import State
from bedsim.quantities import REPORTED
from bedsim.units import UM

Array = NDArray[np.float64]
Layers = NDArray[np.int64]
Indices = NDArray[np.intp]
Solve = Callable[[Job, Layers, State], Solved]

FIRST = ((0, 3), (1, 2), (2, 1), (3, 1), (4, 0))
"""Harmonics of the screws' turn and the degrees in height that go with them, to correct guesses by."""
FULL = ((0, 6), (1, 5), (2, 4), (3, 3), (4, 3), (5, 2), (6, 2), (7, 1), (8, 1), (9, 1), (10, 1))
"""And for what is told: with them all layers of the shipped machines are within 0.004 um of those in full."""
ROTOR = ((-1, 1), (0, 1), (1, 1))
"""Beside every order of a motor's place error: harmonics about it, with degrees."""
EARLY = 12  # layers that are not fitted: the run-in is not forgotten yet
MORE = 1.3  # times as many layers in full as there are functions
WORTH = 2.5  # times as many layers as are stepped in full: fewer are not fitted
CHECKED = 20
FEWEST = 300  # layers that are fitted
WITHIN = 1e-8  # m
EXTREMES_WITHIN = 0.02  # of the largest: they are held against limits with margins of their own
ROUNDS, PARTS = 3, 4  # in which its path is found, and steps along it
TOGETHER = 48  # layers stepped side by side
SAME = 1e-9  # turns that differ by a smaller share differ by rounding
HELD = ("joint_excursion", "side_force", "load_angle", "mount_force")
"""Extremes whose error is measured: those that are held against limits."""
NEVER_BELOW_ZERO = ("joint_excursion", "side_force", "load_angle", "residual_height", "residual_lateral")

__all__ = ["run"]


def run(
    job: Job, first: int, last: int, begin: State, solve: Solve, rough: Solve
) -> tuple[State, Chunk] | None:
    """Layers `first` to `last` of one machine from the state `begin`: the state at the end and what is
    reported; None where they are no functions of height and turn, too few, or fitted too badly."""
    layers = np.arange(first, last + 1)
    if layers.size < FEWEST or not worth(job, layers):
        return None
    bases = [basis_of(job, layers, degrees) for degrees in (FIRST, (*FULL, *rotor_harmonics(job)))]
    if layers.size < WORTH * (bases[1].nodes.size + EARLY + CHECKED):
        return None
    return FittedPrint(job, layers, begin, solve, rough).fitted(*bases)


def basis_of(job: Job, layers: Layers, degrees: Sequence[tuple[int, int]]) -> Basis:
    """Functions of height and turn at the layers that are fitted, and those to learn them from."""
    turn = _turn(job)
    assert turn is not None
    place, angle = np.linspace(-1.0, 1.0, layers.size), turn * job.program.height(layers)
    return fit_basis.basis(fit_basis.functions(place, angle, degrees)[EARLY:], MORE)


def _turn(job: Job) -> float | None:
    """Turn of the screws per metre, rad; None where they do not turn alike."""
    machine = job.machine
    turns = np.abs(machine.command[list(machine.motor_index)]).sum(axis=1)
    return float(turns[0]) if np.ptp(turns) < SAME * turns[0] else None


def worth(job: Job, layers: Layers) -> bool:
    """Whether layers are functions of height and turn: one machine with friction whose nuts fit and whose
    screws turn alike, layers of one motion without a hop, each on the one below."""
    machine, stations = job.machine, job.program.stations
    alike = stations.alike(layers) and stations.stretch[layers[0] - 1] == stations.stretch[layers[-1] - 1]
    still = bool(machine.frictions) and not machine.flanks and not stations.hop[layers - 1].any()
    return job.members == 1 and still and alike and _turn(job) is not None


def rotor_harmonics(job: Job) -> list[tuple[int, int]]:
    """Harmonics of the screws' turn in which the rotors' place errors come, with degrees in height."""
    machine = job.machine
    orders = {machine.sources[k].order or 0 for k in machine.active_sources} - {0}
    cycles = {round(order * float(e)) for order in orders for e in machine.motor_electrical}
    return [(cycle + by, degree) for cycle in sorted(cycles) for by, degree in ROTOR]


@dataclass(frozen=True, slots=True, kw_only=True)
class InFull:
    """Layers (k,) stepped in full, `which` of a stretch: forces (k, d) of the bristles at their begin and
    end, `carry` (k, d, d) the derivatives of the last along a given path, and what is reported, as of k
    members."""

    which: Indices
    begin: Array
    end: Array
    carry: Array
    chunk: Chunk


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedCourse:
    """All layers (l,): forces (l+1, d) of the bristles before each and after the last, poses (l, b),
    derivatives `carry` (l, d, d) of the forces from layer to layer, and what layers take from those in full
    (l, k)."""

    forces: Array
    pose: Array
    carry: Array
    weights: Array


class FittedPrint:
    """One stretch of a machine on its way."""

    def __init__(self, job: Job, layers: Layers, begin: State, solve: Solve, rough: Solve) -> None:
        self.job, self.layers, self.begin = job, layers, begin
        self.solve, self.rough = solve, rough
        self.rest = rest_of_layers(job, np.append(layers[0] - 1, layers))
        self.bed, self.limit = self.rest.blocks[0].observer.bed, self.rest.limit[1:]

    def fitted(self, coarse: Basis, fine: Basis) -> tuple[State, Chunk] | None:
        """The stretch, from a coarse fit that corrects guesses and a fine one; None if that is not good
        enough."""
        nodes = with_early(coarse)
        guesses = self.guessed(nodes)
        tried = self._in_full(nodes, guesses)
        self._done(0.2)
        begun = self.followed(coarse, tried, coarse.weights() @ guesses[EARLY:])
        again = self._in_full(nodes, begun.forces[nodes])
        self._done(0.4)
        beside = self.beside(tried, again)
        begun = self.followed(coarse, again, coarse.smooth(begun.forces[EARLY:-1]), beside)
        nodes = with_early(fine)
        known = self._in_full(nodes, begun.forces[nodes])
        found = self.followed(fine, known, fine.smooth(begun.forces[EARLY:-1]), beside)
        self._done(0.8)
        between = self.between(nodes, CHECKED)
        checked = self._in_full(between, found.forces[between])
        error = self.error(found, between, *self.differences(found, checked))
        fields = self.fields(found, known)
        extremes = _extremes_off(fields, checked)
        chunk = self._reported(fields, known, checked)
        self._done(1.0)
        if max(error) > WITHIN or extremes > EXTREMES_WITHIN or chunk.stop_hit.any():
            return None
        end = self.rest.states(np.array([self.layers.size]), found.forces[-1:])
        remark = self._told(error, extremes, known.which.size, checked.which.size)
        return end, replace(chunk, remarks=(remark,))

    def _told(self, error: tuple[float, float], extremes: float, known: int, checked: int) -> str:
        height, lateral = (f"{x / UM:.4f} \u00b5m" for x in error)
        return (
            f"Layers {self.layers[0]} to {self.layers[-1]}: {known} were stepped in full, the others fitted "
            f"to them in height and turn of the screws. In {checked} more in full that is off by "
            f"up to {height} in height and {lateral} sideways, in forces, load angles and joints by up to "
            f"{100 * extremes:.1f} % of the largest."
        )

    def _done(self, share: float) -> None:
        self.job.progress(int(self.layers[0] - 1 + share * self.layers.size))

    def guessed(self, which: Indices) -> Array:
        """Forces (k, d) before some layers: turned slowly with the screws up to a layer earlier, which is
        then stepped coarsely."""
        before = np.maximum(self.layers[which] - 1, self.layers[0])
        found = self.rough(self.job, before, guesses.turned(self.job, before, self.begin)).after.f
        found[which == 0] = self.begin.f
        return found

    def between(self, nodes: Indices, count: int) -> Indices:
        """Layers to check: the first, those furthest from nodes in equal parts of the others, traced ones."""
        size = self.layers.size
        away = np.abs(np.arange(size)[:, None] - nodes).min(axis=1)
        parts = np.array_split(np.arange(size), count)
        traced = [layer - self.layers[0] for layer in self.job.trace_layers if layer in self.layers]
        return np.unique([*(part[np.argmax(away[part])] for part in parts), *traced]).astype(np.intp)

    def _in_full(self, which: Indices, begin: Array) -> InFull:
        """Layers stepped from forces (k, d) at their begin, some side by side."""
        parts = np.array_split(np.arange(which.size), -(-which.size // TOGETHER))
        return _joined(each([partial(self._side_by_side, which[part], begin[part]) for part in parts]))

    def _side_by_side(self, which: Indices, begin: Array) -> InFull:
        solved = self.solve(self.job, self.layers[which], self.rest.states(which, begin))
        carry, _ = sensitivity(solved)
        return InFull(
            which=which,
            begin=begin,
            end=solved.after.f,
            carry=carry,
            chunk=report(solved),
        )

    def beside(self, one: InFull, other: InFull) -> Array:
        """What forces do beside `carry` (d, d), from the same layers stepped from two guesses."""
        by = other.begin - one.begin
        more = other.end - one.end - times(other.carry, by)
        return beside(self.limit[0], by, more, other.carry)

    def followed(
        self, basis: Basis, known: InFull, smooth: Array, beside: Array | float = 0.0
    ) -> FittedCourse:
        """All layers from those in full and a smooth course (l, d) of forces at the begin of those fitted."""
        weights = np.eye(self.layers.size, known.which.size)
        weights[EARLY:, EARLY:] = basis.weights()
        smooth = np.concatenate([known.begin[:EARLY], smooth])

        def fit(values: Array) -> Array:
            flat = weights @ values.reshape(values.shape[0], -1)
            return flat.reshape(-1, *values.shape[1:])

        hold, usual = self._held(known, smooth)
        carry, at = known.carry + beside, known.which
        ends = usual + fit(known.end - times(carry, known.begin - smooth[at]) - usual[at])
        carry = hold + fit(carry - hold[at])
        forces = [self.begin.f[0]]
        for end, by, usual in zip(ends, carry, smooth, strict=True):
            forces.append(end + by @ (forces[-1] - usual))
        f = np.array(forces)
        own = known.chunk.pose[:, 0] - self.rest.states(1 + known.which, known.end).q @ self.bed.T
        pose = self.rest.motions(np.append(self.begin.f, f[1:], axis=0))[1:] @ self.bed.T + fit(own)
        return FittedCourse(forces=f, pose=pose, carry=carry, weights=weights)

    def _held(self, known: InFull, begin: Array) -> tuple[Array, Array]:
        """What contacts that hold most of their force over a layer have of it at its end by the bristle's
        law, moved straight on by what imperfections and weight move them by: its derivative (l, d, d) by that
        at the begin, and itself (l, d).  It has a kink where they turn back, which no smooth function has.

        In breakaways and limits, phi = f/limit: phi' = zeta' - phi |zeta'| with zeta = free - (S^-1 - 1) phi,
        so phi' = S (free' - |zeta'| phi), by the midpoint rule in parts.
        """
        slow = np.flatnonzero(np.diagonal(known.carry.mean(axis=0)) > HOLDS)
        machine, limit = self.job.machine, self.limit[:, slow]
        rows = machine.contact_rows[slow] / machine.breakaway[slow, None]
        one, groups = np.eye(slow.size), machine.contact_groups[np.ix_(slow, slow)]
        gives = rows @ (self.rest.give[1:, :, slow] * limit[:, None])
        stuck, free = np.linalg.inv(one + gives), np.diff(self.rest.free, axis=0) @ rows.T
        before, moved = begin[:, slow] / limit, times(stuck, free)
        way = moved
        for _ in range(ROUNDS):
            half = stuck * np.sqrt(way**2 @ groups)[:, None] / (2 * PARTS)
            part = np.linalg.solve(one + half, one - half)
            by = np.linalg.solve(one + half, moved[:, :, None] / PARTS)[:, :, 0]
            after, left = before, one
            for _ in range(PARTS):
                after, left = times(part, after) + by, part @ left
            way = free - times(gives, after - before)
        hold, usual = np.zeros((*begin.shape, begin.shape[1])), np.zeros_like(begin)
        hold[:, slow[:, None], slow] = limit[:, :, None] * left / limit[:, None]
        usual[:, slow] = limit * after
        return hold, usual

    def differences(self, found: FittedCourse, checked: InFull) -> tuple[Array, Array]:
        """What layers in full differ by: poses (k, b) and forces (k, d) at their ends."""
        which = checked.which
        return checked.chunk.pose[:, 0] - found.pose[which], checked.end - found.forces[which + 1]

    def error(self, found: FittedCourse, which: Indices, apart: Array, left: Array) -> tuple[float, float]:
        """Largest errors m in height and sideways at the probes: what checked layers differ by, `apart` (k,
        b), and what the differences (k, d) at their ends lead to where every layer has one of them, in
        turn."""
        seen = self._seen(which, apart)
        led = [np.zeros(left.shape[1])]
        for k, carry in enumerate(found.carry):
            led.append(carry @ led[-1] + left[k % which.size])
        every = np.arange(self.layers.size)
        moved = -times(self.bed @ self.rest.give[1:], np.array(led[1:]))
        leads = self._seen(every, moved)
        return seen[0] + leads[0], seen[1] + leads[1]

    def _seen(self, which: Indices, apart: Array) -> tuple[float, float]:
        """Largest height and lateral motion m at the probes of poses (k, b), at the top of the part."""
        height, flat, abbe = base.probe_maps(self.job.machine, self.job.probes)
        top = self.job.machine.stations.top(self.layers[which])
        sideways = np.einsum("pxb,kb->kpx", flat, apart)
        sideways += np.einsum("pxb,kb->kpx", abbe, apart) * top[:, None, None]
        return float(np.abs(apart @ height.T).max()), float(np.linalg.norm(sideways, axis=2).max())

    def fields(self, found: FittedCourse, known: InFull) -> dict[str, Any]:
        """What is reported of all layers (l, ...) by name, fitted."""
        rest = self.rest.extremes(self.rest.motions(np.append(self.begin.f, found.forces[1:], axis=0)))
        fields: dict[str, Any] = {"pose": found.pose}
        of_known = {q.name: getattr(known.chunk, q.name)[:, 0] for q in REPORTED}
        for name, values in of_known.items():
            if name in rest:
                still = EXTREME[name](rest[name][:-1], rest[name][1:])
                fields[name] = still + found.weights @ (values - still[known.which])
            elif values.dtype != bool:
                fields[name] = np.tensordot(found.weights, values, 1)
        for name in NEVER_BELOW_ZERO:
            fields[name] = np.maximum(fields[name], 0.0)
        most = np.abs(found.weights).argmax(axis=1)
        fields["settle_time"] = of_known["settle_time"][most]
        fields["tail_bound"] = np.full(self.layers.size, of_known["tail_bound"].max())
        fields["stop_hit"] = fields["joint_excursion"] >= self.job.machine.joint_travel
        return fields

    def _reported(self, fields: dict[str, Any], known: InFull, checked: InFull) -> Chunk:
        """All layers as layers of one member, those that were checked as they are."""
        for name in base.BY_MEMBER:
            fields[name][checked.which] = getattr(checked.chunk, name)[:, 0]
        return Chunk(
            layers=self.layers,
            histories=tuple(sorted(checked.chunk.histories, key=lambda h: h.layer)),
            statistics=base.total([known.chunk, checked.chunk]),
            **{name: values[None] for name, values in fields.items()},
        )


def _extremes_off(fields: dict[str, Any], checked: InFull) -> float:
    """Largest difference of extremes in layers that were checked, as a share of the quantity's largest."""
    off = [0.0]
    for name in HELD:
        known = getattr(checked.chunk, name)[:, 0]
        off.append(float(np.abs(fields[name][checked.which] - known).max() / max(np.abs(known).max(), 1e-30)))
    return max(off)


def with_early(basis: Basis) -> Indices:
    """Layers to step in full: the first ones and the nodes."""
    return np.append(np.arange(EARLY), EARLY + basis.nodes)


def _joined(parts: list[InFull]) -> InFull:
    keys = ("which", "begin", "end", "carry")
    chunk = base.join_members([part.chunk for part in parts])
    histories = tuple(h for part in parts for h in part.chunk.histories)
    return InFull(
        **{key: np.concatenate([getattr(part, key) for part in parts]) for key in keys},
        chunk=replace(chunk, histories=histories, statistics=base.total(part.chunk for part in parts)),
    )
