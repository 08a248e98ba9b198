"""A joint from its parts: sums, symmetry, limits, and each element against direct mechanics."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from bedsim.sizing import joint_checks, joint_parts, magnets
from bedsim.units import GRAVITY, MM, UM


def _spring(x, y, k=1000.0, **more):
    return joint_parts.PlanarElement(name="e", x=x, y=y, along=k, across=k, **more)


def test_mirrored_elements_do_not_couple_and_rotation_grows_with_radius_squared():
    for radius in (0.02, 0.04):
        total = joint_parts.assemble([_spring(radius, 0), _spring(-radius, 0)])
        assert total.stiffness == pytest.approx(np.diag([2000, 2000, 2000 * radius**2]))


def test_one_sided_element_couples_sideways_motion_to_rotation():
    """A spring at x = 20 mm pushed in y turns the plate: with the rotation free it gives no recentring at
    all.
    """
    total = joint_parts.assemble([_spring(0.02, 0)])
    assert total.stiffness[1, 2] == pytest.approx(1000 * 0.02)
    assert total.recentring == pytest.approx(0, abs=1e-9)
    assert joint_parts.assemble([_spring(0.02, 0)], 1e9).recentring == pytest.approx(1000, rel=1e-6)


def test_stiffness_is_the_second_derivative_of_the_energy():
    """A leaf at an odd place and direction: energy of small plate motions, differentiated numerically."""
    leaf = joint_parts.PlanarElement(
        name="l", x=0.013, y=-0.02, along=300.0, across=5000.0, direction=math.radians(25)
    )
    u = np.array([1e-3, -2e-3, 0.03])
    moved = np.array([u[0] - leaf.y * u[2], u[1] + leaf.x * u[2]])
    along = np.array([math.cos(leaf.direction), math.sin(leaf.direction)])
    across = np.array([-along[1], along[0]])
    energy = 0.5 * (300 * (along @ moved) ** 2 + 5000 * (across @ moved) ** 2)
    assert 0.5 * u @ leaf.stiffness() @ u == pytest.approx(energy)


def test_dead_zone_is_friction_over_recentring():
    parts = [_spring(0.02, 0, friction=0.1), _spring(-0.02, 0, friction=0.1)]
    total = joint_parts.assemble(parts)
    assert total.dead_zone == pytest.approx(0.2 / 2000)
    assert (total.friction, total.recentring) == (pytest.approx(0.2), pytest.approx(2000.0))
    assert joint_parts.assemble([_spring(0, 0, k=0.0, friction=0.1)]).dead_zone == math.inf


def test_magnet_pair_pulls_and_recentres():
    d = magnets.Disc(radius=5 * MM, thickness=5 * MM, remanence=1.3)
    pair = joint_parts.magnet_pair("m", 0.02, 0, d, d, 1 * MM)
    assert pair.pull == pytest.approx(18.999, abs=1e-3)  # computed, not published
    assert pair.along == pair.across == pytest.approx(4074.3, abs=0.1)  # computed, not published


def test_tension_spring_sideways_force_by_geometry():
    """A string of 30 mm pulled with 5 N and moved by 0.1 mm: the sideways part of its force."""
    s = joint_parts.tension_spring("s", 0, 0, 5.0, 30 * MM)
    angle = math.atan2(0.1, 30)
    assert s.along * 0.1 * MM == pytest.approx(5.0 * math.sin(angle), rel=1e-4)


@pytest.mark.parametrize(("dished", "stiffness"), [(1, 0.0526316), (2, 0.1052632)])
def test_dished_plates_against_the_energy_of_the_lift(dished, stiffness):
    """A 5 mm ball in dishes of 50 mm under 10 N: the lifted weight gives the stiffness; value computed."""
    ball = joint_parts.ball(
        "b",
        0,
        0,
        radius=2.5 * MM,
        load=10.0,
        rolling_coefficient=1e-3,
        dish_radius=50 * MM,
        dished_plates=dished,
    )
    x = 0.5 * MM
    reach = 50 * MM - 2.5 * MM  # the ball's centre moves on this radius, half the plate's travel
    lift = dished * (reach - math.sqrt(reach**2 - (x / 2) ** 2))
    assert 2 * 10.0 * lift / x**2 == pytest.approx(ball.along, rel=1e-4)
    assert ball.along * MM == pytest.approx(stiffness, rel=1e-5)
    assert ball.friction == pytest.approx(0.01)


def test_wedged_plates_push_sideways():
    ball = joint_parts.ball(
        "b", 0, 0, radius=2.5 * MM, load=10.0, rolling_coefficient=0, wedge=math.radians(0.01)
    )
    assert ball.push == pytest.approx(0.87e-4 * 10, rel=5e-3)  # computed, not published


@pytest.mark.parametrize("compression", [0.0, 5.0, -5.0])
def test_guided_beam_against_the_beam_equation(compression):
    """E I y'''' + P y'' = 0 with both ends kept parallel, solved numerically."""
    E, thickness, width, L = 206e9, 0.2 * MM, 10 * MM, 30 * MM
    EI = E * width * thickness**3 / 12
    z = np.linspace(0, L, 50)
    guess = np.zeros((4, z.size))
    guess[0] = 1e-4 * z / L
    solution = solve_bvp(
        lambda _, y: np.vstack([y[1], y[2], y[3], -compression / EI * y[2]]),
        lambda a, b: np.array([a[0], a[1], b[0] - 1e-4, b[1]]),
        z,
        guess,
        tol=1e-9,
    )
    shear = -EI * solution.y[3, 0] - compression * solution.y[1, 0]
    ours = joint_parts.guided_beam_stiffness(
        youngs_modulus=E, area_moment=width * thickness**3 / 12, length=L, compression=compression
    )
    assert ours == pytest.approx(shear / 1e-4, rel=0.01 if compression else 1e-6)


def test_o_ring_keeps_its_volume():
    """A 20 x 2 mm ring squeezed to 1.6 mm: G A/h with the rubber's volume over the height as area."""
    ring = joint_parts.o_ring(
        "o", 0, 0, mean_diameter=20 * MM, cord=2 * MM, height=1.6 * MM, shear_modulus=1e6
    )
    volume = math.pi / 4 * (2 * MM) ** 2 * math.pi * 20 * MM
    assert ring.along == pytest.approx(1e6 * volume / (1.6 * MM) ** 2)


def test_lift_off_is_where_weight_and_pull_no_longer_suffice():
    """2 kg pulled down by 5 N: its own weight gives g, the pull 2.5 m/s2 more."""
    assert joint_checks.lift_off_acceleration(2.0, 5.0) == pytest.approx(GRAVITY + 2.5)


def test_travel_needed_adds_all_parts_whatever_their_sign():
    assert joint_checks.travel_needed({"a": 10.0, "b": -20.0}) == 30.0


def test_reversal_loses_the_lead_times_the_wind_up():
    """0.02 N m of drag on 40 N m/rad turn the nut by a milliradian between the senses: 1.27 um at lead 8."""
    turn = joint_checks.wind_up(0.02, 40.0)
    assert turn == pytest.approx(1e-3)
    assert joint_checks.height_lost_at_reversal(turn, 8 * MM) / UM == pytest.approx(
        8 / (2 * math.pi), rel=1e-9
    )


def test_others_push_the_bed_by_the_mean_of_their_run_outs():
    assert joint_checks.pushed_by_others([10.0, 20.0, 40.0], 0, 0.5) == pytest.approx(10.0)
