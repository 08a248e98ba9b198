"""The printed wall as a lit surface: fine profile with the layers' beads, and its brightness under one
lamp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bedsim.results.layers import Array, LayerResult
from bedsim.units import DEG
from bedsim.wall.light import ROUNDNESS, bead_share, row_brightness, traced
from bedsim.wall.relief import Wall, wall_relief

SAMPLES_PER_LAYER = 12
_TRACED = 192  # points of a layer, close together where its flanks are steep
_SHADING = 3e-3  # m of wall above that can shade what is drawn

RAKING = 80.0 * DEG
"""Incidence of the lamp in pictures, from the wall's normal: held almost along the wall, as one looks for
bands (common practice, no source).  Verdicts are for another one, `Viewing`.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class WallProfile:
    """A wall's profile at fine, even heights."""

    height: Array  # (m,) m
    surface: Array  # (m,) m outward, with beads


@dataclass(frozen=True, slots=True, kw_only=True)
class LitPost:
    """Light from a round post, in parts of a plain one's middle; row 0 is the lowest layer."""

    brightness: Array  # (layers, columns), linear: of light, not of a screen's codes
    bottom: float  # m
    top: float  # m
    incidence: float  # rad

    @property
    def contrast(self) -> float:
        """(largest - smallest)/(largest + smallest) of the middle column, layer by layer, but for two at
        either end, which have no neighbours to shade them or to be shaded.
        """
        column = self.brightness[:, self.brightness.shape[1] // 2]
        return contrast(column[2:-2] if len(column) > 8 else column)


def bead_profile(wall: Wall, roundness: float = ROUNDNESS, samples: int = SAMPLES_PER_LAYER) -> WallProfile:
    """Profile of a wall whose lines have rounded edges.

    Each layer's edge is half an ellipse as high as the layer and `roundness` times half the layer deep: 1 is
    a half-round bead, 0 a flat one.
    """
    z, layer, within = _fine(wall, samples)
    depth = 0.5 * wall.thickness[layer] * roundness * (np.sqrt(1.0 - (2.0 * within) ** 2) - 1.0)
    return WallProfile(height=z, surface=wall.relief[layer] + depth)


def _fine(wall: Wall, samples: int) -> tuple[Array, NDArray[np.int64], Array]:
    """Even heights (m,) m over a wall, on an average so many to a layer, the layer of each and where in it,
    -1/2 to 1/2.
    """
    n = len(wall.relief)
    edges = np.append(wall.height[0] - 0.5 * wall.thickness[0], wall.tops)
    z = edges[0] + (np.arange(n * samples) + 0.5) * ((edges[-1] - edges[0]) / (n * samples))
    layer = np.clip(np.searchsorted(edges, z, side="right") - 1, 0, n - 1)
    return z, layer, np.clip((z - wall.height[layer]) / wall.thickness[layer], -0.5, 0.5)


def layer_light(wall: Wall, incidence: float, turn: float = 0.0) -> Array:
    """Light (n,) that each layer throws to an onlooker before the wall, in parts of a plain wall's; `turn`
    (rad) of the wall's normal from the onlooker, the lamp above him, `incidence` (rad) off his line of sight.

    The lamp's ray has cos i cos(turn) along the normal and sin i upwards: on the turned wall it falls under
    tan i' = tan i/cos(turn).  Layers are means over their beads.  A layer counts what shades it from above.
    """
    across, up = np.cos(incidence) * np.cos(turn), np.sin(incidence)
    angle = np.linspace(0.0, np.pi, _TRACED + 1)[:-1]
    within = -np.cos(angle) / 2.0
    depth = 0.5 * wall.thickness[:, None] * ROUNDNESS * (np.sqrt(1.0 - (2.0 * within) ** 2) - 1.0)
    z = np.append((wall.height[:, None] + wall.thickness[:, None] * within).ravel(), wall.tops[-1])
    surface = (wall.relief[:, None] + depth).ravel()
    seen = traced(z, np.append(surface, surface[-_TRACED]), float(np.arctan2(up, across)))
    weights = np.diff(np.append(within, 0.5))
    mean = (seen.reshape(len(wall.relief), _TRACED) @ weights) * np.hypot(across, up)
    return np.asarray(mean / row_brightness(0.0, incidence))


def light_post(
    layers: LayerResult, wall: Wall, *, incidence: float = RAKING, columns: int = 61, top: float = np.inf
) -> LitPost:
    """Light from a round post printed at the wall's probe, facing the wall's normal, up to `top` (m).

    Each column has the relief of its own normal, turned by up to 80 degrees to either side in even steps of
    the sine, as an onlooker sees a round post from afar.  Nothing is magnified.
    """
    p = layers.probe_name.index(wall.probe)
    shown, traced_too = _first_part(wall.tops, top), _first_part(wall.tops, top + _SHADING)
    turns = np.arcsin(np.linspace(-0.985, 0.985, columns))
    facing = np.arctan2(wall.normal[1], wall.normal[0]) + turns  # +90 degrees is to the onlooker's right
    parts = []
    for angle, turn in zip(facing, turns, strict=True):
        relief = wall_relief(
            layers.lateral_error[:, p],
            layers.height_error[:, p],
            normal=np.array([np.cos(angle), np.sin(angle)]),
            line_width=wall.line_width,
            layer_height=wall.thickness,
        )
        n = traced_too
        part = replace(wall, relief=relief[:n], height=wall.height[:n], thickness=wall.thickness[:n])
        parts.append(layer_light(part, incidence, float(turn))[:shown])
    return LitPost(
        brightness=np.stack(parts, axis=1),
        bottom=float(wall.height[0] - 0.5 * wall.thickness[0]),
        top=float(wall.tops[shown - 1]),
        incidence=incidence,
    )


def _first_part(tops: Array, limit: float) -> int:
    """Layers of the first object that end below a height; at least one."""
    rising = np.cumprod(np.diff(tops, prepend=0.0) > 0)
    return max(1, int(np.sum(rising * (tops <= limit * (1 + 1e-9)))))


def gentle_light(wall: Wall, incidence: float) -> Array:
    """Light (n,) of every layer in parts of a plain wall's: 1 - s tan i times the share that beads leave, for
    gentle slopes s; steps from one layer to the next, as layer lines, are left out.
    """
    if len(wall.relief) < 3:
        return np.ones_like(wall.relief)
    slope = np.gradient(wall.relief, wall.height)
    return np.asarray(np.maximum(1.0 - slope * np.tan(incidence) * bead_share(incidence), 0.0))


def contrast(light: Array) -> float:
    """(largest - smallest)/(largest + smallest)."""
    return float((light.max() - light.min()) / max(light.max() + light.min(), 1e-12))


def screen_codes(light: Array, exposure: float = 0.6) -> Array:
    """Codes 0 to 1 of the sRGB curve for light; `exposure`: what a plain wall's has of the screen's white.
    Source: IEC 61966-2-1.
    """
    linear = np.clip(exposure * np.asarray(light, float), 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def common_reach(walls: Sequence[Wall], least: float) -> float:
    """Half the width (m) of a scale on which every wall's relief fits, no finer than `least` (m)."""
    return max(least, *(float(np.abs(w.relief - w.relief.mean()).max()) for w in walls))
