"""What a motor that has slipped does to the bed, as rows of `bedsim size`."""

from __future__ import annotations

from bedsim.analysis.linear_machine import without_play
from bedsim.analysis.rows_slipped import SLIPPED, Slipped
from bedsim.engines.slip import slips
from bedsim.errors import BedsimError
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job
from bedsim.sizing.table import Check
from bedsim.units import MM


def slip_rows(loaded: LoadedScenario) -> list[Check]:
    """Rows for every motor slipped by four full steps, at layer 1; none where `bedsim run` refuses the
    machine."""
    try:
        found = slips(make_job(without_play(loaded)))
    except BedsimError:
        return []
    leads = {c.name: c.screw.lead_mm * MM for c in loaded.scenario.corner}
    slipped = [Slipped(s, leads[s.corners[0]], len(leads)) for s in found]
    return [row for s in slipped for row in SLIPPED.checks(s, s.where)]
