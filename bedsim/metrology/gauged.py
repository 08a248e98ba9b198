"""Any test of the workshop that gives keys by itself, from its file to the keys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bedsim.errors import InputError
from bedsim.metrology import cord_fit, decay_fit, recipes, stiffness_fit
from bedsim.metrology.centreline_fit import fit_centreline
from bedsim.metrology.csv_input import read_header
from bedsim.metrology.readings import Extremes, read_readings
from bedsim.metrology.runout_fit import fit_positions
from bedsim.metrology.runout_keys import held_differently, runout_keys
from bedsim.metrology.snippet import MeasuredKey, StatedKey, toml_text
from bedsim.shown import Shown

Keys = tuple[MeasuredKey | StatedKey, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Gauged(Shown):
    """Keys with their uncertainty from one file of readings, and what is to be said beside them."""

    test: str
    keys: tuple[MeasuredKey | StatedKey, ...]
    remarks: tuple[str, ...]

    @property
    def toml(self) -> str:
        """The keys as text for a scenario."""
        return toml_text(self.keys, self.remarks)


def read_test(path: Path) -> tuple[str, dict[str, str]]:
    """Which test a file holds, and its notes.  Raises InputError, also for one that gives no keys."""
    header, notes, _ = read_header(path)
    test = recipes.which_test(header, notes)
    if test not in recipes.OF_GAUGE:
        raise InputError(
            f"{path}: a {test} test gives no keys by itself: bedsim learn {path} SCENARIO reads it."
        )
    return test, notes


def gauged(path: Path, settings: Mapping[str, str]) -> Gauged:
    """Read and fit; `settings` go before the notes of a run-out file.  Raises InputError."""
    test, _ = read_test(path)
    if test == "run-out":
        keys, remarks = _run_out(path, settings)
        return Gauged(test=test, keys=keys, remarks=remarks)
    if settings:
        raise InputError(f"{path}: settings belong to run-out; this is a {test} test.")
    keys, remarks = _other(test, path)
    return Gauged(test=test, keys=keys, remarks=remarks)


def _run_out(path: Path, settings: Mapping[str, str]) -> tuple[Keys, tuple[str, ...]]:
    found, setup = read_readings(path, dict(settings))
    if isinstance(found, Extremes):
        return (), ("Without angles there is no direction: a scenario gets no keys.",)
    if setup.length is None:
        raise InputError(
            f"{path}: length_mm: is missing: the free length between the bearings, for example 400."
        )
    fit = fit_centreline(fit_positions(found, setup), setup)
    return runout_keys(fit, setup), (*fit.warnings, *held_differently(fit, setup))


def _other(test: str, path: Path) -> tuple[Keys, tuple[str, ...]]:
    keys: Sequence[MeasuredKey]
    remarks: Sequence[str]
    if test == "stiffness":
        loops = stiffness_fit.read_loops(path)
        keys, remarks = stiffness_fit.scenario_keys(loops)
        remarks = [*remarks, *stiffness_fit.loop_warnings(loops)]
    elif test == "decay":
        tap = decay_fit.read_decay(path)
        keys, remarks = decay_fit.scenario_keys(tap)
        remarks = [*remarks, *tap.warnings]
    else:
        cord = cord_fit.read_cord(path)
        keys, remarks = cord_fit.scenario_keys(cord)
        remarks = [*remarks, *cord.warnings]
    return tuple(keys), tuple(remarks)
