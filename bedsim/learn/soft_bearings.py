"""Would bearings that are far softer than anybody thinks be noticed, and how wrong is the answer if not?

A machine like the likeliest, but with one screw in such bearings, reads other by d (whitened).  All is fitted
again to what it would read, and told is what the fit answers beside what that machine does; whether d would
be noticed is judged as of any other fault (`faults.noticed`), to first order.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass

import numpy as np

from bedsim.errors import BedsimError
from bedsim.learn.answers import answer_of, answer_of_job
from bedsim.learn.faults import noticed
from bedsim.learn.fit import Fit, refitted
from bedsim.learn.model import At
from bedsim.simulation import make_job

SOFTER = 0.1
"""Of the least that the scenario thinks of a bearing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftBearings:
    """Bearings of the screw at a corner, `SOFTER` than their range: whether the readings would show it, and
    the logarithm of told over true sideways answer if so it were."""

    corner: str
    noticed: bool
    off: float


def soft_bearings(found: Fit) -> list[SoftBearings]:
    """Screw by screw, where its bearings are uncertain and there is such a machine."""
    told = []
    for corner in found.model.unknowns.loaded.scenario.corner:
        with contextlib.suppress(BedsimError):
            told += _soft(found, corner.name)
    return told


def _soft(found: Fit, corner: str) -> list[SoftBearings]:
    model, unknowns = found.model, found.model.unknowns
    soft = {
        f"corner.{corner}.screw.{key.key.rpartition('.')[2]}": SOFTER * key.low
        for key in unknowns.keys
        if _of_screw(key.key, corner)
    }
    if not soft:
        return []
    values = {**unknowns.values(found.u), **soft}
    loaded = unknowns.loaded.with_values(values)
    at = At(unknowns=unknowns, loaded=loaded, job=make_job(loaded, side_torque=False))
    fixed, rows = model.parts(at)
    change = found.weights @ (fixed + rows @ unknowns.amounts(found.u) - model.readings(found.u))
    to = refitted(found, change, np.zeros(found.u.size))
    true = answer_of_job(unknowns, at.job, found.u).lateral
    return [
        SoftBearings(
            corner=corner,
            noticed=noticed(found, change),
            off=math.log(answer_of(unknowns, to).lateral / true),
        )
    ]


def _of_screw(key: str, corner: str) -> bool:
    """Whether a key is of the bearings of the screw at a corner."""
    return key.startswith(("screw.bearing_", f"corner.{corner}.screw.bearing_"))
