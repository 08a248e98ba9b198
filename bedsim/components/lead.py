"""The imperfect lead: deviation of the nut's travel from lead times turns.

    delta(s) = slope error + slow variation along the travel + once-per-turn part + thermal growth, all in m

Positive lifts the nut.  Terms and evaluation follow ISO 3408-3 (travel deviation e, variation v_up, v_300 and
v_2pi). The once-per-turn part belongs to the thread, so it turns with the screw and its clocking; it acts on
the height, not sideways, and no joint takes it away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from bedsim.components.row import CauseName, Path, Source

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TravelDeviation:
    """`slope` m/m; `variation` and `once_per_turn` complex amplitudes m (half of peak-to-valley); times in
    s."""

    slope: float = 0.0
    variation: complex = 0j
    variation_wavelength: float = 0.12
    once_per_turn: complex = 0j
    table: tuple[Array, Array] | None = None
    warm_up: float = 0.0  # K
    warm_up_time: float = 1800.0
    expansion: float = 11.8e-6  # 1/K


def sources(
    travel: TravelDeviation,
    *,
    corner: int,
    link: str,
    nut_position: Callable[[Path], Array],
    angle: Callable[[Path], Array],
) -> list[Source]:
    """One source per real amplitude, acting on the axial row (1 row) of the corner."""

    def source(cause: str, name: str, amount: float, values: Callable[[Path], Array]) -> Source:
        return Source(
            cause=cause,
            corner=corner,
            link=link,
            amount=amount,
            name=name,
            values=lambda path: np.asarray(values(path))[:, None],
        )

    k = 2 * np.pi / travel.variation_wavelength
    warm = 1.0 / travel.warm_up_time
    found = [
        source(CauseName.TRAVEL, "slope", travel.slope, nut_position),
        source(
            CauseName.TRAVEL, "variation cos", travel.variation.real, lambda p: np.cos(k * nut_position(p))
        ),
        source(
            CauseName.TRAVEL, "variation sin", -travel.variation.imag, lambda p: np.sin(k * nut_position(p))
        ),
        replace(
            source(CauseName.ONCE_PER_TURN, "cos", travel.once_per_turn.real, lambda p: np.cos(angle(p))),
            turn_unit=True,
        ),
        source(CauseName.ONCE_PER_TURN, "sin", -travel.once_per_turn.imag, lambda p: np.sin(angle(p))),
        source(
            CauseName.WARM_UP,
            "growth",
            travel.expansion * travel.warm_up,
            lambda p: -np.expm1(-np.maximum(p.time, 0.0) * warm) * nut_position(p),
        ),
    ]
    if travel.table is not None:
        position, deviation = travel.table
        curve = scipy.interpolate.PchipInterpolator(position, deviation)
        low, high = position[0], position[-1]
        found.append(
            source(CauseName.TRAVEL, "table", 1.0, lambda p: curve(np.clip(nut_position(p), low, high)))
        )
    return found
