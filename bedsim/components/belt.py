"""One motor and a belt to all screws: each screw's pulley hangs on the motor's by the belt's stretch.

extension of the belt as an angle of the screw: theta_i - theta_motor; stiffness k_belt r^2.  An eccentric
pulley (offset e = TIR/2) changes its effective radius by e cos(phi), so the screw lags by about (e/r)
sin(phi) over a turn. Derivation: belt length conserved, d theta_screw = (r/(r + e cos phi)) d theta; first
order in e/r.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, unit
from bedsim.components.row import CauseName, Link, Path, Source

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Belt:
    """The belt to one screw with its pulley, SI: stiffness, pitch radius, centre off by `offset`, inertia."""

    stiffness: float
    radius: float
    offset: float
    pulley_inertia: float

    @property
    def torsion(self) -> float:
        """Stiffness N m/rad of the belt at the screw: k r^2."""
        return self.stiffness * self.radius**2


def link(coordinates: Coordinates, corner: int, belt: Belt, name: str, ratio: float) -> Link:
    """One row: rotor of the corner minus the shared motor; `ratio` = its commanded turn over the motor's
    (hand)."""
    row = unit(coordinates.size, (coordinates.rotor(corner), 1.0), (coordinates.motor, -ratio))[None]
    return Link(part="belt", name=name, corner=corner, jacobian=row, stiffness=np.array([[belt.torsion]]))


def eccentricity_source(corner: int, link_name: str, belt: Belt, angle: Callable[[Path], Array]) -> Source:
    """The pulley's eccentricity, its phase taken as zero at the clocking zero.

    `angle(path)` (t,) rad of the shaft, without the clocking of a screw turned in its coupling.
    """
    return Source(
        cause=CauseName.PULLEY,
        corner=corner,
        link=link_name,
        amount=belt.offset / belt.radius,
        values=lambda path: -np.sin(angle(path))[:, None],
        name="pulley eccentricity",
    )
