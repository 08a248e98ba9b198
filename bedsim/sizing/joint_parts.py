"""A planar joint from its parts: what each magnet, spring, ball, O-ring and flexure adds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.components.joint import planar_stiffness
from bedsim.sizing import magnets

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanarElement:
    """What one part adds at its place (x, y) [m] from the screw axis.

    along, across [N/m]: stiffness in direction `direction` [rad] and square to it; pull [N]: force pressing
    the two plates together; friction [N]: force that holds against sideways motion; push [N]: constant
    sideways push.
    """

    name: str
    x: float
    y: float
    along: float = 0.0
    across: float = 0.0
    direction: float = 0.0
    pull: float = 0.0
    friction: float = 0.0
    push: float = 0.0

    def planar(self) -> Floats:
        """Return the 2x2 stiffness [N/m] at its place, in x and y."""
        c, s = math.cos(self.direction), math.sin(self.direction)
        turn = np.array([[c, -s], [s, c]])
        return np.asarray(turn @ np.diag([self.along, self.across]) @ turn.T, dtype=float)

    def stiffness(self) -> Floats:
        """Return the planar 3x3 stiffness about the screw axis: x, y [N/m], rotation [N m/rad]."""
        return planar_stiffness(np.array([[self.x, self.y]]), self.planar()[None])


@dataclass(frozen=True, slots=True, kw_only=True)
class JointSum:
    """The whole joint, in SI: `assemble` says what each number means; stiffness has shape (3, 3)."""

    stiffness: Floats
    recentring: float
    rotation: float
    friction: float
    dead_zone: float
    pull: float
    push: float


def assemble(elements: Sequence[PlanarElement], rotation_stiffness: float = 0.0) -> JointSum:
    """Sum the elements: K = sum of B_e^T k_e B_e, with an extra anti-rotation stiffness [N m/rad] about the
    screw.

    recentring [N/m]: the softest sideways direction with the rotation left free; rotation [N m/rad]: with x
    and y held; dead zone [m] = friction/recentring, the excursion from which the joint does not come back
    (infinite without recentring).  Friction forces are summed as if all opposed the same motion.
    """
    K = np.sum([e.stiffness() for e in elements], axis=0) if elements else np.zeros((3, 3))
    K[2, 2] += rotation_stiffness
    friction = sum(e.friction for e in elements)
    recentring = softest(K)
    return JointSum(
        stiffness=K,
        recentring=recentring,
        rotation=float(K[2, 2]),
        friction=friction,
        dead_zone=friction / recentring if recentring > 0 else math.inf,
        pull=sum(e.pull for e in elements),
        push=sum(e.push for e in elements),
    )


def softest(K: Floats) -> float:
    """Return the stiffness [N/m] of a joint (3, 3) in its softest sideways direction, free to turn."""
    lateral = K[:2, :2]
    if K[2, 2] > 0:
        lateral = lateral - np.outer(K[:2, 2], K[2, :2]) / K[2, 2]
    return float(np.linalg.eigvalsh(lateral)[0])


def magnet_pair(
    name: str, x: float, y: float, first: magnets.Disc, second: magnets.Disc, gap: float
) -> PlanarElement:
    """Return two coaxial disc magnets in attraction at (x, y): pull and recentring stiffness.

    Source and limits: `magnets.attraction`, `magnets.lateral_stiffness` (small excursions).
    """
    k = magnets.lateral_stiffness(first, second, gap)
    return PlanarElement(name=name, x=x, y=y, along=k, across=k, pull=magnets.attraction(first, second, gap))


def tension_spring(name: str, x: float, y: float, force: float, length: float) -> PlanarElement:
    """Return a spring pulled between the plates, free to swing at both hooks: k = F/L sideways.

    Force [N] and length [m] between the hooks at rest.  Source: statics of a string; derived.
    Limits: excursion small against the length; a spring clamped at its ends is stiffer.
    """
    return PlanarElement(name=name, x=x, y=y, along=force / length, across=force / length, pull=force)


def ball(
    name: str,
    x: float,
    y: float,
    *,
    radius: float,
    load: float,
    rolling_coefficient: float,
    dish_radius: float | None = None,
    dished_plates: int = 0,
    wedge: float = 0.0,
) -> PlanarElement:
    """Return a ball between two plates that carries `load` [N].

    Flat plates: no recentring.  Dished plates of radius Rs: k = W/(4 (Rs - r)) for one, W/(2 (Rs - r)) for
    two.
    Friction = rolling coefficient x load.  Plates out of parallel by `wedge` [rad] push with W wedge/2.
    Source: geometry (the ball rolls half the plate's travel) and equal traction at both contacts; derived.
    """
    k = 0.0
    if dish_radius is not None and dished_plates:
        k = load * dished_plates / (4.0 * (dish_radius - radius))
    return PlanarElement(
        name=name,
        x=x,
        y=y,
        along=k,
        across=k,
        friction=rolling_coefficient * load,
        push=load * wedge / 2.0,
    )


def rubber_shear_modulus(hardness_shore_a: float) -> float:
    """Return the shear modulus [Pa] of rubber from its Shore A hardness.

    E = 0.0981 (56 + 7.66 S)/(0.137505 (254 - 2.54 S)) MPa, G = E/3.
    Source: [Gent1958].  Limits: S 20 to 80, small slow strain; filled rubbers scatter by a third or more.
    """
    s = hardness_shore_a
    return 0.0981e6 * (56.0 + 7.66 * s) / (0.137505 * (254.0 - 2.54 * s)) / 3.0


def o_ring(
    name: str, x: float, y: float, *, mean_diameter: float, cord: float, height: float, shear_modulus: float
) -> PlanarElement:
    """Return an O-ring squeezed to `height` [m] between the plates and sheared: k = G pi D w/h.

    w = pi cord^2/(4 h) keeps the rubber's volume.  Source: simple shear; derived.
    Limits: an estimate within a factor of two; it creeps, and does not roll only as long as it grips.
    """
    width = math.pi * cord**2 / (4.0 * height)
    k = shear_modulus * math.pi * mean_diameter * width / height
    return PlanarElement(name=name, x=x, y=y, along=k, across=k)


def guided_beam_stiffness(
    *, youngs_modulus: float, area_moment: float, length: float, compression: float = 0.0
) -> float:
    """Return the sideways stiffness [N/m] of a beam clamped at both ends, one end guided parallel.

    k = 12 E I/L^3 - 6 P/(5 L), P the axial load in compression [N] (tension negative).
    Source: [Roark] table of straight beams (guided end); geometric stiffness of the cubic beam.
    Limits: excursion below about a tenth of the length, P below half of pi^2 E I/L^2.
    """
    return 12.0 * youngs_modulus * area_moment / length**3 - 6.0 * compression / (5.0 * length)


def flexure(
    name: str,
    x: float,
    y: float,
    *,
    youngs_modulus: float,
    thickness: float,
    width: float,
    length: float,
    direction: float = 0.0,
    compression: float = 0.0,
) -> PlanarElement:
    """Return an upright leaf flexure (thin along `direction`), or a square wire when width = thickness.

    Bending I = w t^3/12 along the direction, t w^3/12 across.  Source and limits: `guided_beam_stiffness`.
    """
    thin, wide = width * thickness**3 / 12.0, thickness * width**3 / 12.0
    along, across = (
        guided_beam_stiffness(
            youngs_modulus=youngs_modulus, area_moment=i, length=length, compression=compression
        )
        for i in (thin, wide)
    )
    return PlanarElement(name=name, x=x, y=y, along=along, across=across, direction=direction)
