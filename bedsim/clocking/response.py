"""What every screw does at every corner, as columns that add up: the linear machine as clocking sees it.

error = own part of the machine + sum over corners of standing part + Re(turning part e^{j clocking}).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bedsim.analysis.linear_machine import LinearMachine, linear_machine, own_imposed, poses, without_play
from bedsim.analysis.metrics import lateral_peak_to_valley, peak_to_valley
from bedsim.analysis.objects import WHOLE, Walls, largest
from bedsim.clocking.unit_circles import Form
from bedsim.components.row import CauseName
from bedsim.engines.base import Job
from bedsim.results.layers import Array
from bedsim.scenario.load import LoadedScenario, Tables
from bedsim.scenario.schema import RunOutKeys, ScrewKeys, TravelKeys
from bedsim.scenario.spares import Spare
from bedsim.simulation import make_job, relative_errors
from bedsim.units import DEG

TURNING = (CauseName.RUN_OUT, CauseName.ONCE_PER_TURN)
"""Causes that turn with a screw in its coupling."""
STANDING = (CauseName.TRAVEL,)
"""Causes that go with a screw to its corner but do not turn."""

Part = TypeVar("Part", RunOutKeys, TravelKeys)
Values = TypeVar("Values", NDArray[np.float64], NDArray[np.complex128])
Errors = tuple[Array, Array]
"""Lateral (..., n, p, 2) and height (..., n, p), m."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewInHand:
    """A screw that can be placed; `corner` where it sits now (index), or None for a spare."""

    name: str
    run_out: RunOutKeys
    travel: TravelKeys
    tables: Tables
    corner: int | None

    @property
    def label(self) -> str:
        """What the workshop calls it."""
        return f"spare screw {self.name}" if self.corner is None else f"the screw from {self.name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Errors in columns: own (n, p, ...); standing and turning (complex) per screw s and corner c
    (s, c, n, p, ...).
    """

    screws: tuple[ScrewInHand, ...]
    own: Errors
    standing: Errors
    turning: tuple[NDArray[np.complex128], NDArray[np.complex128]]
    walls: Walls  # layers of each object
    top: Array  # (n,) m above the bed

    def errors(self, screw: Sequence[int], clocking: Array) -> Errors:
        """Lateral (n, p, 2) and height (n, p) errors with screw `screw[c]` at corner c, turned (c,) rad."""
        place = (np.asarray(screw), np.arange(len(screw)))
        turn = np.exp(1j * np.asarray(clocking))
        lateral, height = (
            own + fixed[place].sum(axis=0) + np.tensordot(turn, turning[place], axes=1).real
            for own, fixed, turning in zip(self.own, self.standing, self.turning, strict=True)
        )
        return lateral, height


def screws_in_hand(loaded: LoadedScenario, spares: Sequence[Spare] = ()) -> tuple[ScrewInHand, ...]:
    """The screws of the corners, then the spare ones."""
    own = [
        ScrewInHand(
            name=c.name, run_out=c.screw.run_out, travel=c.screw.travel, tables=loaded.tables, corner=k
        )
        for k, c in enumerate(loaded.scenario.corner)
    ]
    more = [
        ScrewInHand(name=s.name, run_out=s.run_out, travel=s.travel, tables=s.tables, corner=None)
        for s in spares
    ]
    return (*own, *more)


def placed(
    loaded: LoadedScenario, screws: Sequence[ScrewInHand], clocking_deg: Sequence[float]
) -> LoadedScenario:
    """The scenario with a screw at every corner, each turned by its clocking; all else is the corner's own.

    Warm-up belongs to the corner, not to the screw.
    """
    tables = dict(loaded.tables)
    corners = []
    for number, (corner, screw, angle) in enumerate(
        zip(loaded.scenario.corner, screws, clocking_deg, strict=True)
    ):
        label = f"of {screw.name} at {number}"
        run_out = _renamed(screw.run_out, screw.tables, f"run-out {label}", tables)
        travel = _renamed(screw.travel, screw.tables, f"travel {label}", tables).model_copy(
            update={
                "warm_up_k": corner.screw.travel.warm_up_k,
                "warm_up_time_constant_min": corner.screw.travel.warm_up_time_constant_min,
            }
        )
        part = corner.screw.model_copy(
            update={"run_out": run_out, "travel": travel, "clocking_deg": float(angle)}
        )
        corners.append(corner.model_copy(update={"screw": part}))
    return replace(
        loaded, scenario=loaded.scenario.model_copy(update={"corner": tuple(corners)}), tables=tables
    )


def _renamed(part: Part, own: Tables, name: str, tables: dict[str, Array]) -> Part:
    """The part with its table under a name of its own: files of two folders may be called alike."""
    if part.table is None:
        return part
    tables[name] = own[part.table]
    return part.model_copy(update={"table": name})


def interchangeable(screw: ScrewKeys) -> tuple[object, ...]:
    """What two corners' screws must have in common to be swapped."""
    return (
        screw.kind,
        screw.diameter_mm,
        screw.root_diameter_mm,
        screw.lead_mm,
        screw.starts,
        screw.hand,
        screw.length_mm,
        screw.ends,
    )


def response_of(loaded: LoadedScenario, screws: Sequence[ScrewInHand]) -> Response:
    """Columns of every screw at every corner, from the frictionless machine with fitting nuts.

    Turning part = error at clocking 0 - j error at clocking 90 degrees, for Re(B e^{j a}) is linear in
    (cos a, sin a).  Imperfections never enter a stiffness: one solved machine serves every screw.
    """
    fitted = without_play(loaded)
    corners = len(fitted.scenario.corner)
    job = make_job(placed(fitted, screws[:corners], [0.0] * corners))
    linear = linear_machine(job)
    rest = np.array([source.cause not in TURNING + STANDING for source in job.machine.sources])
    own = _errors(linear, job, (job.machine.amounts * rest)[None], weight=True)
    standing, turning = [], []
    for screw in screws:
        at_zero, at_quarter = (
            make_job(placed(fitted, [screw] * corners, [angle] * corners)) for angle in (0.0, 90.0)
        )
        standing.append(_errors(linear, at_zero, _by_corner(at_zero, STANDING)))
        along = _errors(linear, at_zero, _by_corner(at_zero, TURNING))
        across = _errors(linear, at_quarter, _by_corner(at_quarter, TURNING))
        turning.append(tuple(a - 1j * b for a, b in zip(along, across, strict=True)))
    return Response(
        screws=tuple(screws),
        own=(own[0][0], own[1][0]),
        standing=(np.stack([s[0] for s in standing]), np.stack([s[1] for s in standing])),
        turning=(np.stack([t[0] for t in turning]), np.stack([t[1] for t in turning])),
        walls=job.program.stations.walls(linear.layers),
        top=job.program.stations.top(linear.layers),
    )


def _by_corner(job: Job, causes: Sequence[str]) -> Array:
    """Strengths (c, s): each corner's sources of some causes alone."""
    machine = job.machine
    chosen = [
        [source.cause in causes and source.corner == c for source in machine.sources]
        for c in range(len(machine.corner_names))
    ]
    return machine.amounts * np.array(chosen)


def _errors(linear: LinearMachine, job: Job, amounts: Array, *, weight: bool = False) -> Errors:
    imposed = own_imposed(replace(linear, job=job), amounts)
    found = relative_errors(job, linear.layers, poses(linear, imposed, weight=weight))
    return found["lateral_error"], found["height_error"]


# ---- quadratic forms ----------------------------------------------------------------------------------


def lateral_forms(response: Response, assignments: Sequence[Sequence[int]], probes: Sequence[int]) -> Form:
    """Mean square of the lateral error about its mean over an object's layers, one form per assignment, m2.

    Mean over layers and the chosen probes of dx^2 + dy^2.  `assignments` (f, c): screw number per corner.
    """
    blocks = [response.own[0][None], _flat(response.standing[0]), _flat(response.turning[0].real)]
    blocks.append(_flat(-response.turning[0].imag))
    columns = np.concatenate(blocks)[:, :, list(probes)]
    columns = about_mean(np.moveaxis(columns, 1, 0), response.walls)
    columns = np.moveaxis(columns, 0, 1).reshape(columns.shape[1], -1)
    gram = columns @ columns.T / (response.own[0].shape[0] * len(probes))
    screws, corners = response.standing[0].shape[:2]
    pair = np.asarray(assignments) * corners + np.arange(corners)
    count = screws * corners
    turning = np.stack([1 + count + pair, 1 + 2 * count + pair], axis=-1).reshape(len(pair), -1)
    fixed = np.concatenate([np.zeros((len(pair), 1), dtype=int), 1 + pair], axis=1)
    return Form(
        S=gram[turning[:, :, None], turning[:, None, :]],
        b=gram[turning[:, :, None], fixed[:, None, :]].sum(axis=2),
        constant=gram[fixed[:, :, None], fixed[:, None, :]].sum(axis=(1, 2)),
    )


def _flat(columns: Array) -> Array:
    return columns.reshape(-1, *columns.shape[2:])


def about_mean(values: Values, walls: Walls) -> Values:
    """Values (n, ...) less their mean over the layers of each object: where it stands shows on no wall."""
    found = values.copy()
    for wall in walls:
        found[wall] -= values[wall].mean(axis=0)
    return found


def extents(errors: Errors, probes: Sequence[int], walls: Walls = WHOLE) -> tuple[float, float]:
    """Largest lateral and height peak-to-valley (m) at the chosen probes, of the worst object."""
    lateral, height = errors
    chosen = list(probes)
    return (
        float(largest(lateral_peak_to_valley, lateral[:, chosen], walls).max()),
        float(largest(peak_to_valley, height[:, chosen], walls).max()),
    )


def root_mean_square(lateral: Array, probes: Sequence[int], walls: Walls = WHOLE) -> float:
    """RMS (m) of the lateral error (n, p, 2) about its mean over an object's layers, over the chosen
    probes."""
    return float(np.sqrt(np.mean(np.sum(about_mean(lateral[:, list(probes)], walls) ** 2, axis=-1))))


def degrees(clocking: Array) -> list[float]:
    """Clocking (c,) rad as scenario keys, -180 to 180 degrees."""
    return [float(a) for a in (np.asarray(clocking) / DEG + 180) % 360 - 180]
