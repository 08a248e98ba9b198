"""The turn that all screws have in common: as a rule it only shifts the error along the height."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from bedsim.results.layers import Array
from bedsim.units import DEG

STAYS = 0.5 * DEG
"""A screw turned by less stays as it is: nobody sets a coupling closer.  Our assumption."""


def with_least_turning(
    clocking: Array, begin: Array, hand: Array, kept: NDArray[np.bool_]
) -> Iterator[Array]:
    """Clockings (c,) rad that leave one screw or more at `begin` and keep the screws' turns against each
    other; the least work first: fewest of the screws that are `kept` (c,) at their corner turned, for one
    that is put in anew is in hand anyway, then the smallest sum of turns.

    `hand` (c,): +1 for right-hand threads, -1 for left-hand ones, which turn the other way at the same
    height: screw c carries r_c e^{j (h_c psi + a_c)}, so clockings a_c that differ by h_c times one angle
    differ in psi alone.  The sum of the turns is linear between the angles where a screw turns by nothing or
    by half a turn, and is bent upwards only at the former: its least value is among them.  Derivation.
    The caller decides whether the result depends on the common turn: the stiffness of the screws over the
    height and a print of no whole number of turns make it do so.
    """
    turn = hand * (clocking - begin)
    tried = [_wrapped(turn - common) for common in turn]

    def work(left: Array) -> tuple[int, float]:
        return int(np.sum(kept & (np.abs(left) > STAYS))), float(np.sum(np.abs(left)))

    for left in sorted(tried, key=work):
        yield begin + hand * left


def _wrapped(angle: Array) -> Array:
    """The same angles within half a turn either way."""
    return (angle + np.pi) % (2 * np.pi) - np.pi
