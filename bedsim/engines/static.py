"""The machine at rest without friction, stops and play: the one solve behind every such answer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedsim.model.assembly import System

Array = NDArray[np.float64]


def at_rest(system: System, imposed: Array, weighted: Array | float = 0.0) -> Array:
    """Motions (l, n, s) in which the layers (l,) of a system rest, imposed extensions (l, r, s) or (r, s).

    K q = F imposed + weight, with F = J^T k; `weighted` (s,) or a number tells which columns carry the weight
    (1) and which do not (0).  Where the system is one layer, imposed (k, r, s) may be of any number of
    occasions.  Columns superpose: the answer to unit extensions serves every machine that differs in imposed
    extensions alone.
    """
    force = system.imposed_force @ imposed
    force += weighted * system.weight[:, :, None]
    return np.asarray(np.linalg.solve(system.K, force), dtype=np.float64)
