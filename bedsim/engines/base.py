"""The contract of all engines: a job goes in, layers come out in chunks, in order.

An engine is a frozen value with a name; `run(job)` yields `Chunk`s. Members are machines that differ in the
strengths of their imperfections alone; a single machine is a batch of one and keeps its axis.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from bedsim.model.assembly import Machine, System
from bedsim.model.program import Program
from bedsim.quantities import REPORTED, LayerQuantities

Array = NDArray[np.float64]

STILL = 1e-9  # m: a probe that moves less than this within a slow period counts as at rest
SETTLED = 1e-7  # m: settle time is counted until all probes stay within this
LINEAR_LOAD_ANGLE = np.pi / 6  # electrical rad: beyond it the motor's sine departs from its slope by 5 %
LOST_STEP = np.pi  # electrical rad: past half a cycle of T sin(N_r lag) a motor pulls on to the next


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What an engine is asked for: `amounts` (m, s) strengths of the sources per member; probes (p, 2) m."""

    machine: Machine
    program: Program
    probes: Array
    amounts: Array
    trace_layers: tuple[int, ...] = ()
    progress: Callable[[int], None] = lambda done: None

    @property
    def members(self) -> int:
        """Number of machines in the batch."""
        return self.amounts.shape[0]

    @property
    def used(self) -> NDArray[np.int64]:
        """Sources (s,) that any member has."""
        return np.flatnonzero(np.any(self.amounts != 0.0, axis=0))

    @property
    def sums(self) -> bool:
        """Whether members are cheaper as sums of answers: they outnumber the imperfections."""
        return self.members > self.used.size + 1

    def units(self, sources: NDArray[np.int64]) -> Array:
        """Strengths (s+1, all) with one of `sources` (s,) at unit strength in each row, and none in the last:
        what all members share."""
        strengths = np.zeros((sources.size + 1, self.amounts.shape[1]))
        strengths[np.arange(sources.size), sources] = 1.0
        return strengths

    def mix(self, sources: NDArray[np.int64]) -> Array:
        """Members (m, s+1) as sums of the answers to `units`."""
        return np.concatenate([self.amounts[:, sources], np.ones((self.members, 1))], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Motion over one layer of one member: `time` (t,) s from the start of the layer change, `q` (t, n)."""

    layer: int
    member: int
    time: Array
    q: Array
    imposed: Array  # (t, r)
    commanded: Array  # (t,) m


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk(LayerQuantities):
    """Outcome of some layers (k,) for all members (m,): axes (m, k, ...), SI."""

    layers: NDArray[np.int64]
    pose: Array  # (m, k, b) mean over the print window
    histories: tuple[History, ...] = ()
    notes: tuple[str, ...] = ()  # how the solver went
    remarks: tuple[str, ...] = ()  # what whoever reads the answer has to know
    statistics: dict[str, float] = field(default_factory=dict)


BY_MEMBER = ("pose", *(q.name for q in REPORTED))
"""Fields of a chunk that have the axes of members and layers."""


def join_members(chunks: list[Chunk]) -> Chunk:
    """Chunks of the same layers for members one after the other; only the first keeps its histories."""
    if len(chunks) == 1:
        return chunks[0]
    fields: dict[str, Any] = {key: np.concatenate([getattr(c, key) for c in chunks]) for key in BY_MEMBER}
    return replace(chunks[0], **fields)


def total(chunks: Iterable[Chunk]) -> dict[str, float]:
    """The statistics of chunks, summed."""
    found: dict[str, float] = {}
    for chunk in chunks:
        for key, value in chunk.statistics.items():
            found[key] = found.get(key, 0.0) + value
    return found


class Engine(Protocol):
    """One way to solve the model."""

    @property
    def name(self) -> str:
        """What the engine is called by."""
        ...

    def run(self, job: Job) -> Iterator[Chunk]:
        """Yield the layers in order. Raises EngineRefusalError by name for content it does not carry."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Observer:
    """Linear maps from motions to what is reported, for the layers of one system."""

    bed: Array  # (b, n)
    height: Array  # (p, n)
    lateral: Array  # (l, p, 2, n) at the top of the part
    joint: Array  # (c, 3, n) displacement and turn
    joint_ends: tuple[tuple[Array, ...], ...]  # (2, 3) each: from these to the ways that stops limit
    joint_imposed: Array  # (c, 2) row numbers, -1 where there is none
    guide_rows: Array  # (c, 2) row numbers
    guide_stiffness: Array  # (c, 2)
    axial_rows: Array  # (c,)
    axial_stiffness: Array  # (l, c)
    mount_rows: Array  # (c,) vertical row, -1 where bolted
    mount_stiffness: Array  # (c,)
    mount_preload: Array  # (c,)
    motor_rows: Array  # (c,) motor of each corner
    motor_electrical: Array  # (c,)
    rows: Array  # (r, n)
    watched: NDArray[np.int64]  # (w,) rows that reports need
    place: NDArray[np.int64]  # (r,) where a row stands among them


def probe_maps(machine: Machine, probes: Array) -> tuple[Array, Array, Array]:
    """Maps on the bed's motions (b): height (p, b), lateral at the bed surface (p, 2, b), lateral per metre
    above it."""
    size = machine.coordinates.bed_size
    count = probes.shape[0]
    height, flat, abbe = np.zeros((count, size)), np.zeros((count, 2, size)), np.zeros((count, 2, size))
    height[:, 2] = 1.0
    height[:, 3], height[:, 4] = probes[:, 1], -probes[:, 0]
    flat[:, 0, 0] = flat[:, 1, 1] = 1.0
    flat[:, 0, 5], flat[:, 1, 5] = -probes[:, 1], probes[:, 0]
    abbe[:, 0, 4], abbe[:, 1, 3] = 1.0, -1.0
    if size > 6:
        height[:, 6:] = machine.plate_at(probes)
    return height, flat, abbe


def make_observer(machine: Machine, system: System, probes: Array) -> Observer:
    """Maps for the layers of `system`."""
    T = machine.transform
    bed = T[: machine.coordinates.bed_size]
    height, flat, abbe = probe_maps(machine, probes)
    top = machine.stations.top(system.layers)
    lateral = flat[None] + top[:, None, None, None] * abbe[None]
    corners = range(len(machine.corner_names))
    links, rows_at = machine.at_corner, machine.rows_at
    joints = [links.get(("joint", c)) for c in corners]
    mounts = [links.get(("mount", c)) for c in corners]
    bolted = np.zeros((3, T.shape[0]))
    joint = np.array([bolted if link is None else link.jacobian for link in joints]) @ T
    guide_k = [np.diag(np.asarray(links["guide", c].stiffness))[:2] for c in corners]
    motors = [c if ("motor", c) in links else 0 for c in corners]
    found = Observer(
        bed=bed,
        height=height @ bed,
        lateral=lateral @ bed,
        joint=joint,
        joint_ends=machine.joint_ends,
        joint_imposed=np.array(
            [[-1 if joints[c] is None else rows_at("joint", c).start + k for k in range(2)] for c in corners]
        ),
        guide_rows=np.array([[rows_at("guide", c).start + k for k in range(2)] for c in corners]),
        guide_stiffness=np.array(guide_k),
        axial_rows=np.array(machine.axial_rows),
        axial_stiffness=system.axial_stiffness,
        mount_rows=np.array([-1 if mounts[c] is None else rows_at("mount", c).start + 2 for c in corners]),
        mount_stiffness=np.array(
            [np.nan if m is None else float(np.asarray(m.stiffness)[2, 2]) for m in mounts]
        ),
        mount_preload=machine.mount_preload,
        motor_rows=np.array([rows_at("motor", c).start for c in motors]),
        motor_electrical=np.array(
            [machine.motor_electrical[min(k, machine.motor_electrical.size - 1)] for k in corners]
        ),
        rows=machine.rows,
        watched=np.zeros(0, dtype=int),
        place=np.zeros(0, dtype=int),
    )
    parts = (found.joint_imposed, found.guide_rows, found.axial_rows, found.mount_rows, found.motor_rows)
    watched = np.unique(np.concatenate([part.ravel() for part in parts]))
    watched = watched[watched >= 0]
    place = np.zeros(machine.rows.shape[0], dtype=int)
    place[watched] = np.arange(watched.size)
    return replace(found, watched=watched, place=place)


def view(observer: Observer, layer: NDArray[np.int64]) -> Array:
    """All that is watched, in one map (l, v, n): watched rows, joints, heights, both lateral directions."""
    n = observer.height.shape[1]
    fixed = np.concatenate([observer.rows[observer.watched], observer.joint.reshape(-1, n), observer.height])
    shared = np.broadcast_to(fixed, (layer.size, *fixed.shape))
    return np.concatenate([shared, observer.lateral[layer].reshape(layer.size, -1, n)], axis=1)


def probes_of(observer: Observer, view: Array) -> Array:
    """The part (l, p, ...) of a view (l, v, ...) that shows heights, then both lateral directions."""
    return view[:, -3 * observer.height.shape[0] :]


def parts(observer: Observer, seen: NDArray[Any]) -> tuple[Array, Array, Array, Array]:
    """Watched rows (..., w), joints (..., c, 3), heights (..., p) and lateral motions (..., p, 2) from a view
    (..., v)."""
    w, c, p = observer.watched.size, observer.joint.shape[0], observer.height.shape[0]
    rows, joint, height, lateral = np.split(seen, np.cumsum([w, 3 * c, p]), axis=-1)
    return rows, joint.reshape(*joint.shape[:-1], c, 3), height, lateral.reshape(*lateral.shape[:-1], p, 2)


def squared_way(moved: Iterable[Array], ends: Sequence[Array]) -> Array:
    """Square of the way m2 of the joint's element that is furthest from its middle, from the joint's
    displacement and turn (3, ...) and its `joint_ends`."""
    x, y, turn = moved
    ways = ((x + end[0, 2] * turn) ** 2 + (y + end[1, 2] * turn) ** 2 for end in ends)
    return reduce(np.maximum, ways)


def extremes(observer: Observer, layer: int, q: Array, imposed: Array) -> dict[str, Array]:
    """Largest (smallest for mount and axial force) values over time of motions (..., t, n) with imposed
    (..., t, r)."""
    return watched_extremes(observer, layer, q, imposed[..., observer.watched])


def watched_extremes(
    observer: Observer, layer: int | NDArray[np.intp], q: Array, imposed: Array
) -> dict[str, Array]:
    """Likewise from imposed (..., t, w) of the watched rows; many layers (l,) at once: q (..., l, t, n)."""
    rows = q @ observer.rows[observer.watched].T
    joint = (q @ observer.joint.reshape(-1, q.shape[-1]).T).reshape(*q.shape[:-1], -1, 3)
    return seen_extremes(observer, layer, rows, joint, imposed)


def seen_extremes(
    observer: Observer, layer: int | NDArray[np.intp], rows: Array, joint: Array, imposed: Array
) -> dict[str, Array]:
    """Likewise from watched rows (..., t, w) and joints (..., t, c, 3)."""
    place, stiffness = observer.place, observer.axial_stiffness[layer]

    def extension(row: int) -> Array:
        return np.asarray(rows[..., place[row]] - imposed[..., place[row]])

    found: dict[str, list[Array]] = {}
    # corner by corner: views of single rows cost nothing, picked copies of many would
    for c, (bore, guides) in enumerate(zip(observer.joint_imposed, observer.guide_rows, strict=True)):
        x, y, turn = joint[..., c, 0], joint[..., c, 1], joint[..., c, 2]
        if bore[0] >= 0:
            x, y = x - imposed[..., place[bore[0]]], y - imposed[..., place[bore[1]]]
        at = CornerMotion(
            joint=(x, y, turn),
            guide=(extension(guides[0]), extension(guides[1])),
            motor=extension(observer.motor_rows[c]),
            mount=extension(observer.mount_rows[c]),
            axial=extension(observer.axial_rows[c]),
        )
        for key, value in corner_quantities(observer, c, at, stiffness[..., c], _over_time).items():
            found.setdefault(key, []).append(value)
    return {key: np.stack(value, axis=-1) for key, value in found.items()}


def _over_time(values: Array) -> Array:
    return np.asarray(values.max(axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerMotion:
    """What happens at one corner, as arrays of one shape: the joint's displacement m and turn rad, extensions
    m of both guide rows, of the vertical one of the mount and of the axial row, the motor's lag rad."""

    joint: tuple[Array, Array, Array]
    guide: tuple[Array, Array]
    motor: Array
    mount: Array
    axial: Array


def corner_quantities(
    observer: Observer,
    c: int,
    at: CornerMotion,
    axial_stiffness: Array,
    largest: Callable[[Array], Array] = np.asarray,
) -> dict[str, Array]:
    """What is reported of corner `c`; `largest` takes the largest over its instants, by default each is told.

    `axial_stiffness` (l,) N/m as it meets what `largest` leaves.
    """
    x, y = (extension * k for extension, k in zip(at.guide, observer.guide_stiffness[c], strict=True))
    return {
        "joint_excursion": np.sqrt(largest(squared_way(at.joint, observer.joint_ends[c]))),
        "side_force": np.sqrt(largest(x**2 + y**2)),
        "load_angle": largest(np.abs(at.motor)) * observer.motor_electrical[c],
        "mount_force": observer.mount_preload[c] - largest(at.mount) * observer.mount_stiffness[c],
        "axial_force": -largest(at.axial) * axial_stiffness,
    }


def residual(
    observer: Observer, layer: int, time: Array, q: Array, end: Array, printing: float, motion_end: float
) -> dict[str, Array]:
    """Vibration left when printing starts and time to settle, from motions (..., t, n) against their rest
    `end` (..., n)."""
    away = q - end[..., None, :]
    lateral = np.einsum("pkn,...tn->...tpk", observer.lateral[layer], away)
    return seen_residual(time, away @ observer.height.T, lateral, printing, motion_end)


def seen_residual(
    time: Array, height: Array, lateral: Array, printing: float, motion_end: float
) -> dict[str, Array]:
    """Likewise from how far probes are from their rest: heights (..., t, p) and lateral motions (..., t,
    p, 2)."""
    height = np.abs(height)
    flat = np.sqrt(lateral[..., 0] ** 2 + lateral[..., 1] ** 2)
    after = time >= printing - 1e-12
    moving = np.maximum(height.max(axis=-1), flat.max(axis=-1)) > SETTLED
    moving &= time >= motion_end - 1e-12
    last = np.where(moving, time, motion_end).max(axis=-1)
    zero = np.zeros(height.shape[:-2] + height.shape[-1:])
    return {
        "residual_height": height[..., after, :].max(axis=-2) if after.any() else zero,
        "residual_lateral": flat[..., after, :].max(axis=-2) if after.any() else zero,
        "settle_time": last - motion_end,
    }


def print_mean(time: Array, q: Array, end: Array, printing: float, finish: float) -> Array:
    """Mean of motions (..., t, n) over the print window, by the trapezoidal rule.

    Motions are interpolated linearly between instants; after the last one they rest at `end` (..., n).
    """
    if time.size < 2 or time[-1] <= printing:
        return end
    first = int(np.searchsorted(time, printing, side="right"))
    away = q[..., first - 1 :, :] - end[..., None, :]
    before, after = time[first - 1], time[first]
    away[..., 0, :] += (away[..., 1, :] - away[..., 0, :]) * ((printing - before) / (after - before))
    step = np.diff(time[first - 1 :])
    step[0] = after - printing
    area = np.einsum("t,...tn->...n", step / 2, away[..., 1:, :] + away[..., :-1, :])
    return end + area / (finish - printing)
