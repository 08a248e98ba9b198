"""Files of readings of every kind that the workshop knows, made into observations of one machine."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from bedsim.diagnosis.band_kinds import band_kinds, sort_readings
from bedsim.diagnosis.readings import Reading, checked_rows, read_readings, sigma_of
from bedsim.errors import InputError
from bedsim.learn.observations import (
    BandReading,
    KeyReading,
    Observation,
    Read,
    ScrewReading,
    Series,
    number_at,
)
from bedsim.metrology import (
    centreline_fit,
    cord_fit,
    decay_fit,
    log_fit,
    recipes,
    rolled_fit,
    runout_fit,
    stiffness_fit,
    vibration_fit,
    vibration_log,
)
from bedsim.metrology.csv_input import ALONG, length_notes, note, read_header, read_table
from bedsim.metrology.readings import Extremes
from bedsim.metrology.readings import read_readings as read_screw
from bedsim.metrology.snippet import MeasuredKey
from bedsim.metrology.stiffness_fit import LoopFit
from bedsim.scenario.keys import nearest
from bedsim.scenario.load import LoadedScenario
from bedsim.scenario.schema import Scenario
from bedsim.scenario.screw_keys import RunOutKeys
from bedsim.simulation import probe_points
from bedsim.units import DEG, MM, N_PER_MM, N_PER_UM, UM

CONTROL = "frame"
"""Probe of a control series: the plunger against a fixed point of the frame."""
RULER = 1 * MM
"""Standard uncertainty of a height by ruler where the file gives none."""


def read_files(paths: Sequence[Path], loaded: LoadedScenario, sigma: float) -> Read:
    """Read files of any kinds; `sigma` m of a gauge's or band's reading where a file gives none.

    Raises InputError that names file, line, value and what is allowed.
    """
    observations: list[Observation] = []
    unused: list[str] = []
    controls: list[Series] = []
    for path in paths:
        table = read_header(path)
        test = recipes.which_test(table.header, table.notes)
        found = _READERS[test](path, table.notes, loaded, sigma)
        observations += found.observations
        unused += found.unused
        controls += found.controls
    return Read(observations=tuple(observations), unused=tuple(unused), controls=tuple(controls))


# ---- the bed under a gauge, bands on a wall ----------------------------------------------------------------


def _jog(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    groups: dict[tuple[str, str, str, float], list[tuple[int, dict[str, str]]]] = {}
    for line, row in checked_rows(path)[1]:
        turn = float(row.get("turned_deg") or 0) * DEG
        key = (row["probe"], row["axis"].lower(), row.get("turned", ""), turn)
        groups.setdefault(key, []).append((line, row))
    every = [_series(path, loaded, sigma, *key, rows) for key, rows in groups.items()]
    return Read(
        observations=tuple(one for one in every if one.probe != CONTROL),
        unused=(),
        controls=tuple(one for one in every if one.probe == CONTROL),
    )


def _series(
    path: Path,
    loaded: LoadedScenario,
    sigma: float,
    probe: str,
    axis: str,
    turned: str,
    by: float,
    rows: Sequence[tuple[int, dict[str, str]]],
) -> Series:
    first = f"{path}: line {rows[0][0]}"
    _one_of(first, "probe", probe, (*probe_points(loaded)[0], CONTROL))
    turn = np.array([float(row["eighth"]) for _, row in rows]) * np.pi / 4
    if turn.min() < 0:
        raise InputError(f"{first}: eighth: must be 0 or more: the lead is jogged down from the start.")
    if turn.max() > 16 * np.pi:
        raise InputError(f"{first}: eighth: must be 64 at most: one or two leads are jogged.")
    if np.unique(np.round(turn % (2 * np.pi), 6)).size < 4:
        raise InputError(
            f"{first}: probe {probe}, axis {axis}: a turn needs readings at 4 or more different angles; "
            "eighths of a turn are best."
        )
    return Series(
        file=str(path),
        lines=tuple(line for line, _ in rows),
        probe=probe,
        axis=axis,
        turn=turn,
        value=np.array([float(row["reading_um"]) for _, row in rows]) * UM,
        sigma=np.array([sigma_of(row, sigma) for _, row in rows]),
        clocked=_corner(first, turned, loaded, "turned") if turned else None,
        by=by,
    )


def _log(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    """The wave of a log as eight readings of one turn that tell it as well as the log does."""
    found = log_fit.read_log(path)
    where = f"{path}: line {found.line}"
    _one_of(where, "probe", found.probe, probe_points(loaded)[0])
    for corner in loaded.scenario.corner:
        if abs(found.lead / (corner.screw.lead_mm * MM) - 1) > 1e-6:
            own = f"{corner.name} has {corner.screw.lead_mm:g}"
            raise InputError(f"{where}: lead_mm = {found.lead / MM:g}: {own}.")
    turn = np.arange(8) * np.pi / 4
    one = Series(
        file=str(path),
        lines=(found.line,) * turn.size,
        probe=found.probe,
        axis=found.axis,
        turn=turn,
        value=(found.waves[0] * np.exp(1j * turn)).real,
        sigma=np.full(turn.size, found.uncertainty * math.sqrt(turn.size / 2)),
        clocked=_corner(where, found.corner, loaded, "turned") if found.corner else None,
        by=found.by * DEG,
    )
    return Read(observations=(one,), unused=())


def _bands(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    readings = read_readings(path, sigma)
    for one in readings:
        _one_of(one.where, "probe", one.probe, probe_points(loaded)[0])
    by_kind, foreign = sort_readings(readings, band_kinds(loaded))
    used: list[Observation] = []
    unused: list[Reading] = [*foreign]
    for kind, some in by_kind.items():
        if kind.of_lead:
            used += [
                BandReading(
                    reading=one,
                    clocked=_corner(one.where, one.turned, loaded, "turned") if one.turned else None,
                    by=one.turn,
                )
                for one in some
            ]
        else:
            unused += some
    told = tuple(
        f"{one.where}: bands of {(one.wavelength or 0) / MM:g} mm are not those of the lead and tell nothing "
        "here: see bedsim diagnose."
        for one in unused
    )
    return Read(observations=tuple(used), unused=told)


def _corner(where: str, name: str, loaded: LoadedScenario, column: str) -> int:
    names = [c.name for c in loaded.scenario.corner]
    _one_of(where, column, name, names)
    return names.index(name)


def _one_of(where: str, column: str, value: str, allowed: Sequence[str]) -> None:
    if value not in allowed:
        near = nearest(value, allowed)
        hint = f" Did you mean {near}?" if near else ""
        raise InputError(f"{where}: {column} = {value!r}: must be one of {', '.join(allowed)}.{hint}")


# ---- numbers of the machine --------------------------------------------------------------------------------


def _heights(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    table = read_table(path, {"height": ALONG, "sigma": ALONG}, {"key": ()})
    if "height" not in table.numbers or "key" not in table.words:
        raise InputError(f"{path}: columns key and height_mm are needed.")
    known = [key.key for key in loaded.ranges if key.key.endswith("height_mm")]
    default = note(table, length_notes("sigma"), RULER)
    spread = table.numbers.get("sigma", np.full(len(table.lines), default))
    found = []
    for row, key in enumerate(table.words["key"]):
        where = f"{path}: line {table.lines[row]}"
        _one_of(where, "key", key, known)
        if not spread[row] > 0:
            raise table.fault(row, "sigma_mm", f"{spread[row] / MM:g}", "must be above 0.")
        height = float(table.numbers["height"][row])
        found.append(_number(where, key, key, height / MM, float(spread[row]) / MM))
    return Read(observations=tuple(found), unused=())


def _number(where: str, name: str, key: str, value: float, sigma: float) -> KeyReading:
    return KeyReading(
        where=where, name=name, key=key, of=lambda s: number_at(s, key), number=value, sigma=sigma
    )


def _loops(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    corner = _noted_corner(path, notes, loaded)
    used, unused = [], []
    for loop in stiffness_fit.read_loops(path):
        name = f"{loop.place}, {loop.direction}"
        made = _of_loop(loop, corner)
        if made is None:
            unused.append(
                f"{path}: a push-pull loop of {name} is no number of the machine and tells nothing here."
            )
            continue
        key, of, unit = made
        used.append(
            KeyReading(
                where=str(path),
                name=f"push and pull of {name}",
                key=_known_key(key, corner, loaded),
                of=of,
                number=loop.stiffness / unit,
                sigma=loop.stiffness_uncertainty / unit,
            )
        )
    return Read(observations=tuple(used), unused=tuple(unused))


def _of_loop(loop: LoopFit, corner: str) -> tuple[str, Callable[[Scenario], float], float] | None:
    """Key behind a loop, what a scenario says of it, and the unit; a carriage gives guide and frame in
    series, the nut loose."""
    start = f"corner.{corner}." if corner else ""
    sideways = f"{loop.direction}_n_per_um"
    if loop.place == "carriage" and loop.direction != "vertical":
        guide, frame = f"{start}guide.{sideways}", f"{start}frame.{sideways}"
        return (
            f"guide.{sideways}",
            lambda s: 1 / (1 / number_at(s, guide) + 1 / number_at(s, frame)),
            N_PER_UM,
        )
    if loop.place == "frame":
        key = f"{start}frame.{sideways}"
        return f"frame.{sideways}", lambda s: number_at(s, key), N_PER_UM
    if loop.place == "joint" and loop.direction != "vertical":
        key = f"{start}joint.lateral_n_per_mm"
        return "joint.lateral_n_per_mm", lambda s: number_at(s, key), N_PER_MM
    return None


def _known_key(key: str, corner: str, loaded: LoadedScenario) -> str:
    """The uncertain key that holds for a corner: its own, or that of all."""
    own = f"corner.{corner}.{key}"
    return own if any(one.key == own for one in loaded.ranges) else key


def _noted_corner(path: Path, notes: dict[str, str], loaded: LoadedScenario) -> str:
    if "corner" in notes:
        _corner(f"{path}: # corner", notes["corner"], loaded, "corner")
    return notes.get("corner", "")


def _decay(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    fit = decay_fit.read_decay(path)
    read = _measured(path, decay_fit.scenario_keys(fit)[0], "", loaded)
    if not math.isfinite(fit.frequency):
        return read
    told = f"{path}: the frequency of a tap tells nothing here: which mode was tapped is not known."
    return Read(observations=read.observations, unused=(*read.unused, told))


def _vibration(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    fit = vibration_fit.fit_vibration(vibration_log.read_vibration(path), str(path))
    read = _measured(path, vibration_fit.scenario_keys(fit)[0], "", loaded)
    told = f"{path}: frequencies tell nothing here: see bedsim gauge {path} --beside {loaded.name}."
    return Read(observations=read.observations, unused=(*read.unused, told))


def _photo(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    raise InputError(f"{path}: bedsim gauge {path} makes a table of bands of a photo; learn reads that.")


def _cord(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    keys, _ = cord_fit.scenario_keys(cord_fit.read_cord(path))
    return _measured(path, keys, _noted_corner(path, notes, loaded), loaded)


def _measured(path: Path, keys: Sequence[MeasuredKey], corner: str, loaded: LoadedScenario) -> Read:
    """Keys that a test of the workshop gives; those that are certain in the scenario are told."""
    used, unused = [], []
    for one in keys:
        key = _known_key(f"{one.table}.{one.key}", corner, loaded)
        if any(r.key == key and r.low < r.high for r in loaded.ranges):
            used.append(_number(str(path), key, key, one.likely, one.uncertainty))
        else:
            unused.append(f"{path}: {key} is certain in {loaded.name}: the test tells nothing here.")
    return Read(observations=tuple(used), unused=tuple(unused))


# ---- gauged screws -----------------------------------------------------------------------------------------


def _screw(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    number, name, keys = _noted_screw(path, notes, loaded)
    readings, setup = read_screw(path)
    if isinstance(readings, Extremes):
        told = f"{path}: readings without angles do not say which way a screw is bent and tell nothing here."
        return Read(observations=(), unused=(told,))
    fit = centreline_fit.fit_centreline(runout_fit.fit_positions(readings, setup), setup)
    if setup.measured == "free" and keys.bow_measured == "mounted":
        raise InputError(
            f"{path}: setup = {setup.how}: reads the free screw, but "
            f'corner.{name}.screw.run_out.bow_measured = "mounted" in the scenario. Allowed: nut, bearings, '
            'or bow_measured = "free" there.'
        )
    mounted = setup.measured == "mounted"
    parts = tuple(term for term in fit.terms if term != "tilt")
    offset = fit.offset if mounted else np.array([fit.value(part) for part in parts])
    rows = [2 * fit.terms.index(part) + k for part in parts for k in (0, 1)]
    one = ScrewReading(
        where=str(path),
        corner=number,
        corner_name=name,
        mounted=mounted,
        position=fit.position if mounted else np.zeros(offset.size),
        parts=() if mounted else parts,
        offset=np.stack([offset.real, offset.imag], axis=-1).ravel(),
        covariance=fit.joint_covariance if mounted else fit.covariance[np.ix_(rows, rows)],
    )
    return Read(observations=(one,), unused=())


def _rolled(path: Path, notes: dict[str, str], loaded: LoadedScenario, sigma: float) -> Read:
    number, name, keys = _noted_screw(path, notes, loaded)
    fit = rolled_fit.read_rolled(path)
    if math.isnan(fit.direction):
        told = f"{path}: without mark_deg gaps do not say which way a screw is bent and tell nothing here."
        return Read(observations=(), unused=(told,))
    if keys.bow_measured == "mounted":
        raise InputError(
            f"{path}: reads the free screw, but corner.{name}.screw.run_out.bow_measured = "
            '"mounted" in the scenario. Allowed: bow_measured = "free" there.'
        )
    c, s = math.cos(fit.direction), math.sin(fit.direction)
    turn = np.array([[c, -s], [s, c]])
    spread = np.diag([fit.bow_uncertainty**2, (fit.bow * fit.direction_uncertainty) ** 2])
    one = ScrewReading(
        where=str(path),
        corner=number,
        corner_name=name,
        mounted=False,
        position=np.zeros(1),
        parts=("bow",),
        offset=fit.bow * turn[:, 0],
        covariance=turn @ spread @ turn.T,
    )
    return Read(observations=(one,), unused=())


def _noted_screw(path: Path, notes: dict[str, str], loaded: LoadedScenario) -> tuple[int, str, RunOutKeys]:
    """Number and name of the corner that a file notes, and what is known of its screw."""
    name = notes.get("corner")
    if name is None:
        raise InputError(f"{path}: corner: write `# corner = ...` on top: which screw this is.")
    number = _corner(f"{path}: # corner", name, loaded, "corner")
    return number, name, loaded.scenario.corner[number].screw.run_out


_READERS: dict[str, Callable[[Path, dict[str, str], LoadedScenario, float], Read]] = {
    "jog": _jog,
    "log": _log,
    "bands": _bands,
    "heights": _heights,
    "stiffness": _loops,
    "decay": _decay,
    "cord": _cord,
    "vibration": _vibration,
    "photo": _photo,
    "run-out": _screw,
    "rolled": _rolled,
}
