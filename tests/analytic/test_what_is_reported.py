"""What engines report of motions, against the closed forms of motions made up here."""

import math
from pathlib import Path

import numpy as np
import pytest

from bedsim.engines.base import SETTLED, print_mean, seen_residual
from bedsim.engines.driven import CYCLE, FORCING, forcing_spacing
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def test_residual_and_settling_of_a_decaying_vibration():
    """A exp(-t/T) cos at the one probe in height, B exp(-t/T) on a circle sideways: sideways the radius is
    what counts, at any angle, and it stays within the limit after T ln(B/limit)."""
    time, begin, end, T = np.linspace(0.0, 2.0, 20_001), 1.0, 0.25, 0.1
    high = 2e-6 * np.exp(-time / T) * np.cos(300 * time)
    radius = 9e-6 * np.exp(-time / T)
    flat = radius[:, None] * np.stack([np.cos(40 * time), np.sin(40 * time)], axis=-1)
    found = seen_residual(time, high[:, None], flat[:, None], begin, end)
    assert found["residual_lateral"] == pytest.approx(9e-6 * math.exp(-begin / T), rel=1e-9)
    after = np.abs(high[time >= begin - 1e-9]).max()
    assert found["residual_height"] == pytest.approx(after, rel=1e-12)
    assert found["settle_time"] == pytest.approx(T * math.log(9e-6 / SETTLED) - end, abs=2e-4)


def test_what_is_over_before_printing_is_not_left():
    time = np.linspace(0.0, 0.4, 41)
    still = np.zeros((41, 1))
    found = seen_residual(time, still, np.zeros((41, 1, 2)), 0.5, 0.2)
    assert found["residual_height"] == 0 and found["residual_lateral"] == 0 and found["settle_time"] == 0


def test_mean_over_the_print_window():
    """A ramp down to rest at t = 2, printing from 1 to 5: the triangle 1 x 1/2 over 4."""
    time = np.array([0.0, 0.7, 1.3, 2.0])
    q, rest = (2.0 - time)[:, None], np.zeros(1)
    assert print_mean(time, q, rest, 1.0, 5.0) == pytest.approx(0.5 / 4)


class Turning:
    """What `forcing_spacing` asks of a problem: screws' turns, and cycles in one."""

    def __init__(self, speed, cycles):
        self.plan = self.job = self.machine = self.motion = self
        self.command = np.array([[2 * math.pi / 5e-3, 0.0]])  # rad per metre, lead 5 mm
        self.fastest_cycle, self.time, self.fastest = cycles, np.array([0.0, 1.0]), speed

    def speed(self, time, piece):
        return np.array([0.0, -self.fastest])


@pytest.mark.parametrize(
    ("speed", "spacing"), [(0.0, FORCING), (1e-3, FORCING), (20e-3, 1 / (CYCLE * 200 * 4.0))]
)
def test_known_forcing_is_sampled_so_often_per_cycle(speed, spacing):
    """20 mm/s on a lead of 5 mm are 4 turns per second, 200 cycles in each."""
    assert forcing_spacing(Turning(speed, 200.0)) == pytest.approx(spacing, rel=1e-12)


def test_a_frictionless_ring_down_dies_away_like_a_mode():
    """exp(-zeta w t): what is left at 0.2 and at 0.4 s after the move tells w, that of one of the modes."""
    still = ["guide.friction_n=0", "nut.friction_coefficient=0", "mount.friction_coefficient=0"]
    still += ["nut.drag_torque_n_mm=0", "print.layers=3", "damping.ratio=0.005"]
    still += [f"motor.place_error_{k}_deg=0" for k in (1, 2, 3, 4)]

    def machine(settle):
        return load_scenario(SCENARIOS / "bent-rolled-rigid.toml", [*still, f"print.settle_s={settle}"])

    early, late = (simulate(machine(settle)).layers for settle in (0.2, 0.4))
    assert late.residual_height[-1].max() > 5e-9
    decay = np.log(early.residual_height[-1].max() / late.residual_height[-1].max()) / 0.2
    modes = make_job(machine(0.2)).machine.system(np.array([3])).frequency[0]
    assert np.abs(decay / 0.005 / modes - 1).min() < 0.04
