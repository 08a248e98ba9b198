"""A motor that has slipped: its rotor stands a whole electrical turn, four full steps, beside its command.

After a stall a rotor falls in step again where its torque is the same, one or more electrical turns on: 2
pi/N_r of the motor each.  From then on its corner is off by that, at every height, until the bed is levelled.
The screw has turned by as much, and its run-out with it.  Source: [Acarnley] static torque
repeats every tooth pitch; the rest is statics of the machine without friction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import CauseName, Path
from bedsim.engines import base
from bedsim.engines.base import Job
from bedsim.engines.static import at_rest
from bedsim.model.assembly import System

Array = NDArray[np.float64]

PLACES = 16
"""Places over a turn of the screw at which what it leaves is looked at."""
TURNING = (CauseName.RUN_OUT, CauseName.COUPLING, CauseName.ONCE_PER_TURN)
"""Causes that come back once per turn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """The machine with one motor ahead by four full steps, against before; SI, linear in their number.

    `corners`: those that the motor turns; `height` m: how far a nut has gone by itself; `turn` rad of the
    screw; `tilt` rad of the bed; `probe_height` (p,) m; `shift` m: largest lateral motion of a probe on the
    bed; `side_force` N: largest change on a guide; `mount_relief` N: most that a mount's load falls by,
    either way of slipping (NaN where all are bolted); `once_per_turn` (p,) m: height, peak to valley over a
    turn, that the same screws' run-out and once-per-turn travel make.
    """

    corners: tuple[str, ...]
    height: float
    turn: float
    tilt: float
    probe_height: Array
    shift: float
    side_force: float
    mount_relief: float
    once_per_turn: Array


def slips(job: Job, layer: int = 1) -> tuple[Slip, ...]:
    """Every motor of a machine slipped by itself, at the height of a layer."""
    system, observer = _at(job, layer)
    motors = range(len(job.machine.motor_index))
    return tuple(_slip(job, motor, layer, system, observer) for motor in motors)


def slip(job: Job, motor: int, layer: int = 1) -> Slip:
    """One motor slipped by four full steps.  Limits: no friction, which holds some of it back."""
    return _slip(job, motor, layer, *_at(job, layer))


def _at(job: Job, layer: int) -> tuple[System, base.Observer]:
    """The machine at the height of a layer, with what is reported of it."""
    system = job.machine.system(np.array([layer]))
    return system, base.make_observer(job.machine, system, job.probes)


def _slip(job: Job, motor: int, layer: int, system: System, observer: base.Observer) -> Slip:
    machine = job.machine
    corners = _turned_by(job, motor)
    per_metre = machine.command[machine.motor_index[motor], corners].sum()
    turn = 2 * np.pi / float(machine.motor_electrical[motor])
    height = turn / abs(float(per_metre))
    flat = base.probe_maps(machine, job.probes)[1]
    before = np.full(len(machine.corner_names), float(job.program.height(layer)))
    after = before.copy()
    after[corners] += height
    imposed = np.diff(_imposed(job, np.stack([before, after])), axis=0)
    for row in dict.fromkeys(observer.motor_rows[corners]):
        imposed[0, row] += per_metre * height
    q = at_rest(system, imposed.T)[0, :, 0]
    return Slip(
        corners=tuple(machine.corner_names[c] for c in corners),
        height=height,
        turn=turn,
        tilt=float(np.hypot(*(observer.bed @ q)[3:5])),
        probe_height=observer.height @ q,
        shift=float(np.linalg.norm(flat @ (observer.bed @ q), axis=-1).max()),
        side_force=_side_force(observer, q, imposed[0]),
        mount_relief=_mount_relief(observer, q, imposed[0]),
        once_per_turn=_once_per_turn(job, corners, layer, system, observer),
    )


def _turned_by(job: Job, motor: int) -> list[int]:
    """Corners (numbers) that a motor turns: all on a belt."""
    machine = job.machine
    everyone = range(len(machine.corner_names))
    return [*everyone] if machine.coordinates.shared_motor else [machine.motor_corner[motor]]


def _imposed(job: Job, height: Array, causes: tuple[str, ...] | None = None) -> Array:
    """Imposed extensions (t, r) with the corners at commanded heights (t, c); of `causes` only, if given."""
    machine = job.machine
    chosen = np.array([causes is None or s.cause in causes for s in machine.sources], dtype=bool)
    path = Path(time=np.zeros(height.shape[0]), height=height, move_start=height, move_end=height)
    return machine.imposed(path, job.amounts[0] * chosen)


def _side_force(observer: base.Observer, q: Array, imposed: Array) -> float:
    rows = observer.guide_rows
    return float(np.hypot(*((observer.rows @ q - imposed)[rows] * observer.guide_stiffness).T).max())


def _mount_relief(observer: base.Observer, q: Array, imposed: Array) -> float:
    force = np.abs((observer.rows @ q - imposed)[observer.mount_rows] * observer.mount_stiffness)
    return float(np.fmax.reduce(force))


def _once_per_turn(
    job: Job, corners: list[int], layer: int, system: System, observer: base.Observer
) -> Array:
    """Height (p,) m, peak to valley, over one turn of the motor's screws downward from a layer."""
    machine = job.machine
    per_turn = [2 * np.pi / abs(machine.command[machine.coordinates.rotor(c), c]) for c in corners]
    height = np.full((PLACES, len(machine.corner_names)), float(job.program.height(layer)))
    height[:, corners] -= np.outer(np.arange(PLACES) / PLACES, per_turn)
    q = at_rest(system, _imposed(job, height, TURNING).T)[0]
    return np.asarray(np.ptp(observer.height @ q, axis=1))
