"""The sum of all rows: mass, stiffness, damping and forcing of the machine at every layer.

    M q'' + C q' + (K + K_geo) q = J^T k imposed + J_p^T push - J_c^T bristle + g - M q_cmd''

Rigid connections are removed by a coordinate transformation q_full = T q; an offset imposed on a rigid
connection turns into extensions of all other links.  Imperfections enter through `imposed` only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates
from bedsim.components.friction import group_matrix
from bedsim.components.plate import PlateShapes
from bedsim.components.row import Flank, Friction, Link, LinkPart, Path, Push, Source, Stop, stiffness_of_all
from bedsim.components.stop import seated_stiffness
from bedsim.model import stability
from bedsim.model.damping import PART_OF, Spring, energy_shares, modal_ratio
from bedsim.model.growing_part import GrowingPart
from bedsim.model.stations import Stations

Array = NDArray[np.float64]
Layers = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Machine:
    """Everything an engine needs, before layers are picked.  All arrays over the full coordinates (size,)."""

    coordinates: Coordinates
    corner_names: tuple[str, ...]
    corner_position: Array  # (c, 2) m
    links: tuple[Link, ...]
    frictions: tuple[Friction, ...]
    stops: tuple[Stop, ...]
    flanks: tuple[Flank, ...]
    sources: tuple[Source, ...]
    transform: Array  # (size, n)
    kept: tuple[int, ...]  # coordinates that remain
    mass: Array  # (size, size) without the part
    weight: Array  # (size,) N, N m without the part
    part: GrowingPart
    gravity: float
    damping_ratio: float
    command: Array  # (size, c): motion of all coordinates per metre of commanded height of each corner
    first_nut: Array  # (c,) m nut above the lower end of the free length at layer 1
    stations: Stations
    motor_torque: Array  # (motors,) N m at the coordinate
    motor_electrical: Array  # (motors,) electrical rad per rad
    motor_index: tuple[int, ...]
    motor_corner: tuple[int, ...]
    mount_preload: Array  # (c,) N, magnets that keep the mounts seated
    plate: PlateShapes
    pushes: tuple[Push, ...] = ()
    part_damping: Mapping[str, float] = field(default_factory=dict)  # ratios of parts that have their own
    tell_side_force: Callable[[Machine, System], None] = lambda machine, system: None  # that is at hand

    @property
    def torque_to_raise(self) -> Array:
        """Torque (motors,) N m at each motor's coordinate that raises the bed slowly, without friction or
        part: by virtual work, load times rise per turn. On more than three screws the load as shared by a
        rigid plate on equal springs."""
        load = -(self.weight @ self.command)
        if self.coordinates.shared_motor:
            load = load.sum(keepdims=True)
            turn = self.command[self.motor_index[0]].sum(keepdims=True)
        else:
            turn = self.command[list(self.motor_index), list(self.motor_corner)]
        return np.asarray(load / np.abs(turn))

    @cached_property
    def slices(self) -> dict[str, slice]:
        """Where each link's rows, then each push, stand in the stacked vector of what is imposed."""
        found, start = {}, 0
        parts: tuple[Link | Push, ...] = (*self.links, *self.pushes)
        for part in parts:
            found[part.name] = slice(start, start + part.jacobian.shape[0])
            start = found[part.name].stop
        return found

    @cached_property
    def rows(self) -> Array:
        """Jacobian (r, n) of all link rows on the kept coordinates, nothing for pushes: they have no
        extension."""
        return self.full_rows @ self.transform

    @cached_property
    def full_rows(self) -> Array:
        """Jacobian (r, size) of all link rows on the full coordinates, nothing for pushes."""
        return np.vstack([*(link.jacobian for link in self.links), *(0.0 * p.jacobian for p in self.pushes)])

    @cached_property
    def push_rows(self) -> Array:
        """Jacobian (p, n) of all pushes on the kept coordinates."""
        return self._stack([push.jacobian for push in self.pushes]) @ self.transform

    @property
    def pushed(self) -> slice:
        """Where the pushes stand among the rows."""
        return slice(self.rows.shape[0] - len(self.pushes), None)

    @cached_property
    def axial_rows(self) -> list[int]:
        """Number of the axial row of every corner among all link rows."""
        return [self.rows_at("axial", c).start for c in range(len(self.corner_names))]

    @cached_property
    def at_corner(self) -> dict[tuple[LinkPart | None, int], Link]:
        """Every connection by what it is and its corner; one that serves all stands at the first."""
        return {(link.part, link.corner): link for link in self.links}

    def rows_at(self, part: LinkPart, corner: int) -> slice:
        """Where the rows of a corner's connection stand among all."""
        return self.slices[self.at_corner[part, corner].name]

    @cached_property
    def contact_rows(self) -> Array:
        """Jacobian (d, n) of all friction contacts on the kept coordinates."""
        return self._stack([f.jacobian for f in self.frictions]) @ self.transform

    @cached_property
    def contact_groups(self) -> Array:
        """Matrix (d, d) that sums squares over the rows of one planar contact."""
        return group_matrix(self._contact_of_row)

    @property
    def _contact_of_row(self) -> Layers:
        return np.repeat(np.arange(len(self.frictions)), [f.jacobian.shape[0] for f in self.frictions])

    @cached_property
    def breakaway(self) -> Array:
        """Breakaway travel (d,) m (rad) of each contact row."""
        return np.array([f.breakaway for f in self.frictions])[self._contact_of_row]

    @cached_property
    def contact_command(self) -> Array:
        """Commanded slip (d, c): of each contact row per metre of commanded height of each corner."""
        drive = np.zeros((self.breakaway.size, len(self.corner_names)))
        row = 0
        for f in self.frictions:
            drive[row : row + f.command.size, f.corner] = f.command
            row += f.command.size
        return drive

    def _stack(self, blocks: list[Array]) -> Array:
        return np.vstack(blocks) if blocks else np.zeros((0, self.coordinates.size))

    @property
    def fastest_cycle(self) -> float:
        """Cycles of the fastest imperfection per turn of the screw: of a motor's place error, up to four per
        rotor tooth."""
        highest = max((self.sources[k].order or 0 for k in self.active_sources), default=0)
        return highest * float(np.max(self.motor_electrical)) if highest else 2.0

    @cached_property
    def joint_ends(self) -> tuple[tuple[Array, ...], ...]:
        """Maps (2, 3) of each corner's joint, from its displacement and turn to the ways that its stops
        limit; to its displacement alone where it is bolted."""
        found: list[tuple[Array, ...]] = []
        for corner in range(len(self.corner_names)):
            stops = [s.imposed_map for s in self.stops if s.corner == corner]
            found.append(tuple(s for s in stops if s is not None) or (np.eye(2, 3),))
        return tuple(found)

    @cached_property
    def joint_travel(self) -> Array:
        """Free travel (c,) m of each corner's joint; infinite where it is bolted."""
        travel = np.full(len(self.corner_names), np.inf)
        for stop in self.stops:
            if stop.imposed_link is not None:
                travel[stop.corner] = stop.gap
        return travel

    def plate_at(self, points: Array) -> Array:
        """Deflection (p, shapes) of every plate shape at points (p, 2) m."""
        return np.array([[value for value, _, _ in self.plate.at(float(x), float(y))] for x, y in points])

    @property
    def active_sources(self) -> list[int]:
        """Sources that this machine has at all."""
        return [k for k, source in enumerate(self.sources) if source.amount != 0.0]

    @cached_property
    def amounts(self) -> Array:
        """Strength (s,) of every source."""
        return np.array([source.amount for source in self.sources])

    def source_rows(self, source: Source, path: Path) -> tuple[slice | NDArray[np.int64], Array]:
        """What a source of unit strength imposes (t, m), and the rows it belongs to."""
        values = source.values(path)
        if source.link == "offset":
            return slice(0, self.full_rows.shape[0]), -values @ self.full_rows.T
        return self._rows_of(source), values

    def _rows_of(self, source: Source) -> slice | NDArray[np.int64]:
        if not source.also:
            return self.slices[source.link]
        number = np.arange(self.rows.shape[0])
        return np.concatenate([number[self.slices[name]] for name in (source.link, *source.also)])

    def imposed_rows(self, amounts: Array) -> NDArray[np.int64]:
        """Numbers (u,) of the rows on which something is imposed with strengths (..., s)."""
        found = np.zeros(self.rows.shape[0], dtype=bool)
        for k in _in_use(amounts):
            source = self.sources[k]
            found[slice(None) if source.link == "offset" else self._rows_of(source)] = True
        return np.flatnonzero(found)

    def imposed(self, path: Path, amounts: Array | None = None) -> Array:
        """Imposed extensions and pushes (..., t, r) along a path for strengths (..., s); by default this
        machine's own."""
        amounts = self.amounts if amounts is None else amounts
        # row after row in memory, as sources make them: their instants are added in one go
        total = np.zeros((*amounts.shape[:-1], self.rows.shape[0], path.time.size))
        for k in _in_use(amounts):
            where, values = self.source_rows(self.sources[k], path)
            total[..., where, :] += amounts[..., k, None, None] * values.T
        return np.swapaxes(total, -1, -2)

    def friction_limit(self, load: Array) -> Array:
        """Limit (l, d) N of every contact row under loads (l, c) N on the screws."""
        limits = [f.limit(load[:, f.corner]) for f in self.frictions for _ in f.jacobian]
        return np.stack(limits, axis=1) if limits else np.zeros((load.shape[0], 0))

    def system(self, layers: Layers) -> System:
        """Matrices of the given layers. Raises ModelError naming the loose motion if nothing holds it."""
        return assemble(self, np.asarray(layers))


@dataclass(frozen=True, kw_only=True)
class System:
    """Matrices of some layers (l,) on the kept coordinates (n,).  What only motion asks for is worked out
    when it is first asked for."""

    machine: Machine
    layers: Layers
    M: Array  # (l, n, n)
    K: Array  # (l, n, n), geometric stiffness included
    stuck: Array  # (l, n, n) the same as a tap finds it: all bristles stuck, all flanks seated
    weight: Array  # (l, n)
    imposed_force: Array  # (l, n, r): force per imposed extension, or per push
    friction_limit: Array  # (l, d)
    seat: Array  # (l, k) N/m: sideways stiffness of flanks that hang centred under their load
    corner_load: Array  # (l, c) N
    stiffness: Array  # (l, r, r) of all links, nothing for pushes

    @cached_property
    def natural(self) -> tuple[Array, Array]:
        """Undamped frequencies (l, n) rad/s and mass-normalised modes (l, n, n) in columns, bristles
        stuck and flanks seated."""
        square, modes = stability.eigen(self.stuck, self.M)
        return np.sqrt(square), modes

    @property
    def axial_stiffness(self) -> Array:
        """Stiffness (l, c) N/m of every corner's axial row."""
        rows = self.machine.axial_rows
        return self.stiffness[:, rows, rows]

    @property
    def frequency(self) -> Array:
        """Undamped frequencies (l, n) rad/s, bristles stuck and flanks seated."""
        return self.natural[0]

    @property
    def modes(self) -> Array:
        """Mass-normalised modes (l, n, n) in columns, bristles stuck and flanks seated."""
        return self.natural[1]

    def springs(self) -> Iterator[Spring]:
        """Everything that takes strain energy, bristles stuck and flanks seated."""
        machine = self.machine
        for link in machine.links:
            where = machine.slices[link.name]
            yield Spring(
                part=PART_OF.get(link.part or "", ""),
                rows=machine.rows[where],
                stiffness=self.stiffness[:, where, where],
            )
        row = 0
        for friction in machine.frictions:
            here = slice(row, row + friction.jacobian.shape[0])
            stuck = self.friction_limit[:, here] / machine.breakaway[here]
            square = stuck[:, :, None] * np.eye(stuck.shape[1])
            yield Spring(
                part=PART_OF.get(friction.part or "", ""), rows=machine.contact_rows[here], stiffness=square
            )
            row = here.stop
        for k, flank in enumerate(machine.flanks):
            sideways = flank.jacobian[:2] @ machine.transform
            yield Spring(part="screw", rows=sideways, stiffness=self.seat[:, k, None, None] * np.eye(2))

    def modal_damping(self, ratio: float) -> Array:
        """Damping ratio (l, n) of every mode, `ratio` that of parts without one of their own."""
        own = self.machine.part_damping
        shares = energy_shares(self.springs(), self.modes, self.frequency) if own else {}
        return modal_ratio(shares, own, np.full(self.frequency.shape, ratio))

    @cached_property
    def damping_ratio(self) -> Array:
        """Of every mode (l, n)."""
        return self.modal_damping(self.machine.damping_ratio)

    @cached_property
    def C(self) -> Array:
        """Damping (l, n, n): M V diag(2 zeta w) V^T M, plus the explicit row dampers. Source: [Clough] modal
        damping matrix.

        V, w are the modes with all bristles stuck and all flanks seated: a tap, which is how a damping ratio
        is measured, moves contacts by far less than their breakaway travel, and a nut's flank by far less
        than its rounding.
        """
        MV = self.M @ self.modes
        found = (MV * (2 * self.damping_ratio * self.frequency)[:, None, :]) @ np.swapaxes(MV, 1, 2)
        for link in self.machine.links:
            if link.damping is not None:
                J = self.machine.rows[self.machine.slices[link.name]]
                found = found + J.T @ link.damping @ J
        return np.asarray(found)

    @cached_property
    def command_force(self) -> Array:
        """Inertia force (l, n, c) per commanded acceleration."""
        return -self.M @ self.machine.command[list(self.machine.kept)]


def nut_position(machine: Machine, layers: Layers) -> Array:
    """Nut above the lower end (l, c) m at mid-layer: all matrices are taken there."""
    return np.asarray(machine.first_nut - machine.stations.middle[np.asarray(layers) - 1][:, None])


def assemble(machine: Machine, layers: Layers) -> System:
    """Sum all rows at mid-layer height. Raises ModelError if nothing holds a motion, or the load overcomes
    what does."""
    T = machine.transform
    position = nut_position(machine, layers)
    part_mass, part_weight = machine.part.matrices(layers, machine.gravity)
    M = T.T @ (machine.mass + part_mass) @ T
    weight = (machine.weight + part_weight) @ T
    links, rows = machine.links, machine.rows.shape[0]
    stiffness = np.zeros((layers.size, rows, rows))  # filled in place: fresh memory costs more than the sums
    _fill(machine, links, position, np.zeros_like(position), stiffness)
    unloaded = machine.rows.T @ stiffness @ machine.rows
    names = machine.coordinates.names(machine.corner_names)
    stability.refuse_loose(unloaded[0], M[0], [names[k] for k in machine.kept])
    load = _corner_load(machine, unloaded, stiffness, weight)
    _fill(machine, [link for link in links if callable(link.stiffness)], position, load, stiffness)
    imposed_force = machine.rows.T @ stiffness
    K = imposed_force @ machine.rows
    imposed_force[:, :, machine.pushed] = machine.push_rows.T
    limit = machine.friction_limit(load)
    contact = machine.contact_rows
    stuck = K + contact.T @ ((limit / machine.breakaway)[:, :, None] * contact)
    seat = np.zeros((layers.size, len(machine.flanks)))
    for k, flank in enumerate(machine.flanks):
        sideways = flank.jacobian[:2] @ T
        seat[:, k] = seated_stiffness(load[:, flank.corner], flank.slope, flank.rounding)
        stuck = stuck + seat[:, k, None, None] * (sideways.T @ sideways)
    stability.refuse_unstable(stuck)
    return System(
        machine=machine,
        layers=layers,
        M=M,
        K=K,
        stuck=stuck,
        weight=weight,
        imposed_force=imposed_force,
        friction_limit=limit,
        seat=seat,
        corner_load=load,
        stiffness=stiffness,
    )


def _fill(machine: Machine, links: Sequence[Link], position: Array, load: Array, stiffness: Array) -> None:
    """Put the stiffness of some links, under loads (l, c) N, into that of all (l, r, r)."""
    for link, values in zip(links, stiffness_of_all(links, position, load, machine.gravity), strict=True):
        where = machine.slices[link.name]
        stiffness[:, where, where] = values


def _corner_load(machine: Machine, K: Array, stiffness: Array, weight: Array) -> Array:
    """Load hanging on each screw (l, c) N from K q = g: tension of the axial link, reversed."""
    q = np.linalg.solve(K, weight[:, :, None])[:, :, 0]
    rows = machine.axial_rows
    return -stiffness[:, rows, rows] * (q @ machine.rows[rows].T)


def _in_use(amounts: Array) -> NDArray[np.int64]:
    """Sources that have a strength anywhere in `amounts` (..., s)."""
    return np.flatnonzero(np.any(amounts.reshape(-1, amounts.shape[-1]) != 0.0, axis=0))
