"""A photo of a wall as a camera would take it of a relief that is known, to try the reading of photos on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy

from bedsim.results.layers import Array
from bedsim.units import DEG, MM
from bedsim.wall.light import row_brightness, traced
from bedsim.wall.relief import Wall, wall_normal
from bedsim.wall.surface import bead_profile, screen_codes

FLAT = 0.05
"""How round the edges of layers are: as flat as those of a well-tuned print, which a photo shows best."""
EXPOSURE = 0.5
"""What a plain wall has of the photo's white."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How a photo is taken: `incidence` [rad] of light from above, `tilt` [rad] of the wall in it, pixels per
    metre, a share by which its corners are darker, grain of the sensor (of full brightness)."""

    incidence: float = 60 * DEG
    tilt: float = 0.0
    pixels: float = 20_000.0
    vignette: float = 0.0
    grain: float = 0.0


def banded_wall(
    length: float, crest: float, amplitude: float, *, layers: int = 160, layer: float = 0.25 * MM
) -> Wall:
    """A wall with bands of one `length` and a crest at a height `crest`, all [m]."""
    height: Array = (np.arange(layers, dtype=np.float64) + 0.5) * layer
    name, normal = wall_normal("+X")
    return Wall(
        name=name,
        normal=normal,
        probe="made up",
        height=height,
        relief=amplitude * np.cos(2 * np.pi * (height - crest) / length),
        thickness=np.full(layers, layer),
        line_width=0.5 * MM,
    )


def photographed(
    wall: Wall, shot: Shot, rng: np.random.Generator, width: float = 20 * MM
) -> tuple[Array, Array]:
    """Picture (rows, columns) of 8 bits in sRGB, and the pixels (2, 2) x, y of the wall's foot and top.

    The wall's light is traced as in all pictures here, each pixel the mean of what it covers; then the wall
    is turned, darkened towards the corners, and grained.
    """
    brightness, high = _light(wall, shot), float(wall.thickness.sum())
    size = np.array([high + 4 * MM, width]) * shot.pixels
    rows, columns = (int(v) for v in np.ceil(size))
    y, x = np.mgrid[0:rows, 0:columns].astype(float)
    along, across = math.cos(shot.tilt), math.sin(shot.tilt)
    foot = np.array([columns / 2, rows - 2 * MM * shot.pixels])
    up = -(y - foot[1]) * along + (x - foot[0]) * across
    z = up / shot.pixels / high * len(brightness) - 0.5
    light = scipy.ndimage.map_coordinates(brightness, [z], order=1, mode="nearest")
    off = ((x / columns - 0.5) ** 2 + (y / rows - 0.5) ** 2) * 2
    light = light * (1 - shot.vignette * off) + rng.normal(0, shot.grain, light.shape)
    top = foot + np.array([across, -along]) * high * shot.pixels
    return np.asarray(np.round(255 * screen_codes(light, EXPOSURE))), np.stack([foot, top])


def _light(wall: Wall, shot: Shot) -> Array:
    """Light in parts of a plain wall's, upwards in fine even steps, blurred over a pixel."""
    profile = bead_profile(wall, FLAT)
    light = traced(profile.height, profile.surface, shot.incidence) / row_brightness(
        0.0, shot.incidence, FLAT
    )
    step = profile.height[1] - profile.height[0]
    blurred = scipy.ndimage.uniform_filter1d(light, max(1, round(1 / (shot.pixels * step))), mode="nearest")
    return np.asarray(blurred)
