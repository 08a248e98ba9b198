"""Least squares of a dial gauge's readings around one turn: offset and direction, lobes, outliers,
uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.metrology.outliers import SPARE, rougher, sticking_out
from bedsim.metrology.readings import Readings
from bedsim.metrology.setup import Setup
from bedsim.units import DEG, MM

Array = NDArray[np.float64]

_AT_SUPPORT = 1 * MM


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionFit:
    """Readings around one turn at one place.

    `position` [m]; `offset` [m] of the section's centre in the screw's frame with `covariance` (2, 2) [m2]
    of its x and y, of which `reading_covariance` is the gauge's, the rest that of what holds the screw;
    `lobes`: form amplitudes [m] of 2 and 3 lobes, NaN where too few angles tell; `span`: largest minus
    smallest reading [m]; `rows`: indices of the readings; `fitted`, `residual` [m] of each; `outliers`:
    indices suspected; `squares` [m2] of the residuals and readings left over, `freedom`, of the fit in which
    they were sought; `warnings`: sentences; `rough`: the readings hold a slip that none of them can be blamed
    for.
    """

    position: float
    place: str
    offset: complex
    covariance: Array
    reading_covariance: Array
    lobes: tuple[float, float]
    span: float
    rows: NDArray[np.intp]
    coefficients: Array
    harmonics: tuple[int, ...]
    fitted: Array
    residual: Array
    outliers: tuple[int, ...]
    squares: float
    freedom: int
    warnings: tuple[str, ...]
    rough: bool = False

    @property
    def run_out(self) -> float:
        """Once-per-turn run-out as total indicator reading [m]: twice the offset."""
        return 2 * abs(self.offset)

    @property
    def run_out_uncertainty(self) -> float:
        """Standard uncertainty [m] of `run_out`."""
        return 2 * magnitude_uncertainty(self.offset, self.covariance)

    @property
    def direction_uncertainty(self) -> float:
        """Standard uncertainty [rad] of the offset's direction, see `direction_uncertainty`."""
        return direction_uncertainty(self.offset, self.covariance)


def fit_positions(
    readings: Readings, setup: Setup, *, drop_outliers: bool = False
) -> tuple[PositionFit, ...]:
    """Fit every position (and place) of `readings`, in order of position.

    Model: reading = c + Re(r e^{j phi}) + sum Re(f_n e^{j n phi}) [+ d (travel - mean)], phi = screw angle
    minus gauge direction: the once-per-turn part r is the offset, the second and third harmonic f_n are
    out-of-roundness.  The trend d is fitted for jog readings, whose gauge slides along the nut.  Lobes are
    fitted where the angles allow. Uncertainty: gauge resolution and repeatability, widened by the scatter of
    the residuals where that is larger; V-blocks and centres add their own.  Outliers are sought with as many
    lobes as leave readings over to find them by: at eight angles three lobes pass through whatever is read.
    With `drop_outliers` they are left out and the rest fitted again.  A position rougher than the others is
    warned of.
    """
    places = np.array(readings.place)
    fits = []
    for place in dict.fromkeys(readings.place):
        for s in np.unique(readings.position[places == place]):
            rows = np.flatnonzero((places == place) & (readings.position == s))
            fit = _fit(readings, setup, rows, ())
            if drop_outliers and fit.outliers:
                fit = _fit(readings, setup, np.setdiff1d(rows, fit.outliers), fit.outliers)
            fits.append(fit)
    return tuple(sorted(_compared(fits, setup), key=lambda f: (f.position, f.place)))


def v_block_factor(lobes: int, included_angle: float) -> float:
    """Reading per amplitude of an n-lobed section in a V-block, gauge on the bisector: 1 + cos(n(90 deg +
    a))/sin a.

    a is half the included angle [rad].  Zero for n = 1: a V-block shows form, never the eccentricity of the
    section that lies in it.  Derived; agrees with the classical table (90 deg: 1, 2, 0.41 for 2, 3, 4 lobes,
    from memory).
    """
    a = included_angle / 2
    return 1 + math.cos(lobes * (math.pi / 2 + a)) / math.sin(a)


def magnitude_uncertainty(value: complex, covariance: Array) -> float:
    """Standard uncertainty of |value| from the covariance of its x and y (largest axis if the value is
    zero)."""
    if value == 0:
        return math.sqrt(float(np.linalg.eigvalsh(covariance)[-1]))
    u = np.array([value.real, value.imag]) / abs(value)
    return math.sqrt(float(u @ covariance @ u))


def direction_uncertainty(value: complex, covariance: Array) -> float:
    """Standard uncertainty [rad] of the direction of `value` from the covariance of its x and y; pi where it
    drowns in it.

    Of a plane vector with the same normal error u in x and y and a true size a, the direction found at a size
    r is von Mises distributed about the true one with kappa = a r/u^2: exactly, from the normal density in
    polar coordinates.  a is not known; r is larger in the mean by u^2/(2 a) (Rice's law, a above u), so that
    a r = r^2 - u^2/2.  The standard deviation on the circle is sqrt(-2 ln(I1/I0)) and tends to u/r.  Source:
    [Mardia2000] 2.3, 3.5; u is taken across the value.  Limits: once (twice) it holds the true direction in
    0.69 (0.90) of cases at a = u, 0.72 (0.94) at 2 u, 0.68 (0.95) from 6 u on, but 0.52 (0.75) without any
    signal.
    """
    kappa = (abs(value) / max(magnitude_uncertainty(value * 1j, covariance), 1e-15)) ** 2 - 0.5
    if kappa <= 0:
        return math.pi
    return min(
        math.pi, math.sqrt(-2 * math.log(float(scipy.special.ive(1, kappa) / scipy.special.ive(0, kappa))))
    )


def _compared(fits: list[PositionFit], setup: Setup) -> list[PositionFit]:
    """Warn of positions whose readings lie rougher than those of the others and where none is suspected."""
    squares, freedom = np.array([f.squares for f in fits]), np.array([f.freedom for f in fits])
    rough = rougher(squares, freedom, setup.reading_uncertainty)
    said = "the readings follow a circle far worse than at the other positions: look for slips in them"
    return [
        replace(fit, warnings=(*fit.warnings, said), rough=True) if bad and not fit.outliers else fit
        for fit, bad in zip(fits, rough, strict=True)
    ]


def _fit(readings: Readings, setup: Setup, rows: NDArray[np.intp], dropped: tuple[int, ...]) -> PositionFit:
    phi = readings.angle[rows] - setup.gauge
    value = readings.value[rows]
    turned = np.mod(readings.angle[rows], 2 * np.pi)
    distinct: Array = np.unique(np.round(turned, 6).astype(float))
    harmonics = _harmonics(distinct.size)
    trend = readings.travelled[rows] if readings.by_jog and rows.size >= 2 * len(harmonics) + 4 else None
    design = _design(phi, harmonics, trend)
    solution, _, rank, _ = np.linalg.lstsq(design, value, rcond=None)
    coefficients = np.asarray(solution, dtype=float)
    residual = value - design @ coefficients
    inverse = np.linalg.pinv(design.T @ design)
    freedom = rows.size - int(rank)
    variance = setup.reading_uncertainty**2
    scatter = float(residual @ residual) / freedom if freedom > 0 else 0.0
    covariance = max(variance, scatter) * inverse
    search = _design(phi, _searched(rows.size, harmonics, trend), trend)
    rest = value - search @ np.linalg.lstsq(search, value, rcond=None)[0]
    suspected = rows[sticking_out(search, value, setup.reading_uncertainty)]
    at_block = setup.how == "v-block" and _at_support(readings.position[rows[0]], setup)
    offset = complex(coefficients[1], -coefficients[2])
    flip = np.diag([1.0, -1.0])  # Re(r e^{j phi}) = x cos phi - y sin phi
    of_readings = flip @ covariance[1:3, 1:3] @ flip
    return PositionFit(
        position=float(np.mean(readings.travelled[rows])),
        place=readings.place[rows[0]],
        offset=offset,
        covariance=of_readings + setup.holding_uncertainty**2 * np.eye(2),
        reading_covariance=of_readings,
        lobes=_lobes(coefficients, harmonics, setup, at_block),
        span=float(np.ptp(value)),
        rows=rows,
        coefficients=coefficients,
        harmonics=harmonics,
        fitted=design @ coefficients,
        residual=residual,
        outliers=dropped or tuple(int(r) for r in suspected),
        squares=float(rest @ rest),
        freedom=int(rows.size - np.linalg.matrix_rank(search)),
        warnings=_warnings(distinct, freedom, at_block, readings.by_jog and trend is None),
    )


def curve(fit: PositionFit, phi: Array) -> Array:
    """Fitted reading [m] at gauge angles `phi` [rad], without the trend of jog readings."""
    count = 1 + 2 * len(fit.harmonics)
    return np.asarray(_design(phi, fit.harmonics, None) @ fit.coefficients[:count])


def _design(phi: Array, harmonics: tuple[int, ...], trend: Array | None) -> Array:
    columns = [np.ones_like(phi)]
    for n in harmonics:
        columns += [np.cos(n * phi), np.sin(n * phi)]
    if trend is not None:
        columns.append((trend - trend.mean()) / MM)
    return np.stack(columns, axis=-1)


def _harmonics(distinct: int) -> tuple[int, ...]:
    """Once per turn always; two lobes from six angles, three from eight, so that a check is left over."""
    return (1, 2, 3) if distinct >= 8 else (1, 2) if distinct >= 6 else (1,)


def _searched(count: int, harmonics: tuple[int, ...], trend: Array | None) -> tuple[int, ...]:
    """The harmonics that leave at least `SPARE` of `count` readings over; the first always stays."""
    usable = (count - SPARE - 1 - (trend is not None)) // 2
    return harmonics[: max(1, usable)]


def _lobes(
    coefficients: Array, harmonics: tuple[int, ...], setup: Setup, at_block: bool
) -> tuple[float, float]:
    found = {n: math.hypot(*coefficients[2 * n - 1 : 2 * n + 1]) for n in harmonics}
    if at_block:
        factors = {n: abs(v_block_factor(n, setup.v_angle)) for n in (2, 3)}
        found |= {n: found[n] / factors[n] if factors[n] > 0.05 else math.nan for n in (2, 3) if n in found}
    return found.get(2, math.nan), found.get(3, math.nan)


def _at_support(position: float, setup: Setup) -> bool:
    return setup.supports is not None and min(abs(position - p) for p in setup.supports) <= _AT_SUPPORT


def _warnings(distinct: Array, freedom: int, at_block: bool, no_trend: bool) -> tuple[str, ...]:
    found = []
    gap = float(np.max(np.diff(np.append(distinct, distinct[0] + 2 * np.pi))))
    if distinct.size < 8:
        lobes = "three lobes" if distinct.size >= 6 else "out-of-roundness"
        found.append(f"{distinct.size} angles: {lobes} cannot be told apart; take eight or more")
    if freedom == 0:
        found.append("no reading is left over to check the others")
    if gap > np.pi * (1 + 1e-6):
        found.append(f"the angles leave {gap / DEG:.0f} degrees of the turn unseen")
    if at_block:
        found.append("in a V-block the section's own eccentricity does not show: form only")
    if no_trend:
        found.append("too few readings to take out a slope of the nut's face: jog over more than one turn")
    return tuple(found)
