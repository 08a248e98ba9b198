"""What is built less often, against energies: belts, gears, play, multi-start and left-hand threads, measured
tables, more than three screws, hops.

All values are computed here, none is published.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import energies
import numpy as np
import pytest
from oracle_machine import Numbers, commanded, numbers
from rare_machines import belt_machine, many_screws, play_machine
from scipy.linalg import eigh

from bedsim.model.assembly import System
from bedsim.model.program import Limits, move
from bedsim.results.layers import LayerResult
from bedsim.scenario.load import LoadedScenario
from bedsim.simulation import make_job, simulate

FREQUENCY = 1e-6  # relative
PROBE = 0.01e-6  # m, what the engines promise of each other
REST = 1e-10  # m
LAST = {"belt": 2, "play": 2, "many": 4}


@dataclass(frozen=True)
class Rare:
    """A machine and its equations by layer."""

    loaded: LoadedScenario
    last: int

    def at(self, layer: int) -> tuple[Numbers, energies.Equations]:
        """Under weight."""
        loads = energies.derive(numbers(self.loaded, layer)).loads
        n = numbers(self.loaded, layer, loads)
        return n, energies.derive(n, loads)

    @cached_property
    def end(self) -> tuple[Numbers, energies.Equations]:
        return self.at(self.last)

    @cached_property
    def system(self) -> System:
        return make_job(self.loaded).machine.system(np.array([self.last]))

    @cached_property
    def layers(self) -> LayerResult:
        return simulate(self.loaded, "equilibrium").layers

    def rest(self) -> np.ndarray:
        n, eq = self.end
        return energies.rest(eq, n, -(self.last - 1) * n.layer)


@pytest.fixture(scope="module")
def every(tmp_path_factory):
    made = {
        "belt": belt_machine(),
        "play": play_machine(),
        "many": many_screws(tmp_path_factory.mktemp("tables")),
    }
    return {name: Rare(loaded, LAST[name]) for name, loaded in made.items()}


@pytest.mark.parametrize("name", LAST)
def test_natural_frequencies_under_weight(every, name):
    """All 37, 42 and 58 of them."""
    system, (_, eq) = every[name].system, every[name].end
    ours, theirs = (
        np.sqrt(eigh(K, M, eigvals_only=True)) for K, M in ((system.K[0], system.M[0]), (eq.K, eq.M))
    )
    np.testing.assert_allclose(ours, theirs, rtol=FREQUENCY)


@pytest.mark.parametrize("name", LAST)
def test_corner_loads(every, name):
    np.testing.assert_allclose(every[name].system.corner_load[0], every[name].end[1].loads, rtol=1e-6)


@pytest.mark.parametrize("name", ["play", "many"])
def test_rest(every, name):
    """Bed and shapes of its plate on the last layer, to a tenth of a nanometre."""
    n, _ = every[name].end
    q = every[name].rest()
    own = [*range(6), *range(energies.first_shape(n), energies.first_shaft(n))]
    np.testing.assert_allclose(every[name].layers.pose_raw[-1], q[own], atol=REST)


def test_rest_on_pulleys_that_run_out(every):
    """The package has the belt's law to first order in e/r. What that leaves out is (e/r)^2/2 of a radian at
    most, of which a lead of 8 mm makes 3 nm of height, and the bed's corners, beyond the screws, half as much
    again."""
    n, _ = every["belt"].end
    left_out = (n.belt.eccentricity / n.belt.radius) ** 2 / 2 * 8e-3 / (2 * np.pi)
    corners = np.array([[1, y, -x] for x, y in every["belt"].layers.probe_position])
    off = every["belt"].layers.pose_raw[-1] - every["belt"].rest()[:6]
    assert np.abs(corners @ off[2:5]).max() < 1.5 * left_out
    assert np.abs(off[[0, 1, 5]]).max() < REST


def test_nuts_use_up_their_play(every):
    """One shaft is pressed beyond it, one by less, one hangs well within."""
    n, eq = every["play"].end
    height = -n.layer
    e = energies.imposed_extensions(n, np.array([height]))[0]
    off = [np.hypot(*p.stretch(every["play"].rest(), e)[:2]) for p in eq.plays]
    assert off[0] > 30e-6 > off[1] > off[2]


@pytest.mark.parametrize(
    ("layer", "jerk"), [(0.2, 0), (3, 0), (0.1, 15), (0.5, 15), (3, 15), (0.5, 8), (3, 1), (0.4, 1)]
)
def test_commanded_moves(every, layer, jerk):
    """Steps of `layer` mm, too short for the acceleration, for the speed, and long enough, with and without a
    limit of jerk, m/s3."""
    n = replace(every["belt"].end[0], layer=layer * 1e-3, jerk=jerk, hop=0.0)
    limits = Limits(speed=n.speed, acceleration=n.acceleration, jerk=jerk)
    ours = move(np.zeros(1), np.array([-n.layer]), limits)
    time = np.linspace(0, 1.1 * ours.duration, 300)
    np.testing.assert_allclose(ours.height(time)[:, 0], commanded(n, time)[0], atol=1e-14)


def history(rare, engine, until, largest_difference_of):
    """Largest difference at the probes until `until` s of the change to layer 2, and how far they move."""
    trace = simulate(rare.loaded, engine).layers.trace[0]
    before, eq_before = rare.at(1)
    now, eq = rare.end
    time = trace.time[trace.time <= until]
    q = energies.integrate(eq, now, energies.rest(eq_before, before), time)
    return largest_difference_of(rare.loaded, trace, q[:, :6]), np.ptp(trace.height)


def test_history_of_a_belt_with_hops(every, largest_difference_of):
    """Step down, hop down, pause, hop back, each with limited jerk, then ringing."""
    off, moved = history(every["belt"], "propagator", 0.42, largest_difference_of)
    assert off < PROBE < moved / 100


@pytest.mark.long
def test_history_of_nuts_with_play(every, largest_difference_of):
    """The reference alone: the propagator promises where layers rest, and leaves 0.07 um of the way there."""
    off, moved = history(every["play"], "reference", 0.1, largest_difference_of)
    assert off < PROBE < moved / 100
