"""The bent screw: its centreline against its own axis of rotation, turned by the screw angle.

In the screw's own frame the mounted, unloaded centreline at the axial position s is the complex number

    r(s) = eccentricity e^{ja} + tilt s e^{jc} + bow shape(s) e^{jb} + measured table

with shape sin(pi s/L) when both ends are held and 1 - cos(pi s/(2L)) when one end is free (first Ritz shapes
of a beam so held; our choice, a screw bent elsewhere needs a measured table).  In the machine it is r(s)
e^{j(theta + clocking)}; the nut is offered the deflection r and the slope dr/ds.  A dial gauge reads TIR = 2
|r|.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.components.row import Path, Source

Array = NDArray[np.float64]
Complex = NDArray[np.complexfloating[Any, Any]]
Shape = Callable[[Array], tuple[Array | Complex, Array | Complex]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOut:
    """Offsets of the centreline, m, as complex numbers x + jy in the screw's frame at the clocking zero.

    `tilt` in m/m; `table`: positions (n,) m and offsets (n,) m measured, or None.
    """

    eccentricity: complex = 0j
    tilt: complex = 0j
    bow: complex = 0j
    table: tuple[Array, Complex] | None = None


def bow_shape(length: float, free_end: bool) -> Shape:
    """Unit bow and its slope over the free length."""
    if free_end:
        k = np.pi / (2 * length)
        return lambda s: (1 - np.cos(k * s), k * np.sin(k * s))
    k = np.pi / length
    return lambda s: (np.sin(k * s), k * np.cos(k * s))


def table_shape(position: Array, offset: Complex) -> Shape:
    """A measured centreline, a natural cubic spline through the offsets, held constant beyond its ends."""
    if position.size == 2:
        slope = (offset[1] - offset[0]) / (position[1] - position[0])
        return lambda s: (offset[0] + slope * (np.clip(s, *position) - position[0]), slope * np.ones_like(s))
    spline = scipy.interpolate.CubicSpline(position, offset, bc_type="natural")
    rate = spline.derivative()

    def shape(s: Array) -> tuple[Array | Complex, Array | Complex]:
        inside = (s >= position[0]) & (s <= position[-1])
        held = np.clip(s, position[0], position[-1])
        return spline(held), np.where(inside, rate(held), 0.0)

    return shape


def centreline_shapes(run_out: RunOut, length: float, free_end: bool) -> list[tuple[str, complex, Shape]]:
    """The shapes of a centreline with their amounts: (name, complex amount, shape)."""
    shapes: list[tuple[str, complex, Shape]] = [
        ("eccentricity", run_out.eccentricity, lambda s: (np.ones_like(s), np.zeros_like(s))),
        ("tilt", run_out.tilt, lambda s: (s, np.ones_like(s))),
        ("bow", run_out.bow, bow_shape(length, free_end)),
    ]
    if run_out.table is not None:
        shapes.append(("table", 1.0 + 0j, table_shape(*run_out.table)))
    return shapes


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
    length: float,
    free_end: bool,
    nut_position: Callable[[Path], Array],
    angle: Callable[[Path], Array],
) -> list[Source]:
    """Two sources (along the screw's own X and Y) for each shape of the centreline."""

    last = lru_cache(maxsize=1)  # sources are asked about a path one after the other
    turn = last(lambda path: np.exp(1j * angle(path)))
    found = []
    for name, amount, shape in centreline_shapes(run_out, length, free_end):
        along = last(partial(_along, shape=shape, nut_position=nut_position))
        for axis, part, quarter in (("x", amount.real, False), ("y", amount.imag, True)):
            values = partial(turned_rows, shape=along, turn=turn, quarter=quarter)
            found.append(
                Source(
                    cause="run-out",
                    corner=corner,
                    link=link,
                    amount=part,
                    name=f"{name} {axis}",
                    values=values,
                )
            )
    return found


def _along(
    path: Path, shape: Shape, nut_position: Callable[[Path], Array]
) -> tuple[Array | Complex, Array | Complex]:
    return shape(nut_position(path))
