"""A screw rolled on a plate with feeler gauges under it: its bow, and where it points."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from bedsim.errors import InputError
from bedsim.metrology.centreline_fit import bow_basis
from bedsim.metrology.csv_input import ALONG, Table, length_notes, note, read_table
from bedsim.metrology.snippet import MeasuredKey, StatedKey
from bedsim.number_text import number
from bedsim.table_text import as_number
from bedsim.units import DEG, GRAVITY, LENGTHS, MM, UM

Array = NDArray[np.float64]

PLATE = 5 * UM  # plate and crests of the thread under a blade, standard uncertainty, our assumption
STEEL = 206e9, 7850.0  # Pa and kg/m3, common values for steel (from memory)
ROOT = 0.87  # of the nominal diameter: what bends, of ball screws about, our assumption
SAG_SHARE = 0.2  # of the sag, standard uncertainty by root and weight of the thread, our assumption


@dataclass(frozen=True, slots=True, kw_only=True)
class RolledFit:
    """Bow [m] (offset of the centreline, half the TIR) with standard uncertainty, and where it points [rad]
    (NaN if not marked).

    `position`, `gap`, `gap_uncertainty` [m] read, `fitted` [m] the gaps that the bow makes; `sag` [m] added
    at the middle; `chi_square` over `freedom`.
    """

    bow: float
    bow_uncertainty: float
    direction: float
    direction_uncertainty: float
    position: Array
    gap: Array
    gap_uncertainty: Array
    fitted: Array
    sag: float
    chi_square: float
    freedom: int
    warnings: tuple[str, ...]


def read_rolled(path: Path) -> RolledFit:
    """Read and fit gaps under a screw on a plate.

    Columns position_mm (or _inch), go_ and no_go_um (or _mm, _thou, _inch): the thickest blade that goes
    under and the thinnest that does not.  Notes as in the blank.  Raises InputError naming the line.
    """
    table = read_table(path, {"position": ALONG, "go": LENGTHS, "no_go": LENGTHS}, {})
    missing = [n for n in ("position", "go", "no_go") if n not in table.numbers]
    if missing:
        unit = "mm" if missing[0] == "position" else "um"
        raise InputError(f"{path}: column {missing[0]}_{unit} is missing.")
    length = note(table, length_notes("length"), math.nan)
    if math.isnan(length):
        raise InputError(f"{path}: length_mm: write `# length_mm = ...` on top: the screw's free length.")
    s, go, no_go = (table.numbers[k] for k in ("position", "go", "no_go"))
    touches = _touches(table, length)
    for row in range(s.size):
        if go[row] < 0 or no_go[row] <= go[row]:
            rule = "must be above go, and go not below 0."
            raise table.fault(row, "no_go", f"{no_go[row] / UM:g} um", rule)
        if not touches[0] < s[row] < touches[1]:
            span = f"{touches[0] / MM:g} to {touches[1] / MM:g}"
            rule = f"must lie between the touches: {span}."
            raise table.fault(row, "position_mm", f"{s[row] / MM:g}", rule)
    return fit_rolled(
        s,
        go,
        no_go,
        length=length,
        free_end=_is_free(table),
        touches=touches,
        diameter=note(table, length_notes("diameter"), math.nan),
        mark=_mark(table),
        plate=note(table, length_notes("plate"), PLATE),
    )


def fit_rolled(
    position: Array,
    go: Array,
    no_go: Array,
    *,
    length: float,
    free_end: bool = False,
    touches: tuple[float, float],
    diameter: float = math.nan,
    mark: float = math.nan,
    plate: float = PLATE,
) -> RolledFit:
    """Fit the bow B [m]: gap(s) = B |shape(s) - its chord between the touches| - sag(s).

    The true gap lies anywhere between the blades: u^2 = (no_go - go)^2/12 + plate^2 ([GUM] 4.3.7).  The sag
    of a beam on two ends under its own weight is w x (a^3 - 2 a x^2 + x^3)/(24 EI), 5 w a^4/(384 EI) at the
    middle ([Roark] table of beams); for a plain rod w/EI = 16 rho g/(E d^2).  Limits: a bow much
    larger than its sag; blades that do not press.  With one position and blades far apart the error is nearly
    even: one standard uncertainty then holds 58 %, two hold all.
    """
    x = position - touches[0]
    span = touches[1] - touches[0]
    shape = np.abs(bow_basis(position, length, free_end, touches))
    sag = np.zeros_like(x)
    if math.isfinite(diameter):
        load = 16 * STEEL[1] * GRAVITY / (STEEL[0] * (ROOT * diameter) ** 2)  # w/EI, 1/m3
        sag = load * x * (span**3 - 2 * span * x**2 + x**3) / 24
    gap = (go + no_go) / 2
    u = np.sqrt((no_go - go) ** 2 / 12 + plate**2)
    weight = shape / u**2
    bow = float(weight @ (gap + sag) / (weight @ shape))
    chi = float((((gap + sag - bow * shape) / u) ** 2).sum())
    freedom = position.size - 1
    widened = max(1.0, chi / freedom) if freedom else 1.0
    of_sag = SAG_SHARE * float(weight @ sag / (weight @ shape))
    bow_u = math.sqrt(widened / float(weight @ shape) + of_sag**2)
    step = float(np.median(no_go - go))
    return RolledFit(
        bow=bow,
        bow_uncertainty=bow_u,
        direction=mark,
        direction_uncertainty=_rolled_to(step, max(bow, step)),
        position=position,
        gap=gap,
        gap_uncertainty=u,
        fitted=bow * shape - sag,
        sag=float(sag.max()),
        chi_square=chi,
        freedom=freedom,
        warnings=_warnings(bow, bow_u, chi, freedom, diameter),
    )


def scenario_keys(fit: RolledFit) -> tuple[tuple[MeasuredKey | StatedKey, ...], tuple[str, ...]]:
    """Keys of the bow, as read on the free screw, and remarks."""
    keys: list[MeasuredKey | StatedKey] = [
        MeasuredKey(
            table="screw.run_out",
            key="bow_tir_um",
            likely=2 * fit.bow / UM,
            uncertainty=2 * fit.bow_uncertainty / UM,
        )
    ]
    remarks = [
        f"Bow {number(2 * fit.bow / UM)} ± {number(2 * fit.bow_uncertainty / UM, 2)} µm TIR, twice the gap; "
        f"its own weight takes {number(fit.sag / UM, 2)} µm off the gap (added).",
        "On a plate only the bow shows: eccentricity and tilt against the bearings are not measured.",
    ]
    if math.isfinite(fit.direction):
        keys.append(
            MeasuredKey(
                table="screw.run_out",
                key="bow_deg",
                likely=fit.direction / DEG,
                uncertainty=fit.direction_uncertainty / DEG,
                least=None,
            )
        )
    else:
        remarks.append("Where the bow points is not known without mark_deg: the size alone is a key.")
    keys.append(StatedKey(table="screw.run_out", key="bow_measured", value="free"))
    return tuple(keys), tuple(remarks)


def _rolled_to(step: float, bow: float) -> float:
    """Standard uncertainty [rad] of where the gap is largest.

    It falls by bow (1 - cos) beside it and is not seen to fall before half a step of blades: even within
    that, over the root of three (derived).
    """
    return math.acos(max(-1.0, 1 - step / (2 * bow))) / math.sqrt(3)


def _touches(table: Table, length: float) -> tuple[float, float]:
    for unit in ("mm", "inch"):
        text = table.notes.get(f"touches_{unit}")
        if text is not None:
            numbers = [as_number(word) * LENGTHS[unit] for word in text.replace(",", " ").split()]
            if len(numbers) != 2 or not numbers[0] < numbers[1]:
                where = f"{table.path}: touches_{unit} = {text}"
                raise InputError(f"{where}: must be two numbers, the lower first.")
            return numbers[0], numbers[1]
    return 0.0, length


def _is_free(table: Table) -> bool:
    ends = table.notes.get("ends", "both")
    if ends not in ("both", "one"):
        raise InputError(f"{table.path}: ends = {ends}: must be one of both, one.")
    return ends == "one"


def _mark(table: Table) -> float:
    text = table.notes.get("mark_deg")
    if text is None:
        return math.nan
    value = as_number(text)
    if math.isnan(value):
        raise InputError(f"{table.path}: mark_deg = {text}: must be a number.")
    return value * DEG


def _warnings(bow: float, u: float, chi: float, freedom: int, diameter: float) -> tuple[str, ...]:
    found = []
    if bow < 2 * u:
        found.append("the gap drowns in its uncertainty: the screw is straight for feeler gauges")
    if freedom == 0:
        found.append("one place only: nothing is left over to check the shape of the bow")
    elif chi > float(chi2.ppf(0.99, freedom)):
        found.append("no single bow makes these gaps: a kink, an S, or dirt under the screw")
    if math.isnan(diameter):
        found.append("diameter_mm is not given: the sag by its own weight, 10 to 20 µm, is not counted")
    return tuple(found)
