"""From the errors of the bed to the relief of a printed wall.

Frame: X right, Y back, Z up, seen from above; a wall is named by its outward normal.  Positive relief:
material stands out of the nominal wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from bedsim.analysis.metrics import thicknesses, usual_thickness
from bedsim.errors import InputError
from bedsim.results.layers import Array, LayerResult
from bedsim.scenario.keys import completed, nearest
from bedsim.units import DEG

Section = Literal["rectangle", "stadium"]
_NORMALS = {"+X": 0.0, "-X": 180.0, "+Y": 90.0, "-Y": -90.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """The relief of one wall of the printed part, one value per layer."""

    name: str  # "+X" or "37 deg"
    normal: Array  # (2,) outward unit normal
    probe: str  # name of the probe whose errors the wall carries
    height: Array  # (n,) m, middle of each layer above the bed
    relief: Array  # (n,) m, outward positive
    thickness: Array  # (n,) m of each layer
    line_width: float  # m

    @property
    def tops(self) -> Array:
        """Top (n,) m of each layer above the bed."""
        return self.height + 0.5 * self.thickness

    @property
    def layer_height(self) -> float:
        """Thickness m of evenly spaced layers, of others the mean."""
        return usual_thickness(self.tops)


def wall_normal(wall: str | float) -> tuple[str, Array]:
    """Name and outward unit normal (2,) of a wall given as +X, -X, +Y, -Y or as an angle in degrees from
    +X.

    Angles count counter-clockwise seen from above.  Raises InputError for any other name.
    """
    text = str(wall).strip().upper().removesuffix("DEG").strip()
    angle = _NORMALS.get(text)
    name = text
    if angle is None:
        try:
            angle = float(text)
        except ValueError:
            angle = np.nan
        if not np.isfinite(angle):
            raise InputError(
                f"wall = {wall!r}: must be +X, -X, +Y, -Y or an angle in degrees from +X.{_hint(text)}"
            )
        name = f"{angle:g} deg"
    exact = {0.0: (1, 0), 90.0: (0, 1), 180.0: (-1, 0), -90.0: (0, -1)}.get(angle)
    normal = exact if exact is not None else (np.cos(angle * DEG), np.sin(angle * DEG))
    return name, np.array(normal, dtype=float)


def _hint(text: str) -> str:
    """The nearest way to write a wall, where there is one."""
    axis = [c for c in text if c in "XY"]
    sign = "-" if "-" in text or "MINUS" in text else "+"
    return f" Did you mean {sign}{axis[0]}?" if len(axis) == 1 else ""


def width_per_height(
    line_width: float, layer_height: float | Array, section: Section = "rectangle"
) -> float | Array:
    """Change of line width per change of layer thickness at constant flow, dw/dh (without unit, negative).

    The extruder lays the same cross-section A per length whatever the gap.  Derivation:
    rectangle, A = w h:              0 = w dh + h dw        ->  dw/dh = -w/h
    stadium, A = (w-h) h + pi h^2/4: w = A/h + (1 - pi/4) h ->  dw/dh = -A/h^2 + 1 - pi/4 = -w/h + 2 - pi/2
    Holds for small changes and as long as the line is wider than high and bonds to its neighbour without
    gap.
    """
    slope = -line_width / layer_height
    return slope if section == "rectangle" else slope + 2.0 - np.pi / 2.0


def wall_relief(
    lateral: ArrayLike,
    height: ArrayLike,
    *,
    normal: ArrayLike,
    line_width: float,
    layer_height: float | Array,
    section: Section = "rectangle",
) -> Array:
    """Relief (..., n) m of a wall from lateral (..., n, 2) and height (..., n) errors (m) of n layers, of one
    `layer_height` m or their own (n,).

    Layer n is laid where the nozzle is while the bed point is displaced by d_xy, so in the part's own
    coordinates it lies at -d_xy: the wall moves by -normal . d_xy.  The layer is laid between the nozzle
    and the top of layer n - 1, which the bed has carried along: its thickness is h - (d_z(n) - d_z(n-1)),
    i.e. dh = -(d_z(n) - d_z(n-1)).  At constant flow its width changes by dw = (dw/dh) dh and a free wall
    moves by half of that, for the rectangle:

        relief(n) = -normal . d_xy(n) + (w/2) (d_z(n) - d_z(n-1))/h

    The bed rising towards the nozzle (positive d_z) squeezes the layer, and the wall bulges outwards.  The
    first layer has no layer below: its width term is zero, as errors are relative to it.
    Limits: the line spreads evenly to both sides; the neighbour inside does not hold it back.
    """
    d_xy, d_z = np.asarray(lateral, float), np.asarray(height, float)
    squeeze = -np.diff(d_z, axis=-1, prepend=d_z[..., :1])
    half_width = 0.5 * width_per_height(line_width, layer_height, section) * squeeze
    return np.asarray(half_width - d_xy @ np.asarray(normal, float))


def relief_spread(spread: Array, wall: Wall) -> Array:
    """Half range (n,) m of a wall's relief, from the products of half ranges (n, m) of its errors in the
    order of
    `results.layers.SPREAD_MOMENTS`: the relief is linear in x, y and the height's step s, and so is every
    key's half
    range of it, whose squares add up.
    """
    xx, xy, yy, xs, ys, ss, _ = np.moveaxis(spread, -1, 0)
    (a, b), c = -wall.normal, wall.line_width / (2.0 * wall.thickness)
    square = a * a * xx + 2 * a * b * xy + b * b * yy + 2 * c * (a * xs + b * ys) + c * c * ss
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def probe_called(probe: str, names: Sequence[str]) -> str:
    """The name of a probe that is given whole or by its beginning.  Raises InputError with the nearest."""
    found = completed(probe, names)
    if found not in names:
        near = nearest(probe, names)
        hint = f" Did you mean {near}?" if near else ""
        raise InputError(f"probe = {probe!r}: must be one of {', '.join(names)}.{hint}")
    return found


def probe_index(layers: LayerResult, probe: str) -> int:
    """Index of the named probe.  Raises InputError."""
    return layers.probe_name.index(probe_called(probe, layers.probe_name))


def wall_of_layers(
    layers: LayerResult,
    *,
    wall: str | float,
    line_width: float,
    probe: str,
    section: Section = "rectangle",
) -> Wall:
    """The wall with the given outward normal as printed at one probe of the bed, which stands for its place.
    Raises InputError.
    """
    name, normal = wall_normal(wall)
    p, h = probe_index(layers, probe), thicknesses(layers.print_height)
    relief = wall_relief(
        layers.lateral_error[:, p],
        layers.height_error[:, p],
        normal=normal,
        line_width=line_width,
        layer_height=h,
        section=section,
    )
    return Wall(
        name=name,
        normal=normal,
        probe=layers.probe_name[p],
        height=layers.print_height - 0.5 * h,
        relief=relief,
        thickness=h,
        line_width=line_width,
    )
