"""The nut: compliance of its thread contact, the drag that holds it back, and the play of a plain nut.

A plain (trapezoidal) nut hangs on one flank with radial play.  Displaced sideways by x against the shaft it
rides up the flank, which stands at the angle beta from the plane across the axis: lift = x tan(beta).
Virtual work with the axial load F gives the side force the flank passes without friction, F tan(beta);
friction of angle rho adds to it while the nut climbs, F tan(beta + rho), and the nut comes back by itself
only if beta > rho.  So the sideways push of a bent screw is limited to F tan(beta + rho) until the play is
used up; then the thread's flanks meet and the stop takes over.

Derivation: a body on an incline of angle beta with friction angle rho, [Shigley] power screws, here for the
profile angle.  While the screw turns, friction is spent mostly on the turning and the sideways part is
smaller, so F tan(beta + rho) is the unfavourable end.  Limits: the flank is taken as a cone (lead angle
neglected), the play is the same in all directions, and contact on one side's tilting moment is left to the
nut's tilt stiffness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.frame import Coordinates, unit
from bedsim.components.row import Flank, Friction, Stop

Array = NDArray[np.float64]

# Below a few micrometres the flank's own elasticity and its roughness round the tip of the cone (our
# assumption: a
# greased machined thread has Ra of the order of 1 um).
FLANK_ROUNDING = 2e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Nut:
    """SI.

    `plain`: sliding thread of half profile angle `flank_angle`, radial play `clearance`, pitch radius.
    """

    radial: float
    axial: float
    tilt: float
    drag_torque: float
    drag_breakaway: float
    mass: float
    inertia: float
    bore_offset: complex
    plain: bool
    clearance: float
    friction: float
    flank_angle: float
    pitch_radius: float
    lead: float

    @property
    def series(self) -> Array:
        """Stiffness diag(radial, tilt) (2, 2) in series with the shaft; a plain nut's radial part is a stop
        instead."""
        return np.diag([self.radial, self.tilt])

    @property
    def friction_angle(self) -> float:
        """Angle rho = atan(mu)."""
        return math.atan(self.friction)


def thread_friction_radius(nut: Nut) -> float:
    """Torque of sliding friction per newton of load and unit friction coefficient, m: r_m / cos(beta).

    Source: [Shigley] power screws, the normal force on a trapezoidal flank is F / cos(beta); lead angle
    neglected.
    """
    return nut.pitch_radius / math.cos(nut.flank_angle)


def drag(coordinates: Coordinates, corner: int, nut: Nut, hand: int, name: str) -> Friction:
    """Drag torque between rotor and nut: balls and seals, or the sliding friction of a plain thread under
    load."""
    first = coordinates.carriage(corner)
    row = unit(coordinates.size, (first + 9, 1.0), (first + 8, -1.0))[None]
    load_torque = nut.friction * thread_friction_radius(nut) if nut.plain else 0.0
    return Friction(
        name=name,
        part="screw",
        corner=corner,
        jacobian=row,
        command=np.array([-hand * 2 * math.pi / nut.lead]),
        breakaway=nut.drag_breakaway,
        constant=nut.drag_torque,
        coefficient=load_torque,
        load_share=1.0,
    )


def play(
    coordinates: Coordinates, corner: int, nut: Nut, arm: float, axial: Array, axial_link: str, name: str
) -> tuple[Flank, Stop, Friction]:
    """The three contacts of a plain nut with radial play: climbing flank, end of play, sideways friction.

    `arm` m: thread height minus joint height; `axial` (1, size) row of the corner's axial link.
    """
    size = coordinates.size
    first, shaft = coordinates.carriage(corner), coordinates.shaft(corner)
    rows = np.stack(
        [
            unit(size, (first + 6, 1.0), (first + 4, arm), (shaft, -1.0)),
            unit(size, (first + 7, 1.0), (first + 3, -arm), (shaft + 1, -1.0)),
        ]
    )
    slope = math.tan(nut.flank_angle)
    flank = Flank(
        name=f"{name} flank",
        corner=corner,
        jacobian=np.vstack([rows, axial]),
        slope=slope,
        rounding=FLANK_ROUNDING,
        axial_link=axial_link,
    )
    stop = Stop(name=f"{name} play", corner=corner, jacobian=rows, gap=nut.clearance, stiffness=nut.radial)
    # friction's share of the side force: what tan(beta + rho) has more than tan(beta)
    share = math.tan(nut.flank_angle + nut.friction_angle) - slope
    friction = Friction(
        name=f"{name} side friction",
        part="screw",
        corner=corner,
        jacobian=rows,
        command=np.zeros(2),
        breakaway=FLANK_ROUNDING,
        coefficient=share,
        load_share=1.0,
    )
    return flank, stop, friction
