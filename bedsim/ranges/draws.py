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

from bedsim.scenario.knowledge import Knowledge
from bedsim.scenario.ranges import Range


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
