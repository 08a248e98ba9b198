"""Tap and count: frequency and damping ratio from a decay."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import NUMBERS, TIMES, length_notes, note, read_header, read_table
from bedsim.metrology.snippet import MeasuredKey
from bedsim.number_text import number
from bedsim.units import LENGTHS, UM

Array = NDArray[np.float64]

TIME_READING = 0.02  # s, a swing's moment read off a plot or a video of 50 pictures a second, our assumption
READING_SHARE = 0.1  # an amplitude read off a bouncing needle or a phone's plot: 10 %, our assumption


@dataclass(frozen=True, slots=True, kw_only=True)
class DecayFit:
    """Frequency [Hz] (NaN if no time was taken) and damping ratio with standard uncertainties.

    `cycle`, `amplitude` [m]: the points fitted.  `friction_like`: the amplitude falls along a straight line
    rather than by equal ratios, as dry friction makes it.  With amplitudes read to 5 % damping of 2 to 6 % is
    taken for friction in 6 % of decays of four swings, 3 % of five, 1 % of six, 0.4 % of eight; friction
    alone is missed in 5 % where the last swing is a quarter of the first, and not at a tenth (3000 each).
    """

    frequency: float
    frequency_uncertainty: float
    damping: float
    damping_uncertainty: float
    cycle: Array
    amplitude: Array
    friction_like: bool
    warnings: tuple[str, ...]


def read_decay(path: Path) -> DecayFit:
    """Read and fit a tap test.

    Either a list (columns cycle, amplitude_um or _mm, _thou, _inch; optional time_s of each), or counts, one
    tap a line (columns cycles, duration_s, first_um, last_um).  Note resolution_um.  Raises InputError for
    bad cells or amplitudes that are not positive.
    """
    if "cycles" in read_header(path).header:
        return _counted(path)
    table = read_table(path, {"cycle": NUMBERS, "amplitude": LENGTHS, "time": TIMES}, {})
    for name in ("cycle", "amplitude"):
        if name not in table.numbers:
            raise InputError(f"{path}: column {name}{'_um' if name == 'amplitude' else ''} is missing.")
    gauge = note(table, length_notes("resolution"), 1 * UM)
    return fit_decay(
        table.numbers["cycle"], table.numbers["amplitude"], table.numbers.get("time"), gauge, str(path)
    )


def fit_decay(
    cycle: Array, amplitude: Array, time: Array | None, gauge: float, where: str = "decay"
) -> DecayFit:
    """Fit ln(amplitude) = a - delta cycle; damping = delta/sqrt(4 pi^2 + delta^2).

    `cycle` counts of full swings, `amplitude` [m], `time` [s] or None, `gauge` resolution [m].  Source:
    logarithmic decrement, [MEIROVITCH] free vibration; holds for viscous damping.  Raises InputError below
    three points or for amplitudes that are not positive.
    """
    if cycle.size < 3 or np.unique(cycle).size < 3:
        raise InputError(f"{where}: a decay needs at least three swings.")
    if np.any(amplitude <= 0):
        raise InputError(f"{where}: amplitude must be > 0 in every line.")
    sigma = np.hypot(gauge / math.sqrt(12) / amplitude, READING_SHARE / 2)
    design = np.stack([np.ones_like(cycle), -cycle], axis=-1)
    found, covariance, chi = _line(design, np.log(amplitude), sigma)
    straight = _line(design, amplitude, sigma * amplitude)[2]
    damping, u = _ratio(float(found[1]), math.sqrt(covariance[1, 1]))
    frequency, uf = math.nan, math.nan
    if time is not None:
        rate, spread, _ = _line(
            np.stack([np.ones_like(cycle), cycle], axis=-1), time, np.full(cycle.size, TIME_READING)
        )
        frequency = 1 / float(rate[1])
        uf = math.sqrt(spread[1, 1]) * frequency**2
    friction_like = straight < 0.5 * chi and chi > cycle.size - 2
    return DecayFit(
        frequency=frequency,
        frequency_uncertainty=uf,
        damping=damping,
        damping_uncertainty=u,
        cycle=cycle,
        amplitude=amplitude,
        friction_like=friction_like,
        warnings=_warnings(damping, friction_like),
    )


def _counted(path: Path) -> DecayFit:
    table = read_table(path, {"cycles": NUMBERS, "duration": TIMES, "first": LENGTHS, "last": LENGTHS}, {})
    missing = [n for n in ("cycles", "first", "last") if n not in table.numbers]
    if missing:
        raise InputError(f"{path}: column {missing[0]}{'' if missing[0] == 'cycles' else '_um'} is missing.")
    n, first, last = (table.numbers[k] for k in ("cycles", "first", "last"))
    for row in np.flatnonzero((n < 1) | (last <= 0) | (first <= last)):
        raise table.fault(
            int(row), "last", f"{last[row] / UM:g} um", "must be > 0 and below first; cycles >= 1."
        )
    decrement = np.log(first / last) / n
    own = math.sqrt(2) * READING_SHARE / 2 / n
    mean = float(np.average(decrement, weights=1 / own**2))
    spread = float(np.std(decrement, ddof=1)) / math.sqrt(n.size) if n.size > 1 else 0.0
    damping, u = _ratio(mean, max(float(1 / math.sqrt(np.sum(1 / own**2))), spread))
    frequency, uf = math.nan, math.nan
    if "duration" in table.numbers:
        rates = n / table.numbers["duration"]
        frequency = float(rates.mean())
        own_f = rates * 0.1 / table.numbers["duration"]  # a stopwatch is good to about 0.1 s
        uf = max(float(np.sqrt(np.sum(own_f**2))) / n.size, float(np.ptp(rates)) / 2 / math.sqrt(n.size))
    k = int(np.argmax(n))
    return DecayFit(
        frequency=frequency,
        frequency_uncertainty=uf,
        damping=damping,
        damping_uncertainty=u,
        cycle=np.array([0.0, n[k]]),
        amplitude=np.array([first[k], last[k]]),
        friction_like=False,
        warnings=_warnings(damping, False),
    )


def scenario_keys(fit: DecayFit) -> tuple[tuple[MeasuredKey, ...], tuple[str, ...]]:
    """Scenario key of the damping ratio and remarks."""
    key = MeasuredKey(
        table="damping",
        key="ratio",
        likely=fit.damping,
        uncertainty=fit.damping_uncertainty,
        least=1e-4,
        note="of the mode that was tapped; the scenario uses it for all",
    )
    remarks = ["Damping from a tap; friction of guides and joints is in it too and counts twice if large."]
    if math.isfinite(fit.frequency):
        remarks.append(
            f"Frequency {number(fit.frequency)} ± {number(fit.frequency_uncertainty, 2)} Hz: compare "
            f"with the lowest "
            "modes of a run."
        )
    return (key,), tuple(remarks)


def _ratio(decrement: float, u: float) -> tuple[float, float]:
    whole = math.hypot(2 * math.pi, decrement)
    return decrement / whole, u * 4 * math.pi**2 / whole**3


def _line(design: Array, target: Array, sigma: Array) -> tuple[Array, Array, float]:
    rows, data = design / sigma[:, None], target / sigma
    found = np.asarray(np.linalg.lstsq(rows, data, rcond=None)[0], dtype=float)
    rest = data - rows @ found
    chi = float(rest @ rest)
    scale = max(1.0, chi / max(1, target.size - 2))
    return found, np.asarray(scale * np.linalg.inv(rows.T @ rows), dtype=float), chi


def _warnings(damping: float, friction_like: bool) -> tuple[str, ...]:
    found = []
    if damping <= 0:
        found.append("the amplitude grows: no damping can be read from this")
    if damping > 0.2:
        found.append("so few swings are left that the ratio is rough")
    if friction_like:
        found.append("the amplitude falls along a straight line: dry friction, no damping ratio describes it")
    return tuple(found)
