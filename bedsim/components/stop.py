"""Forces that start only after some way: the end of a joint's travel, and the climbing flank of a plain
thread.

Both are smooth enough for Newton's method and derive from a potential, so they neither make nor lose energy.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def stop_push(extension: Array, gap: Array | float, stiffness: Array | float) -> Array:
    """Force (..., 2) N of a radial stop on the extension (..., 2) m.

    k max(|x| - gap, 0) x/|x|: nothing inside the gap.
    """
    reach = np.sqrt(np.sum(extension**2, axis=-1, keepdims=True))
    return np.asarray(stiffness * np.maximum(reach - gap, 0.0) * (extension / np.maximum(reach, 1e-300)))


def stop_force(
    extension: Array, gap: Array | float, stiffness: Array | float
) -> tuple[Array, Array]:
    """`stop_push` (..., 2) N and its derivative (..., 2, 2) N/m."""
    reach = np.sqrt(np.sum(extension**2, axis=-1, keepdims=True))
    direction = extension / np.maximum(reach, 1e-300)
    touching = (reach > gap)[..., None]
    outer = direction[..., :, None] * direction[..., None, :]
    around = (np.maximum(reach - gap, 0.0) / np.maximum(reach, 1e-300))[..., None] * (np.eye(2) - outer)
    slope = np.asarray(stiffness)[..., None] * np.where(touching, outer + around, 0.0)
    return stop_push(extension, gap, stiffness), slope


def flank_push(
    extension: Array, slope: Array | float, rounding: Array | float, stiffness: Array | float
) -> Array:
    """Force (..., 3) N of the climbing flank on (sideways x, y, axial) extensions (..., 3) m.

    The axial link of stiffness k is longer by the climb c = slope (sqrt(x^2 + y^2 + r^2) - r).  Its energy
    k/2 (a - c)^2 less the linear k/2 a^2 gives what is returned: sideways -k (a - c) dc/dx, axial -k c.
    Derivation in `nut.py`; r rounds the cone's tip.
    """
    climb, gradient = _climb(extension[..., :2], slope, rounding)
    sideways = -stiffness * (extension[..., 2:] - climb) * gradient
    return np.concatenate([sideways, -stiffness * climb], axis=-1)


def flank_force(
    extension: Array, slope: Array | float, rounding: Array | float, stiffness: Array | float
) -> tuple[Array, Array]:
    """`flank_push` (..., 3) N and its derivative (..., 3, 3)."""
    sideways, axial = extension[..., :2], extension[..., 2:]
    root = np.sqrt(np.sum(sideways**2, axis=-1, keepdims=True) + rounding**2)
    climb, gradient = _climb(sideways, slope, rounding)
    unit = sideways / root
    curvature = (slope / root)[..., None] * (np.eye(2) - unit[..., :, None] * unit[..., None, :])
    k = np.asarray(stiffness)
    tangent = np.zeros((*extension.shape, 3))
    tangent[..., :2, :2] = k[..., None] * (
        gradient[..., :, None] * gradient[..., None, :] - (axial - climb)[..., None] * curvature
    )
    tangent[..., :2, 2] = -k * gradient
    tangent[..., 2, :2] = -k * gradient
    return flank_push(extension, slope, rounding, stiffness), tangent


def _climb(sideways: Array, slope: Array | float, rounding: Array | float) -> tuple[Array, Array]:
    """Climb (..., 1) m and its gradient (..., 2) at sideways extensions (..., 2) m."""
    root = np.sqrt(np.sum(sideways**2, axis=-1, keepdims=True) + rounding**2)
    return np.asarray(slope * (root - rounding)), np.asarray(slope * sideways / root)


def seated_stiffness(load: Array, slope: Array | float, rounding: Array | float) -> Array:
    """Sideways stiffness N/m of a flank that hangs centred under a load N: `flank_force` at x = y = 0.

    With a = -F/k its derivative -k a slope/r is F slope/r, in every direction alike; a lifted flank has none.
    """
    return np.asarray(np.maximum(load, 0.0) * slope / rounding)
