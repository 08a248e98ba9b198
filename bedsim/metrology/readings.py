"""Dial-gauge readings of a screw: how they were taken, and the file they were written in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import ALONG, ANGLES, NUMBERS, Table, read_header, read_table
from bedsim.metrology.setup import Setup, setup_from
from bedsim.units import LENGTHS, MM, UM

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings [m] at `position` [m] above the lower end of the free length and screw `angle` [rad].

    `travelled`: the nut's actual height [m] (jog readings), else equal to position.  `place`: "thread" or
    "journal".
    """

    position: Array
    travelled: Array
    angle: Array
    value: Array
    place: tuple[str, ...]
    lines: tuple[int, ...]
    by_jog: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Extremes:
    """Largest and smallest reading [m] of a turn at each `position` [m]; no directions."""

    position: Array
    largest: Array
    smallest: Array


def read_readings(path: Path, options: dict[str, str] | None = None) -> tuple[Readings | Extremes, Setup]:
    """Read a file of dial-gauge readings and how they were taken; `options` go before the file's own notes.

    Columns: position_mm, then angle_deg or jog_mm with reading_um (or _mm, _thou, _inch), or max_ and min_
    of the same units; optional `place` (thread or journal) and `round` (number of a repeated turn).
    Raises InputError: see `csv_input.read_table`; too few angles, duplicated readings, positions off the
    screw.
    """
    header = read_header(path).header
    extremes = any(h.startswith(("max_", "min_")) for h in header)
    _check_header(path, header, extremes)
    quantities: dict[str, dict[str, float]] = {"position": ALONG}
    if extremes:
        quantities |= {"max": LENGTHS, "min": LENGTHS}
    else:
        quantities |= {"reading": LENGTHS, "angle": ANGLES, "jog": ALONG}
        quantities |= {"round": NUMBERS}
    table = read_table(path, quantities, {"place": ("thread", "journal")})
    setup = setup_from({**table.notes, **(options or {})}, str(path))
    _check_positions(table, setup)
    if extremes:
        return _extremes(table), setup
    readings = _readings(table, setup)
    _check_duplicates(table, readings)
    _check_counts(table, readings)
    return readings, setup


def _check_header(path: Path, header: list[str], extremes: bool) -> None:
    def has(start: str) -> bool:
        return any(h.startswith(start) for h in header)

    faults = []
    if not has("position_"):
        faults.append(f"{path}: column position_mm is missing.")
    if extremes:
        faults += [f"{path}: column {n}_um is missing." for n in ("max", "min") if not has(n + "_")]
    else:
        if not has("reading_"):
            faults.append(
                f"{path}: column reading_um (or reading_mm, reading_thou, reading_inch) is missing."
            )
        if has("angle_") == has("jog_"):
            missing = (
                "column angle_deg (or jog_mm) is missing; readings without angles need max_um and min_um"
            )
            rule = "both angle_deg and jog_mm are given: keep one" if has("angle_") else missing
            faults.append(f"{path}: {rule}.")
    if faults:
        raise InputError("\n".join(faults))


def _check_positions(table: Table, setup: Setup) -> None:
    journal = [p == "journal" for p in table.words.get("place", ())] or [False] * len(table.lines)
    for row, s in enumerate(table.numbers["position"]):
        top = setup.length
        if journal[row]:
            continue  # journals lie beyond the free length
        if s < 0 or (top is not None and s > top * (1 + 1e-9)):
            span = f"0 to {top / MM:g}" if top is not None else "0 or more"
            raise table.fault(
                row,
                "position_mm",
                f"{s / MM:g}",
                f"is off the screw; positions count from the lower end of the free length: {span}.",
            )


def _extremes(table: Table) -> Extremes:
    p, hi, lo = (table.numbers[k] for k in ("position", "max", "min"))
    for row in np.flatnonzero(hi < lo):
        raise table.fault(int(row), "max", f"{hi[row] / UM:g} um", "must not be below min.")
    if np.unique(p).size < p.size:
        raise InputError(f"{table.path}: a position stands twice: give max and min of one turn per position.")
    order = np.argsort(p)
    return Extremes(position=p[order], largest=hi[order], smallest=lo[order])


def _readings(table: Table, setup: Setup) -> Readings:
    n = table.numbers
    position = n["position"]
    if "jog" in n:
        if setup.lead is None:
            raise InputError(f"{table.path}: lead_mm: readings by jog distance need the lead of the screw.")
        travelled = position + n["jog"]
        hand = 1.0 if setup.right_hand else -1.0
        # a right-hand screw turns clockwise, seen from above, to lift its nut
        angle = -hand * 2 * np.pi * (travelled - (setup.zero or 0.0)) / setup.lead
    else:
        # mark a stands under the gauge at g when the screw has turned by g - a
        travelled, angle = position, setup.gauge - n["angle"] if setup.marks else n["angle"]
    return Readings(
        position=position,
        travelled=travelled,
        angle=angle,
        value=n["reading"],
        place=table.words.get("place", ("thread",) * position.size),
        lines=table.lines,
        by_jog="jog" in n,
    )


def _check_duplicates(table: Table, readings: Readings) -> None:
    rounds = table.numbers.get("round", np.zeros(readings.position.size))
    seen: dict[tuple[float, float, float, str], int] = {}
    for row, key in enumerate(
        zip(readings.position, np.round(readings.angle, 9), rounds, readings.place, strict=True)
    ):
        if key in seen:
            column = "jog_mm" if readings.by_jog else "angle_deg"
            first = table.lines[seen[key]]
            raise InputError(
                f"{table.path}: lines {first} and {table.lines[row]}: position_mm = {key[0] / MM:g} with "
                f"the same {column} stands twice. Number repeated turns in a column round."
            )
        seen[key] = row


def _check_counts(table: Table, readings: Readings) -> None:
    faults = []
    for place in dict.fromkeys(readings.place):
        here = np.array([p == place for p in readings.place])
        for s in np.unique(readings.position[here]):
            chosen = here & (readings.position == s)
            count = np.unique(np.round(np.mod(readings.angle[chosen], 2 * np.pi), 6)).size
            if chosen.sum() == 1:
                faults.append(
                    f"{table.path}: position_mm = {s / MM:g}: one reading only; run-out needs a turn."
                )
            elif count < 3:
                faults.append(
                    f"{table.path}: position_mm = {s / MM:g}: {count} angles; an offset and its direction "
                    "need at least three, better eight."
                )
    if faults:
        raise InputError("\n".join(faults))
