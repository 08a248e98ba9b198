"""Readings for a diagnosis: the CSV file, the once-per-turn amplitudes in it, and the machine's rows that
belong to them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from bedsim.diagnosis.least_squares import Complex, phasor_of_turn, turned_response
from bedsim.diagnosis.response import UnitResponses
from bedsim.errors import InputError
from bedsim.metrology.log_fit import is_log, read_log
from bedsim.results.layers import Array
from bedsim.scenario.keys import nearest
from bedsim.table_text import as_number, in_units, read_table_text
from bedsim.units import DEG, MM, UM
from bedsim.wall.relief import wall_normal, width_per_height

GAUGE_COLUMNS = ("probe", "axis", "eighth", "reading_um")
BAND_COLUMNS = ("wall", "probe", "wavelength_mm", "amplitude_um", "crest_mm")
OPTIONAL_COLUMNS = ("sigma_um", "turned", "turned_deg")
AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One once-per-turn amplitude: of a gauge on the bed, or of the bands on a wall."""

    where: str  # file and line of its first row
    place: str  # axis x, y, z of a gauge, or the name of a wall
    probe: str
    value: complex  # m, reading = Re(value e^{j psi}), psi = 0 at the start
    sigma: float  # m, of real and imaginary part
    wavelength: float | None  # m, of bands
    turned: str  # corner whose coupling had been turned, "" for none
    turn: float  # rad
    scatter: float  # largest reading left over by the once-per-turn fit, in sigmas; 0 for bands
    crest: float | None = None  # m, height of a band's crest above the first layer


def read_readings(
    path: str | Path, default_sigma: float = 1.0 * UM, lead: float | None = None
) -> tuple[Reading, ...]:
    """Read a CSV file of gauge readings or of bands.  Raises InputError with all faults in one list.

    Gauge (fixed to the frame, positive when the bed moves along +X, +Y or up): columns probe, axis (x, y
    or z), eighth (of a lead jogged down from the start), reading_um; at least four different eighths per
    probe and axis. Bands: columns wall (+X, -Y or an angle), probe, wavelength_mm, amplitude_um, crest_mm
    (height of a crest above the first layer).
    A log of a gauge that writes by itself: see `metrology.log_fit`; its lead must be `lead` [m].
    Both: sigma_um (standard uncertainty of one reading), turned (corner whose coupling was turned) and
    turned_deg.
    """
    table = read_table_text(Path(path))
    if is_log(table.header):
        return (_log_reading(Path(path), lead),)
    gauge, rows = checked_rows(Path(path))
    make = _gauge_readings if gauge else _band_readings
    return make([(f"{path}: line {number}", row) for number, row in rows], default_sigma)


def _log_reading(path: Path, lead: float | None) -> Reading:
    found = read_log(path)
    if lead is not None and abs(found.lead / lead - 1) > 1e-6:
        told = f"lead_mm = {found.lead / MM:g}: the scenario has {lead / MM:g}"
        raise InputError(f"{path}: line {found.line}: {told}.")
    return Reading(
        where=f"{path}: line {found.line}",
        place=found.axis,
        probe=found.probe,
        value=found.waves[0],
        sigma=found.uncertainty,
        wavelength=None,
        turned=found.corner,
        turn=found.by * DEG,
        scatter=max(abs(wave) for wave in found.waves[1:]) / found.uncertainty,
    )


def checked_rows(path: Path) -> tuple[bool, list[tuple[int, dict[str, str]]]]:
    """Whether a file holds a gauge's readings (else bands), and its rows with their line numbers, every cell
    checked.  Raises InputError with all faults in one list."""
    rows, header = _rows(path)
    faults = _header_faults(header)
    gauge = "reading_um" in header
    if not faults:
        faults = [text for number, row in rows for text in _row_faults(row, number, gauge)]
    if not faults and not rows:
        faults = ["no readings below the header."]
    if faults:
        raise InputError("\n".join(f"{path}: {text}" for text in faults))
    return gauge, rows


def _rows(path: Path) -> tuple[list[tuple[int, dict[str, str]]], list[str]]:
    if path.suffix.lower() == ".toml":
        raise InputError(
            f"{path}: is a file of keys (TOML), not a table of readings. READINGS come first, SCENARIO "
            "second; bedsim diagnose --help shows what readings look like."
        )
    table = in_units(read_table_text(path), (*GAUGE_COLUMNS, *BAND_COLUMNS, *OPTIONAL_COLUMNS))
    if not table.rows:
        raise InputError(
            f"{path}: is empty. The first line must name the columns: {', '.join(GAUGE_COLUMNS)}."
        )
    for line, cells in table.rows[1:]:
        if (wrong := table.wrong_count(cells)) is not None:
            raise InputError(f"{path}: line {line}: {wrong}.")
    return [(i, dict(zip(table.header, r, strict=True))) for i, r in table.rows[1:]], table.header


def _header_faults(header: Sequence[str]) -> list[str]:
    kind = BAND_COLUMNS if "wall" in header else GAUGE_COLUMNS
    allowed = (*kind, *OPTIONAL_COLUMNS)
    faults = [f"column {name} is missing." for name in kind if name not in header]
    for name in header:
        if name not in allowed:
            near = nearest(name, allowed)
            hint = f" Did you mean {near}?" if near else ""
            faults.append(f"column {name!r} is not known; allowed: {', '.join(allowed)}.{hint}")
    return faults


def _row_faults(row: dict[str, str], number: int, gauge: bool) -> list[str]:
    where = f"line {number}: "
    faults = []
    numbers = ("eighth", "reading_um") if gauge else ("wavelength_mm", "amplitude_um", "crest_mm")
    for key in (*numbers, "sigma_um", "turned_deg"):
        value = row.get(key, "")
        if (key in numbers or value) and not _is_number(value):
            faults.append(f"{where}{key} = {value!r}: must be a number.")
        elif value and key in ("sigma_um", "wavelength_mm") and float(value) <= 0:
            faults.append(f"{where}{key} = {value}: must be above 0.")
    if gauge and row.get("axis", "").lower() not in AXES:
        faults.append(f"{where}axis = {row.get('axis', '')!r}: must be x, y or z.")
    if not gauge:
        try:
            wall_normal(row.get("wall", ""))
        except InputError as fault:
            faults.append(f"{where}{fault}")
    if not row.get("probe"):
        faults.append(f"{where}probe is empty.")
    if bool(row.get("turned")) != bool(row.get("turned_deg")):
        faults.append(f"{where}turned and turned_deg belong together: give both or none.")
    return faults


def _is_number(text: str) -> bool:
    return not math.isnan(as_number(text))


def sigma_of(row: dict[str, str], default: float) -> float:
    """Standard uncertainty (m) of the reading in a row."""
    return float(row["sigma_um"]) * UM if row.get("sigma_um") else default


def _gauge_readings(rows: Sequence[tuple[str, dict[str, str]]], default_sigma: float) -> tuple[Reading, ...]:
    groups: dict[tuple[str, str, str, float], list[dict[str, str]]] = {}
    first: dict[tuple[str, str, str, float], str] = {}
    for where, row in rows:
        key = (
            row["probe"],
            row["axis"].lower(),
            row.get("turned", ""),
            float(row.get("turned_deg") or 0) * DEG,
        )
        groups.setdefault(key, []).append(row)
        first.setdefault(key, where)
    out = []
    for key, members in groups.items():
        probe, axis, turned, turn = key
        angle = np.array([float(r["eighth"]) for r in members]) * np.pi / 4.0
        try:
            value, rest = phasor_of_turn(angle, [float(r["reading_um"]) * UM for r in members])
        except InputError as fault:
            raise InputError(f"{first[key]}: probe {probe}, axis {axis}: {fault}") from None
        of_reading = float(np.sqrt(np.mean([sigma_of(r, default_sigma) ** 2 for r in members])))
        out.append(
            Reading(
                where=first[key],
                place=axis,
                probe=probe,
                value=value,
                sigma=of_reading * float(np.sqrt(2.0 / len(members))),
                wavelength=None,
                turned=turned,
                turn=turn,
                scatter=float(np.max(np.abs(rest))) / of_reading,
            )
        )
    return tuple(out)


def _band_readings(rows: Sequence[tuple[str, dict[str, str]]], default_sigma: float) -> tuple[Reading, ...]:
    out = []
    for where, row in rows:
        wavelength, crest = float(row["wavelength_mm"]) * MM, float(row["crest_mm"]) * MM
        angle = 2.0 * np.pi * crest / wavelength
        out.append(
            Reading(
                where=where,
                place=wall_normal(row["wall"])[0],
                probe=row["probe"],
                value=complex(float(row["amplitude_um"]) * UM * np.exp(-1j * angle)),
                sigma=sigma_of(row, default_sigma),
                wavelength=wavelength,
                crest=crest,
                turned=row.get("turned", ""),
                turn=float(row.get("turned_deg") or 0) * DEG,
                scatter=0.0,
            )
        )
    return tuple(out)


def wall_row(
    axes: ArrayLike, normal: Array, *, lead: float, layer_height: float, line_width: float
) -> Complex:
    """Relief of a wall (s,) per source from the bed's answers along x, y, z (3, s), per once-per-turn
    amplitude.

    -n . d_xy + (w/2) (d_z(n) - d_z(n-1))/h; a layer further on psi has grown by delta = 2 pi h/lead, so the
    difference of a wave is (1 - e^{-j delta}) d_z.  See `bedsim.wall.relief.wall_relief`.
    """
    d = np.asarray(axes, complex)
    step = 1.0 - np.exp(-2j * np.pi * layer_height / lead)
    half_width = -0.5 * width_per_height(line_width, layer_height) * step
    return np.asarray(-normal[0] * d[0] - normal[1] * d[1] + half_width * d[2])


def reading_rows(
    readings: Sequence[Reading],
    answers: UnitResponses,
    *,
    lead: float,
    layer_height: float,
    line_width: float,
    hand: Mapping[str, int] | None = None,
) -> Complex:
    """Response (m, s) that belongs to the readings, for `diagnose`; lengths in m, `hand` as there.

    Raises InputError for a probe or corner that the scenario does not have.
    """
    sources, probe_name, response = answers.sources, answers.probe_name, answers.response
    corners = {corner for _, corner in sources}
    rows: list[Complex] = []
    faults: dict[str, str] = {}  # rule, told once, to where it is broken first
    for r in readings:
        if r.probe not in probe_name:
            faults.setdefault(f"probe = {r.probe!r}: {_one_of(r.probe, probe_name)}", r.where)
        elif r.turned and r.turned not in corners:
            faults.setdefault(f"turned = {r.turned!r}: {_one_of(r.turned, sorted(corners))}", r.where)
        else:
            at = response[probe_name.index(r.probe)]
            if r.wavelength is None:
                row = at[AXES.index(r.place)]
            else:
                normal = wall_normal(r.place)[1]
                row = wall_row(at, normal, lead=lead, layer_height=layer_height, line_width=line_width)
            rows.append(turned_response(row, sources, r.turned, r.turn, hand) if r.turned else row)
    if faults:
        raise InputError("\n".join(f"{where}: {rule}" for rule, where in faults.items()))
    return np.array(rows)


def _one_of(name: str, allowed: Sequence[str]) -> str:
    near = nearest(name, allowed)
    return f"must be one of {', '.join(allowed)}." + (f" Did you mean {near}?" if near else "")
