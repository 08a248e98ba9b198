"""Every kind of band that readings show, brought back to the screws and motors that make it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bedsim.components.row import CauseName
from bedsim.diagnosis.band_kinds import BandKind
from bedsim.diagnosis.least_squares import Complex, Diagnosis, diagnose, turned_response
from bedsim.diagnosis.reading_machine import (
    About,
    ReadingMachine,
    about,
    beyond,
    friction_range,
    frictionless,
    hands,
    reading_machine,
    wave_rows,
)
from bedsim.diagnosis.readings import Reading, reading_rows
from bedsim.diagnosis.response import UnitResponses, unit_poses
from bedsim.diagnosis.screw_bounds import screw_bounds
from bedsim.errors import SolverError
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario
from bedsim.units import MM
from bedsim.wall.bands import Source

SHARED = "all corners"
"""The corner of a source that all screws share: the motor of a belt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Screws:
    """Once per turn: what the readings tell of screws, and the machine near them."""

    kind: BandKind
    readings: tuple[Reading, ...]
    machine: ReadingMachine
    near: About
    diagnosis: Diagnosis
    moved: Array  # (s,) m, by friction at the ends of its ranges
    without_friction: str  # why friction is left out, "" where it is not


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmonics:
    """More than once per turn: travel of threads, or motors."""

    kind: BandKind
    readings: tuple[Reading, ...]
    diagnosis: Diagnosis
    of_screws: Array | None  # (m,) m of each reading that the screws make themselves; None: not known


def diagnose_screws(
    loaded: LoadedScenario, answers: UnitResponses, kind: BandKind, readings: Sequence[Reading]
) -> Screws:
    """Shares of run-out and once-per-turn travel in readings of the lead, friction counted.

    Raises InputError for a probe or corner that the scenario does not have.
    """
    scenario = loaded.scenario
    rows = reading_rows(
        readings,
        answers,
        lead=scenario.corner[0].screw.lead_mm * MM,
        layer_height=scenario.print.layer_mm * MM,
        line_width=scenario.print.line_width_mm * MM,
        hand=hands(loaded),
    )
    machine = reading_machine(loaded, readings, answers.sources, rows)
    bound = screw_bounds(loaded, answers.sources)
    fault = ""
    try:
        near = about(machine, bound)
        moved = friction_range(machine, near, bound)
    except SolverError as found:
        near, moved, fault = frictionless(machine), np.zeros(bound.size), str(found)
    result = diagnose(
        near.response,
        np.array([r.value for r in readings]) - near.added,
        [r.sigma for r in readings],
        answers.sources,
        bound=bound,
        hand=hands(loaded),
        mirrored=near.mirrored,
    )
    return Screws(
        kind=kind,
        readings=tuple(readings),
        machine=machine,
        near=near,
        diagnosis=result,
        moved=moved,
        without_friction=fault,
    )


def diagnose_harmonics(
    loaded: LoadedScenario, kind: BandKind, readings: Sequence[Reading], screws: Screws | None
) -> Harmonics:
    """Shares of the corners in bands that come back `kind.times` per turn; they act on the height.

    What the screws that bands of the lead tell make of this kind by themselves, through friction and on the
    way, is taken off first; None: no bands of the lead were read.  Standing still an imposed height passes
    through the machine as once per turn.  Raises InputError as `diagnose_screws`.
    """
    machine = replace(
        reading_machine(loaded, readings, (), np.zeros((len(readings), 0), complex)), times=kind.times
    )
    sources, rows = _height_rows(machine, kind, shared=loaded.scenario.drive.topology == "belt")
    made = _made_by_screws(kind, readings, screws)
    result = diagnose(
        rows,
        np.array([r.value for r in readings]) - (0 if made is None else made),
        [r.sigma for r in readings],
        sources,
        hand=hands(loaded),
        times=kind.times if kind.on_screw else 0.0,
    )
    size = None if made is None else np.abs(made)
    return Harmonics(kind=kind, readings=tuple(readings), diagnosis=result, of_screws=size)


def _height_rows(
    machine: ReadingMachine, kind: BandKind, *, shared: bool
) -> tuple[tuple[Source, ...], Complex]:
    """Sources and readings (m, s) of a height imposed at each corner of the kind, or at all of them by a
    shared motor."""
    units, pose = unit_poses(machine.job, machine.loaded)
    columns = {corner: k for k, (cause, corner) in enumerate(units) if cause == CauseName.ONCE_PER_TURN}
    rows = wave_rows(machine, pose[:, [columns[corner] for corner in kind.corners]])
    if not kind.on_screw:
        if shared:
            return ((kind.name, SHARED),), rows.sum(axis=1, keepdims=True)
        return tuple((kind.name, corner) for corner in kind.corners), rows
    sources = tuple((kind.name, corner) for corner in kind.corners)
    turned = [
        turned_response(row, sources, r.turned, kind.times * r.turn, hands(machine.loaded))
        for row, r in zip(rows, machine.readings, strict=True)
    ]
    return sources, np.array(turned)


def _made_by_screws(kind: BandKind, readings: Sequence[Reading], screws: Screws | None) -> Complex | None:
    """Of readings (m,), what the screws told by bands of the lead make of a kind of a screw."""
    if not kind.on_screw:
        return np.zeros(len(readings), complex)
    if screws is None or screws.without_friction or not screws.machine.printed:
        return None
    told = replace(screws.machine, readings=tuple(readings), times=round(kind.times))
    try:
        return np.asarray(beyond(told, screws.near.sources[None])[0])
    except SolverError:
        return None
