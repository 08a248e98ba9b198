"""Push and pull: force against displacement in a loop; the slope is the stiffness, the loop's width the
friction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import InputError
from bedsim.metrology.csv_input import ALONG, FORCES, length_notes, note, read_table
from bedsim.metrology.snippet import MeasuredKey
from bedsim.number_text import number
from bedsim.units import LENGTHS, MM, N_PER_MM, N_PER_UM, UM

Array = NDArray[np.float64]

PLACES = ("bed", "carriage", "nut", "frame", "joint")
DIRECTIONS = ("radial", "tangential", "vertical")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopFit:
    """One loop: `stiffness` [N/m], `friction` [N] (half the loop's width), with standard uncertainties.

    `height` [m] of the nut above the lower end of the screw; NaN if not given.  `force`, `displacement`
    readings, `side` +1 while the force grows, -1 while it falls, 0 for the first reading (not fitted).
    """

    place: str
    direction: str
    height: float
    stiffness: float
    stiffness_uncertainty: float
    friction: float
    friction_uncertainty: float
    force: Array
    displacement: Array
    side: Array
    warnings: tuple[str, ...]


def read_loops(path: Path) -> tuple[LoopFit, ...]:
    """Read and fit a push-pull file.

    Columns force_n (or _kgf, _lbf), displacement_um (or _mm, _thou, _inch), place, direction, height_mm, in
    the order they were taken; notes resolution_um and resolution_n.


    Raises InputError for bad cells, a note that is not a number, or a loop with too few readings.
    """
    table = read_table(
        path,
        {"force": FORCES, "displacement": LENGTHS, "height": ALONG},
        {"place": PLACES, "direction": DIRECTIONS},
    )
    for name in ("force", "displacement"):
        if name not in table.numbers:
            raise InputError(f"{path}: column {name}_{'n' if name == 'force' else 'um'} is missing.")
    gauge = note(table, length_notes("resolution"), 10 * UM)
    scale = note(
        table, {"resolution_n": 1.0, "resolution_kgf": FORCES["kgf"], "resolution_lbf": FORCES["lbf"]}, 0.5
    )
    n = len(table.lines)
    heights = table.numbers.get("height", np.full(n, math.nan))
    labels = list(
        zip(
            table.words.get("place", ("carriage",) * n),
            table.words.get("direction", ("radial",) * n),
            (f"{h:.9g}" for h in heights),
            strict=True,
        )
    )
    fits = []
    for label in dict.fromkeys(labels):
        rows = np.array([i for i, other in enumerate(labels) if other == label])
        force, displacement = table.numbers["force"][rows], table.numbers["displacement"][rows]
        where = f"{path}: {label[0]}, {label[1]}" + (
            "" if label[2] == "nan" else f", {float(label[2]) / MM:g} mm"
        )
        fits.append(fit_loop(force, displacement, label[0], label[1], float(label[2]), gauge, scale, where))
    return tuple(fits)


def fit_loop(
    force: Array,
    displacement: Array,
    place: str,
    direction: str,
    height: float,
    gauge: float,
    scale: float,
    where: str = "loop",
) -> LoopFit:
    """Fit displacement = x0 + (force - side friction)/stiffness by least squares.

    `force` [N], `displacement` [m] in the order taken; `gauge`, `scale`: resolutions [m], [N].  While the
    force grows friction holds the displacement back (side +1), while it falls it holds it out (side -1).
    Uncertainty from the resolutions, or from the residuals where those are larger.  Needs five readings with
    both sides; InputError else. Derived: a spring with Coulomb friction beside it.
    """
    side = np.sign(np.diff(force, prepend=force[:1]))
    used = side != 0
    if used.sum() < 5 or np.unique(side[used]).size < 2:
        raise InputError(f"{where}: a loop needs at least five readings, with the force growing and falling.")
    if np.ptp(displacement) <= 0:
        raise InputError(f"{where}: the displacement does not change; use a finer gauge or a larger force.")
    design = np.stack([np.ones(used.sum()), force[used], side[used]], axis=-1)
    found, _, _, _ = np.linalg.lstsq(design, displacement[used], rcond=None)
    rest = displacement[used] - design @ found
    compliance = float(found[1])
    if compliance <= 0:
        raise InputError(f"{where}: the displacement goes against the force; check the signs.")
    freedom = used.sum() - 3
    variance = gauge**2 / 12 + (compliance * scale) ** 2 / 12
    variance = max(variance, float(rest @ rest) / freedom)
    covariance = variance * np.linalg.inv(design.T @ design)
    friction = -float(found[2]) / compliance
    gradient = np.array([0.0, -friction / compliance, -1 / compliance])
    return LoopFit(
        place=place,
        direction=direction,
        height=height,
        stiffness=1 / compliance,
        stiffness_uncertainty=math.sqrt(covariance[1, 1]) / compliance**2,
        friction=friction,
        friction_uncertainty=math.sqrt(float(gradient @ covariance @ gradient)),
        force=force,
        displacement=displacement,
        side=side,
        warnings=_warnings(displacement, friction, math.sqrt(float(gradient @ covariance @ gradient)), gauge),
    )


def scenario_keys(fits: tuple[LoopFit, ...]) -> tuple[tuple[MeasuredKey, ...], tuple[str, ...]]:
    """Scenario keys of the loops and remarks on what they mean.

    Carriage, pushed with the nut loose: guide (its frame included).  Frame: frame.  Joint: lateral
    stiffness, friction as a remark.  Nut and bed: remarks only, as checks of the whole.  Several heights of
    a place are taken together.
    """
    keys: list[MeasuredKey] = []
    remarks: list[str] = []
    for place, direction in dict.fromkeys((f.place, f.direction) for f in fits):
        same = [f for f in fits if (f.place, f.direction) == (place, direction)]
        stiffness, u = _together([(f.stiffness, f.stiffness_uncertainty) for f in same])
        friction, uf = _together([(f.friction, f.friction_uncertainty) for f in same])
        target = key_of_loop(place, direction)
        if target is not None:
            table, key, unit = target
            keys.append(
                MeasuredKey(table=table, key=key, likely=stiffness / unit, uncertainty=u / unit, least=1e-6)
            )
        if place == "carriage" and direction == "vertical":
            keys.append(MeasuredKey(table="guide", key="friction_n", likely=friction, uncertainty=uf))
        remarks.append(_remark(place, direction, stiffness, u, friction, uf))
    return tuple(keys), tuple(remarks)


def loop_warnings(fits: tuple[LoopFit, ...]) -> tuple[str, ...]:
    """Each warning once for a place and direction, with the heights it holds for."""
    where: dict[tuple[str, str, str], list[str]] = {}
    for fit in fits:
        for warning in fit.warnings:
            heights = where.setdefault((fit.place, fit.direction, warning), [])
            heights += [] if math.isnan(fit.height) else [f"{fit.height / MM:g}"]
    return tuple(
        f"{place}, {direction}" + (f", at {', '.join(at)} mm" if at else "") + f": {warning}."
        for (place, direction, warning), at in where.items()
    )


def key_of_loop(place: str, direction: str) -> tuple[str, str, float] | None:
    """Table, key and unit that a loop gives by itself, or None."""
    if direction in ("radial", "tangential") and place in ("carriage", "frame"):
        return "guide" if place == "carriage" else "frame", f"{direction}_n_per_um", N_PER_UM
    if place == "frame":
        return "frame", "vertical_n_per_um", N_PER_UM
    if place == "joint" and direction != "vertical":
        return "joint", "lateral_n_per_mm", N_PER_MM
    return None


def _remark(place: str, direction: str, k: float, u: float, friction: float, uf: float) -> str:
    rate = f"{number(k / N_PER_UM)} ± {number(u / N_PER_UM, 2)} N/µm"
    said = f"{place}, {direction}: {rate}, friction {number(friction, 2)} ± {number(uf, 1)} N"
    meaning = {
        "carriage": "nut loose: guide and frame in series; the guide alone is stiffer",
        "frame": "pushed at the guide's rail",
        "joint": "nut against carriage; friction over the load on the joint gives friction_coefficient",
        "nut": "carriage loose: nut, shaft at this height and bearings in series; a check of the model",
        "bed": "all corners together: a check of the model, no key",
    }
    return f"{said} ({meaning[place]})"


def _together(values: list[tuple[float, float]]) -> tuple[float, float]:
    """Mean of several heights; the uncertainty covers their spread."""
    mean = float(np.mean([v for v, _ in values]))
    own = math.sqrt(float(np.mean([u**2 for _, u in values])) / len(values))
    return mean, math.hypot(own, float(np.ptp([v for v, _ in values])) / 2)


def _warnings(displacement: Array, friction: float, u: float, gauge: float) -> tuple[str, ...]:
    found = []
    if np.ptp(displacement) < 10 * gauge:
        found.append(
            "the displacement is less than ten divisions of the gauge: push harder or use a finer gauge"
        )
    if friction < -2 * u:
        found.append("the loop runs backwards (friction below zero): check the order of the readings")
    return tuple(found)
