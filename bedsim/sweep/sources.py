"""The machine with room for drawn screws: sources of unit strength whose amounts a drawn screw fills in.

Every corner gets the columns of `COLUMNS`, then slow travel variation as Chebyshev polynomials of the nut's
position over the travel used: one set of sources serves waves of any length, so that printers with different
screws stay one batch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray
from scipy.special import jv

from bedsim.components.row import CauseName, Path, Source
from bedsim.engines.base import Job
from bedsim.model.assembly import Machine
from bedsim.model.program import Program
from bedsim.screws.drawn import DrawnScrews, slow_deviation

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

COLUMNS = (
    (CauseName.RUN_OUT, "eccentricity x"),
    (CauseName.RUN_OUT, "eccentricity y"),
    (CauseName.RUN_OUT, "tilt x"),
    (CauseName.RUN_OUT, "tilt y"),
    (CauseName.RUN_OUT, "bow x"),
    (CauseName.RUN_OUT, "bow y"),
    (CauseName.TRAVEL, "slope"),
    (CauseName.ONCE_PER_TURN, "cos"),
    (CauseName.ONCE_PER_TURN, "sin"),
)
RUN_OUT = 6  # of these, the columns that a gauge sees
_REPLACED = {(CauseName.TRAVEL, "variation cos"), (CauseName.TRAVEL, "variation sin")}
_WAVE_ERROR = 1e-6  # of a wave's amplitude


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """Nut above the lower end of the screw over a print, `low` to `high` m; `terms` polynomials."""

    low: float
    high: float
    terms: int

    def scaled(self, position: Array) -> Array:
        """Position on -1 to 1, held at the ends beyond them."""
        return np.clip((2 * position - self.low - self.high) / (self.high - self.low), -1.0, 1.0)

    def coefficients(self, screws: DrawnScrews) -> Array:
        """Slow variation as polynomials (n, terms), by interpolation at the Chebyshev points."""
        points = chebyshev.chebpts1(self.terms)
        position = self.low + (points + 1) / 2 * (self.high - self.low)
        values = slow_deviation(screws, position)
        to_coefficients = chebyshev.chebvander(points, self.terms - 1) * (2.0 / self.terms)
        to_coefficients[:, 0] /= 2
        return np.einsum("np,pt->nt", values, to_coefficients)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """A job ready for drawn screws.

    `job.machine` has the sources; `columns` (c, k): where in the amounts each corner's columns stand, those
    of COLUMNS first, then the polynomials; `fixed` (s,): amounts of everything that is not drawn.
    """

    job: Job
    columns: NDArray[np.int64]
    fixed: Array
    travel: tuple[Travel, ...]


def terms_for(length: float, shortest: float) -> int:
    """Polynomials needed over a travel of `length` for waves from `shortest` on, m.

    cos(x t) = J0(x) + 2 sum (-1)^k J2k(x) T2k(t), x = pi length/shortest: terms are left out when the Bessel
    functions beyond sum to less than a millionth.  Source: [DLMF] 10.12.3 with t = cos(theta).
    """
    x = np.pi * length / shortest
    orders = np.arange(int(2 * x) + 40)
    beyond = 2 * np.cumsum(np.abs(jv(orders, x))[::-1])[::-1]
    return int(np.argmax(beyond < _WAVE_ERROR))


def prepare(job: Job, shortest: float, *, friction: bool) -> Prepared:
    """Give the machine its sources; `shortest` m: shortest slow wave; without `friction` bristles go."""
    machine = job.machine if friction else replace(job.machine, frictions=(), flanks=())
    travel = tuple(_travel(float(start), job.program, shortest) for start in machine.first_nut)
    drawn = {(cause, name) for cause, name in COLUMNS} | _REPLACED
    known = [replace(s, amount=0.0) if (s.cause, s.name) in drawn else s for s in machine.sources]
    where = {(s.corner, s.cause, s.name): k for k, s in enumerate(known)}
    columns = []
    for corner, reach in enumerate(travel):
        added = [_slow(machine, corner, reach, k) for k in range(reach.terms)]
        first = len(known)
        known += added
        own = [where[corner, cause, name] for cause, name in COLUMNS]
        columns.append([*own, *range(first, first + len(added))])
    changed = replace(machine, sources=tuple(known))
    return Prepared(
        job=replace(job, machine=changed, amounts=changed.amounts[None], trace_layers=()),
        columns=np.array(columns, dtype=np.int64),
        fixed=changed.amounts,
        travel=travel,
    )


def _travel(start: float, program: Program, shortest: float) -> Travel:
    """From the lowest place of print, hop and run-in to the approach."""
    printed = float((program.stations.depth[1:] + program.stations.hop).max())
    low, high = start - max(printed, program.run_in), start + program.approach
    return Travel(low=low, high=high, terms=terms_for(high - low, shortest))


def _slow(machine: Machine, corner: int, travel: Travel, order: int) -> Source:
    start = float(machine.first_nut[corner])
    unit = np.eye(travel.terms)[order]

    def values(path: Path) -> Array:
        return chebyshev.chebval(travel.scaled(start + path.height[:, corner]), unit)[:, None]

    return Source(
        cause=CauseName.TRAVEL,
        corner=corner,
        link=f"{machine.corner_names[corner]}.axial",
        amount=0.0,
        name=f"slow {order}",
        values=values,
    )


def columns_of(screws: DrawnScrews, travel: Travel) -> Array:
    """Amounts (n, k) of one corner's columns for drawn screws."""
    s = screws
    once = s.once_per_turn
    plain = [s.eccentricity.real, s.eccentricity.imag, s.tilt.real, s.tilt.imag, s.bow.real, s.bow.imag]
    return np.column_stack([*plain, s.slope, once.real, -once.imag, travel.coefficients(s)])


def run_out_seen(prepared: Prepared, position: Array) -> Complex:
    """Offsets x + jy (RUN_OUT, n) m that a gauge sees on the first corner's nut at `position` (n,) m.

    One row for each of the run-out columns with unit amount, all turned with the screw.
    """
    machine = prepared.job.machine
    height = np.repeat((position - machine.first_nut[0])[:, None], len(machine.corner_names), axis=1)
    path = Path(time=np.zeros(position.size), height=height, move_start=height, move_end=height)
    rows = [machine.sources[k].values(path) for k in prepared.columns[0, :RUN_OUT]]
    return np.stack([row[:, 0] + 1j * row[:, 2] for row in rows])
