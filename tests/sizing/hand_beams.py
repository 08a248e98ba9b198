"""A screw as a beam of finite elements: its buckling, side stiffness, whirling. N, mm, s, kg."""

from __future__ import annotations

import math

import numpy as np
from hand_corner import Corner
from hand_file import optional
from scipy.linalg import eigh
from scipy.optimize import brentq


def beam(lengths: list[float], EI: float, thrust: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and geometric stiffness (per unit of `thrust`) of cubic beam elements in a row; a textbook
    element (Przemieniecki), deflection and slope at each of the nodes."""
    n = len(lengths) + 1
    K, S = np.zeros((2 * n, 2 * n)), np.zeros((2 * n, 2 * n))
    for k, (h, p) in enumerate(zip(lengths, thrust, strict=True)):
        at = slice(2 * k, 2 * k + 4)
        K[at, at] += (EI / h**3) * np.array(
            [
                [12, 6 * h, -12, 6 * h],
                [6 * h, 4 * h**2, -6 * h, 2 * h**2],
                [-12, -6 * h, 12, -6 * h],
                [6 * h, 2 * h**2, -6 * h, 4 * h**2],
            ]
        )
        S[at, at] += (p / (30 * h)) * np.array(
            [
                [36, 3 * h, -36, 3 * h],
                [3 * h, 4 * h**2, -3 * h, -(h**2)],
                [-36, -3 * h, 36, -3 * h],
                [3 * h, -(h**2), -3 * h, 4 * h**2],
            ]
        )
    return K, S


def buckling_load(corner: Corner, nut: float) -> float:
    """N on the nut that buckles the shaft on its bearings: what hangs on the nut presses the span below."""
    s, n = corner.screw, 24
    above = s.ends != "fixed-free"
    lengths = [nut / n] * n + ([(s.length_mm - nut) / n] * n if above else [])
    K, S = beam(lengths, corner.E * corner.I, [1.0] * n + [0.0] * (n if above else 0))
    K[0, 0] += 1e3 * s.bearing_radial_n_per_um
    tilt = 1e3 * optional(s, "bearing_tilt_nm_per_rad", 0.0)
    if s.ends.startswith("fixed"):
        K[1, 1] += tilt
    if above:
        K[-2, -2] += 1e3 * s.upper_bearing_radial_n_per_um
        if s.ends == "fixed-fixed":
            K[-1, -1] += tilt
    return float(1 / eigh(S, K, eigvals_only=True)[-1])


def side_stiffness(corner: Corner, nut: float) -> float:
    """N/mm of the shaft at its nut between rigid ends: a unit force on finite elements. Beam theory ends a
    root diameter from an end."""
    s = corner.screw
    z = min(max(nut, s.root_diameter_mm), s.length_mm - s.root_diameter_mm)
    K, _ = beam([z / 4] * 4 + [(s.length_mm - z) / 4] * 4, corner.E * corner.I, [0.0] * 8)
    last = len(K) - 2
    held = {
        "fixed-free": [0, 1],
        "supported-supported": [0, last],
        "fixed-supported": [0, 1, last],
        "fixed-fixed": [0, 1, last, last + 1],
    }[s.ends]
    free = [k for k in range(len(K)) if k not in held]
    force = np.zeros(len(K))
    force[8] = 1.0
    return float(1 / np.linalg.solve(K[np.ix_(free, free)], force[free])[free.index(8)])


def whirling(corner: Corner) -> float:
    """First bending frequency (1/s) of the bare shaft: roots of the frequency equations of a uniform beam
    (Blevins), solved here."""
    x = {
        "fixed-free": brentq(lambda x: math.cos(x) * math.cosh(x) + 1, 1, 3),
        "supported-supported": math.pi,
        "fixed-supported": brentq(lambda x: math.tan(x) - math.tanh(x), 3.5, 4.5),
        "fixed-fixed": brentq(lambda x: math.cos(x) * math.cosh(x) - 1, 4, 6),
    }[corner.screw.ends]
    per_length = corner.screw.density_kg_m3 * 1e-9 * corner.area  # kg/mm; N = 1000 kg mm/s2
    return (x / corner.screw.length_mm) ** 2 * math.sqrt(1e3 * corner.E * corner.I / per_length) / 2 / math.pi
