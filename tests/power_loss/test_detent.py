"""Where a rotor's detent stands at a layer, and how many of these places let go, by hand.

200 steps per turn are 200 periods of detent per turn of the motor (a period per full step: four to a tooth
pitch, 50 teeth).
"""

import math
from pathlib import Path

import numpy as np
import pytest

from bedsim.analysis.sizing_gather import gather
from bedsim.power_loss.back_driving import loose_share
from bedsim.power_loss.report import _phases, power_loss_scenario
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job
from bedsim.sizing import loads

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def shipped(*settings):
    return load_scenario(SCENARIOS / "bent-rolled-rigid.toml", settings)


@pytest.mark.parametrize("gear", [1.0, 3.0])
def test_the_detent_goes_on_with_the_turns_of_the_motor(gear):
    """0.26 mm at a lead of 5 mm: 0.052 turns of the screw, 10.4 periods of the detent, three times that
    behind a gear; a phase of 20 degrees of its own stays."""
    loaded = shipped("print.layer_mm=0.26", f"motor.gear_ratio={gear}", "motor.detent_deg=20")
    machine, numbers = make_job(loaded).machine, gather(loaded)
    first, third = (_phases(loaded, machine, numbers, layer) for layer in (1, 3))
    assert np.abs(first) == pytest.approx(math.radians(20))
    turned = 2 * 10.4 * gear * 2 * math.pi
    assert np.abs(third - first) == pytest.approx(turned, rel=1e-9)


def test_places_that_let_go_are_counted_with_the_gear():
    """The motor's detent acts at the screw with the gear's ratio."""
    loaded = shipped("motor.gear_ratio=3")
    numbers = gather(loaded)
    worst = max(numbers.corners, key=lambda c: max(c.hanging))
    drive = loads.torque_to_hold(worst, worst.screw, worst.screw.friction[0])
    share = loose_share(drive, 3 * worst.motor.detent_low)
    assert 0.02 < share < 1
    (told,) = [line for line in power_loss_scenario(loaded).assumptions if "places let the one" in line]
    assert f"{100 * share:.0f} % of these" in told
