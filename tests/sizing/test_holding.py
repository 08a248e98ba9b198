"""Holding with the motors off: energy, statics and the limits of self-locking."""

import math

import pytest

from bedsim.sizing import holding, torque
from bedsim.sizing.mount_checks import overturning_moment, seat_force
from bedsim.units import DEG, GRAVITY, MM


def _back(f, lead_mm=8.0):
    angle = torque.lead_angle(lead_mm * MM, 7 * MM)
    return torque.efficiency_driven_back(angle, torque.friction_angle(f, 15 * DEG))


def test_torque_driven_back_falls_with_friction_and_vanishes_at_self_locking():
    """The trap: with eta2 in the denominator the torque would grow with friction."""
    limit = torque.friction_for_self_locking(torque.lead_angle(8 * MM, 7 * MM), 15 * DEG)
    torques = [torque.torque_driven_back(10.0, 8 * MM, _back(f)) for f in (0.0, 0.1, 0.2, 0.3, limit)]
    assert torques == sorted(torques, reverse=True)
    assert torques[0] == pytest.approx(10 * 8 * MM / (2 * math.pi))
    assert torques[-1] == pytest.approx(0, abs=1e-12)


def test_torque_driven_back_is_the_negative_of_the_lowering_torque():
    """Two textbook forms of the same thing."""
    angle, rho = torque.lead_angle(8 * MM, 7 * MM), torque.friction_angle(0.1, 15 * DEG)
    lower = torque.torque_lowering(10.0, 7 * MM, angle, rho)
    assert torque.torque_driven_back(10.0, 8 * MM, _back(0.1)) == pytest.approx(-lower)


def test_load_held_and_torque_to_hold_are_inverse():
    need = holding.torque_to_hold(25.0, 8 * MM, _back(0.08))
    assert holding.load_held(need, 8 * MM, _back(0.08)) == pytest.approx(25.0)
    assert holding.load_held(0.0, 2 * MM, _back(0.2, 2.0)) == math.inf


def test_what_is_missing_is_only_the_difference():
    assert holding.torque_missing(0.03, 0.02) == pytest.approx(0.01)
    assert holding.torque_missing(0.01, 0.02) == 0.0
    assert holding.counterweight_missing(30.0, 10.0) == pytest.approx(20.0)


def test_frictionless_fall_follows_from_energy():
    """m g x = m v^2/2 + J w^2/2 with w = 2 pi v/l, so a = v^2/(2 x)."""
    m, J, lead = 1.5, 8e-6, 8 * MM
    a = holding.fall_acceleration(
        load=m * GRAVITY, mass=m, lead=lead, efficiency_back=1.0, holding_torque=0.0, inertia=J
    )
    v_squared = 2 * m * GRAVITY * 0.1 / (m + J * (2 * math.pi / lead) ** 2)
    assert a == pytest.approx(v_squared / 0.2)
    assert (
        holding.fall_acceleration(
            load=m * GRAVITY, mass=m, lead=lead, efficiency_back=-0.1, holding_torque=0.0, inertia=J
        )
        == 0
    )


def test_a_tilt_uses_up_its_travel():
    """A support at R from the tilting axis of a rigid plate goes inward by R (1 - cos tilt)."""
    tilt = holding.tilt_at_foreshortening(0.5 * MM, 0.2)
    assert 0.2 * (1 - math.cos(tilt)) == pytest.approx(0.5 * MM)


def test_thrust_of_a_motor_does_the_work_of_a_turn():
    """2 pi T eta of work in a turn lift F by the lead."""
    thrust = holding.thrust_of_motor(0.4, 8 * MM, 0.5)
    assert thrust * 8 * MM == pytest.approx(0.5 * 2 * math.pi * 0.4)


def test_seat_lifts_in_free_fall_without_magnet():
    assert seat_force(
        weight_share=10, downward_acceleration=GRAVITY, relieved=0, magnet_pull=0
    ) == pytest.approx(0)
    relieved = overturning_moment(3.0, 5.0, -0.02)
    assert seat_force(
        weight_share=10, downward_acceleration=0, relieved=relieved, magnet_pull=2
    ) == pytest.approx(11.7)


@pytest.mark.parametrize("travel", [0.2, 0.21, 0.5])
def test_a_mount_that_reaches_the_axis_of_tilting_allows_a_quarter_turn(travel):
    assert holding.tilt_at_foreshortening(travel, 0.2) == pytest.approx(math.pi / 2)
