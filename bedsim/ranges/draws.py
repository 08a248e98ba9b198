"""One distribution for every uncertain key, and draws of machines that agree with all that is known.

Triangular from low over likely to high, over the number's logarithm where all three are above zero (as
stiffness, friction and run-out are known by factors), else over the number itself (heights, directions).  The
shape is our choice: three numbers say no more.  Keys are independent.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bedsim.scenario.knowledge import Knowledge
from bedsim.scenario.ranges import Range

Array = NDArray[np.float64]


def quantile(low: float, likely: float, high: float, share: float) -> float:
    """Value below which `share` (0 to 1) of an uncertain number's distribution lies, in its own unit.

    Triangular: x = low + sqrt(share (high - low)(likely - low)) up to the likely value, mirrored above it.
    Source: inverse of the integral of a triangle, derived.
    """
    if not low < high:
        return likely
    if low > 0.0:
        return math.exp(quantile_of_triangle(math.log(low), math.log(likely), math.log(high), share))
    return quantile_of_triangle(low, likely, high, share)


def quantile_of_triangle(low: float, likely: float, high: float, share: float) -> float:
    """The same for a triangle over the number itself."""
    width = high - low
    if share * width <= likely - low:
        return low + math.sqrt(share * width * (likely - low))
    return high - math.sqrt((1.0 - share) * width * (high - likely))


def towards_end(key: Range, share: Array) -> Array:
    """How far from its likely value, 0, towards its low end, -1, or its high end, 1, the value below which
    `share` of the distribution lies is, in the distribution's own measure.

    The inverse of `quantile_of_triangle` with the ends at 1: sqrt(share/F) - 1 up to F, the share below the
    likely value, and 1 - sqrt((1 - share)/(1 - F)) above it.  Derived.
    """
    if not key.low < key.high:
        return np.zeros_like(share)
    low, likely, high = (math.log(v) if key.low > 0 else v for v in (key.low, key.likely, key.high))
    below = (likely - low) / (high - low)
    down = np.sqrt(share / below) - 1.0 if below > 0 else np.zeros_like(share)
    up = 1.0 - np.sqrt((1.0 - share) / (1.0 - below)) if below < 1 else np.zeros_like(share)
    return np.where(share <= below, down, up)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """One drawn machine: a key has the same luck in it whatever else is changed."""

    seed: int
    number: int
    known: Mapping[str, float] = field(default_factory=dict)

    def luck(self, name: str) -> float:
        """Share (0 to 1) that this machine has of what is called `name`."""
        stream = np.random.default_rng([self.seed, self.number, zlib.crc32(name.encode())])
        return float(stream.random())

    def value(self, key: Range) -> float:
        """The drawn value of an uncertain key, in its unit; that of a machine that agrees with all readings
        where there are any."""
        if key.key in self.known:
            return self.known[key.key]
        return quantile(key.low, key.likely, key.high, self.luck(key.key))

    def values(self, keys: Iterable[Range]) -> dict[str, float]:
        """Drawn values by key, with the screws that readings have told of."""
        screws = {k: v for k, v in self.known.items() if ".screw.run_out." in k or ".screw.travel." in k}
        return {**screws, **{key.key: self.value(key) for key in keys}}


def draws(count: int, seed: int = 1, knowledge: Knowledge | None = None) -> tuple[Draw, ...]:
    """So many machines; those of what was learnt, one after the other, where readings have told any."""
    known = knowledge.machines if knowledge is not None else ({},)
    return tuple(Draw(seed=seed, number=n, known=known[n % len(known)]) for n in range(count))
