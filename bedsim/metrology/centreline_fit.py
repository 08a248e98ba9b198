"""Offsets measured along a screw turned into eccentricity, tilt and bow, with covariance.

    r(s) = E + T s + B shape(s)      complex: x + jy in the screw's frame, s from the lower end of the free
    length

shape = sin(pi s/L) when the machine holds both ends, 1 - cos(pi s/(2L)) when the upper end is free.  On
V-blocks only what departs from the line through the two blocks can be seen: B times (shape minus its chord);
E and T stay unknown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from bedsim.errors import InputError
from bedsim.metrology.runout_fit import PositionFit, magnitude_uncertainty
from bedsim.metrology.setup import Setup
from bedsim.units import MM, UM

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True)
class CentrelineFit:
    """The fitted centreline.

    `terms`: which of "eccentricity", "tilt", "bow" could be fitted; `values` complex [m, m/m, m] in that
    order; `covariance` (2k, 2k) of their x, y, x, y, ...; `position` (n,) [m], `offset` (n,) [m] measured
    against the axis (support eccentricity taken out) and `offset_covariance` (n, 2, 2); `chi_square` over
    `freedom`; `support`: offset [m] and slope [m/m] of the journals against the axis of measurement, None if
    not measured.
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
        return self.freedom == 0 or self.chi_square <= float(chi2.ppf(0.99, self.freedom))


def fit_centreline(fits: tuple[PositionFit, ...], setup: Setup) -> CentrelineFit:
    """Weighted least squares of eccentricity, tilt and bow through the offsets of the thread positions.

    Positions marked journal give the axis the bearings will hold: their line is taken out of all offsets
    first.  With one position only the eccentricity is fitted, with two also the tilt, with three also the
    bow.  Where the residuals exceed the uncertainties the covariance is widened (Birge ratio).  Raises
    InputError if no thread position is usable or the free length is not known.
    """
    if setup.length is None:
        raise InputError("length_mm: the free length of the screw is needed to fit the bow.")
    thread = [f for f in fits if f.place == "thread" and not _in_block(f, setup)]
    if not thread:
        raise InputError("no position on the thread (outside the V-blocks) is left to fit.")
    position = np.array([f.position for f in thread])
    offset = np.array([f.offset for f in thread])
    spread = np.stack([f.covariance for f in thread])
    support = None if setup.how == "v-block" else _support([f for f in fits if f.place == "journal"])
    if support is not None:
        offset, spread = _take_out(position, offset, spread, support)
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
        offset_covariance=spread,
        chi_square=chi_square,
        freedom=freedom,
        support=support[0] if support is not None else None,
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
    bow = _shape(s, length, free_end)
    if chord is not None:
        first, last = _shape(np.array(chord), length, free_end)
        bow = bow - first - (last - first) * (s - chord[0]) / (chord[1] - chord[0])
    columns = {"eccentricity": np.ones_like(s), "tilt": s, "bow": bow}
    return np.stack([columns[t] for t in terms], axis=-1)


def _weighted(basis: Array, offset: Complex, spread: Array) -> tuple[Complex, Array, float]:
    """Solve offset = basis values with the (2, 2) covariances; values, covariance of x and y, chi-square."""
    design = np.kron(basis, np.eye(2))
    data = np.stack([offset.real, offset.imag], axis=-1).ravel()
    whiten = np.linalg.inv(np.linalg.cholesky(spread))
    rows = np.einsum("nij,njk->nik", whiten, design.reshape(offset.size, 2, -1)).reshape(design.shape)
    target = np.einsum("nij,nj->ni", whiten, data.reshape(-1, 2)).ravel()
    found, _, _, _ = np.linalg.lstsq(rows, target, rcond=None)
    rest = target - rows @ found
    return found[0::2] + 1j * found[1::2], np.linalg.pinv(rows.T @ rows, rcond=1e-12), float(rest @ rest)


def _support(journals: list[PositionFit]) -> tuple[tuple[complex, complex], Array, tuple[str, ...]] | None:
    """Line through the journals' offsets: (offset, slope), covariance, terms; one journal gives no slope."""
    if not journals:
        return None
    s = np.array([j.position for j in journals])
    terms = ("eccentricity", "tilt") if np.unique(s).size > 1 else ("eccentricity",)
    basis = _basis(terms, s, 1.0, False, None)
    spread = np.stack([j.covariance for j in journals])
    values, covariance, _ = _weighted(basis, np.array([j.offset for j in journals]), spread)
    return (complex(values[0]), complex(values[1]) if len(terms) > 1 else 0j), covariance, terms


def _take_out(
    position: Array,
    offset: Complex,
    spread: Array,
    support: tuple[tuple[complex, complex], Array, tuple[str, ...]],
) -> tuple[Complex, Array]:
    (at_zero, slope), covariance, terms = support
    basis = _basis(terms, position, 1.0, False, None)
    move = np.kron(basis, np.eye(2)).reshape(-1, 2, 2 * len(terms))
    return offset - at_zero - slope * position, spread + move @ covariance @ np.swapaxes(move, 1, 2)


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
    if freedom > 0 and chi_square > float(chi2.ppf(0.99, freedom)):
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
    across = magnitude_uncertainty(value * 1j, block) / abs(value) if value else math.pi
    return (
        scale * abs(value),
        scale * magnitude_uncertainty(value, block),
        math.degrees(math.atan2(value.imag, value.real)),
        math.degrees(min(across, math.pi)),
    )
