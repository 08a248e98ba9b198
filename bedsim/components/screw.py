"""The screw: a shaft that bends, stretches and twists between its bearings, with the nut somewhere along
it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NoReturn

import numpy as np
from numpy.typing import NDArray

from bedsim.components import column
from bedsim.components.frame import Coordinates, point_motion, rotation_motion
from bedsim.components.motor_end import MotorEnd
from bedsim.components.row import Link
from bedsim.components.thread import mean_power
from bedsim.errors import ModelError

Array = NDArray[np.float64]

Ends = Literal["fixed-free", "supported-supported", "fixed-supported", "fixed-fixed"]
"""How the two ends of a screw are held, lower end first."""

HALVINGS = 50  # of the bracket of a buckling load: to rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """Dimensions and stiffness of one screw, SI. `ends`: lower end first; `hand` +1 right, -1 left.

    `balls`: whether they roll in its thread.  The root bends, stretches and twists; the whole thread turns
    and weighs.  `motor_end` stands in the place of the lower, fixed end's radial and tilting stiffness.
    """

    balls: bool
    diameter: float
    root_diameter: float
    pitch: float
    lead: float
    hand: int
    length: float
    ends: Ends
    youngs_modulus: float
    shear_modulus: float
    density: float
    bearing_radial: float
    upper_bearing_radial: float
    bearing_tilt: float
    bearing_axial: float
    coupling: float
    motor_end: MotorEnd | None = None

    @property
    def foot(self) -> Array:
        """What holds the lower end: stiffness (2, 2) for deflection and slope in one bending plane."""
        if self.motor_end is not None:
            return np.asarray(np.linalg.inv(self.motor_end.compliance), dtype=float)
        return np.diag([self.bearing_radial, self.bearing_tilt if self.ends.startswith("fixed") else 0.0])

    @property
    def leans(self) -> bool:
        """Whether nothing but a motor's coupling holds the screw, which then may lean on its nut."""
        return self.motor_end is not None and self.ends == "fixed-free"

    @property
    def area(self) -> float:
        """Cross-section of the root circle, m2."""
        return math.pi / 4 * self.root_diameter**2

    @property
    def second_moment(self) -> float:
        """Second moment of area of the root circle, m4."""
        return math.pi / 64 * self.root_diameter**4

    @property
    def bending_stiffness(self) -> float:
        """E I of the root circle, N m2."""
        return self.youngs_modulus * self.second_moment

    @property
    def inertia(self) -> float:
        """Moment of inertia about the axis, kg m2: rho L pi/32 mean d^4."""
        return self.density * self.length * math.pi / 32 * self._mean_power(4)

    @property
    def mass(self) -> float:
        """Mass of the free length, kg: rho L pi/4 mean d^2."""
        return self.density * self.length * math.pi / 4 * self._mean_power(2)

    def _mean_power(self, power: int) -> float:
        return mean_power(power, self.balls, self.diameter, self.root_diameter, self.pitch)

    @property
    def travel_per_radian(self) -> float:
        """Lead / (2 pi), m/rad."""
        return self.lead / (2 * math.pi)


def clipped_spans(screw: Screw, nut_position: Array) -> tuple[Array, Array]:
    """Lengths (n,) m below and above the nut, kept above one root diameter, where beam theory ends."""
    lower = np.maximum(np.asarray(nut_position, dtype=float), screw.root_diameter)
    upper = np.maximum(screw.length - np.asarray(nut_position, dtype=float), screw.root_diameter)
    return lower, upper


def shaft_stiffness(screw: Screw, nut_position: Array, load: Array | float = 0.0) -> Array:
    """Stiffness (n, 2, 2) of the shaft for (deflection m, slope rad) at the nut, in one bending plane.

    Two Euler-Bernoulli spans on spring supports, condensed to the nut: a fixed end is held by the bearing's
    radial and tilting stiffness, a supported end by the radial stiffness alone, a free end by nothing.  With
    stiff bearings and no load the handbook forms return: fixed-free 3EI/a^3; supported-supported 3EIL/(a^2
    b^2); fixed-supported 12EIL^3/(a^3 b^2 (3L+b)); fixed-fixed 3EIL^3/(a^3 b^3).  Source: [Roark] beam
    tables, concentrated intermediate load.  The load (n,) N that hangs on the nut presses the span below it
    alone, an exact beam-column: a cantilever has P/(a (tan u/u - 1)), u = a sqrt(P/EI) ([Timoshenko]).
    A screw that leans on its nut may push it aside, stiffness below 0: what holds the nut must hold both.
    Raises ModelError where the load reaches `buckling_load`; for one that leans, where its span buckles
    between coupling and nut.
    """
    position = np.asarray(nut_position, dtype=float)
    thrust = np.broadcast_to(np.asarray(load, dtype=float), position.shape)
    if np.any(thrust >= _clamped_load(screw, position)):
        _refuse_buckled(screw, position, thrust)
    foot, nut = _on_bearings(screw, position, thrust)
    if not np.all(column.stands(foot) & (screw.leans | column.stands(nut))):
        _refuse_buckled(screw, position, thrust)
    return nut


def buckling_load(screw: Screw, nut_position: Array) -> Array:
    """Load (n,) N on the nut (n,) m above the lower end that buckles the shaft with its bearings.

    The least load at which the shaft is no longer positive definite: at its lower end with the nut held, and
    at the nut with the lower end free to follow.  The thrust is taken at the lower end, so the span below the
    nut is pressed; the shaft above it and its bearing hold it as springs, nut and guide do not help.
    Fixed-fixed too: how much a second thrust bearing takes depends on how it was set, and none is the
    unfavourable end.  Stiffness falls as the load grows, up to the load that buckles the span between clamped
    ends, which no support can exceed ([Timoshenko], energy method): bisection.  Limits: elastic, straight,
    centrally loaded; a short shaft is crushed before.
    """
    position = np.asarray(nut_position, dtype=float)
    return np.array(_buckling_loads(screw, tuple(position.tolist())))


@lru_cache  # the same few screws are asked about at the same places by every row and machine
def _buckling_loads(screw: Screw, nut_position: tuple[float, ...]) -> tuple[float, ...]:
    position = np.array(nut_position)
    high = _clamped_load(screw, position)
    low = np.zeros_like(high)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        foot, nut = _on_bearings(screw, position, middle)
        held = column.stands(foot) & column.stands(nut)
        low, high = np.where(held, middle, low), np.where(held, high, middle)
    return tuple(low.tolist())


def _clamped_load(screw: Screw, position: Array) -> Array:
    return column.clamped_load(clipped_spans(screw, position)[0], screw.bending_stiffness)


def _on_bearings(screw: Screw, position: Array, thrust: Array) -> tuple[Array, Array]:
    """Stiffnesses (n, 2, 2): at the lower end with the nut held fast, and at the nut with both ends on
    bearings."""
    lower, upper = clipped_spans(screw, position)
    span = column.span_stiffness(lower, screw.bending_stiffness, thrust)
    foot = span[:, :2, :2] + screw.foot
    nut = _seen_through(span[:, 2:, 2:], span[:, :2, 2:], foot)
    if screw.ends == "fixed-free":
        return foot, nut
    tilt = screw.bearing_tilt if screw.ends == "fixed-fixed" else 0.0
    span = column.span_stiffness(upper, screw.bending_stiffness)
    head = span[:, 2:, 2:] + np.diag([screw.upper_bearing_radial, tilt])
    return foot, nut + _seen_through(span[:, :2, :2], span[:, 2:, :2], head)


def _seen_through(near: Array, coupling: Array, far: Array) -> Array:
    """Stiffness (n, 2, 2) of a span's near end when `far` is all that acts at its far end."""
    return near - np.swapaxes(coupling, 1, 2) @ np.linalg.solve(far, coupling)


def _refuse_buckled(screw: Screw, position: Array, thrust: Array) -> NoReturn:
    critical = buckling_load(screw, position)
    worst = int(np.argmax(thrust / critical))
    raise ModelError(
        f"a load of {thrust[worst]:.0f} N reaches the buckling load of {critical[worst]:.0f} N of this screw "
        f"with the nut {1e3 * position[worst]:.0f} mm above its lower end. Choose a thicker or shorter screw "
        "or better held ends."
    )


def in_series(stiffness: Array, *others: Array) -> Array:
    """Stiffness (n, m, m) of compliances one behind the other."""
    compliance = np.linalg.inv(stiffness)
    for other in others:
        compliance = compliance + np.linalg.inv(other)
    return np.linalg.inv(compliance)


def twist_compliances(screw: Screw, nut_position: Array) -> dict[str, Array]:
    """Turn (n,) rad of the screw at the nut against its motor per N m between them, by part: a/(G J_p) and
    1/k_coupling."""
    lower, _ = clipped_spans(screw, nut_position)
    polar = 2 * screw.second_moment
    return {
        "torsion": lower / (screw.shear_modulus * polar),
        "coupling": np.full_like(lower, 1.0 / screw.coupling),
    }


def axial_compliances(screw: Screw, nut_position: Array) -> dict[str, Array]:
    """Compliances (n,) m/N of the screw's axial train, each by name.

    Thrust at the lower end: a/(EA) + 1/k_bearing; fixed-fixed: both ends in parallel.  Torsion seen axially:
    (lead/2 pi)^2 (a/(G J_p) + 1/k_coupling).  Source: [THK-A15] axial rigidity; [Varanasi2004] for the
    torsional part.
    """
    lower, upper = clipped_spans(screw, nut_position)
    stretch = screw.youngs_modulus * screw.area
    bearing = 1.0 / screw.bearing_axial
    one = np.ones_like(lower)
    if screw.ends == "fixed-fixed":
        below, above = lower / stretch + bearing, upper / stretch + bearing
        whole = below * above / (below + above)
        shaft = lower * upper / (stretch * (lower + upper))
        parts = {"shaft": shaft, "thrust bearing": whole - shaft}
    else:
        parts = {"shaft": lower / stretch, "thrust bearing": bearing * one}
    i2 = screw.travel_per_radian**2
    return parts | {name: i2 * twist for name, twist in twist_compliances(screw, nut_position).items()}


def lateral_rows(coordinates: Coordinates, corner: int, arm: float) -> Array:
    """Jacobian (4, size): nut x and slope in the x-z plane, nut y and slope in the y-z plane, at the thread.

    The nut's sideways place is its own coordinate at the height of the joint, `arm` m below the thread; its
    tilt is the carriage's: u_x = nut x + w_y arm, u_y = nut y - w_x arm; slopes w_y and -w_x.
    """
    size = coordinates.size
    first = coordinates.carriage(corner)
    tilt = rotation_motion(size, first)
    rows = np.zeros((4, size))
    rows[0, first + 6] = 1.0
    rows[0] += arm * tilt[1]
    rows[1] = tilt[1]
    rows[2, first + 7] = 1.0
    rows[2] -= arm * tilt[0]
    rows[3] = -tilt[0]
    return rows


def shaft_rows(coordinates: Coordinates, corner: int) -> Array:
    """Jacobian (4, size) as `lateral_rows`, for a shaft that moves on its own inside a plain nut."""
    size = coordinates.size
    tilt = rotation_motion(size, coordinates.carriage(corner))
    rows = np.zeros((4, size))
    rows[0, coordinates.shaft(corner)] = 1.0
    rows[1] = tilt[1]
    rows[2, coordinates.shaft(corner) + 1] = 1.0
    rows[3] = -tilt[0]
    return rows


def two_planes(plane: Array) -> Array:
    """Stiffness (n, 4, 4) of two equal bending planes from that of one (n, 2, 2)."""
    both = np.zeros((plane.shape[0], 4, 4))
    both[:, :2, :2] = plane
    both[:, 2:, 2:] = plane
    return both


def axial_row(coordinates: Coordinates, corner: int, screw: Screw, axis_offset: Array) -> Array:
    """Jacobian (1, size): z of the carriage at the screw axis + H lead/(2 pi) (theta - psi).

    Sign: a nut that does not turn moves by -lead/(2 pi) theta on a right-hand screw that turns by +theta.
    """
    size = coordinates.size
    first = coordinates.carriage(corner)
    row = point_motion(size, first, axis_offset)[2:3].copy()
    turn = screw.hand * screw.travel_per_radian
    row[0, first + 9] += turn
    row[0, first + 8] -= turn
    return row


@dataclass(frozen=True, slots=True, kw_only=True)
class LateralStiffness:
    """A 2x2 deflection-slope stiffness per plane, the `nut`'s radial and tilting stiffness in series where
    there is one.  Those of equal screws are equal, and are asked together (`Machine.system`)."""

    screw: Screw
    nut: tuple[float, float] | None

    def __call__(self, nut_position: Array, load: Array) -> Array:
        """Stiffness (n, 4, 4) with the nut at (n,) m under (n,) N."""
        plane = shaft_stiffness(self.screw, nut_position, load)
        if self.nut is None:
            return two_planes(plane)
        return two_planes(in_series(plane, np.broadcast_to(np.diag(self.nut), plane.shape)))


@dataclass(frozen=True, slots=True, kw_only=True)
class AxialStiffness:
    """The screw's own axial train with `others` m/N behind it."""

    screw: Screw
    others: float

    def __call__(self, nut_position: Array, load: Array) -> Array:
        """Stiffness (n, 1, 1) with the nut at (n,) m."""
        total = np.sum(list(axial_compliances(self.screw, nut_position).values()), axis=0) + self.others
        return np.asarray((1.0 / total)[:, None, None])


def lateral_link(corner: int, screw: Screw, rows: Array, nut: tuple[float, float] | None, name: str) -> Link:
    """The screw's push on the nut: a 2x2 deflection-slope stiffness per plane, the nut's radial and tilting
    one in series."""
    stiffness = LateralStiffness(screw=screw, nut=nut)
    return Link(part="screw", name=name, corner=corner, jacobian=rows, stiffness=stiffness)


def axial_link(corner: int, screw: Screw, row: Array, others: float, name: str) -> Link:
    """The lifting link; `others` m/N: compliances of nut, joint contact and frame in series with the screw's
    own."""
    stiffness = AxialStiffness(screw=screw, others=others)
    return Link(part="axial", name=name, corner=corner, jacobian=row, stiffness=stiffness)
