"""What readings of a machine would be at given unknowns: linear in its screws, solved anew for its keys.

Readings y = w(keys) + H(keys) a, with a the screws' vectors: one solve per machine gives H for all of them.
The machine is at rest and without friction; what friction adds is taken off beforehand (`friction.py`), and
with it the torque of standing side forces, which would cost as much as all the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bedsim.analysis.linear_machine import LinearMachine, linear_machine, own_imposed, poses
from bedsim.clocking.response import TURNING
from bedsim.components.row import Path
from bedsim.components.run_out import centreline_shapes
from bedsim.engines import base
from bedsim.engines.base import Job
from bedsim.engines.static import at_rest
from bedsim.learn.observations import BandReading, KeyReading, Observation, ScrewReading, Series
from bedsim.learn.unknowns import Unknowns
from bedsim.model import convert
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.sections import refuse_objects
from bedsim.simulation import make_job, probe_points, relative_errors
from bedsim.units import MM
from bedsim.wall.bands import wave_phasors
from bedsim.wall.relief import wall_normal, wall_relief

AXES = ("x", "y", "z")


@dataclass(frozen=True, kw_only=True)
class At:
    """A machine at given keys: what each turning source of unit strength does, and all the rest together."""

    unknowns: Unknowns
    loaded: LoadedScenario
    job: Job

    @cached_property
    def turning(self) -> list[int]:
        """Numbers (s,) of the sources that turn with a screw."""
        return [k for k, source in enumerate(self.job.machine.sources) if source.cause in TURNING]

    @cached_property
    def units(self) -> Array:
        """Strengths (s + 1, all): each turning source alone, then all others as they are."""
        found = np.zeros((len(self.turning) + 1, self.job.machine.amounts.size))
        found[np.arange(len(self.turning)), self.turning] = 1.0
        found[-1] = self.job.machine.amounts
        found[-1, self.turning] = 0.0
        return found

    @cached_property
    def printed(self) -> tuple[LinearMachine, Array]:
        """The machine over the whole print, and bed poses (s + 1, l, b) of `units`, the last with weight."""
        linear = linear_machine(self.job)
        found = poses(linear, own_imposed(linear, self.units), weight=False)
        found[-1] += linear.weights @ linear.sag @ linear.observer.bed.T
        return linear, found

    @cached_property
    def errors(self) -> dict[str, Array]:
        """Errors of the print of each of `units`."""
        linear, found = self.printed
        return relative_errors(self.job, linear.layers, found)

    def gauge(self, turn: Array) -> Array:
        """Bed motion (p, 3, s + 1, t) m at the probes for `units` while one lead is jogged down."""
        machine = self.job.machine
        lead = self.loaded.scenario.corner[0].screw.lead_mm * MM
        height = -turn[:, None] / (2 * np.pi) * lead * np.ones(self.job.program.corners)
        path = Path(time=np.zeros(turn.size), height=height, move_start=height, move_end=height)
        imposed = machine.imposed(path, self.units)
        system = machine.system(np.array([1]))
        motion = at_rest(system, imposed.reshape(-1, imposed.shape[-1]).T)[0]
        bed = base.make_observer(machine, system, self.job.probes).bed
        pose = (bed @ motion).reshape(-1, *imposed.shape[:2])
        up, flat, _ = base.probe_maps(machine, self.job.probes)
        moved = np.einsum("pkb,bst->pkst", flat, pose), np.einsum("pb,bst->pst", up, pose)[:, None]
        return np.concatenate(moved, axis=1)

    def clocking(self, corner: int | None, by: float) -> Array:
        """Matrix (s, s) from strengths at the clocking zero to those with one screw turned by `by` rad.

        Offsets turn in the plane; of the travel cos(angle + by) c + sin(angle + by) s the parts turn
        backwards.  Derived; the key `screw.clocking_deg` does the same.
        """
        found = np.eye(len(self.turning))
        sources = [self.job.machine.sources[k] for k in self.turning]
        for k, source in enumerate(sources):
            if source.corner != corner or source.name.endswith((" y", "sin")):
                continue
            c, s = np.cos(by), np.sin(by) * (-1 if source.name == "cos" else 1)
            found[k : k + 2, k : k + 2] = [[c, -s], [s, c]]
        return found


@dataclass(frozen=True, kw_only=True)
class Model:
    """Readings of some kinds, in the order of `observations`."""

    unknowns: Unknowns
    observations: tuple[Observation, ...]

    @cached_property
    def turns(self) -> Array:
        """All angles (t,) rad at which any gauge is read."""
        series = [o.turn for o in self.observations if isinstance(o, Series)]
        return np.unique(np.round(np.concatenate(series), 9)) if series else np.zeros(0)

    def at(self, u: Array) -> At:
        """The machine at the unknowns' keys.  Raises ModelError or InputError."""
        loaded = self.unknowns.settable.at(self.unknowns.values(u))
        return At(unknowns=self.unknowns, loaded=loaded, job=make_job(loaded, side_torque=False))

    def parts(self, at: At) -> tuple[Array, Array]:
        """Readings (m,) without the unknown vectors of screws, and per metre of each vector (m, v)."""
        gauge = at.gauge(self.turns) if self.turns.size else np.zeros(0)
        blocks = [self._block(at, one, gauge) for one in self.observations]
        return np.concatenate([b[0] for b in blocks]), np.concatenate([b[1] for b in blocks])

    def _block(self, at: At, one: Observation, gauge: Array) -> tuple[Array, Array]:
        if isinstance(one, KeyReading):
            return np.array([one.of(at.loaded.scenario)]), np.zeros((1, len(self.unknowns.vectors)))
        if isinstance(one, ScrewReading):
            return self._screw(at, one)
        if isinstance(one, Series):
            probes = probe_points(at.loaded)[0]
            where = np.searchsorted(self.turns, np.round(one.turn, 9))
            answer = gauge[probes.index(one.probe), AXES.index(one.axis)][:, where].T
        else:
            wave = band_waves(at, one)
            answer = np.stack([wave.real, wave.imag])
        return self._of_sources(at, answer, one.clocked, one.by)

    def _of_sources(self, at: At, answer: Array, corner: int | None, by: float) -> tuple[Array, Array]:
        """From answers (m, s + 1) to `At.units` to fixed part and vectors."""
        own = answer[:, :-1] if corner is None else answer[:, :-1] @ at.clocking(corner, by)
        columns = self.unknowns.columns(at.job)
        fixed = at.job.machine.amounts.copy()
        fixed[columns] = 0.0
        place = [at.turning.index(k) for k in columns]
        return answer[:, -1] + own @ fixed[at.turning], own[:, place]

    def _screw(self, at: At, one: ScrewReading) -> tuple[Array, Array]:
        """Offsets x, y, x, y ... of one screw."""
        fixed = np.zeros(one.position.size, complex)
        shapes = {part: np.eye(len(one.parts))[k] + 0j for k, part in enumerate(one.parts)}
        if one.mounted:
            corner = at.loaded.scenario.corner[one.corner]
            bent, shaft = convert.make_run_out(corner, at.loaded.tables), convert.make_screw(corner)
            every = {n: (a, shape(one.position)[0]) for n, a, shape in centreline_shapes(bent, shaft)}
            shapes = {part: every.pop(part)[1] + 0j for part in ("eccentricity", "bow")}
            fixed = sum((amount * shape for amount, shape in every.values()), fixed)
        rows = np.zeros((one.offset.size, len(self.unknowns.vectors)))
        for k, vector in enumerate(self.unknowns.vectors):
            if vector.corner == one.corner and vector.part in shapes:
                along = shapes[vector.part] * (1j if vector.name.endswith(" y") else 1.0)
                rows[:, k] = np.stack([along.real, along.imag], axis=-1).ravel()
        return np.stack([fixed.real, fixed.imag], axis=-1).ravel(), rows

    def readings(self, u: Array) -> Array:
        """Readings (m,) at u."""
        fixed, rows = self.parts(self.at(u))
        return np.asarray(fixed + rows @ self.unknowns.amounts(u))


def band_waves(at: At, one: BandReading) -> Array:
    """Waves (s + 1,) complex, m, once per turn in the relief of a wall for `At.units`."""
    settings = at.loaded.scenario
    probe = probe_points(at.loaded)[0].index(one.reading.probe)
    return relief_waves(
        at.loaded,
        at.errors["lateral_error"][:, :, probe],
        at.errors["height_error"][:, :, probe],
        one.reading.place,
        settings.corner[0].screw.lead_mm * MM,
    )


def relief_waves(loaded: LoadedScenario, lateral: Array, height: Array, wall: str, lead: float) -> Array:
    """Waves (k,) of a lead (m) in the relief of a wall from errors (k, l, 2) and (k, l), m, of the first l
    layers, over their heights whatever their thickness.  Raises InputError for several objects."""
    refuse_objects(loaded.scenario.print, loaded.name, "bedsim learn", "its bands are read on one wall")
    laid, count = convert.stations_of(loaded.scenario), height.shape[-1]
    relief = wall_relief(
        lateral,
        height,
        normal=wall_normal(wall)[1],
        line_width=loaded.scenario.print.line_width_mm * MM,
        layer_height=laid.thickness[:count],
    )
    return np.asarray(wave_phasors(laid.z[:count] - laid.z[0], np.array([1 / lead]), relief.T)[0])
