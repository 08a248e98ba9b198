"""The stepper's magnetic spring against a worked example that was read, in both places that compute it."""

import math

import pytest
from printed import digits

from bedsim.components.motor import Motor
from bedsim.sizing import motor_margin
from bedsim.units import DEG, G_CM2

pytestmark = pytest.mark.read("industrialmonitordirect.com, knowledge base: stepper resonance example")
WORKED = pytest.mark.exact_inputs("a worked example: its author computed from the numbers printed beside it")


@WORKED
def test_natural_frequency_of_a_worked_example(record_property):
    """industrialmonitordirect knowledge base: 0.32 N cm at 0.3 degrees, 48 g cm2: 0.611 N m/rad, 357 rad/s,
    56.8 Hz.
    """
    record_property("u_data", [digits(text) for text in ("0.611", "357", "56.8")])
    k = 0.32e-2 / (0.3 * DEG)
    assert k == pytest.approx(0.611, abs=5e-4)
    frequency = motor_margin.resonance(k, 48 * G_CM2)
    assert frequency * 2 * math.pi == pytest.approx(357, abs=0.5)
    assert frequency == pytest.approx(56.8, abs=0.05)


@WORKED
def test_natural_frequency_of_the_run_s_motor(record_property):
    """The example takes torque over angle as the spring; here it stands as N_r = 1/angle."""
    record_property("u_data", digits("56.8"))
    motor = Motor(
        holding_torque=0.32e-2,
        place_errors=(),
        teeth=1 / (0.3 * DEG),
        microstep=1e-3,
        inertia=48 * G_CM2,
        gear=1.0,
    )
    found = math.sqrt(motor.stiffness / motor.reflected_inertia) / (2 * math.pi)
    assert found == pytest.approx(56.8, abs=0.05)
