"""The bent screw: its centreline against its own axis of rotation, turned by the screw angle.

In the screw's own frame the mounted, unloaded centreline at the axial position s is the complex number

    r(s) = eccentricity e^{ja} + tilt s e^{jc} + bow shape(s) e^{jb} + measured table

Eccentricity and tilt are the thread's against its journals and bend nothing.  The bow of the free screw,
lying on its ends, is sin(pi s/L) (first term of its Fourier series; our choice, a screw bent elsewhere needs
a measured table); clamped ends then draw it straighter, see `mounting.py`.  With the upper end free the shape
is 1 - cos(pi s/(2L)), free and mounted, its crest at the free end as read with the lower end held.  A bow or
a table read in the machine is mounted as it was read: the bow's shape is scaled until its largest offset is
the reading's.  In the machine the centreline is r(s) e^{j(theta + clocking)}; the nut is offered the
deflection r and the slope dr/ds.  A dial gauge reads TIR = 2 |r|.

A screw that its motor alone holds also takes the offset and the angle of its coupling's bores, which turn
with the motor: with the upper end free it stands as they do, else its upper bearing bends it, see
`mounting.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.components.mounting import in_bearings
from bedsim.components.row import CauseName, Path, Source
from bedsim.components.screw import Screw

Array = NDArray[np.float64]
Complex = NDArray[np.complexfloating[Any, Any]]
Shape = Callable[[Array], tuple[Array | Complex, Array | Complex]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOut:
    """Offsets of the centreline, m, as complex numbers x + jy in the screw's frame at the clocking zero.

    `tilt` and `coupling_angle` in m/m; `table`: positions (n,) m and offsets (n,) m measured, or None;
    `bow_mounted`, `table_mounted`: read in the machine, not on the free screw; `coupling_offset` and
    `coupling_angle` of a coupling's bores, x + jy in the motor's frame.
    """

    eccentricity: complex = 0j
    tilt: complex = 0j
    bow: complex = 0j
    table: tuple[Array, Complex] | None = None
    bow_mounted: bool = False
    table_mounted: bool = True
    coupling_offset: complex = 0j
    coupling_angle: complex = 0j


ECCENTRICITY = "eccentricity"
_PLACES = 1001  # a crest between two of them is missed by about 1e-6 of it


def bow_shape(screw: Screw, as_mounted: bool = False) -> Shape:
    """The bow in its bearings and its slope, per unit of bow as read: on the free screw or `as_mounted`."""
    if screw.ends == "fixed-free":
        k = np.pi / (2 * screw.length)
        return lambda s: (1 - np.cos(k * s), k * np.sin(k * s))
    return _drawn(screw, _half_sine(screw.length), _bow_scale(screw, as_mounted))


def table_shape(position: Array, offset: Complex, *, held: bool = True) -> Shape:
    """A measured centreline: a natural cubic spline through the offsets, beyond its ends `held` constant or
    going on straight."""
    spline = scipy.interpolate.CubicSpline(position, offset, bc_type="natural")
    rate = spline.derivative()

    def shape(s: Array) -> tuple[Array | Complex, Array | Complex]:
        inside = np.clip(s, position[0], position[-1])
        beyond = s - inside
        if held:
            return spline(inside), np.where(beyond == 0, rate(inside), 0.0)
        return spline(inside) + rate(inside) * beyond, rate(inside)

    return shape


def centreline_shapes(run_out: RunOut, screw: Screw) -> list[tuple[str, complex, Shape]]:
    """The shapes of a centreline in its bearings, with their amounts: (name, complex amount, shape)."""
    shapes: list[tuple[str, complex, Shape]] = [
        (ECCENTRICITY, run_out.eccentricity, lambda s: (np.ones_like(s), np.zeros_like(s))),
        ("tilt", run_out.tilt, lambda s: (s, np.ones_like(s))),
        ("bow", run_out.bow, bow_shape(screw, run_out.bow_mounted)),
    ]
    if run_out.table is not None:
        table = table_shape(*run_out.table, held=run_out.table_mounted)
        shapes.append(("table", 1.0 + 0j, table if run_out.table_mounted else _drawn(screw, table)))
    return shapes


def coupling_shapes(run_out: RunOut, screw: Screw) -> list[tuple[str, complex, Shape]]:
    """What offset and angle of the coupling's bores make of a straight centreline, as `centreline_shapes`;
    nothing where the screw has a bearing of its own."""
    if screw.motor_end is None:
        return []
    straight = np.zeros(2)
    return [
        ("offset", run_out.coupling_offset, in_bearings(screw, straight, aside=1.0).added),
        ("angle", run_out.coupling_angle, in_bearings(screw, straight, turned=1.0).added),
    ]


def largest_offset(run_out: RunOut, screw: Screw, top: float) -> float:
    """Largest distance [m] of the thread's centre from its axis, from the lower end to a nut at `top` [m].

    Eccentricity, tilt, bow, table and coupling each at its largest and taken as pointing the same way: an
    upper bound.
    """
    s = np.linspace(0.0, top, _PLACES)
    shapes = centreline_shapes(run_out, screw) + coupling_shapes(run_out, screw)
    return sum(float(np.abs(amount * shape(s)[0]).max()) for _, amount, shape in shapes)


def bearing_reactions(run_out: RunOut, screw: Screw) -> tuple[Array | Complex, Array | Complex]:
    """Moments (2,) N m and forces (2,) N with which the bearings straighten bow and table and bend a screw
    in a coupling that is not straight, lower end first.

    A table read as mounted does not tell them: it counts as nothing.
    """
    scale = _bow_scale(screw, run_out.bow_mounted)
    slopes = run_out.bow * scale * _end_slopes(_half_sine(screw.length), screw.length)
    if run_out.table is not None and not run_out.table_mounted:
        slopes = slopes + _end_slopes(table_shape(*run_out.table, held=False), screw.length)
    aside, turned = (0j, 0j) if screw.motor_end is None else (run_out.coupling_offset, run_out.coupling_angle)
    mounting = in_bearings(screw, slopes, aside, turned)
    return mounting.moments, mounting.forces


def _half_sine(length: float) -> Shape:
    k = np.pi / length
    return lambda s: (np.sin(k * s), k * np.cos(k * s))


def _end_slopes(free: Shape, length: float) -> Array | Complex:
    """Slopes (2,) of a free shape at its ends against the line through them."""
    offset, slope = free(np.array([0.0, length]))
    return slope - (offset[1] - offset[0]) / length


def _drawn(screw: Screw, free: Shape, scale: float = 1.0) -> Shape:
    """`scale` times a free shape, drawn into its bearings."""
    mounting = in_bearings(screw, _end_slopes(free, screw.length))

    def shape(s: Array) -> tuple[Array | Complex, Array | Complex]:
        (offset, slope), (more, steeper) = free(s), mounting.added(s)
        return scale * (offset + more), scale * (slope + steeper)

    return shape


def _bow_scale(screw: Screw, as_mounted: bool) -> float:
    """Bow of the free screw per unit of bow as read: 1 over the largest offset that the bearings leave."""
    if not as_mounted:
        return 1.0
    offset, _ = _drawn(screw, _half_sine(screw.length))(np.linspace(0.0, screw.length, _PLACES))
    return float(1 / np.abs(offset).max())


def turned_rows(
    path: Path,
    *,
    shape: Callable[[Path], tuple[Array | Complex, Array | Complex]],
    turn: Callable[[Path], Complex],
    quarter: bool,
) -> Array:
    """Imposed (t, 4) deflection x, slope x, deflection y, slope y of a unit shape turned with the screw.

    `quarter`: the same shape along the screw's own +Y instead of +X.
    """
    found = np.empty((4, path.time.size))  # row after row in memory, as `Machine.imposed` takes them
    for k, values in enumerate(shape(path)):
        turned = values * turn(path)
        found[k], found[k + 2] = (-turned.imag, turned.real) if quarter else (turned.real, turned.imag)
    return found.T


def sources(
    run_out: RunOut,
    *,
    corner: int,
    link: str,
    screw: Screw,
    nut_position: Callable[[Path], Array],
    angle: Callable[[Path], Array],
    motor_angle: Callable[[Path], Array],
) -> list[Source]:
    """Two sources (along the screw's own X and Y) for each shape of the centreline; the coupling's go with
    the motor's angle, without the screw's clocking."""

    last = lru_cache(maxsize=1)  # sources are asked about a path one after the other
    with_screw = last(lambda path: np.exp(1j * angle(path)))
    with_motor = last(lambda path: np.exp(1j * motor_angle(path)))
    found = []
    shapes = [(CauseName.RUN_OUT, with_screw, *shape) for shape in centreline_shapes(run_out, screw)]
    shapes += [(CauseName.COUPLING, with_motor, *shape) for shape in coupling_shapes(run_out, screw)]
    for cause, turn, name, amount, shape in shapes:
        along = last(partial(_along, shape=shape, nut_position=nut_position))
        for axis, part, quarter in (("x", amount.real, False), ("y", amount.imag, True)):
            values = partial(turned_rows, shape=along, turn=turn, quarter=quarter)
            found.append(
                Source(
                    cause=cause,
                    corner=corner,
                    link=link,
                    amount=part,
                    name=f"{name} {axis}",
                    values=values,
                    turn_unit=name == ECCENTRICITY and not quarter,
                )
            )
    return found


def _along(
    path: Path, shape: Shape, nut_position: Callable[[Path], Array]
) -> tuple[Array | Complex, Array | Complex]:
    return shape(nut_position(path))
