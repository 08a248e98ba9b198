"""From a result back to its scenario, with nothing but the result at hand."""

from __future__ import annotations

from pathlib import Path

from bedsim.errors import InputError
from bedsim.results.layers import Run
from bedsim.scenario.load import LoadedScenario, scenario_from_text


def scenario_of(run: Run, name: str | Path) -> LoadedScenario:
    """The scenario a run was computed from, tables included; `name` is the result file, for messages.

    Raises InputError when this version of bedsim cannot read it.
    """
    try:
        return scenario_from_text(run.scenario_resolved, name=str(name), tables=run.tables)
    except InputError as fault:
        raise InputError(
            f"{name}: the scenario inside cannot be read by this version of bedsim; run it again.\n{fault}"
        ) from None
