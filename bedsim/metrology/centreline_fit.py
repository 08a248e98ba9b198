"""Offsets measured along a screw turned into eccentricity, tilt and bow, with covariance.

    r(s) = E + T s + B shape(s)      complex: x + jy in the screw's frame, s from the lower end of the free
    length

shape = sin(pi s/L) when the machine holds both ends, 1 - cos(pi s/(2L)) when the upper end is free.  On
V-blocks only what departs from the line through the two blocks can be seen: B times (shape minus its chord);
E and T stay unknown.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.runout_fit import PositionFit, direction_uncertainty, magnitude_uncertainty
from bedsim.metrology.setup import Setup
from bedsim.units import MM, UM

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True)
class CentrelineFit:
    """The fitted centreline.

    `terms`: which of "eccentricity", "tilt", "bow" could be fitted; `values` complex [m, m/m, m] in that
    order; `covariance` (2k, 2k) of their x, y, x, y, ...; `position` (n,) [m], `offset` (n,) [m] measured
    against the axis (support eccentricity taken out) and `offset_covariance` (n, 2, 2),
    `joint_covariance` (2 n, 2 n) of x, y, x, y, ... of all; `chi_square` over `freedom`; `support`: offset
    [m] and slope [m/m] of the journals against the axis of measurement, None if not measured.
    """

    terms: tuple[str, ...]
    values: Complex
    covariance: Array
    length: float
    free_end: bool
    chord: tuple[float, float] | None
    position: Array
    offset: Complex
    offset_covariance: Array
    joint_covariance: Array
    chi_square: float
    freedom: int
    support: tuple[complex, complex] | None
    warnings: tuple[str, ...]

    def value(self, term: str) -> complex:
        """One fitted term; zero if it could not be fitted."""
        return complex(self.values[self.terms.index(term)]) if term in self.terms else 0j

    def block(self, term: str) -> Array:
        """Covariance (2, 2) of one term's x and y."""
        k = self.terms.index(term)
        return self.covariance[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]

    def at(self, position: Array) -> tuple[Complex, Array]:
        """Fitted offset (n,) [m] and its covariance (n, 2, 2) at `position` (n,) [m]."""
        basis = _basis(self.terms, np.atleast_1d(position), self.length, self.free_end, self.chord)
        spread = np.kron(basis, np.eye(2)).reshape(-1, 2, 2 * len(self.terms))
        return basis @ self.values, spread @ self.covariance @ np.swapaxes(spread, 1, 2)

    @property
    def fits(self) -> bool:
        """Whether the readings agree with eccentricity, tilt and bow (chi-square, 1 % level)."""
        return self.freedom == 0 or self.chi_square <= float(scipy.stats.chi2.ppf(0.99, self.freedom))


def fit_centreline(fits: tuple[PositionFit, ...], setup: Setup) -> CentrelineFit:
    """Weighted least squares of eccentricity, tilt and bow through the offsets of the thread positions.

    Positions marked journal give the axis the bearings will hold: their line is taken out of all offsets
    first.  The error of what holds the screw is one for all positions (`_joint_covariance`): it makes
    eccentricity and tilt unsure, and never the bow but on V-blocks.  With one position only the eccentricity
    is fitted, with two also the tilt, with three also the bow.  Where the residuals exceed the uncertainties
    the covariance is widened (Birge ratio).  Raises InputError if no thread position is usable or the free
    length is not known.
    """
    if setup.length is None:
        raise InputError("length_mm: the free length of the screw is needed to fit the bow.")
    thread = [f for f in fits if f.place == "thread" and not _in_block(f, setup)]
    if not thread:
        raise InputError("no position on the thread (outside the V-blocks) is left to fit.")
    position = np.array([f.position for f in thread])
    journals = [] if setup.how == "v-block" else [f for f in fits if f.place == "journal"]
    offset, spread, support = _against_journals(thread, journals, setup)
    terms = _terms(position, setup)
    chord = setup.supports if setup.how == "v-block" else None
    basis = _basis(terms, position, setup.length, setup.free_end, chord)
    values, covariance, chi_square = _weighted(basis, offset, spread)
    freedom = 2 * (position.size - len(terms))
    if freedom > 0:
        covariance = covariance * max(1.0, chi_square / freedom)
    return CentrelineFit(
        terms=terms,
        values=values,
        covariance=covariance,
        length=setup.length,
        free_end=setup.free_end,
        chord=chord,
        position=position,
        offset=offset,
        offset_covariance=_own_blocks(spread),
        joint_covariance=spread,
        chi_square=chi_square,
        freedom=freedom,
        support=support,
        warnings=_warnings(position, setup, terms, support is not None, chi_square, freedom),
    )


def _in_block(fit: PositionFit, setup: Setup) -> bool:
    near = setup.supports is not None and min(abs(fit.position - p) for p in setup.supports) <= 1 * MM
    return setup.how == "v-block" and near


def _terms(position: Array, setup: Setup) -> tuple[str, ...]:
    if setup.how == "v-block":
        return ("bow",)
    return ("eccentricity", "tilt", "bow")[: min(3, position.size)]


def _shape(s: Array, length: float, free_end: bool) -> Array:
    x = s / length
    return np.asarray(1 - np.cos(np.pi * x / 2) if free_end else np.sin(np.pi * x))


def _basis(
    terms: tuple[str, ...], s: Array, length: float, free_end: bool, chord: tuple[float, float] | None
) -> Array:
    """Columns (n, k) of the terms at `s`; with a chord, the bow against the line through the two supports."""
    bow = _shape(s, length, free_end) if chord is None else bow_basis(s, length, free_end, chord)
    columns = {"eccentricity": np.ones_like(s), "tilt": s, "bow": bow}
    return np.stack([columns[t] for t in terms], axis=-1)


def bow_basis(s: Array, length: float, free_end: bool, chord: tuple[float, float]) -> Array:
    """Offset at `s` (n,) [m] per bow, against the line through the screw at two supports [m]."""
    first, last = _shape(np.array(chord), length, free_end)
    rise = (last - first) * (s - chord[0]) / (chord[1] - chord[0])
    return np.asarray(_shape(s, length, free_end) - first - rise)


def _solution(basis: Array, spread: Array) -> tuple[Array, Array]:
    """Map (2 k, 2 n) from x, y, x, y, ... of the offsets to those of the values, by least squares under the
    covariance `spread` (2 n, 2 n), and the whitening (2 n, 2 n)."""
    whiten = np.linalg.inv(np.linalg.cholesky(spread))
    return np.linalg.pinv(whiten @ np.kron(basis, np.eye(2))) @ whiten, whiten


def _weighted(basis: Array, offset: Complex, spread: Array) -> tuple[Complex, Array, float]:
    """Solve offset = basis values under the covariance (2 n, 2 n); values, covariance of x and y,
    chi-square."""
    solve, whiten = _solution(basis, spread)
    data = _parts(offset)
    found = solve @ data
    rest = whiten @ (data - np.kron(basis, np.eye(2)) @ found)
    return found[0::2] + 1j * found[1::2], solve @ spread @ solve.T, float(rest @ rest)


def _parts(offset: Complex) -> Array:
    return np.stack([offset.real, offset.imag], axis=-1).ravel()


def _own_blocks(spread: Array) -> Array:
    """Covariance (n, 2, 2) of each position alone from that of all (2 n, 2 n)."""
    n = len(spread) // 2
    return np.asarray(spread.reshape(n, 2, n, 2)[np.arange(n), :, np.arange(n)])


def _joint_covariance(fits: Sequence[PositionFit], setup: Setup) -> Array:
    """Covariance (2 n, 2 n) of the x and y of all offsets.

    What the gauge adds differs from position to position.  What holds the screw does not: each held end is
    off by one vector per set-up, once per turn, and carries the line between the ends along.  On V-blocks the
    ends are the blocks; held at one end only all positions are off alike.  Derived: e(s) = (1 - t) e_1 +
    t e_2 with t from 0 to 1 between the ends, e_1 and e_2 independent.
    """
    s = np.array([f.position for f in fits])
    if setup.free_end and setup.how in ("nut", "bearings"):
        moves = np.ones((s.size, 1))
    else:
        assert setup.length is not None
        first, last = setup.supports if setup.how == "v-block" and setup.supports else (0.0, setup.length)
        t = (s - first) / (last - first)
        moves = np.stack([1 - t, t], axis=-1)
    common = setup.holding_uncertainty**2 * np.kron(moves @ moves.T, np.eye(2))
    return np.asarray(scipy.linalg.block_diag(*(f.reading_covariance for f in fits)) + common)


def _against_journals(
    thread: Sequence[PositionFit], journals: Sequence[PositionFit], setup: Setup
) -> tuple[Complex, Array, tuple[complex, complex] | None]:
    """Offsets (n,) of the thread against the line through the journals' (as they are without journals), their
    covariance (2 n, 2 n), and that line's offset and slope; one journal gives no slope.

    Thread and journals stand on the same held ends, whose error goes out with the line.
    """
    joint = _joint_covariance([*thread, *journals], setup)
    offset = np.array([f.offset for f in thread])
    if not journals:
        return offset, joint, None
    s = np.array([j.position for j in journals])
    terms = ("eccentricity", "tilt") if np.unique(s).size > 1 else ("eccentricity",)
    solve, _ = _solution(
        _basis(terms, s, 1.0, False, None), scipy.linalg.block_diag(*(j.reading_covariance for j in journals))
    )
    line = solve @ _parts(np.array([j.offset for j in journals]))
    along = np.kron(_basis(terms, np.array([f.position for f in thread]), 1.0, False, None), np.eye(2))
    taken = along @ line
    move = np.hstack([np.eye(2 * len(thread)), -along @ solve])
    slope = complex(line[2], line[3]) if len(terms) > 1 else 0j
    return (
        offset - (taken[0::2] + 1j * taken[1::2]),
        move @ joint @ move.T,
        (complex(line[0], line[1]), slope),
    )


def _warnings(
    position: Array, setup: Setup, terms: tuple[str, ...], journals: bool, chi_square: float, freedom: int
) -> tuple[str, ...]:
    assert setup.length is not None
    found = []
    if setup.how == "v-block":
        found.append(
            "V-blocks show the bow only: eccentricity and tilt against the bearings are not measured"
        )
    elif len(terms) < 3:
        found.append(f"{position.size} position{'s' * (position.size > 1)}: the bow needs at least three")
    elif freedom == 0:
        found.append("three positions: nothing is left over to check the shape of the bow")
    if setup.how == "centres" and not journals:
        found.append(
            "between centres: the eccentricity is that against the centre holes; measure the journals too "
            "(column place)"
        )
    if setup.how != "v-block" and position.size > 1 and np.ptp(position) < 0.5 * setup.length:
        found.append("the positions cover less than half of the screw: tilt and bow are hard to tell apart")
    if freedom > 0 and chi_square > float(scipy.stats.chi2.ppf(0.99, freedom)):
        found.append(
            "eccentricity, tilt and bow do not describe this screw within the gauge's uncertainty; "
            "use the measured table"
        )
    return tuple(found)


def run_out_at(fit: CentrelineFit, position: float) -> tuple[float, float]:
    """Fitted run-out (TIR) [m] at `position` [m] and its standard uncertainty [m]."""
    value, covariance = fit.at(np.array([position]))
    return 2 * float(abs(value[0])), 2 * magnitude_uncertainty(complex(value[0]), covariance[0])


def table_csv(fit: CentrelineFit) -> str:
    """Measured centreline as the screw table a scenario takes: position_mm, offset_x_um, offset_y_um."""
    lines = ["position_mm,offset_x_um,offset_y_um"]
    for s, r in zip(fit.position, fit.offset, strict=True):
        lines.append(f"{s / MM:.3f},{r.real / UM:.3f},{r.imag / UM:.3f}")
    return "\n".join(lines) + "\n"


def term_text(fit: CentrelineFit, term: str) -> tuple[float, float, float, float]:
    """TIR [um; um per 100 mm for tilt], its standard uncertainty, direction [deg] and its uncertainty of a
    term."""
    value, block = fit.value(term), fit.block(term)
    scale = 2 * (100 * MM if term == "tilt" else 1.0) / UM
    return (
        scale * abs(value),
        scale * magnitude_uncertainty(value, block),
        math.degrees(math.atan2(value.imag, value.real)),
        math.degrees(direction_uncertainty(value, block)),
    )
