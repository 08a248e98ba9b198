"""Commanded motions of layers side by side on one clock.

What is integrated side by side takes the same steps.  Layers of unlike motion share the number of their
steps, not the length: every layer has a clock of its own, and each piece of the common clock takes as long
as the longest of the layers takes for that piece.  So pieces begin and end together, jumps of acceleration
stand at nodes in every layer, and in print, when all pieces are over, clocks run alike.  Pieces of motions
that have fewer are cut, longest first, until all have as many; what they say stays as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bedsim.model.program import Profile, cubic

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Motions:
    """Motions (l,) of k pieces, or one of all layers.

    `time` (k+1,) s of the common clock; `own` (l, k+1) s of each layer's, `pace` (l, k) of it against the
    common one, at most 1; `coefficients` (l, k, 4, c) m in the own time of a piece; `move_start`, `move_end`
    (l, k, c) m.
    """

    time: Array
    own: Array
    pace: Array
    coefficients: Array
    move_start: Array
    move_end: Array

    @property
    def duration(self) -> float:
        """Length of all, s of the common clock."""
        return float(self.time[-1])

    def pace_on(self, piece: int) -> Array | float:
        """Own time (l,) that passes in a second of the common clock on a piece; one number where all motions
        are one."""
        return self.pace[:, piece] if self.pace.shape[0] > 1 else 1.0

    def own_time(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Own time (l, t) s at instants (t,) of the common clock."""
        return self.own[:, piece] + self._since(time, piece)

    def height(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Height (l, t, c) m on the named pieces, whose ends belong to them."""
        return self._value(time, piece, 0)

    def speed(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Speed (l, t, c) m per second of the common clock."""
        return self._value(time, piece, 1) * self.pace[:, piece, None]

    def acceleration(self, time: Array, piece: NDArray[np.int64]) -> Array:
        """Acceleration (l, t, c) m/s2, of own time."""
        return self._value(time, piece, 2)

    def _since(self, time: Array, piece: NDArray[np.int64]) -> Array:
        return np.asarray((time - self.time[piece]) * self.pace[:, piece])

    def _value(self, time: Array, piece: NDArray[np.int64], order: int) -> Array:
        return cubic(self.coefficients[:, piece], self._since(time, piece)[..., None], order)


def motions(profiles: Sequence[Profile]) -> Motions:
    """The motions of profiles (l,) on one clock."""
    count = max(profile.time.size for profile in profiles) - 1
    cut = [profile.cut(count) for profile in profiles]
    own = np.array([profile.time for profile in cut])
    longest = np.diff(own).max(axis=0)
    coefficients, start, end = (
        np.array([getattr(profile, key) for profile in cut])
        for key in ("coefficients", "move_start", "move_end")
    )
    return Motions(
        time=np.append(0.0, np.cumsum(longest)) if len(cut) > 1 else own[0],
        own=own,
        pace=np.diff(own) / longest,
        coefficients=coefficients,
        move_start=start,
        move_end=end,
    )
