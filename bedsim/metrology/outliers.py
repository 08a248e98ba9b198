"""Readings that do not belong: one that sticks out of its turn, a turn rougher than those beside it."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]

SPARE = 4  # readings that must be left over: with three or fewer, lobes pass for outliers, our choice
LEVEL = 0.01  # chance of calling any of a turn's good readings an outlier
ROUGH_LEVEL = 0.001  # chance of calling any of a screw's turns rougher than the rest, our assumption


def sticking_out(design: Array, value: Array, uncertainty: float) -> NDArray[np.bool_]:
    """Which readings of a turn are too far from the fit of the others, for chance and for the gauge.

    `design` (n, p), `value` (n,) [m] of one turn; `uncertainty` [m] of one reading.  All False where fewer
    than `SPARE` readings are left over.

    The residual of reading i, over the scatter of the fit without it and over sqrt(1 - h_i), is Student's t
    of n - p - 1 degrees of freedom if all readings are good; the largest of n is held against the level over
    n (Bonferroni).  Source: [CookWeisberg1982] ch. 2, externally studentised residuals.  It must stand out of
    the gauge's own uncertainty in the same way: turns that happen to lie smooth give no alarm then.  Of 7000
    simulated turns of eight good readings 0.03 % were called (round screw) and 0.4 % (lobes about as large as
    the gauge's uncertainty).

    Lobes that `design` leaves out do not pass for an outlier.  The internally studentised residual squared
    is (n - p) cos^2, with the angle between the residuals and those of a lone outlier (derived).  Eight
    angles with a circle leave five dimensions, two and three lobes lie in four of them: cos^2 <= 4/5, so
    t <= 4, against a limit of 8.1.
    """
    n, rank = value.size, int(np.linalg.matrix_rank(design))
    freedom = n - rank
    if freedom < SPARE:
        return np.zeros(n, dtype=bool)
    hat = design @ np.linalg.pinv(design)
    residual = value - hat @ value
    left = np.maximum(1 - np.diag(hat), 1e-9)
    without = np.maximum(residual @ residual - residual**2 / left, 0.0) / (freedom - 1)
    size = np.abs(residual) / np.sqrt(left)
    share = LEVEL / (2 * n)
    by_chance = scipy.stats.t.isf(share, freedom - 1) * np.sqrt(without)
    return np.asarray((size > by_chance) & (size > scipy.stats.norm.isf(share) * uncertainty))


def rougher(squares: Array, freedom: Array, uncertainty: float) -> NDArray[np.bool_]:
    """Which turns scatter more about their fit than the other turns of the screw together.

    `squares` (k,) [m2]: sum of squared residuals of each turn, over `freedom` (k,) readings left over.
    Source: F test of two variances, [NIST-Handbook] 1.3.5.9; the largest of k is held against the level over
    k.  Below `uncertainty` [m] of one reading nothing is called rough.  That the lobes of a screw are alike
    along it is our assumption.
    """
    others, rest = squares.sum() - squares, freedom.sum() - freedom
    usable = (freedom > 0) & (rest > 0)
    here = squares / np.maximum(freedom, 1)
    beside = np.maximum(others / np.maximum(rest, 1), uncertainty**2)
    limit = scipy.stats.f.isf(ROUGH_LEVEL / squares.size, np.maximum(freedom, 1), np.maximum(rest, 1))
    return np.asarray(usable & (here > limit * beside))
