"""Step control of the propagator: lengths of its steps, and errors it may make."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bedsim.engines import base
from bedsim.errors import SolverError

INSTANT = 1e-9  # s: what is closer is the same instant


@dataclass(frozen=True, slots=True, kw_only=True)
class StepControl:
    """Step lengths, s: `drive` while the bed is driven, `rest` the lengths to choose from while it rings
    down, and at most `touch` where stops act.  Plain nuts and motors halve the steps down to that where
    interpolating their forces makes an error of more than `force_error` m at the probes while the bed is
    driven.

    At rest the next longer step is taken while the estimated error of a stretch is well below its share of
    what earlier stretches have left of the layer's `error` m, summed at the probes, and the next shorter one
    where it is above.  The remainder is taken as one free decay where its uncertainty is less than `decay` m,
    and left out where probes move by less than `still` m.
    """

    drive: float = 8e-4
    rest: tuple[float, ...] = (5e-4, 1e-3, 2e-3, 4e-3)
    touch: float = 1e-4
    force_error: float = 1e-8
    error: float = 8e-9
    decay: float = 1e-9
    still: float = base.STILL
    tolerance: float = 2e-5  # breakaways (and 10 N): what is left at every node
    least: float = 1e-6  # contacts that need a shorter step are given up

    @property
    def coarser(self) -> StepControl:
        """A control at half the cost, for guesses."""
        return replace(
            self,
            drive=2 * self.drive,
            rest=self.rest[1:] or self.rest[-1:],
            error=16 * self.error,
            decay=16 * self.decay,
            tolerance=20 * self.tolerance,
        )

    def halved(self, spacing: float) -> float:
        """Half the spacing. Raises SolverError at the least one."""
        if spacing / 2 < self.least:
            raise SolverError(
                "propagator: a contact (stop, plain nut or friction) finds no solution at the closest "
                "spacing; use 'reference' for this scenario"
            )
        return spacing / 2


def spaces(span: float, spacing: float) -> int:
    """Number of equal steps of at most `spacing` s in `span` s."""
    return max(1, int(np.ceil(span / spacing - 1e-9)))
