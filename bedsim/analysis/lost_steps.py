"""What a motor that has slipped does to the bed, as rows of `bedsim size`, and how to tell it from a bent
screw."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bedsim.analysis.linear_machine import without_play
from bedsim.engines.slip import Slip, slips
from bedsim.errors import BedsimError
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.sizing.rows_motor import SUBJECT
from bedsim.sizing.table import Check, shown
from bedsim.units import DEG, MM, UM


def slip_rows(loaded: LoadedScenario) -> list[Check]:
    """Rows for every motor slipped by four full steps, at layer 1; none where `bedsim run` refuses the
    machine."""
    try:
        found = slips(make_job(without_play(loaded)))
    except BedsimError:
        return []
    leads = {c.name: c.screw.lead_mm for c in loaded.scenario.corner}
    return [row for s in found for row in _rows(s, leads[s.corners[0]], len(leads))]


def _rows(slip: Slip, lead_mm: float, corners: int) -> Iterator[Check]:
    where = slip.corners[0] if len(slip.corners) == 1 else "all corners"
    source = "Acarnley; statics without friction"
    yield shown(
        SUBJECT,
        "height of a corner whose motor has slipped",
        slip.height / UM,
        "µm",
        formula="4 lead/(steps i)",
        source=source,
        corner=where,
        note="a stalled motor falls in step again n times four full steps away, n x "
        f"{slip.turn / DEG:.3g}° of the screw: n times this, up or down, alike at every height until the bed "
        "is levelled",
    )
    yield shown(
        SUBJECT,
        "tilt of the bed then",
        slip.tilt / 1e-3,
        "mm/m",
        formula="K q = J^T k imposed",
        source=source,
        corner=where,
        note=f"levelling shows {_between(slip.probe_height)} at the probes, "
        f"{'a plane' if corners == 3 else 'a plane and a twist'}; levelling by that screw takes it away",
    )
    yield shown(
        SUBJECT,
        "side force on a guide then",
        slip.side_force,
        "N",
        formula="K q = J^T k imposed",
        source=source,
        corner=where,
        note=f"the screw's run-out has turned with it; the bed moves {slip.shift / UM:.2g} µm sideways"
        + (f", a mount loses up to {slip.mount_relief:.2g} N" if slip.mount_relief > 0.01 else "")
        + f". A bent screw is told from it by coming back every {lead_mm:g} mm, sideways, with at most "
        f"{_at_most(float(slip.once_per_turn.max()))} in height here; a slip comes once, in height, in whole "
        f"multiples of {slip.height / MM:.3g} mm",
    )


def _between(height: np.ndarray) -> str:
    low, high = np.sort([height.min(), height.max()]) / UM
    return f"{low:.2g} to {high:.2g} µm"


def _at_most(height: float) -> str:
    return f"{height / UM:.2g} µm" if height >= 0.01 * UM else "0.01 µm"
