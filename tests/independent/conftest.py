"""The machine and its independent equations, derived once for the tests of this folder."""

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import energies
from oracle_machine import Numbers, numbers, oracle_machine

from bedsim.results.layers import Trace
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import probe_points, simulate


@pytest.fixture(scope="session")
def loaded() -> LoadedScenario:
    """The scenario."""
    return oracle_machine()


@pytest.fixture(scope="session")
def both_layers(loaded: LoadedScenario) -> tuple[tuple[Numbers, energies.Equations], ...]:
    """Numbers and equations of layers 1 and 2 under weight."""
    found = []
    for layer in (1, 2):
        loads = energies.derive(numbers(loaded, layer)).loads
        n = numbers(loaded, layer, loads)
        found.append((n, energies.derive(n, loads)))
    return tuple(found)


@pytest.fixture(scope="session", params=["propagator", "reference"])
def trace(request: pytest.FixtureRequest, loaded: LoadedScenario) -> Trace:
    """The change to layer 2 by one engine of the package."""
    return simulate(loaded, request.param).layers.trace[0]


def probe_motion(loaded: LoadedScenario, pose: np.ndarray, layer: int) -> tuple[np.ndarray, np.ndarray]:
    """Height (t, p) at the bed and sideways motion (t, p, 2) at the top of the part: d = t + w x p."""
    places = probe_points(loaded)[1]
    t, w = pose[:, None, :3], pose[:, None, 3:6]
    bed = np.column_stack([places, np.zeros(len(places))])
    top = bed + np.array([0, 0, layer * loaded.scenario.print.layer_mm * 1e-3])
    return (t + np.cross(w, bed))[..., 2], (t + np.cross(w, top))[..., :2]


def largest(loaded: LoadedScenario, trace: Trace, pose: np.ndarray) -> float:
    """Largest difference at the probes between a trace and poses (t, 6) at its first instants."""
    height, lateral = probe_motion(loaded, pose, trace.layer)
    kept = slice(0, pose.shape[0])
    return max(np.abs(trace.height[kept] - height).max(), np.abs(trace.lateral[kept] - lateral).max())


@pytest.fixture(scope="session")
def largest_difference_of() -> Callable[[LoadedScenario, Trace, np.ndarray], float]:
    """`largest`, for machines of a test's own."""
    return largest


@pytest.fixture(scope="session")
def largest_difference(loaded: LoadedScenario) -> Callable[[Trace, np.ndarray], float]:
    """`largest` on the scenario."""
    return partial(largest, loaded)
