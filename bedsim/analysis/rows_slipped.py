"""Rows of a motor that has slipped, and how to tell it from a bent screw."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from bedsim.number_text import number
from bedsim.sizing import unit
from bedsim.sizing.rows import Row, RowValue, Subject
from bedsim.sizing.rows_motor import MOTOR
from bedsim.units import DEG, MM, UM

if TYPE_CHECKING:
    from bedsim.engines.slip import Slip


class Slipped(NamedTuple):
    """A slip, the lead [m] of its screw, and how many corners the bed has."""

    slip: Slip
    lead: float
    corners: int

    @property
    def where(self) -> str:
        """The corner whose motor slipped."""
        return self.slip.corners[0] if len(self.slip.corners) == 1 else "all corners"


def _height(s: Slipped) -> RowValue:
    return RowValue(
        s.slip.height,
        note="a stalled motor catches again a multiple of four full steps away, n x "
        f"{number(s.slip.turn / DEG)}° of the screw: n times this, up or down, at every height until the "
        "bed is levelled",
    )


def _tilt(s: Slipped) -> RowValue:
    return RowValue(
        s.slip.tilt,
        note=f"levelling shows {_between(s.slip.probe_height)} at the probes, "
        f"{'a plane' if s.corners == 3 else 'a plane and a twist'}; levelling by that screw takes it away",
    )


def _side_force(s: Slipped) -> RowValue:
    slip = s.slip
    return RowValue(
        slip.side_force,
        note=f"the screw's run-out has turned with it; the bed moves {number(slip.shift / UM, 2)} µm sideways"
        + (f", a mount loses up to {number(slip.mount_relief, 2)} N" if slip.mount_relief > 0.01 else "")
        + f". A bent screw repeats every {s.lead / MM:g} mm, sideways, with at most "
        f"{_at_most(float(slip.once_per_turn.max()))} in height here; a slip comes once, in height, in "
        f"multiples of {number(slip.height / MM)} mm",
    )


def _between(height: np.ndarray) -> str:
    low, high = np.sort([height.min(), height.max()]) / UM
    return f"{number(low, 2)} to {number(high, 2)} µm"


def _at_most(height: float) -> str:
    return f"{number(height / UM, 2)} µm" if height >= 0.01 * UM else "0.01 µm"


SOURCE = "Acarnley; statics without friction"

SLIPPED = Subject(
    title=MOTOR.title,
    rows=(
        Row(
            key="slip_height",
            name="height of a corner whose motor has slipped",
            unit=unit.UM,
            tell=_height,
            formula="4 lead/(steps i)",
            source=SOURCE,
        ),
        Row(
            key="slip_tilt",
            name="tilt of the bed then",
            unit=unit.MM_PER_M,
            tell=_tilt,
            formula="K q = J^T k imposed",
            source=SOURCE,
        ),
        Row(
            key="slip_side_force",
            name="side force on a guide then",
            unit=unit.NEWTON,
            tell=_side_force,
            formula="K q = J^T k imposed",
            source=SOURCE,
        ),
    ),
)
