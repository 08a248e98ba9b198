"""What matters most: shares of the variance of a figure, by axis and by the luck of the draw.

In a full grid every combination of places on the axes and of a printer's luck is one entry of a table, so the
sample matrices of Saltelli et al. are look-ups and cost no further printers.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import sobol_indices

Array = NDArray[np.float64]

LUCK = "luck of the draw"
_SAMPLES = 2**14


def table_indices(table: Array, rng: np.random.Generator, samples: int = _SAMPLES) -> tuple[Array, Array]:
    """First-order and total indices (d,) of a table over d discrete inputs, all places equally likely.

    The estimators are those of [SALTELLI] as scipy has them.  An input with one place, or a figure that never
    changes, has indices 0.
    """
    sizes = np.array(table.shape)
    if np.ptp(table) == 0:
        return np.zeros(sizes.size), np.zeros(sizes.size)
    a, b = (rng.integers(sizes, size=(samples, sizes.size)) for _ in range(2))
    mixed = np.repeat(a[None], sizes.size, axis=0)
    mixed[np.arange(sizes.size), :, np.arange(sizes.size)] = b.T
    looked_up = {
        "f_A": table[tuple(a.T)][None],
        "f_B": table[tuple(b.T)][None],
        "f_AB": table[tuple(np.moveaxis(mixed, -1, 0))][:, None],
    }
    found = sobol_indices(func=looked_up, n=samples)  # type: ignore[arg-type]
    first, total = np.ravel(found.first_order), np.ravel(found.total_order)
    return np.where(sizes > 1, first, 0.0), np.where(sizes > 1, total, 0.0)


def grid_table(places: Sequence[tuple[int, ...]], figures: Sequence[Array]) -> Array | None:
    """Table (axis, ..., member) of a full grid, cut to the fewest members; None without a full grid."""
    if not places or not all(places):
        return None
    members = min(f.size for f in figures)
    table = np.full((*(np.array(places).max(axis=0) + 1), members), np.nan)
    for place, figure in zip(places, figures, strict=True):
        table[place] = figure[:members]
    return None if np.isnan(table).any() else table
