"""What all members of a batch are commanded to do in one layer, and what that alone does to the modes.

Members share a layer and differ in the strengths of their imperfections, or they are one machine at layers of
their own.  Where there are more members than imperfections, the modes answer to each imperfection of unit
strength once and members are sums of these answers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import exponential
from bedsim.engines.base import Job
from bedsim.engines.modes import LayerModes
from bedsim.engines.window import Grid, Known
from bedsim.model.program import Profile

Array = NDArray[np.float64]

FORCING = 2.6e-4  # s: known forcing is taken at instants this close


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The commanded motion of a layer.

    `profiles`, `start_times` one per layer (s); `strengths` (r, sources) of what is computed; members are
    `mix` (m, r) times that, or the r themselves.  The last row of a mix is what all share: weight and
    inertia.
    """

    job: Job
    profiles: tuple[Profile, ...]
    start_times: Array
    strengths: Array
    mix: Array | None

    @property
    def motion(self) -> Profile:
        """The profile of the first layer; the others have the same course at other heights."""
        return self.profiles[0]

    def imposed(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Imposed extensions (r, t, rows) at instants of the motion."""
        paths = [
            Path(
                time=start + time,
                height=profile.height_on(time, piece),
                move_start=profile.move_start[piece],
                move_end=profile.move_end[piece],
            )
            for profile, start in zip(self.profiles, self.start_times, strict=True)
        ]
        if len(paths) == 1:
            return self.job.machine.imposed(paths[0], self.strengths)
        whole = Path(
            time=np.concatenate([p.time for p in paths]),
            height=np.concatenate([p.height for p in paths]),
            move_start=np.concatenate([p.move_start for p in paths]),
            move_end=np.concatenate([p.move_end for p in paths]),
        )
        return self.job.machine.imposed(whole, self.strengths[0]).reshape(len(paths), time.size, -1)

    def shared(self, values: Array) -> Array:
        """Put `values` (..., n), which all members share, beside computed ones (r, ..., n)."""
        if self.mix is None:
            return values
        found = np.zeros((self.strengths.shape[0], *values.shape[1:]))
        found[-1] = values[0]
        return found


def course(job: Job, layers: Array) -> Course:
    """The course of one layer for all members, or of one layer for each (a job of one member)."""
    used = np.flatnonzero(np.any(job.amounts != 0.0, axis=0))
    many = job.members > used.size + 1 and layers.size == 1
    strengths = np.zeros((used.size + 1, job.amounts.shape[1])) if many else job.amounts
    mix = None
    if many:
        strengths[np.arange(used.size), used] = 1.0
        mix = np.concatenate([job.amounts[:, used], np.ones((job.members, 1))], axis=1)
    return Course(
        job=job,
        profiles=tuple(job.program.layer_change(int(layer)) for layer in layers),
        start_times=np.array([job.program.start_time(int(layer)) for layer in layers]),
        strengths=strengths,
        mix=mix,
    )


def mixed(values: Array, mix: Array | None) -> Array:
    """Members' values (m, ...) from computed ones (r, ...)."""
    if mix is None:
        return values
    return (mix @ values.reshape(values.shape[0], -1)).reshape(mix.shape[0], *values.shape[1:])


@dataclass(frozen=True, slots=True, kw_only=True)
class Forcing:
    """The known forcing of part of a piece on a grid of corners: what a mix of members is made from.

    `known`: its rows r; `imposed` (r, t+1, rows) at the corners.
    """

    spaces: int
    known: Known
    imposed: Array

    def of(self, mix: Array | None) -> Known:
        """The forcing of the members with this mix."""
        if mix is None:
            return self.known
        known = self.known
        return Known(
            amplitude=mixed(known.amplitude.view(float), mix).view(complex),
            place=mixed(known.place, mix),
            speed=mixed(known.speed, mix),
            slip=known.slip,
            offset=mixed(known.offset, mix),
        )


def forcing(
    plan: Course, layer: LayerModes, grid: Grid, piece: int, span: tuple[float, float], spaces: int
) -> Forcing:
    """Carry the forcing of part of a piece through the modes, as a polygon with the curve's integral."""
    job, profile, rows = plan.job, plan.motion, layer.rows
    b = rows.bristles
    finer = max(1, int(np.ceil(grid.corners.spacing / FORCING - 1e-9)))
    time = np.linspace(*span, spaces * finer + 1)
    which = np.full(time.size, piece)
    imposed = plan.imposed(time, which)
    force = imposed @ layer.imposed
    force += plan.shared(layer.weight[:, None] + profile.acceleration(time, which) @ layer.command)
    force[:, 1:-1] += (2 * force[:, 1:-1] - force[:, 2:] - force[:, :-2]) / 12  # see window.py
    spacing = grid.corners.spacing
    table = grid.corners
    if finer > 1:
        table = exponential.corners(layer.frequency, layer.damping, spacing / finer, 256)
    start = layer.resting(force[:, 0])
    moved = exponential.carried(table, start, force)[:, finer - 1 :: finer]
    amplitude = np.concatenate([start[:, None], moved], axis=1)
    command = job.machine.contact_command.T / rows.breakaway
    height = profile.height_on(time[::finer], which[::finer])
    slip = (height - height[0]) @ command
    place, speed = amplitude.view(float) @ grid.all.place, amplitude.view(float) @ grid.speed
    place[..., :b] += plan.shared(slip[None])
    speed += plan.shared((profile.speed(time[::finer]) @ command)[None] * (spacing / 6))
    known = Known(
        amplitude=amplitude,
        place=place,
        speed=speed,
        slip=slip,
        offset=imposed[:, ::finer] @ rows.parts.imposed.T,
    )
    return Forcing(spaces=spaces, known=known, imposed=imposed[:, ::finer])
