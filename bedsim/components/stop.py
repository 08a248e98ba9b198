"""Forces that start only after some way: the end of a joint's travel, and the climbing flank of a plain
thread.

Both are smooth enough for Newton's method and derive from a potential, so they neither make nor lose energy.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def stop_force(extension: Array, gap: Array | float, stiffness: Array | float) -> tuple[Array, Array]:
    """Force (..., s, 2) N and its derivative (..., s, 2, 2) N/m of s radial stops on extensions (..., s, 2)
    m, or of one on (..., 2).

    k max(|x| - gap, 0) x/|x|: nothing inside the gap (s,) m.
    """
    gap, stiffness = (np.asarray(x, dtype=float)[..., None] for x in (gap, stiffness))
    reach = np.sqrt(np.sum(extension**2, axis=-1, keepdims=True))
    direction = extension / np.maximum(reach, 1e-300)
    beyond = np.maximum(reach - gap, 0.0)
    force = stiffness * beyond * direction
    touching = (reach > gap)[..., None]
    outer = direction[..., :, None] * direction[..., None, :]
    around = (beyond / np.maximum(reach, 1e-300))[..., None] * (np.eye(2) - outer)
    return force, stiffness[..., None] * np.where(touching, outer + around, 0.0)


def flank_force(
    extension: Array, slope: Array | float, rounding: Array | float, stiffness: Array | float
) -> tuple[Array, Array]:
    """Force (..., 3) N and its derivative (..., 3, 3) of the climbing flank on (sideways x, y, axial)
    extensions (..., 3) m.

    The axial link of stiffness k is longer by the climb c = slope (sqrt(x^2 + y^2 + r^2) - r).  Its energy
    k/2 (a - c)^2 less the linear k/2 a^2 gives what is returned: sideways -k (a - c) dc/dx, axial -k c.
    Derivation in `nut.py`; r rounds the cone's tip.  Slope, rounding and stiffness (..., 1), or one for all.
    """
    sideways, axial = extension[..., :2], extension[..., 2:]
    root = np.sqrt(np.sum(sideways**2, axis=-1, keepdims=True) + rounding**2)
    climb = slope * (root - rounding)
    gradient = slope * sideways / root
    force = np.concatenate([-stiffness * (axial - climb) * gradient, -stiffness * climb], axis=-1)
    unit = sideways / root
    curvature = (slope / root)[..., None] * (np.eye(2) - unit[..., :, None] * unit[..., None, :])
    k = np.asarray(stiffness)
    tangent = np.zeros((*extension.shape, 3))
    tangent[..., :2, :2] = k[..., None] * (
        gradient[..., :, None] * gradient[..., None, :] - (axial - climb)[..., None] * curvature
    )
    tangent[..., :2, 2] = -k * gradient
    tangent[..., 2, :2] = -k * gradient
    return force, tangent


def flank_motion(extension: Array, speed: Array, slope: Array, rounding: Array, stiffness: Array) -> Array:
    """Force N of the flank, and its rate N/s, (2, 3, k, m) at extensions (3, k, m) m that change at a `speed`
    m/s: `flank_force`, and its derivative along the speed.

    With t = k (a - c), h = slope/root and root' = (x x' + y y')/root: c' = slope root', h' = -h root'/root.
    """
    side, by = extension[:2], speed[:2]
    root = np.sqrt(side[0] * side[0] + side[1] * side[1] + rounding * rounding)
    along = (side[0] * by[0] + side[1] * by[1]) / root
    steep, climb = slope / root, slope * (root - rounding)
    pull = stiffness * (extension[2] - climb) * steep
    eased = stiffness * (speed[2] - slope * along) * steep - pull * (along / root)
    found = np.empty((2, *extension.shape))
    found[0, :2] = -pull * side
    found[0, 2] = -stiffness * climb
    found[1, :2] = -eased * side - pull * by
    found[1, 2] = -stiffness * slope * along
    return found


def seated_stiffness(load: Array, slope: Array | float, rounding: Array | float) -> Array:
    """Sideways stiffness N/m of a flank that hangs centred under a load N: `flank_force` at x = y = 0.

    With a = -F/k its derivative -k a slope/r is F slope/r, in every direction alike; a lifted flank has none.
    """
    return np.asarray(np.maximum(load, 0.0) * slope / rounding)
