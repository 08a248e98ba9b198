"""The stepper's magnetic spring and its torque against its exact limits, computed."""

import math

import pytest
from printed import digits, share
from scipy.optimize import brentq

from bedsim.sizing import motor_margin
from bedsim.units import G_CM2, MM

SAME = pytest.mark.exact_inputs("the same numbers stand on both sides")


def test_unloaded_catalogue_motor_computed(record_property):
    """Mosaic STEPMOT-1 data (2000 g cm holding, 22 g cm2, 200 steps): 336 Hz, computed from them, not
    printed.
    """

    def formula(holding, inertia):
        return motor_margin.resonance(motor_margin.magnetic_stiffness(holding, 200), inertia * G_CM2)

    record_property("u_input", share(formula, holding="0.1961", inertia="22"))
    record_property("u_data", digits("336"))
    assert formula(0.1961, 22) == pytest.approx(336, abs=0.5)


@SAME
@pytest.mark.parametrize(
    ("microsteps", "percent"), [(1, 100), (2, 70.71), (4, 38.27), (8, 19.51), (16, 9.80), (32, 4.91)]
)
def test_torque_of_one_microstep(microsteps, percent):
    """Share of the holding torque, sin(90 degrees/n), computed to two decimals; no print of it was read."""
    assert 100 * motor_margin.incremental_torque(1.0, microsteps) == pytest.approx(percent, abs=0.005)


@SAME
def test_load_angle_balances_the_torque():
    """The angle found by solving T = T_h sin(angle) numerically; beyond the peak the motor slips."""
    found = brentq(lambda a: 0.4 * math.sin(a) - 0.13, 0, math.pi / 2)
    assert motor_margin.load_angle(0.13, 0.4) == pytest.approx(found)
    assert motor_margin.load_angle(0.41, 0.4) == math.inf


@SAME
def test_microsteps_before_motion_reach_the_friction_torque():
    n = motor_margin.microsteps_before_motion(0.1, 0.4, 16)
    assert 0.4 * math.sin(n * math.pi / 32) == pytest.approx(0.1)


@SAME
def test_static_lag_on_a_lead_of_8_mm_computed():
    """Computed, not published: 9.81 N on lead 8 mm, 0.4 N m, 50 teeth: 0.7953 um."""
    torque = 9.81 * 8 * MM / (2 * math.pi)
    lag = motor_margin.load_angle(torque, 0.4) / 50 * 8 * MM / (2 * math.pi)
    assert lag == pytest.approx(0.7953e-6, rel=1e-4)


@SAME
def test_pull_out_curve_is_not_promised_beyond_its_end():
    curve = ([0.0, 5.0, 10.0], [0.4, 0.3, 0.1])
    assert motor_margin.pull_out_torque(7.5, *curve) == pytest.approx(0.2)
    assert motor_margin.pull_out_torque(0.0, *curve) == 0.4
    assert motor_margin.pull_out_torque(10.1, *curve) == 0.0
