"""The lever that changes no part: software that goes with the bed."""

from __future__ import annotations

from bedsim.improve.lever import Lever, Option

SOFTWARE: tuple[Lever, ...] = (
    Lever(
        name="print.compensated",
        price=0,
        scope="machine",
        cancels=True,
        options=(
            Option(
                words="software: shift and turn per layer (bedsim compensate)",
                changes=(),
                software=True,
            ),
        ),
    ),
)
