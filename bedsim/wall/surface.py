"""The printed wall as a lit surface: fine profile with the layers' beads, and its brightness under raking
light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.results.layers import Array, LayerResult
from bedsim.wall.relief import Wall, wall_relief

SAMPLES_PER_LAYER = 12
LARGEST_GAIN = 10.0
"""Of contrast in pictures: about 1 % of contrast, which an eye just sees on the part, becomes a faint 10 %
there.  More
would show bands that nobody sees.  Our assumption.
"""
_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WallProfile:
    """A wall's profile at fine, even heights."""

    height: Array  # (m,) m
    surface: Array  # (m,) m outward, with beads
    slope: Array  # (m,) of the bands alone, layer centre to layer centre


@dataclass(frozen=True, slots=True, kw_only=True)
class LitWall:
    """Brightness of a wall, ready to be drawn; row 0 is the lowest."""

    name: str
    brightness: Array  # (rows, columns) 0 dark to 1 bright
    bottom: float  # m
    top: float  # m
    incidence: float  # rad
    gain: float  # contrast of the bands is drawn magnified by this


def bead_profile(wall: Wall, roundness: float = 0.3, samples: int = SAMPLES_PER_LAYER) -> WallProfile:
    """Profile of a wall whose lines have rounded edges.

    Each layer's edge is half an ellipse as high as the layer and `roundness` times half the layer deep: 1 is
    a half-round bead, 0 a flat one.  Real beads are flatter than half-round; 0.3 is our assumption, for the
    eye only. The slope of the bands is that of straight lines between the middles of neighbouring layers.
    """
    z, layer, within = _fine(wall, samples)
    depth = 0.5 * wall.thickness[layer] * roundness * (np.sqrt(1.0 - (2.0 * within) ** 2) - 1.0)
    surface = wall.relief[layer] + depth
    if len(wall.relief) < 2:
        return WallProfile(height=z, surface=surface, slope=np.zeros_like(z))
    between = np.clip(np.searchsorted(wall.height, z, side="right") - 1, 0, len(wall.relief) - 2)
    slope = (np.diff(wall.relief) / np.diff(wall.height))[between]
    return WallProfile(height=z, surface=surface, slope=slope)


def _fine(wall: Wall, samples: int) -> tuple[Array, NDArray[np.int64], Array]:
    """Even heights (m,) m over a wall, on an average so many to a layer, the layer of each and where in it,
    -1/2 to 1/2."""
    n = len(wall.relief)
    edges = np.append(wall.height[0] - 0.5 * wall.thickness[0], wall.tops)
    z = edges[0] + (np.arange(n * samples) + 0.5) * ((edges[-1] - edges[0]) / (n * samples))
    layer = np.clip(np.searchsorted(edges, z, side="right") - 1, 0, n - 1)
    return z, layer, np.clip((z - wall.height[layer]) / wall.thickness[layer], -0.5, 0.5)


def band_contrast(slope: Array, incidence: float) -> Array:
    """Brightness of a matt wall of given slope dr/dz over that of the plain wall, minus one; light from
    above.

    Lambert: L ~ n.l with n = (1, -s)/sqrt(1 + s^2), l = (cos i, sin i); L/L0 = (1 - s tan i)/sqrt(1 +
    s^2), dark where the light does not reach.
    """
    return np.asarray(np.maximum(1.0 - slope * np.tan(incidence), 0.0) / np.hypot(1.0, slope) - 1.0)


def common_gain(
    walls: Sequence[Wall], incidence: float, target: float = 0.5, largest: float = LARGEST_GAIN
) -> float:
    """One magnification of contrast for a row of walls: the strongest bands come near `target`, in steps
    1-2-5.

    The 99th percentile of the contrast counts, so that a single step does not dim the rest.  Between 1 and
    `largest`.
    """
    contrasts = [np.abs(band_contrast(bead_profile(w).slope, incidence)) for w in walls]
    strongest = max(float(np.percentile(c, 99)) for c in contrasts)
    wanted = max(1.0, target / max(strongest, target / largest))
    decade = 10.0 ** np.floor(np.log10(wanted))
    return float(max(s * decade for s in _STEPS if s * decade <= wanted * (1 + 1e-9)))


def light_wall(
    wall: Wall, *, incidence: float, gain: float, roundness: float = 0.3, rows: int = 1600
) -> LitWall:
    """Brightness (rows, 1) of a flat wall under one light from above, `incidence` (rad) from its normal.

    Brightness = 1/2 * lines * (1 + gain * contrast of the bands).  The bands' slopes are the true ones and
    only their contrast is magnified by `gain`; the layer lines stay as the light draws them.  Rows are means
    over what they cover, so that fine lines do not beat with the picture's rows.
    """
    slope = bead_profile(wall, roundness).slope[:, None]
    brightness = 1.0 + gain * band_contrast(slope, incidence)
    return _lit(wall.name, wall, brightness, incidence, gain, roundness, rows)


def light_column(
    layers: LayerResult,
    wall: Wall,
    *,
    incidence: float,
    gain: float,
    roundness: float = 0.3,
    rows: int = 1600,
    columns: int = 81,
) -> LitWall:
    """Brightness (rows, columns) of a round post printed at the wall's probe, facing the wall's normal.

    Each column has the relief of its own normal, turned by up to 80 degrees to either side in even steps of
    the sine, as an onlooker sees a round post from afar; an unbanded post is cos(turn) bright.
    """
    p = layers.probe_name.index(wall.probe)
    turn = np.arcsin(np.linspace(-0.985, 0.985, columns))
    facing = np.arctan2(wall.normal[1], wall.normal[0]) + turn  # +90 degrees is to the onlooker's right
    parts = []
    for angle, plain in zip(facing, np.cos(turn), strict=True):
        normal = np.array([np.cos(angle), np.sin(angle)])
        relief = wall_relief(
            layers.lateral_error[:, p],
            layers.height_error[:, p],
            normal=normal,
            line_width=wall.line_width,
            layer_height=wall.thickness,
        )
        slope = bead_profile(replace(wall, relief=relief), roundness).slope
        parts.append(plain + gain * band_contrast(slope, incidence))
    name = f"round post facing {wall.name}"
    return _lit(name, wall, np.stack(parts, axis=1), incidence, gain, roundness, rows)


_ACROSS = (np.arange(SAMPLES_PER_LAYER) + 0.5) / SAMPLES_PER_LAYER - 0.5


def layer_lines(incidence: float, roundness: float, within: Array = _ACROSS) -> Array:
    """Brightness (m,) at places `within` a bead, -1/2 its lowest to 1/2, of mean 1 over the bead, under the
    light of `band_contrast`."""
    even, bright = (
        1.0 + band_contrast(-2.0 * roundness * x / np.sqrt(1.0 - 4.0 * x**2), incidence)
        for x in (_ACROSS, np.clip(within, -0.4999, 0.4999))
    )
    return np.asarray(bright / even.mean())


def _lit(
    name: str, wall: Wall, bands: Array, incidence: float, gain: float, roundness: float, rows: int
) -> LitWall:
    z, _, within = _fine(wall, SAMPLES_PER_LAYER)
    lines = layer_lines(incidence, roundness, within)
    brightness = 0.5 * lines[:, None] * np.clip(bands, 0.0, None)
    block = max(1, int(np.ceil(len(brightness) / rows)))
    usable = len(brightness) // block * block
    coarse = brightness[:usable].reshape(-1, block, bands.shape[1]).mean(axis=1)
    bottom = float(wall.height[0] - 0.5 * wall.thickness[0])
    return LitWall(
        name=name,
        brightness=np.clip(coarse, 0.0, 1.0),
        bottom=bottom,
        top=bottom + usable * float(wall.thickness.sum()) / len(z),
        incidence=incidence,
        gain=gain,
    )
