"""Two axially magnetised discs facing each other: pull, recentring force beside the axis, stiffness, warmth.

Each face is a disc of magnetic surface charge; the force between two discs of charge is one integral over
Bessel functions, and the four pairs of faces fold into two factors (1 - exp(-k t)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import cast

import numpy as np
import scipy
from numpy.typing import NDArray

MU0 = 4e-7 * math.pi  # H/m; the CODATA value differs in the tenth digit

#: Relative change of remanence per kelvin of sintered NdFeB between room temperature and the grade's limit
#: (80 C for plain grades): usual makers' range and middle, quoted from memory.
REMANENCE_PER_K = -1.1e-3
REMANENCE_PER_K_RANGE = (-1.3e-3, -0.9e-3)

#: Computed force against hardware. Source: [Vokoun2009], [Vokoun2014] (agreement within about 15 %).
HARDWARE_BAND = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A disc magnet: radius [m], thickness [m], remanence [T]; magnetised along its axis."""

    radius: float
    thickness: float
    remanence: float


def attraction(first: Disc, second: Disc, gap: float, offset: float = 0.0) -> float:
    """Return the axial pull [N] of two discs in attraction, faces `gap` [m] apart, axes `offset` [m] apart.

    F = (pi B1 B2/mu0) R1 R2 Int J0(k r) J1(k R1) J1(k R2) (1 - e^(-k t1)) (1 - e^(-k t2)) e^(-k g) dk/k.
    Source: [Vokoun2009] (equal discs); the form for unequal discs follows from the same integral.
    Limits: rigid uniform magnetisation, parallel axes, no iron nearby; real magnets within about 15 %.
    """
    k, weight = _nodes(first, second, gap, offset)
    return _strength(first, second) * float(
        np.sum(weight * _kernel(k, first, second, gap) * scipy.special.j0(k * offset) / k)
    )


def recentring_force(first: Disc, second: Disc, gap: float, offset: float) -> float:
    """Return the force [N] that draws the discs back to a common axis when `offset` [m] apart.

    As `attraction` with J1(k r) in place of J0(k r).  Source and limits: as there.
    """
    k, weight = _nodes(first, second, gap, offset)
    return _strength(first, second) * float(
        np.sum(weight * _kernel(k, first, second, gap) * scipy.special.j1(k * offset) / k)
    )


def axial_stiffness(first: Disc, second: Disc, gap: float) -> float:
    """Return dF/dgap [N/m] on the axis: negative, the pull falls as the gap opens.  Derivative of
    `attraction`.
    """
    k, weight = _nodes(first, second, gap, 0.0)
    return -_strength(first, second) * float(np.sum(weight * _kernel(k, first, second, gap)))


def lateral_stiffness(first: Disc, second: Disc, gap: float) -> float:
    """Return the recentring stiffness [N/m] at the axis: k_lateral = -1/2 dF/dgap.

    Source: Laplace's equation (Earnshaw): the three stiffnesses of a rigid magnet pair sum to zero.
    A pair that recentres therefore snaps shut axially; something hard (the balls) must take its pull.
    """
    return -0.5 * axial_stiffness(first, second, gap)


def remanence_when_warm(remanence: float, warming: float, per_kelvin: float = REMANENCE_PER_K) -> float:
    """Return the remanence [T] of a magnet warmer by `warming` [K]: Br (1 + alpha dT).

    Forces go with its square.  Source: IEC 60404-8-1 defines the coefficient; the value is the makers' usual
    one.
    Limits: reversible part only, below the grade's temperature limit; above it magnets lose strength for
    good.
    """
    return remanence * (1.0 + per_kelvin * warming)


def _strength(first: Disc, second: Disc) -> float:
    return math.pi * first.remanence * second.remanence / MU0 * first.radius * second.radius


def _kernel(k: NDArray[np.float64], first: Disc, second: Disc, gap: float) -> NDArray[np.float64]:
    faces = (1.0 - np.exp(-k * first.thickness)) * (1.0 - np.exp(-k * second.thickness))
    return cast(
        "NDArray[np.float64]",
        scipy.special.j1(k * first.radius) * scipy.special.j1(k * second.radius) * faces * np.exp(-k * gap),
    )


def _nodes(
    first: Disc, second: Disc, gap: float, offset: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Legendre panels, one per half-wave of the Bessel product, to where exp(-k gap) is spent."""
    radius = max(first.radius, second.radius)
    end = min(36.0 / max(gap, 1e-12), 4000.0 / radius)  # the second bound leaves 2e-4 for touching magnets
    panel = math.pi / (first.radius + second.radius + offset)
    if gap > 0:  # far apart it is the exponential that must be resolved
        panel = min(panel, 4.0 / gap)
    edges = np.linspace(0.0, end, math.ceil(end / panel) + 1)
    x, w = np.polynomial.legendre.leggauss(8)
    half = 0.5 * np.diff(edges)[:, None]
    k = (0.5 * (edges[1:] + edges[:-1]))[:, None] + half * x
    return k.ravel(), (half * w).ravel()
