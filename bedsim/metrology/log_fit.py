"""A gauge on the bed that writes by itself while a lead is jogged: one wave per turn out of the whole log."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import Table, length_notes, note, read_table
from bedsim.units import LENGTHS, MM

Array = NDArray[np.float64]

START = 0.05  # s, how well it is known when the motion began, standard uncertainty, our assumption
TWO_SIGMA = 0.9545  # of a normal law within two standard deviations
LEAST_PER_TURN = 8
HARMONICS = (1, 2, 3)
_SECONDS = {"s": 1.0, "ms": 1e-3}
_DOWN = {"mm": MM, "inch": LENGTHS["inch"]}
_KNOWN = ("test", "probe", "axis", "turned", "turned_deg", "start_s", "speed_mm_s", "speed_inch_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogFit:
    """reading = Re(waves[0] e^{j psi}) and twice and three times per turn, psi = 0 at the start [m], with the
    standard uncertainty of real and imaginary part of the first.

    `turns` seen, `lead` [m], `drift` [m] over the log, `line` of its first reading; `corner` whose screw was
    turned by `by` [deg] in its coupling, "" for none.
    """

    probe: str
    axis: str
    lead: float
    waves: tuple[complex, ...]
    uncertainty: float
    turns: float
    drift: float
    corner: str
    by: float
    line: int


def is_log(header: list[str]) -> bool:
    """Whether columns are those of a log: readings beside times or ways down."""
    beside = ("time_", "down_")
    return any(h.startswith("reading_") for h in header) and any(h.startswith(beside) for h in header)


def read_log(path: Path) -> LogFit:
    """Read and fit a log.

    Columns reading_um (or _mm, _thou, _inch) with down_mm (or _inch: jogged down since the start) or time_s
    (or _ms); notes probe, axis, lead_mm, and with times speed_mm_s and start_s (when the motion began).
    Raises InputError naming the line.
    """
    table = read_table(path, {"reading": LENGTHS, "time": _SECONDS, "down": _DOWN}, {})
    if "reading" not in table.numbers or ("time" in table.numbers) == ("down" in table.numbers):
        raise InputError(f"{path}: columns reading_um and one of time_s, down_mm are needed.")
    lead = note(table, length_notes("lead"), math.nan)
    for key, given in (("lead_mm", not math.isnan(lead)), ("probe", "probe" in table.notes)):
        if not given:
            raise InputError(f"{path}: {key}: write `# {key} = ...` on top.")
    axis = table.notes.get("axis", "").lower()
    if axis not in ("x", "y", "z"):
        raise InputError(f"{path}: axis = {axis or '(none)'}: write `# axis = x`, y or z on top.")
    by = _degrees(table)
    down, late = _way(table)
    keep = down >= 0
    waves, u, drift = fit_waves(down[keep], table.numbers["reading"][keep], lead, str(path))
    return LogFit(
        probe=table.notes["probe"],
        axis=axis,
        lead=lead,
        waves=waves,
        uncertainty=math.hypot(u, abs(waves[0]) * 2 * math.pi * late / lead),
        turns=float(down.max() / lead),
        drift=drift,
        corner=table.notes.get("turned", ""),
        by=by,
        line=table.lines[int(np.argmax(keep))],
    )


def fit_waves(
    down: Array, reading: Array, lead: float, where: str = "log"
) -> tuple[tuple[complex, ...], float, float]:
    """Waves per turn (3,) [m], the standard uncertainty of the first in its less sure direction, and the
    drift [m].

    Least squares of a constant, a drift along the way and three harmonics of the lead.  Uncertainty: from
    what is left over, as of independent readings (over one turn the drift looks much like the sine, and makes
    it less sure); from three turns on also from the scatter of the wave
    from turn to turn, with Student's factor at 95 % ([GUM] G.3), whichever is larger: what is left over by a
    dense log is seldom independent.  Raises InputError for less than a turn, or fewer than eight readings
    a turn.
    """
    turns = float(np.ptp(down)) / lead if down.size else 0.0
    if turns < 1 - 1e-9:
        raise InputError(f"{where}: the log covers {turns:.2f} turns of the screw: at least one is needed.")
    if down.size < LEAST_PER_TURN * turns:
        told = f"{down.size / turns:.1f} readings a turn"
        raise InputError(f"{where}: {told}: at least {LEAST_PER_TURN} are needed.")
    psi = 2 * np.pi * down / lead
    columns = [np.ones_like(psi), (down - down.mean()) / np.ptp(down)]
    for n in HARMONICS:
        columns += [np.cos(n * psi), np.sin(n * psi)]
    design = np.stack(columns, axis=-1)
    found = np.linalg.lstsq(design, reading, rcond=None)[0]
    rest = reading - design @ found
    spread = float(rest @ rest) / max(1, rest.size - found.size)
    inverse = np.linalg.pinv(design.T @ design)
    u = math.sqrt(spread * float(np.linalg.eigvalsh(inverse[2:4, 2:4])[-1]))
    waves = tuple(complex(found[2 * n], -found[2 * n + 1]) for n in HARMONICS)
    level = reading - design[:, 1] * found[1]
    return waves, max(u, _by_turns(psi, level)), float(found[1])


def _by_turns(psi: Array, reading: Array) -> float:
    """Standard uncertainty of the mean wave from its scatter between whole turns; 0 below three of them."""
    number = np.floor((psi - psi.min()) / (2 * np.pi)).astype(int)
    whole = int(np.ptp(psi) / (2 * np.pi) + 1e-9)
    if whole < 3:
        return 0.0
    found = []
    for k in range(whole):
        here = number == k
        columns = [np.ones(int(here.sum())), np.cos(psi[here]), np.sin(psi[here])]
        found.append(np.linalg.lstsq(np.stack(columns, axis=-1), reading[here], rcond=None)[0][1:])
    freedom = 2 * (whole - 1)
    scatter = math.sqrt(float(((np.array(found) - np.mean(found, axis=0)) ** 2).sum()) / freedom)
    return scatter / math.sqrt(whole) * float(scipy.stats.t.isf((1 - TWO_SIGMA) / 2, freedom)) / 2


def _way(table: Table) -> tuple[Array, float]:
    """How far the nut has been jogged down [m] at every reading, and how late that may be [m]."""
    known = {*_KNOWN, *length_notes("lead")}
    for key in table.notes:
        if key not in known:
            told = f"{key} = {table.notes[key]}: key not known; known: {', '.join(_KNOWN)}"
            raise InputError(f"{table.path}: {told}.")
    name = "down" if "down" in table.numbers else "time"
    along = table.numbers[name]
    for row in np.flatnonzero(np.diff(along) < 0) + 1:
        raise table.fault(int(row), name, f"{along[row]:g}", "goes back; a log is jogged down all the way.")
    if name == "down":
        return along, 0.0
    speeds = {"speed_mm_s": MM, "speed_inch_s": LENGTHS["inch"]}
    speed = note(table, speeds, math.nan)
    if math.isnan(speed):
        raise InputError(f"{table.path}: speed_mm_s: a log by time needs `# speed_mm_s = ...` on top.")
    start = _number(table, "start_s")
    return (along - (along[0] if math.isnan(start) else start)) * speed, START * speed


def _degrees(table: Table) -> float:
    if ("turned" in table.notes) != ("turned_deg" in table.notes):
        raise InputError(f"{table.path}: turned and turned_deg belong together: give both or none.")
    value = _number(table, "turned_deg")
    return 0.0 if math.isnan(value) else value


def _number(table: Table, key: str) -> float:
    if key not in table.notes:
        return math.nan
    try:
        value = float(table.notes[key])
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{table.path}: {key} = {table.notes[key]}: must be a number.")
    return value
