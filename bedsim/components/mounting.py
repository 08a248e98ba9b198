"""What the bearings do to a bent screw when it is mounted: they draw its ends on to their axis.

The screw's unstressed centreline u(s), against the straight line through its ends, has the slopes phi_0 and
phi_L there.  Supported ends take them as they are; a clamped end answers with a moment m = -k_phi w', w(s)
being the sum of u, of the bend v that the reactions make, and of the line through the bearings as they yield:

    beam bent by end moments alone     v'_0 = L/(6EI) (2 m_0 - m_L),  v'_L = L/(6EI) (2 m_L - m_0)
    held in balance by the bearings    f_0 = (m_0 + m_L)/L = -f_L,    w_L = -f_L/k_L
    line through the ends              chi = (w_L - w_0)/L
    clamped ends                       c m + phi + chi + v' = 0

The upper end yields by 1/k and 1/k_phi; the lower one, which may be a motor's shaft with its coupling, by the
compliance (c_ww c_wm; c_wm c_mm) from where it would rest by itself, d_0 aside and turned by t_0:

    w_0 = d_0 - c_ww f_0 - c_wm m_0                 c_mm m_0 + c_wm f_0 + phi_0 + chi + v'_0 = t_0

a 1 x 1 or 2 x 2 system for the moments, counter-clockwise positive.  All of it turns with the screw, so every
amount may be real or complex (x + jy in the screw's frame).  Derived: force method, Euler-Bernoulli beam
[Roark].  The reactions act at the ends only, so the end slopes are all that counts of a free shape, and v is
a cubic.  Limits: bearings alike in all directions, on one axis, small slopes; no load on the screw.  With the
upper end free nothing is pulled: the lower bearing turns the screw as it is, v = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bedsim.components.screw import Screw

Array = NDArray[np.float64]
Planar = Array | NDArray[np.complexfloating[Any, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mounting:
    """Bearing reactions and what they add to the free centreline of a screw of `length` m.

    `moments` (2,) N m and `forces` (2,) N of the bearings on the screw, lower end first; `start` m and `line`
    m/m: offset at the lower end and slope of the line through the ends; `bend` (2,): slopes that the moments
    add at the ends against that line.
    """

    length: float
    moments: Planar
    forces: Planar
    start: complex
    line: complex
    bend: Planar

    def added(self, s: Array) -> tuple[Planar, Planar]:
        """Deflection [m] and slope at `s` [m] that mounting adds: line, and cubic of the end moments."""
        x = s / self.length
        lower, upper = self.bend
        offset = self.length * (lower * x * (1 - x) ** 2 - upper * x**2 * (1 - x))
        slope = lower * (1 - x) * (1 - 3 * x) - upper * x * (2 - 3 * x)
        return self.start + self.line * s + offset, self.line + slope


def in_bearings(screw: Screw, slopes: Planar, aside: complex = 0j, turned: complex = 0j) -> Mounting:
    """Mount a screw whose free centreline has `slopes` (2,) m/m at its ends against the line through them.

    `aside` m, `turned` m/m: where the lower end's holder would rest by itself against the axis.
    """
    length, moments = screw.length, np.zeros_like(slopes)
    if screw.ends == "fixed-free":
        return Mounting(
            length=length, moments=moments, forces=moments, start=aside, line=turned - slopes[0], bend=moments
        )
    sideways, mixed, tilting = _lower_compliance(screw)
    yielding = sideways + 1 / screw.upper_bearing_radial
    bending = length / (6 * screw.bending_stiffness) * np.array([[2.0, -1.0], [-1.0, 2.0]])
    turning = bending + yielding / length**2 + np.diag([tilting, 1 / screw.bearing_tilt])
    turning[0] += mixed / length
    turning[:, 0] += mixed / length
    clamped = {"supported-supported": [], "fixed-supported": [0], "fixed-fixed": [0, 1]}[screw.ends]
    wanted = np.array([turned, 0.0]) + aside / length - slopes
    moments = moments.astype(np.result_type(moments, wanted))
    moments[clamped] = np.linalg.solve(turning[np.ix_(clamped, clamped)], wanted[clamped])
    force = moments.sum() / length
    start = aside - sideways * force - mixed * moments[0]
    return Mounting(
        length=length,
        moments=moments,
        forces=np.array([force, -force]),
        start=start,
        line=(force / screw.upper_bearing_radial - start) / length,
        bend=bending @ moments,
    )


def _lower_compliance(screw: Screw) -> tuple[float, float, float]:
    """c_ww m/N, c_wm 1/N and c_mm rad/(N m) of what holds the lower end."""
    if screw.motor_end is None:
        return 1 / screw.bearing_radial, 0.0, 1 / screw.bearing_tilt
    (sideways, mixed), (_, tilting) = screw.motor_end.compliance
    return float(sideways), float(mixed), float(tilting)
