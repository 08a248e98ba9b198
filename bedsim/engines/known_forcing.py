"""Known forcing of a stretch of steps: what moves modes, bristles and elastic rows whatever contacts do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.engines.modes import Real, Working

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownForcing:
    """Known forcing of a stretch of t steps, of r computed cases that members are a `mix` (r, m) of, or of
    the members themselves.

    At rest nothing moves and one `offset` stands for all nodes.
    """

    move: Working | None  # (t, 2, n, r): motion that known forces add over each step
    slip: Working  # (t, b, 1), or (t, b, m): commanded over each step, breakaways
    slip_speed: Working  # (t+1, b, 1), or (t+1, b, m): at the nodes, in the tables' scale
    offset: Working  # (t+1, e, r), or (1, e, r): to what elastic rows see at the nodes
    offset_speed: Working  # the same for their speeds, in the tables' scale
    mix: Working | None
    pace: Array | float  # (m,) of the members' own clocks, or of all


def constant_forcing(bristles: int, offset: Array) -> KnownForcing:
    """Known forcing that is constant in time, with the `offset` (e, m) of elastic rows."""
    none = np.zeros((0, bristles, 1), dtype=Real)
    at = offset[None].astype(Real)
    return KnownForcing(
        move=None, slip=none, slip_speed=none, offset=at, offset_speed=np.zeros_like(at), mix=None, pace=1.0
    )
