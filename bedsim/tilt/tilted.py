"""The machine along a tilt: equilibrium with friction at every stage, and how far the joints are pushed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path, resting_path
from bedsim.engines import base, state
from bedsim.engines.base import Job
from bedsim.engines.state import State
from bedsim.engines.static import at_rest
from bedsim.model.assembly import Machine, System
from bedsim.tilt import tilting
from bedsim.tilt.tilting import Supports, Tilted

Array = NDArray[np.float64]

LEAST_STAGES = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltCourse:
    """A tilt in stages (k,) from level: `angle` rad, `lift` (k, c) m of the screws, bed poses.

    `error` (k, 3) m: displacement of the held point from where the tilt puts it, against the level bed;
    `wander` (k, 2) m: where the tilt itself puts it sideways; `give` (k, c) m along the mounts; forces and
    joints as reported of layers.
    """

    angle: Array
    lift: Array
    wander: Array
    give: Array
    error: Array
    joint_excursion: Array  # (k, c) m
    side_force: Array  # (k, c) N
    mount_force: Array  # (k, c) N


def strain_response(machine: Machine, system: System, bed: Tilted) -> tuple[Array, Array]:
    """Frictionless motions (n,) of the machine by a tilt alone, and imposed extensions (r,) behind them."""
    imposed = -tilting.strain(machine, bed, tilting.screw_heights(machine, bed))
    return at_rest(system, imposed[:, None])[0, :, 0], imposed


def joint_push(machine: Machine, system: System) -> Callable[[Tilted], Array]:
    """A function that tells how far (c,) m a tilt alone moves each joint's element that goes furthest
    (bolted: 0)."""
    observer = base.make_observer(machine, system, np.zeros((1, 2)))
    by_strain = observer.joint @ at_rest(system, np.eye(machine.rows.shape[0]))[0]
    for own, bore in zip(by_strain, observer.joint_imposed, strict=True):
        if bore[0] >= 0:
            own[[0, 1], bore] -= 1.0

    def push(bed: Tilted) -> Array:
        strained = tilting.strain(machine, bed, tilting.screw_heights(machine, bed))
        moved = zip(by_strain @ strained, observer.joint_ends, strict=True)  # either way is as far
        return np.sqrt([base.squared_way(own, ends) for own, ends in moved])

    return push


def racking(machine: Machine, system: System) -> Array:
    """Load (c, c) N/m that each screw takes up per metre that one corner is lifted alone, frictionless.

    Zero for three free grooves but for the share of the loads; what a bolted or over-constrained bed sets
    against corners that do not move alike.  Source: the assembled stiffness; linear.
    """
    strained = machine.rows @ machine.command[list(machine.kept)]
    for link in machine.links:
        if link.part in ("motor", "belt"):
            strained[machine.slices[link.name]] = 0.0
    q = at_rest(system, -strained)[0]
    tension = machine.rows @ q + strained
    found = -system.axial_stiffness[0][:, None] * tension[machine.axial_rows]
    return 0.5 * (found + found.T)


def follow_tilt(
    job: Job, layer: int, supports: Supports, about: Array, pivot: Array, weights: Array, centres: Array
) -> TiltCourse:
    """Tilt the bed slowly by the rotation vector `about` (2,) rad, from level at a layer, with friction.

    `weights` (w,) N at `centres` (w, 3) m of bed and part.  Raises SolverError if a stage finds no
    equilibrium.
    """
    machine, corners = job.machine, job.program.corners
    system = machine.system(np.array([layer]))
    beds = _stages(machine, supports, about, pivot)
    lift = np.array([tilting.screw_heights(machine, bed) for bed in beds])
    level = np.full(corners, float(job.program.height(layer)))
    path = _path(job, layer, level, lift)
    strained = np.array([tilting.strain(machine, bed, h) for bed, h in zip(beds, lift, strict=True)])
    imposed = machine.imposed(path, job.amounts[0]) - strained
    force = imposed @ system.imposed_force[0].T + system.weight[0]
    force += np.array([tilting.turned_weight(machine, bed, weights, centres) for bed in beds])
    part = state.slow_layer(job, system, 0)
    grooves = _groove_slip(machine, np.array([bed.give[:, 0] for bed in beds]))
    carried = _arrived(job, system, layer, level)
    motions = []
    for k in range(len(beds)):
        climbed = lift[k] - lift[max(k - 1, 0)]
        slip = machine.contact_command @ climbed + grooves[k] - grooves[max(k - 1, 0)]
        carried = state.slow_step(part, carried, force[None, k], imposed[None, k], slip[None])
        motions.append(carried.q[0])
    return _course(machine, system, beds, lift, np.array(motions), imposed)


def _stages(machine: Machine, supports: Supports, about: Array, pivot: Array) -> list[Tilted]:
    whole = tilting.tilt(supports, about, pivot)
    turn = float(np.max(np.abs(machine.command @ whole.lift)))
    count = max(LEAST_STAGES, int(np.ceil(turn / state.TURN_PER_STEP)))
    return [tilting.tilt(supports, about * share, pivot) for share in np.linspace(0.0, 1.0, count + 1)]


def _path(job: Job, layer: int, level: Array, lift: Array) -> Path:
    count = lift.shape[0]
    return Path(
        time=np.full(count, job.program.start_time(layer)),
        height=level + lift,
        move_start=np.broadcast_to(level, lift.shape),
        move_end=np.broadcast_to(level + lift[-1], lift.shape),
    )


def _groove_slip(machine: Machine, give: Array) -> Array:
    """Commanded slip (k, d) of the contacts along the grooves by what the mounts give way (k, c)."""
    slip = np.zeros((give.shape[0], machine.breakaway.size))
    row = 0
    for contact in machine.frictions:
        if contact.part == "mount":
            slip[:, row] = give[:, contact.corner]
        row += contact.jacobian.shape[0]
    return slip


def _arrived(job: Job, system: System, layer: int, level: Array) -> State:
    """The level bed at a layer: loaded with bristles at zero, then lowered onto it as in printing."""
    above = level + job.program.approach
    resting = state.loaded(job, system, resting_path(job.program.start_time(layer), above))
    down = Path(
        time=np.full(4, job.program.start_time(layer)),
        height=above + (level - above) * np.linspace(0.25, 1.0, 4)[:, None],
        move_start=np.broadcast_to(above, (4, level.size)),
        move_end=np.broadcast_to(level, (4, level.size)),
    )
    return state.follow(job, system, 0, down, above, resting)


def _course(
    machine: Machine, system: System, beds: list[Tilted], lift: Array, q: Array, imposed: Array
) -> TiltCourse:
    observer = base.make_observer(machine, system, np.zeros((1, 2)))
    pose = q @ observer.bed.T
    places = np.array([bed.place(bed.pivot) for bed in beds])
    arms = places - np.array([bed.place(np.zeros(3)) for bed in beds])
    moved = pose[:, :3] + np.cross(pose[:, 3:6], arms)
    reports = [base.extremes(observer, 0, q[k, None], imposed[k, None]) for k in range(len(beds))]
    return TiltCourse(
        angle=np.array([bed.angle for bed in beds]),
        lift=lift,
        wander=(places - places[0])[:, :2],
        give=np.array([bed.give[:, 0] for bed in beds]),
        error=moved - moved[0],
        **{
            key: np.array([r[key] for r in reports])
            for key in ("joint_excursion", "side_force", "mount_force")
        },
    )
