"""One corner stays while the others are driven up: where the bed's resistance to racking stops a motor."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from bedsim.analysis.sizing_gather import gather
from bedsim.power_loss.unequal import _lifting_end

PER_METRE = 4e5  # N of more push for a metre that the other corners are ahead
WEIGHT = 12.0


@pytest.fixture(scope="module")
def numbers(shipped):
    return gather(shipped("bent-rolled-rigid"))


def strongest(corner):
    """Push by hand: 2 pi T i eta_g eta / lead, eta = tan(lambda)/tan(lambda + rho) at the lowest friction."""
    screw, motor = corner.screw, corner.motor
    slope = math.atan(screw.shaft.lead / (math.pi * screw.contact_diameter))
    eta = math.tan(slope) / math.tan(slope + math.atan(screw.friction[0]))
    torque = motor.holding_torque * motor.gear_ratio * motor.gear_efficiency
    return 2 * math.pi * torque * eta / screw.shaft.lead


@pytest.mark.parametrize(("share", "stops"), [(0.999, False), (1.001, True)])
def test_a_motor_stops_where_weight_and_racking_ask_for_all_its_push(numbers, share, stops):
    racked = SimpleNamespace(numbers=numbers, limit=lambda height: None)
    system = SimpleNamespace(weight=np.full(3, WEIGHT), racking=PER_METRE * np.eye(3))
    height = np.array([0.0, 1.0, 1.0]) * share * (strongest(numbers.corners[1]) - WEIGHT) / PER_METRE
    found = _lifting_end(racked, system, height)
    assert found == (f"motor at {numbers.corners[1].name} loses steps" if stops else None)
