"""What a matt wall of beads makes of one light: traced along the profile, shadows included.

A flat wall of slope s has (1 - s tan i)/sqrt(1 + s^2) of the plain wall's brightness (`band_contrast`).  A
printed wall is a row of beads: where the light comes from far aside their upper flanks are lit from all
steepness, their lower ones lie in shadow, and both dilute what a band adds.  Traced here as an eye sees it
squarely from afar.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from bedsim.results.layers import Array

ROUNDNESS = 0.3
"""How deep the edge of a layer is against a half-round one: real beads are flatter.  Our assumption."""
_TILT = 0.02  # as steep as the bands of bent screws
_BEADS, _SAMPLES = 12, 1600  # 1 % of the share


def traced(height: Array, surface: Array, incidence: float) -> Array:
    """Brightness (m - 1,) between points of a profile, `surface` (m,) outward over rising `height` (m,),
    both m; a wall that faces the light has 1.

    Lambert: n.l = (cos i - s sin i)/sqrt(1 + s^2), nothing where the face turns away.  A point lies in shadow
    if anything above it stands out beyond the ray: r(z') - z' cot i > r(z) - z cot i for some z' > z.
    """
    slope = np.diff(surface) / np.diff(height)
    middle_z, middle_r = (height[1:] + height[:-1]) / 2.0, (surface[1:] + surface[:-1]) / 2.0
    beyond = middle_r - middle_z / np.tan(incidence)
    highest = np.maximum.accumulate(beyond[::-1])[::-1]
    lit = beyond >= np.append(highest[1:], -np.inf)
    return np.asarray(
        lit * np.maximum(np.cos(incidence) - slope * np.sin(incidence), 0.0) / np.hypot(1.0, slope)
    )


@lru_cache(maxsize=64)
def bead_share(incidence: float, roundness: float = ROUNDNESS) -> float:
    """Contrast of gentle bands on a wall of beads over that on a smooth one, (2 pi A/lambda) tan i.

    The derivative by the slope of what a long row of equal beads throws back, over its brightness and tan i;
    bands are long against a layer.  A half ellipse's flanks are as steep as can be at its edges, so it does
    not depend on the height of the layers.  0.5 at 60 degrees, 0.9 at 80.
    """
    dim, bright = (row_brightness(s, incidence, roundness) for s in (_TILT, -_TILT))
    return float((bright - dim) / (_TILT * (bright + dim)) / np.tan(incidence))


@lru_cache(maxsize=256)
def row_brightness(slope: float, incidence: float, roundness: float = ROUNDNESS) -> float:
    """Mean brightness of beads of height 1 that stand out by `slope` from one to the next: the lower half
    of a row,
    as all that can shade it is above.
    """
    angle = np.linspace(0.0, np.pi, _SAMPLES + 1)  # fine where the flanks are steep
    within = -np.cos(angle[:-1]) / 2.0
    z = np.append((np.arange(_BEADS)[:, None] + 0.5 + within).ravel(), float(_BEADS))
    deep = 0.5 * roundness * (np.sqrt(np.maximum(1.0 - (2.0 * (z % 1.0 - 0.5)) ** 2, 0.0)) - 1.0)
    seen = traced(z, deep + slope * np.floor(z), incidence) * np.diff(z)
    return float(seen[: _BEADS // 2 * _SAMPLES].sum()) / (_BEADS // 2)
