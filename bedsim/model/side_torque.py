"""The torque of a standing side force on a screw that is not straight.

The lateral rows of a screw store U = 1/2 (J q - e)^T k (J q - e), and their run-out e turns with the screw's
angle phi at the nut.  So the angle is pushed too, by

    T = -dU/dphi = e_phi^T F,      F = k (J q - e)

F the pull in the rows (N on deflections, N m on slopes), e_phi the run-out turned by 90 degrees: a force F
aside on an offset r is a torque F r sin(angle between them), once per turn.  Shaft and coupling twist under
it, by c rad per N m.  The twist has no mass of its own; eliminating it, which stands in series with the
thread's load, leaves

    rotor    + T                    axial row    imposed  -H lead/(2 pi) c T

F is taken at rest, from what does not turn: weights, heat growth, alignment, guides, nut bores.  Then T is
linear in the run-out and enters as forcing, whatever screws the members of a batch have.  Derivation: virtual
work.

Limits: F without friction.  Leads and warm-up of the screws do not count towards F: they tilt the bed by
1e-4 rad or so.  Left out is what the run-outs' own forces add to T, second order in the run-out: a screw
alone on planes of equal stiffness feels none (its energy is the same at every angle), else it stands still or
swings twice per turn; 8 % of T where 130 N press on 130 um TIR (tests/independent/test_turning_screws.py),
and worth 0.005 um of height on the shipped machines.  Left out too is how T changes as the rotor lags, by
less than 1e-2 rad.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.components import screw
from bedsim.components.frame import unit
from bedsim.components.row import CauseName, Path, Push, resting_path
from bedsim.errors import SolverError
from bedsim.model.assembly import Machine, System
from bedsim.model.corner import CornerParts
from bedsim.model.nonlinear import elastic, force_and_tangent
from bedsim.model.stations import Stations

Array = NDArray[np.float64]

RUN_OUT = (CauseName.RUN_OUT, CauseName.COUPLING)
"""Causes of a centreline that turns."""
STANDING = (CauseName.HEAT, CauseName.ALIGNMENT, CauseName.STRAIGHTNESS, CauseName.BORE)
"""Causes of a side force that neither turn with a screw nor belong to one."""

SPACING, FEWEST = (
    15e-3,
    5,
)  # m between the heights at which F is solved, cubics between them: to 1e-5 of errors
TABLED = 5e-3  # m between them where a guide's straightness is a table
FINER = 16  # times closer together, straight lines do
STEPS_PER_TURN = 72  # of the search for the largest torque: at most 0.1 % below it
SETTLED = 1e-9  # of the largest force: a residual of rounding
ROUNDING = 1e-9  # N m: a torque below it is none


def with_side_torque(machine: Machine, corners: Sequence[CornerParts]) -> Machine:
    """The machine with a torque on every screw that follows its run-out; F is solved when first asked for."""
    tabled = any(c.data.guide.table for c in corners)
    force = SideForce(machine=machine, spacing=TABLED if tabled else SPACING)
    size, rotor = machine.coordinates.size, machine.coordinates.rotor
    sources = list(machine.sources)
    pushes = []
    for c in corners:
        pushes.append(
            Push(name=f"{c.name}.torque", corner=c.index, jacobian=unit(size, (rotor(c.index), 1.0))[None])
        )
        # sources are asked about a path one after the other
        pull = lru_cache(maxsize=1)(partial(force.along, corner=c.index))
        lift = lru_cache(maxsize=1)(partial(_lift_per_torque, corner=c))
        for k, source in enumerate(sources):
            if source.cause in RUN_OUT and source.corner == c.index:
                values = partial(_values, bent=source.values, pull=pull, lift=lift)
                sources[k] = replace(source, also=(f"{c.name}.torque", f"{c.name}.axial"), values=values)
    return replace(machine, sources=tuple(sources), pushes=tuple(pushes), tell_side_force=force.tell)


def _values(
    path: Path, bent: Callable[[Path], Array], pull: Callable[[Path], Array], lift: Callable[[Path], Array]
) -> Array:
    """The run-out's four rows, its torque, and what the twist by that imposes on the axial row: (t, 6)."""
    found = np.empty((6, path.time.size))  # row after row in memory, as `Machine.imposed` takes them
    found[:4] = bent(path).T
    along, across = found[:2], found[2:4]
    F = pull(path)
    found[4] = (along * F[2:] - across * F[:2]).sum(axis=0)
    found[5] = lift(path) * found[4]
    return found.T


def _lift_per_torque(path: Path, corner: CornerParts) -> Array:
    """What one N m between nut and motor imposes on the axial row (t,) m."""
    twist = sum(screw.twist_compliances(corner.screw, corner.nut_position(path)).values())
    return np.asarray(-corner.screw.hand * corner.screw.travel_per_radian * twist)


def largest_torque(machine: Machine) -> Array:
    """Largest torque (c,) N m of the standing side forces on every screw between the first layer and the
    last, or over one turn if that is longer."""
    turns = float(np.max(np.abs(machine.command))) / (2 * np.pi)  # per metre
    travel = max(float(machine.stations.depth.max()), 1 / turns)
    height = -np.linspace(0.0, travel, int(np.ceil(travel * turns * STEPS_PER_TURN)) + 1)
    begins = machine.stations.begin[np.unique(machine.stations.first) - 1]  # of objects
    time, height = np.repeat(begins, height.size), np.tile(height, begins.size)
    path = resting_path(time, height[:, None] * np.ones(len(machine.pushes)))
    found = np.abs(machine.imposed(path)[:, machine.pushed]).max(axis=0)
    return np.where(found > ROUNDING, found, 0.0)


@dataclass(frozen=True, kw_only=True)
class SideForce:
    """What stands against the screws of a machine, by the height of the bed and, as the weight of an object
    stays while the next is printed, by the object."""

    machine: Machine
    spacing: float = SPACING

    def along(self, path: Path, corner: int) -> Array:
        """Pull (4, t) in the lateral rows of one corner's screw, held at the values of the first and the last
        layer of an object beyond them."""
        where = self.machine.rows_at("screw", corner)
        stations, found = self.machine.stations, np.empty((4, path.time.size))
        first = np.unique(stations.first)
        which = np.searchsorted(stations.begin[first[1:] - 1], path.time, side="right")
        for k, (height, pull) in enumerate(self._solved):
            here = which == k
            found[:, here] = [np.interp(path.height[here, corner], height, row) for row in pull[where]]
        return found

    @cached_property
    def _solved(self) -> list[tuple[Array, Array]]:
        """Of every object heights (k,) m from the lowest, close enough together for straight lines, and the
        pull (r, k) in all rows there."""
        machine, found = self.machine, []
        for first in np.unique(machine.stations.first):
            layers = _sampled(machine.stations, int(first), self.spacing)[::-1]
            height = -machine.stations.depth[layers]
            found.append(_refined(height, standing_pull(machine, machine.system(layers), height).T))
        return found

    def tell(self, machine: Machine, system: System) -> None:
        """Take F from a `system` that is at hand of the `machine` which this force acts on, if nobody has
        asked for it yet and the system's heights will do."""
        stations = self.machine.stations
        if self.spacing == SPACING and np.all(stations.first == 1) and "_solved" not in self.__dict__:
            height = -stations.depth[system.layers]
            pull, upwards = standing_pull(machine, system, height), np.argsort(height)
            self.__dict__["_solved"] = [_refined(height[upwards], pull[upwards].T)]


def _sampled(stations: Stations, first: int, spacing: float) -> NDArray[np.int64]:
    """Numbers of stations of the object that begins with the `first`, about `spacing` m apart."""
    depth = stations.depth[1:][stations.first == first]
    count = max(FEWEST, int(np.ceil(depth[-1] / spacing)) + 1)
    near = np.interp(np.linspace(0.0, depth[-1], count), depth, np.arange(first, first + depth.size))
    return np.unique(np.round(near).astype(np.int64))


def _refined(place: Array, values: Array) -> tuple[Array, Array]:
    """More places between rising ones (k,), and values (r, k) there: cubics that share their slopes at the
    places, by central differences."""
    if place.size == 1:
        return place, values
    slope = np.gradient(values, place, axis=1, edge_order=2 if place.size > 2 else 1)
    at = np.interp(np.arange((place.size - 1) * FINER + 1) / FINER, np.arange(place.size), place)
    k = np.clip(np.searchsorted(place, at) - 1, 0, place.size - 2)
    wide = place[k + 1] - place[k]
    u = (at - place[k]) / wide
    first = values[:, k] * (1 + 2 * u) + slope[:, k] * wide * u
    last = values[:, k + 1] * (3 - 2 * u) - slope[:, k + 1] * wide * (1 - u)
    return at, np.asarray(first * (1 - u) ** 2 + last * u**2)


def standing_pull(machine: Machine, system: System, height: Array) -> Array:
    """Pull (l, r) in all rows at rest, without friction, under weights and what does not turn.

    `height` (l,) m of the bed at the layers of the system.  Raises SolverError where stops or plain nuts
    leave no equilibrium.
    """
    at = np.zeros(height.size), height[:, None] * np.ones(len(machine.corner_names))
    counts = np.array([source.cause in STANDING for source in machine.sources])
    imposed = machine.imposed(resting_path(*at), machine.amounts * counts)
    force = (system.imposed_force @ imposed[..., None])[..., 0] + system.weight
    q: Array = np.linalg.solve(system.K, force[..., None])[..., 0].astype(np.float64, copy=False)
    if force_and_tangent(elastic(machine, system, slice(None), motor_sine=False), q, imposed) is not None:
        for k in range(height.size):
            q[k] = _touching(machine, system, k, q[k], force[k], imposed[k])
    return np.asarray((system.stiffness @ (q @ machine.rows.T - imposed)[..., None])[..., 0])


def _touching(machine: Machine, system: System, index: int, q: Array, force: Array, imposed: Array) -> Array:
    """The equilibrium (n,) with stops and plain nuts acting, if any does at the linear one.

    Unknowns are scaled to a stiffness of 1, so that metres weigh as radians do; a screw that leans on its nut
    has a negative one.
    """
    parts = elastic(machine, system, index, motor_sine=False)
    if force_and_tangent(parts, q, imposed) is None:
        return q
    K, scale = system.K[index], np.sqrt(np.abs(np.diagonal(system.K[index])))

    def balance(x: Array) -> tuple[Array, Array]:
        at = x / scale
        extra = force_and_tangent(parts, at, imposed)
        more, steep = (0.0, 0.0) if extra is None else extra
        return (K @ at + more - force) / scale, (K + steep) / np.outer(scale, scale)

    found = scipy.optimize.root(balance, q * scale, jac=True)
    if not found.success:
        # at a residual of rounding it may say that it gets no further; least squares also go on from a kink
        found = scipy.optimize.root(balance, q * scale, jac=True, method="lm")
        if np.abs(found.fun).max() > SETTLED * np.abs(force / scale).max():
            raise SolverError(
                "no equilibrium found for the side forces at rest: stops or plain nuts do not settle"
            )
    return np.asarray(found.x / scale)
