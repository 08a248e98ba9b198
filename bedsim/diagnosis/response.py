"""What a unit of every imperfection that repeats once per turn does at the probes, in the linear machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.row import Path
from bedsim.engines import base
from bedsim.engines.static import at_rest
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, probe_points
from bedsim.units import MM
from bedsim.wall.bands import Source

_STEPS = 8  # eighths of a turn, as a gauge is read


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitResponses:
    """The linear machine's answer to one unit (1 m) of every source, once per turn, at the start of the
    readings.

    `response` (p, 3, s): of the bed along x, y, z at a probe per source, reading = Re(response x e^{j psi}).
    """

    probe_name: tuple[str, ...]
    sources: tuple[Source, ...]
    response: NDArray[np.complex128]


def once_per_turn_response(loaded: LoadedScenario) -> UnitResponses:
    """The bed's answer at every probe to 1 m of run-out and of once-per-turn travel of every screw, at
    layer 1.

    One lead is jogged down from the first layer in eighths with the stiffness of that layer; the bed
    surface is read. psi = 0 is the first layer, so a source's direction is that of the scenario's
    `eccentricity_deg`.
    """
    job = make_job(loaded)
    sources, pose = unit_poses(job, loaded)
    height, flat, _ = base.probe_maps(job.machine, job.probes)
    moved = np.einsum("pkb,bs->pks", flat, pose), np.einsum("pb,bs->ps", height, pose)[:, None]
    return UnitResponses(
        probe_name=probe_points(loaded)[0], sources=sources, response=np.concatenate(moved, axis=1)
    )


def unit_poses(job: base.Job, loaded: LoadedScenario) -> tuple[tuple[Source, ...], NDArray[np.complex128]]:
    """Sources and the bed's pose (b, s) per unit (1 m) of each, as in `once_per_turn_response`."""
    system = job.machine.system(np.array([1]))
    bed = base.make_observer(job.machine, system, job.probes).bed
    sources, units = _unit_sources(job)
    psi = 2.0 * np.pi * np.arange(_STEPS) / _STEPS
    imposed = job.machine.imposed(_turn(loaded, psi), units)
    motion = at_rest(system, np.swapaxes(imposed, 1, 2))
    return sources, 2.0 / _STEPS * np.einsum("bn,snt,t->bs", bed, motion, np.exp(-1j * psi))


def _unit_sources(job: base.Job) -> tuple[tuple[Source, ...], Array]:
    """Sources and strengths (s, all) of one unit each."""
    machine = job.machine
    chosen = [k for k, source in enumerate(machine.sources) if source.turn_unit]
    causes = list(dict.fromkeys(machine.sources[k].cause for k in chosen))
    chosen.sort(key=lambda k: causes.index(machine.sources[k].cause))  # cause by cause, corners within
    found = [(machine.sources[k].cause, machine.corner_names[machine.sources[k].corner]) for k in chosen]
    return tuple(found), np.eye(machine.amounts.size)[chosen]


def _turn(loaded: LoadedScenario, psi: Sequence[float] | Array) -> Path:
    """One turn of the first screw, jogged down from the first layer."""
    lead = np.array([c.screw.lead_mm for c in loaded.scenario.corner]) * MM
    height = -np.asarray(psi)[:, None] / (2.0 * np.pi) * lead
    return Path(time=np.zeros(len(psi)), height=height, move_start=height, move_end=height)
