"""A weight on a cord round the pulley: drag torque of screw and nut, detent torque of the motor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from bedsim.errors import InputError
from bedsim.metrology.csv_input import ANGLES, MASSES, Table, length_notes, note, read_table
from bedsim.metrology.snippet import MeasuredKey
from bedsim.number_text import number
from bedsim.units import GRAVITY, N_MM

Array = NDArray[np.float64]

TWO_SIGMA = 0.9545  # of a normal law within two standard deviations

DIRECTIONS = ("raises", "lowers")
MOTORS = ("off", "on")

# At a radius of 10 mm half a newton metre, as much as a bed's motor holds with current: our limit.
LARGEST_MASS = 5.0  # kg


@dataclass(frozen=True, slots=True, kw_only=True)
class CordFit:
    """Torques [N m] with standard uncertainties; NaN where the test does not tell.

    `drag`: holds the screw back either way, motor taken off.  `load`: half the difference of raising and
    lowering, the weight's own torque.  `detent`: what the unpowered motor adds at its worst angle.
    """

    drag: float
    drag_uncertainty: float
    load: float
    detent: float
    detent_uncertainty: float
    torque: Array
    warnings: tuple[str, ...]


def read_cord(path: Path) -> CordFit:
    """Read and fit a cord test.

    Columns mass_g (or _kg) that just starts the turn, direction (raises or lowers the bed), motor (off:
    uncoupled; on: coupled, without current); notes radius_mm (cord's centre to axis) and step_g (how finely
    the mass was changed).

    Raises InputError for bad cells, a missing radius, or masses that look like those of another unit: above
    `LARGEST_MASS`, or none as heavy as the step.
    """
    table = read_table(path, {"mass": MASSES, "angle": ANGLES}, {"direction": DIRECTIONS, "motor": MOTORS})
    if "mass" not in table.numbers:
        raise InputError(f"{path}: column mass_g is missing.")
    if not length_notes("radius").keys() & table.notes.keys():
        raise InputError(
            f"{path}: radius_mm: write `# radius_mm = ...` on top: from the axis to the cord's centre."
        )
    radius = note(table, length_notes("radius"), math.nan)
    step = note(table, {"step_g": 1e-3}, 2e-3)
    mass = table.numbers["mass"]
    _check_masses(table, step)
    n = mass.size
    raises = np.array([d == "raises" for d in table.words.get("direction", ("raises",) * n)])
    coupled = np.array([m == "on" for m in table.words.get("motor", ("off",) * n)])
    return fit_cord(mass * GRAVITY * radius, raises, coupled, step * GRAVITY * radius)


def _check_masses(table: Table, step: float) -> None:
    mass = table.numbers["mass"]
    for row in np.flatnonzero(mass < 0):
        raise table.fault(int(row), "mass", f"{mass[row] * 1e3:g} g", "must not be negative.")
    for row in np.flatnonzero(mass > LARGEST_MASS):
        rule = (
            f"must be {LARGEST_MASS:g} kg or less (our limit). Is the unit in the column's name right, or "
            "are they g (mass_g)?"
        )
        raise table.fault(int(row), "mass", f"{mass[row]:g} kg", rule)
    if mass.max() < step:
        raise InputError(
            f"{table.path}: mass: the heaviest is {mass.max() * 1e3:g} g, less than the step by which it was "
            f"changed (step_g = {step * 1e3:g}). Is the unit in the column's name right, or are they kg "
            "(mass_kg)?"
        )


def fit_cord(torque: Array, raises: NDArray[np.bool_], coupled: NDArray[np.bool_], step: float) -> CordFit:
    """Average starting torques [N m]; `step` [N m] is how finely the weight was changed.

    drag = (raising + lowering)/2, load = (raising - lowering)/2 with the motor off; detent = largest
    starting torque with the motor coupled minus the mean with it off, per direction.  Derived: starting
    torque raising = drag + load (+ detent at its worst angle).  With one direction only the drag contains
    the load, and that is said.  Uncertainty: the step, which does not average out where the readings scatter
    less than it, and the scatter of both directions together over the root of their number, with Student's
    factor at 95 %: two of it hold 95 % for few readings too.
    """
    warnings = []
    up, down = torque[~coupled & raises], torque[~coupled & ~raises]
    drag = load = u = math.nan
    scatter = _scatter(up, down)
    if scatter == 0.0 and max(up.size, down.size) == 1:
        warnings.append("one reading each way: how much they scatter is not known; take four angles each")
    if up.size and down.size:
        drag, load = (up.mean() + down.mean()) / 2, (up.mean() - down.mean()) / 2
        u = math.hypot(_mean_u(up, step, scatter), _mean_u(down, step, scatter)) / 2
    elif up.size or down.size:
        one = up if up.size else down
        drag, u = float(one.mean()), _mean_u(one, step, scatter)
        warnings.append(
            "one direction only: the drag contains the torque of the load; test the other way too"
        )
    else:
        warnings.append("no line with the motor off: drag and detent cannot be told apart")
    detents = []
    for which, off in ((raises, up), (~raises, down)):
        on = torque[coupled & which]
        if on.size and off.size:
            of_off = _mean_u(off, step, scatter)
            detents.append((float(on.max() - off.mean()), math.hypot(_mean_u(on[:1], step, scatter), of_off)))
            if on.size < 4:
                warnings.append(
                    f"{on.size} angles with the motor on: the worst may be missed; take four or more"
                )
    detent = float(np.mean([d for d, _ in detents])) if detents else math.nan
    u_detent = math.hypot(*(v for _, v in detents)) / len(detents) if detents else math.nan
    if math.isfinite(detent) and detent < -2 * u_detent:
        warnings.append("the motor seems to help: check which lines had it coupled")
    return CordFit(
        drag=float(drag),
        drag_uncertainty=float(u),
        load=float(load),
        detent=detent,
        detent_uncertainty=u_detent,
        torque=torque,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def scenario_keys(fit: CordFit) -> tuple[tuple[MeasuredKey, ...], tuple[str, ...]]:
    """Scenario keys of drag and detent, and remarks."""
    keys = []
    if math.isfinite(fit.drag):
        keys.append(
            MeasuredKey(
                table="nut",
                key="drag_torque_n_mm",
                likely=fit.drag / N_MM,
                uncertainty=fit.drag_uncertainty / N_MM,
                note="bearings and seals of the screw are in it",
            )
        )
    if math.isfinite(fit.detent):
        keys.append(
            MeasuredKey(
                table="motor", key="detent_torque_n_m", likely=fit.detent, uncertainty=fit.detent_uncertainty
            )
        )
    remarks = ["Starting torques: on plain nuts 1.2 to 1.5 times those of motion (from memory)."]
    if math.isfinite(fit.load):
        remarks.append(
            f"Torque of the load: {number(fit.load / N_MM)} N mm; weight times lead/(2 pi) as a check."
        )
    remarks.append(
        "If the screw turns by itself when the cord is let go, the bed can fall without power: block it "
        "before you reach under it."
    )
    return tuple(keys), tuple(remarks)


def _mean_u(values: Array, step: float, scatter: float) -> float:
    """Standard uncertainty of a mean: half a step either way, and the scatter of one reading."""
    return math.hypot(step / math.sqrt(12), scatter / math.sqrt(values.size))


def _scatter(*groups: Array) -> float:
    """Standard uncertainty of one reading from groups about their own means, such that two of it hold 95.45 %
    by Student's t; zero where no reading is left over.  Source: [GUM] G.3."""
    squares = sum(float(((g - g.mean()) ** 2).sum()) for g in groups if g.size)
    freedom = sum(g.size - 1 for g in groups if g.size)
    if freedom == 0:
        return 0.0
    return math.sqrt(squares / freedom) * float(student.isf((1 - TWO_SIGMA) / 2, freedom)) / 2
