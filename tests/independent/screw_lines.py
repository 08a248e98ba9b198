"""Where a bent screw's centreline runs and how far its lead is off, along the screw, without the package.

Splines are scipy's B-splines, the monotone curve is written out; what bearings make of a free shape is the
cubic of least energy of shaft and bearing springs. Complex numbers x + jy in the screw's own frame.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray
from scipy.interpolate import BSpline, make_interp_spline

from bedsim.scenario import schema

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Tables = Mapping[str, Array]
Curve = Callable[[Array], Complex]


@dataclass(frozen=True, kw_only=True)
class Line:
    """A centreline above the lower end: offset m, slope and curvature 1/m at places (t,) m."""

    offset: Curve
    slope: Curve
    curvature: Curve


def added(*lines: Line) -> Line:
    """The sum of some lines."""
    return Line(
        offset=lambda s: sum(line.offset(s) for line in lines),
        slope=lambda s: sum(line.slope(s) for line in lines),
        curvature=lambda s: sum(line.curvature(s) for line in lines),
    )


def polynomial(p: Polynomial, factor: complex = 1.0) -> Line:
    """A polynomial along the screw."""
    return Line(
        offset=lambda s: factor * p(s),
        slope=lambda s: factor * p.deriv()(s),
        curvature=lambda s: factor * p.deriv(2)(s),
    )


def wave(k: float, size: complex) -> Line:
    """`size` times sin(k s)."""
    return Line(
        offset=lambda s: size * np.sin(k * s),
        slope=lambda s: size * k * np.cos(k * s),
        curvature=lambda s: -size * k * k * np.sin(k * s),
    )


def bending(w: schema.ScrewKeys) -> float:
    """E I of the root circle."""
    return w.youngs_modulus_gpa * 1e9 * math.pi * (w.root_diameter_mm * 1e-3) ** 4 / 64


def centreline(w: schema.ScrewKeys, tables: Tables) -> Line:
    """The line in its bearings, clocking included; TIR is twice the offset."""
    r, L = w.run_out, w.length_mm * 1e-3
    turned = cmath.rect(1.0, math.radians(w.clocking_deg))

    def vector(tir_um: float, deg: float) -> complex:
        return cmath.rect(tir_um * 1e-6 / 2, math.radians(deg)) * turned

    tilt = vector(r.tilt_tir_um_per_100mm, r.tilt_deg) / 0.1
    eccentricity = vector(r.eccentricity_tir_um, r.eccentricity_deg)
    lines = [polynomial(Polynomial([0.0, 1.0]), tilt), polynomial(Polynomial([1.0]), eccentricity)]
    bow = vector(r.bow_tir_um, r.bow_deg)
    if w.ends == "fixed-free":
        k = math.pi / (2 * L)
        crest = Line(
            offset=lambda s: bow * (1 - np.cos(k * s)),
            slope=lambda s: bow * k * np.sin(k * s),
            curvature=lambda s: bow * k * k * np.cos(k * s),
        )
        lines.append(crest)
    else:
        k = math.pi / L
        more = drawn_in(w, np.array([0.0, 0.0]), np.array([k, -k]))
        lines += [wave(k, bow), polynomial(more, bow)]
    if r.table is not None:
        lines.append(measured(w, tables[r.table], turned))
    return added(*lines)


def measured(w: schema.ScrewKeys, table: Array, turned: complex) -> Line:
    """A line through measured offsets that bends as little as it can; read in the machine it goes on at its
    ends as it is there, read on the free screw it goes on straight and its bearings bend it."""
    place, value = table[:, 0] * 1e-3, (table[:, 1] + 1j * table[:, 2]) * 1e-6 * turned
    parts = [make_interp_spline(place, part, k=3, bc_type="natural") for part in (value.real, value.imag)]
    low, high = place[0], place[-1]

    def along(order: int, s: Array) -> Complex:
        at: list[BSpline] = [p.derivative(order) if order else p for p in parts]
        return np.asarray(at[0](s) + 1j * at[1](s))

    def offset(s: Array) -> Complex:
        s = np.asarray(s)
        inside = np.clip(s, low, high)
        return along(0, inside) + (0 if held else along(1, inside) * (s - inside))

    def slope(s: Array) -> Complex:
        s = np.asarray(s)
        return along(1, np.clip(s, low, high)) * (1 if not held else (s >= low) & (s <= high))

    held = w.run_out.table_measured == "mounted"
    line = Line(offset=offset, slope=slope, curvature=partial(along, 2))
    if held or w.ends == "fixed-free":
        return line
    L = w.length_mm * 1e-3
    chord = (offset(np.array(L)) - offset(np.array(0.0))) / L
    steep = slope(np.array([0.0, L])) - chord
    real, imag = (drawn_in(w, np.zeros(2), part) for part in (steep.real, steep.imag))
    return added(line, polynomial(real), polynomial(imag, 1j))


def drawn_in(w: schema.ScrewKeys, offset: Array, slope: Array) -> Polynomial:
    """What the bearings add to a free shape of `offset` (2,) and `slope` (2,) at its ends: the cubic of least
    energy of shaft and bearing springs.

    Between the bearings no force acts on the shaft, so the cubic is exact.
    """
    L = w.length_mm * 1e-3
    own = [Polynomial(np.eye(4)[i]) for i in range(4)]
    inside = [[(a.deriv(2) * b.deriv(2)).integ()(L) for b in own] for a in own]
    stiffness, force = bending(w) * np.array(inside), np.zeros(4)
    held = [(0, 0.0, w.bearing_radial_n_per_um * 1e6), (0, L, w.upper_bearing_radial_n_per_um * 1e6)]
    held += [(1, 0.0, w.bearing_tilt_nm_per_rad)] * w.ends.startswith("fixed")
    held += [(1, L, w.bearing_tilt_nm_per_rad)] * (w.ends == "fixed-fixed")
    for order, at, k in held:
        row = np.array([a.deriv(order)(at) if order else a(at) for a in own])
        free = (slope if order else offset)[0 if at == 0 else 1]
        stiffness += k * np.outer(row, row)
        force -= k * free * row
    return Polynomial(np.linalg.solve(stiffness, force))


def travel_error(w: schema.ScrewKeys, tables: Tables) -> Callable[[Array, Array], Array]:
    """How far a nut stands too high (t,) m, by its place (t,) m on the screw and the screw's turn (t,)
    rad."""
    t = w.travel
    phase, once = math.radians(t.variation_deg), math.radians(t.once_per_turn_deg + w.clocking_deg)
    table = None if t.table is None else monotone(tables[t.table] * [1e-3, 1e-6])

    def rise(s: Array, turn: Array) -> Array:
        found = t.slope_um_per_300mm * 1e-6 * s / 0.3
        slow = np.cos(2 * math.pi * s * 1e3 / t.variation_wavelength_mm + phase)
        found = found + t.variation_pv_um * 1e-6 / 2 * slow
        found = found + t.once_per_turn_pv_um * 1e-6 / 2 * np.cos(turn + once)
        return found if table is None else found + table(s)

    return rise


def monotone(table: Array) -> Callable[[Array], Array]:
    """Curve through points (n, 2) without overshoot, between the second and the last but one of them.

    Cubics whose slopes at the points are the weighted harmonic mean of both sides', nothing at a crest (F. N.
    Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304, from memory).
    """
    x, y = table.T
    h, d = np.diff(x), np.diff(y) / np.diff(x)
    m = np.zeros_like(x)
    for k in range(1, x.size - 1):
        if d[k - 1] * d[k] > 0:
            a, b = 2 * h[k] + h[k - 1], h[k] + 2 * h[k - 1]
            m[k] = (a + b) / (a / d[k - 1] + b / d[k])

    def curve(s: Array) -> Array:
        s = np.asarray(s, dtype=float)
        if np.any((s < x[1]) | (s > x[-2])):
            raise ValueError("nut beyond the inner points of the table")
        k = np.clip(np.searchsorted(x, s) - 1, 0, h.size - 1)
        u = (s - x[k]) / h[k]
        rise = y[k] * (1 - u) ** 2 * (1 + 2 * u) + y[k + 1] * u**2 * (3 - 2 * u)
        return np.asarray(rise + h[k] * (m[k] * u * (1 - u) ** 2 - m[k + 1] * u**2 * (1 - u)))

    return curve
