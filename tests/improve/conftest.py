"""Small machines on which changes are tried."""

import sys
from pathlib import Path

import pytest

from bedsim.scenario.load import load_scenario

sys.path.insert(0, str(Path(__file__).parent))

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.fixture(scope="session")
def shipped():
    """Give a shipped scenario by name, with overrides."""
    return lambda name, *overrides: load_scenario(SCENARIOS / f"{name}.toml", overrides)
