"""Small machines and results for comparisons."""

import dataclasses

import pytest
from in_phase import in_phase

from bedsim.comparison.compared import Compared
from bedsim.simulation import simulate


@pytest.fixture(scope="session")
def one():
    """Give a compared run of the machine in phase under a label, with keys set (dots written as __)."""

    def made(label="one", /, **keys):
        loaded = in_phase(**keys)
        return Compared(label=label, run=simulate(loaded, engine="equilibrium"), loaded=loaded)

    return made


@pytest.fixture(scope="session")
def few_keys():
    """Keep only some uncertain keys of a scenario: tests need not vary fifty."""

    def kept(loaded, *names):
        found = tuple(r for r in loaded.ranges if r.key in names)
        assert len(found) == len(names)
        return dataclasses.replace(loaded, ranges=found)

    return kept
