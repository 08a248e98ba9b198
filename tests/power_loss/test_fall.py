"""A bed without current: closed forms of falling, stopping and holding, and the balance of energy."""

import math
from dataclasses import replace

import numpy as np
import pytest

from bedsim.power_loss.back_driving import Falling, hilltops, loose_share
from bedsim.power_loss.fall import Fall, fall
from bedsim.power_loss.report import outcome
from bedsim.sizing import holding, torque
from bedsim.units import DEG, GRAVITY, MM

LEAD, MASS, INERTIA, STEPS = 8 * MM, 1.2, 8e-6, 200.0


def falling(*, back=1.0, forth=1.0, hold=0.0, detent=0.0, group=(0, 1, 2), held=None, **changes) -> Falling:
    """Three equal corners that carry a kilogram or so each."""
    one = np.ones(3)
    system = Falling(
        radius=one * LEAD / (2 * math.pi),
        inertia=one * INERTIA,
        mass=np.eye(3) * MASS,
        weight=one * MASS * GRAVITY,
        racking=np.zeros((3, 3)),
        driven=one * back,
        driving=one * forth,
        torque=one * hold,
        viscous=0 * one,
        guide=0 * one,
        detent=one * detent,
        cycles=one * STEPS,
        phase=0 * one,
        group=np.array(group),
        held=np.zeros(max(group) + 1, bool) if held is None else np.array(held),
    )
    return replace(system, **changes)


def room(height: float = 0.2) -> np.ndarray:
    return np.full(3, height)


def expected(back: float = 1.0, hold: float = 0.0) -> float:
    return holding.fall_acceleration(
        load=MASS * GRAVITY,
        mass=MASS,
        lead=LEAD,
        efficiency_back=back,
        holding_torque=hold,
        inertia=INERTIA,
    )


@pytest.mark.parametrize(("back", "hold"), [(1.0, 0.0), (0.6, 0.0), (0.9, 4e-3)])
def test_constant_friction_falls_with_constant_acceleration(back, hold):
    """Galilei: t = sqrt(2 x/a), v = sqrt(2 a x), a from Newton's law for screw and load."""
    course = fall(falling(back=back, hold=hold), room())
    a = expected(back, hold)
    assert course.end == "stop reached"
    assert course.time[-1] == pytest.approx(math.sqrt(2 * 0.2 / a), rel=1e-6)
    assert -course.speed[-1] == pytest.approx(np.full(3, math.sqrt(2 * a * 0.2)), rel=1e-6)
    assert course.load[0] == pytest.approx(np.full(3, MASS * (GRAVITY - a)), rel=1e-6)


def test_energy_is_kept_without_friction_and_with_detent():
    """Stated tolerance: 1e-6 of the energy turned over, through a hundred detent hills and beyond."""
    for detent in (0.0, 0.009):
        course = fall(falling(detent=detent), room())
        assert course.end == "stop reached"
        assert course.energy_error < 1e-6
        assert np.all(course.lost == 0.0)


def test_friction_takes_what_the_fall_lacks():
    course = fall(falling(back=0.6, hold=2e-3, viscous=np.full(3, 1e-5), guide=np.full(3, 0.5)), room())
    fell = -course.height[-1] @ np.full(3, MASS * GRAVITY)
    w = course.speed[-1] / (LEAD / (2 * math.pi))
    kept = 0.5 * np.sum(MASS * course.speed[-1] ** 2 + INERTIA * w**2)
    assert course.lost[-1] == pytest.approx(fell - kept, rel=1e-6)
    assert course.energy_error < 1e-6


def test_grease_ends_in_the_terminal_speed():
    """F r = c w."""
    c = 5e-3
    course = fall(falling(viscous=np.full(3, c)), room(1.0), longest=1.0)
    r = LEAD / (2 * math.pi)
    assert course.end == "time is up"
    assert -course.speed[-1] == pytest.approx(np.full(3, MASS * GRAVITY * r * r / c), rel=1e-5)


@pytest.mark.parametrize(("share", "holds"), [(0.98, False), (1.02, True)])
def test_a_brake_of_the_torque_said_to_be_missing_holds(share, holds):
    """The static formula of the sizing and the fall agree on where holding ends."""
    need = holding.torque_to_hold(MASS * GRAVITY, LEAD, 0.7)
    course = fall(falling(back=0.7, forth=1.4, hold=share * need), room(), longest=5.0)
    assert (course.end == "held") is holds


def test_a_self_locking_screw_stops_a_moving_bed():
    """v^2/(2 a) with the same law of motion, the driving torque now negative."""
    angle, rho = torque.lead_angle(LEAD, 7 * MM), torque.friction_angle(0.45, 15 * DEG)
    back = torque.efficiency_driven_back(angle, rho)
    assert back < 0
    course = fall(falling(back=back, forth=2.5), room(), start_speed=0.05)
    r = LEAD / (2 * math.pi)
    slowing = MASS * GRAVITY * r * back / (INERTIA / r + MASS * r * back)
    assert course.end == "came to rest"
    assert -course.height[-1] == pytest.approx(np.full(3, 0.05**2 / (2 * -slowing)), rel=1e-5)


def test_detent_holds_from_rest_but_does_not_stop_a_turning_rotor():
    """Drive below the detent: held in its valley, falls from the hill, falls when moving."""
    system = falling(detent=0.03)
    drive = MASS * GRAVITY * LEAD / (2 * math.pi)
    valley = np.full(3, math.asin(drive / 0.03))
    assert fall(replace(system, phase=valley, torque=np.full(3, 1e-5)), room()).end == "held"
    assert fall(system, room()).end == "swings"
    assert fall(replace(system, phase=hilltops(3) + 1e-3), room(0.05)).end == "stop reached"
    assert fall(replace(system, phase=valley), room(0.05), start_speed=0.05).end == "stop reached"


def test_share_of_rest_places_that_let_go_agrees_with_the_motion():
    """The washboard's closed form against falls from both sides of its border."""
    drive = MASS * GRAVITY * LEAD / (2 * math.pi)
    share = loose_share(drive, 2 * drive)
    border = math.pi - math.asin(0.5) - 2 * math.pi + 2 * math.pi * share
    for side, end in ((-0.02, "stop reached"), (0.02, "swings")):
        start = replace(falling(detent=2 * drive), phase=np.full(3, border + side))
        assert fall(start, room(0.01)).end == end
    assert loose_share(0.0, 1.0) == 0.0
    assert loose_share(1.0, 1.0) == 1.0


def test_screws_on_one_belt_share_their_torque():
    """Two that could hold, and one without friction, fall together with the mean of the torques."""
    back = np.array([1.0, 0.2, 0.2])
    together = fall(falling(group=(0, 0, 0), driven=back), room(0.1))
    assert together.height[-1] == pytest.approx(np.full(3, -0.1), abs=1e-9)
    r = LEAD / (2 * math.pi)
    a = MASS * GRAVITY * r * back.sum() / (3 * INERTIA / r + MASS * r * back.sum())
    assert together.time[-1] == pytest.approx(math.sqrt(0.2 / a), rel=1e-6)


def test_a_held_corner_stays_while_the_others_drop():
    """A mass matrix that couples the corners: the stiff bed, here a bar on two of three supports."""
    course = fall(falling(held=(True, False, False)), room(0.1))
    assert course.height[-1] == pytest.approx([0.0, -0.1, -0.1], abs=1e-8)


def test_racking_stiffness_stops_a_corner_that_drops_alone():
    """Without friction it swings about F/k like any weight let go on a spring: down to twice that."""
    k = 5e4
    system = falling(held=(False, True, True), racking=k * np.diag([1.0, 0.0, 0.0]))
    course = fall(system, room(), longest=0.2)
    assert course.height[:, 0].min() == pytest.approx(-2 * MASS * GRAVITY / k, rel=1e-4)
    assert course.energy_error < 1e-5


def test_a_rotor_on_its_own_leaves_the_valley_with_the_energy_of_its_hill():
    """Corners that turn alone, the middle one without detent's hold: half J w^2 at a stop event of the hill.

    A body let go on the top of a hill of torque T over N cycles swings through the valley: its speed at the
    bottom is that of the energy 2 T/N plus what its weight gives over half a cycle."""
    hill = 0.03
    system = falling(detent=hill, group=(0, 1, 2), held=(True, False, True), phase=np.full(3, math.pi))
    course = fall(system, room(), longest=2.0)
    inertia = INERTIA + MASS * (LEAD / (2 * math.pi)) ** 2
    turn = -course.height[:, 1] / (LEAD / (2 * math.pi))
    speed = -course.speed[:, 1] / (LEAD / (2 * math.pi))
    gained = MASS * GRAVITY * LEAD / (2 * math.pi) * turn
    gained += hill / STEPS * (np.cos(STEPS * turn + math.pi) - math.cos(math.pi))
    np.testing.assert_allclose(0.5 * inertia * speed**2, gained, atol=2e-3 * gained.max())


def at_its_end(end, lost, speed=0.0):
    one = np.ones((2, 3))
    return Fall(
        time=np.array([0.0, 1.0]),
        height=one * [[0.0], [-lost]],
        speed=-one * [[0.0], [speed]],
        load=one,
        lost=np.zeros(2),
        end=end,
        energy_error=0.0,
    )


@pytest.mark.parametrize(
    ("end", "lost", "speed", "says"),
    [
        ("held", 0.0, 0.0, "holds"),
        ("swings", 1e-4, 0.1, "holds"),
        ("came to rest", 0.039e-3, 0.0, "holds"),
        ("came to rest", 0.041e-3, 0.0, "sinks and stops"),
        ("stop reached", 0.1, 0.02, "falls"),
        ("stop reached", 0.1, 0.0005, "creeps"),
        ("time is up", 0.1, 0.0005, "creeps"),
    ],
)
def test_what_an_end_is_called(end, lost, speed, says):
    """Lead 8 mm over 200 cycles: within 0.04 mm a rotor has found its next valley, which holds."""
    assert outcome(at_its_end(end, lost, speed), falling(detent=0.02), 1e-3) == says
