"""Shipped scenarios with overrides, as tests of the analysis need them."""

from collections.abc import Callable
from pathlib import Path

import pytest

from bedsim.scenario.load import LoadedScenario, load_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
FRICTIONLESS = (
    "joint.friction_coefficient=0",
    "mount.friction_coefficient=0",
    "guide.friction_n=0",
    "nut.drag_torque_n_mm=0",
    "nut.friction_coefficient=0",
)


@pytest.fixture(scope="session")
def shipped() -> Callable[..., LoadedScenario]:
    """A shipped scenario by its name, with `key=value` overrides."""
    return lambda name, *overrides: load_scenario(SCENARIOS / f"{name}.toml", overrides)


@pytest.fixture(scope="session")
def frictionless() -> tuple[str, ...]:
    """Overrides that take all friction out."""
    return FRICTIONLESS
