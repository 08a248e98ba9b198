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
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedsim.components import screw
from bedsim.components.frame import Coordinates, unit
from bedsim.components.row import Flank, Friction, Link, Stop
from bedsim.components.screw import Screw

Array = NDArray[np.float64]

# Below a few micrometres the flank's own elasticity and its roughness round the tip of the cone (our
# assumption: a
# greased machined thread has Ra of the order of 1 um).
FLANK_ROUNDING = 2e-6
UNCOUPLED = 1e15  # N/m in series: none


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
    def series(self) -> tuple[float, float]:
        """Radial N/m and tilting N m/rad stiffness in series with the shaft; a plain nut's radial part is a
        stop instead."""
        return self.radial, self.tilt

    @property
    def has_play(self) -> bool:
        """Whether the shaft moves sideways in its thread, on a coordinate of its own."""
        return self.plain and self.clearance > 0

    @property
    def sliding(self) -> float:
        """Coefficient of the friction of flanks under load; balls roll, theirs is in the drag torque."""
        return self.friction if self.plain else 0.0

    @property
    def friction_angle(self) -> float:
        """Angle rho = atan(mu)."""
        return math.atan(self.friction)


@dataclass(frozen=True, slots=True, kw_only=True)
class NutRows:
    """What a nut on its screw adds to the machine; `lateral`: the screw sideways, as it meets the nut."""

    lateral: Link
    frictions: list[Friction] = field(default_factory=list)
    stops: list[Stop] = field(default_factory=list)
    flanks: list[Flank] = field(default_factory=list)


def nut_rows(
    coordinates: Coordinates, corner: int, shaft: Screw, nut: Nut, arm: float, axial: Link, name: str
) -> NutRows:
    """Rows of a nut at a corner called `name`: held in its thread, or with play in it.

    `arm` m: thread height minus joint height; `axial`: the corner's link along the screw.
    """
    lateral = f"{name}.screw"
    drags = [drag(coordinates, corner, nut, shaft.hand, f"{name}.nut drag")]
    drags = drags if nut.drag_torque > 0 or nut.sliding > 0 else []
    if not nut.has_play:
        rows = screw.lateral_rows(coordinates, corner, arm)
        return NutRows(lateral=screw.lateral_link(corner, shaft, rows, nut.series, lateral), frictions=drags)
    # the thread's radial part is the play, not a spring in series
    tilt_only = (UNCOUPLED, nut.tilt)
    rows = screw.shaft_rows(coordinates, corner)
    flank, stop, friction = play(coordinates, corner, nut, arm, axial.jacobian, axial.name, f"{name}.nut")
    return NutRows(
        lateral=screw.lateral_link(corner, shaft, rows, tilt_only, lateral),
        frictions=[*drags, friction],
        stops=[stop],
        flanks=[flank],
    )


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
    return Friction(
        name=name,
        part="screw",
        corner=corner,
        jacobian=row,
        command=np.array([-hand * 2 * math.pi / nut.lead]),
        breakaway=nut.drag_breakaway,
        constant=nut.drag_torque,
        coefficient=nut.sliding * thread_friction_radius(nut),
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
