"""Screw formulas against closed forms, numerical integration and examples quoted from memory.

Nothing here was read beside the test.  A "self-check" quotes a maker's or textbook's example from memory: it
shows that the formula is the one we meant, and is no evidence.  "Computed" numbers come from the formula.
"""

import math

import pytest

from bedsim.sizing import axial_train, buckling, critical_speed, life, torque
from bedsim.units import GPA, MM, N_MM, N_PER_UM

STEEL = {"youngs_modulus": 206 * GPA}
DENSITY = 7850.0
SAME = pytest.mark.exact_inputs("the same numbers stand on both sides")


@pytest.mark.parametrize(("root_mm", "newtons"), [(17.5, 35500.0), (12.5, 18100.0)])
def test_compressive_limit_self_check(root_mm, newtons):
    """THK examples, numbers from memory: the page multiplies by the rounded 116 and drops the last digits."""
    load = buckling.permissible_compression(root_diameter=root_mm * MM)
    assert load == pytest.approx(newtons, rel=0.005)


@pytest.mark.parametrize(("root_mm", "span_mm", "newtons"), [(17.5, 1100, 15500), (12.5, 700, 9960)])
def test_column_load_self_check(root_mm, span_mm, newtons):
    """THK examples (fixed-fixed), numbers from memory: self-check with the rounded coefficient 20."""
    load = buckling.permissible_column_load(
        root_diameter=root_mm * MM, free_length=span_mm * MM, ends="fixed-fixed", **STEEL
    )
    assert load == pytest.approx(newtons, rel=0.0025, abs=5)


@pytest.mark.parametrize(("root_mm", "span_mm", "rpm"), [(17.5, 1100, 2180), (12.5, 700, 3850)])
def test_permissible_speed_self_check(root_mm, span_mm, rpm):
    """THK examples (fixed-supported), numbers from memory: self-check."""
    critical = critical_speed.first_bending_frequency(
        density=DENSITY,
        root_diameter=root_mm * MM,
        free_length=span_mm * MM,
        ends="fixed-supported",
        **STEEL,
    )
    assert critical_speed.permissible_speed(critical) * 60 == pytest.approx(rpm, abs=5)


def test_power_screw_with_collar_self_check():
    """Shigley, power screw example (numbers from memory): 26.18 N m up, 9.77 N m down, efficiency 0.311."""
    angle = torque.lead_angle(8 * MM, 30 * MM)
    rho = torque.friction_angle(0.08)
    thread = torque.torque_raising(6400, 8 * MM, torque.efficiency_raising(angle, rho))
    collar = 6400 * 0.08 * 40 * MM / 2  # of a plain thrust collar, which no screw here has
    assert thread == pytest.approx(15.94, abs=0.005)
    assert collar == pytest.approx(10.24, abs=0.005)
    assert torque.torque_lowering(6400, 30 * MM, angle, rho) == pytest.approx(-0.466, abs=0.0005)
    # The book's 26.18 is the sum of its rounded parts (26.177); the same holds for 9.77 (9.774).
    assert 6400 * 8 * MM / (2 * math.pi) / (thread + collar) == pytest.approx(0.311, abs=0.0005)


@pytest.mark.parametrize(
    ("load", "lead_mm", "n_mm", "last_digit"),
    [(17, 40, 120, 5), (510, 10, 900, 5), (470, 10, 830, 5)],
)
def test_drive_torque_self_check(load, lead_mm, n_mm, last_digit):
    """THK examples with efficiency 0.9 (numbers from memory; the lead of the first was settled by its
    answer).
    """
    assert torque.torque_raising(load, lead_mm * MM, 0.9) / N_MM == pytest.approx(n_mm, abs=last_digit)


@SAME
@pytest.mark.parametrize(
    ("ball_circle_mm", "lead_mm", "friction", "raising", "back"),
    [
        (16.5, 5, 0.003, 0.970, 0.969),
        (16.5, 10, 0.003, 0.984, 0.984),
        (12.5, 4, 0.003, 0.971, 0.970),
        (16.5, 5, 0.010, 0.905, 0.895),
    ],
)
def test_ball_screw_efficiencies_computed(ball_circle_mm, lead_mm, friction, raising, back):
    """Computed from (1 - mu tan b)/(1 + mu/tan b) and (1 - mu/tan b)/(1 + mu tan b) of the THK catalogue."""
    t = lead_mm / (math.pi * ball_circle_mm)
    angle, rho = torque.lead_angle(lead_mm * MM, ball_circle_mm * MM), torque.friction_angle(friction)
    eta1, eta2 = torque.efficiency_raising(angle, rho), torque.efficiency_driven_back(angle, rho)
    assert eta1 == pytest.approx((1 - friction * t) / (1 + friction / t), rel=1e-12)
    assert eta2 == pytest.approx((1 - friction / t) / (1 + friction * t), rel=1e-12)
    assert (eta1, eta2) == (pytest.approx(raising, abs=5e-4), pytest.approx(back, abs=5e-4))


@pytest.mark.parametrize(
    ("mass", "lead_mm", "screw", "total"), [(80, 40, 1.48e-4, 3.39e-3), (50, 10, 0.31e-4, 1.58e-4)]
)
def test_reflected_inertia_self_check(mass, lead_mm, screw, total):
    """THK examples (numbers from memory): load and screw together, three digits."""
    assert torque.load_inertia(mass, lead_mm * MM) + screw == pytest.approx(total, rel=0.0025)


@SAME
def test_life_at_the_rating_is_a_million_turns():
    """ISO 3408-5: the dynamic rating is the load of a nominal life of 10^6 turns; half the load gives 8
    times.
    """
    assert life.nominal_life_turns(6276, 6276, 1.0) == pytest.approx(1e6)
    assert life.nominal_life_turns(6276, 3138, 1.0) == pytest.approx(8e6)


def test_life_chain_self_check():
    """THK example (numbers from memory, the rating solved back from the answer): 225 N; 4.1e9 turns; 171 000
    h.

    The mean is over stroke and return, the return loading the other flank.
    """
    mean = life.cubic_mean_load([550, 17, 516, 0], [75, 850, 75, 1000])
    assert mean == pytest.approx(225, abs=0.5)
    turns = life.nominal_life_turns(5400, 225, 1.5)
    assert turns == pytest.approx(4.1e9, abs=0.05e9)
    assert life.life_hours(4.1e9, 400 * 60) == pytest.approx(171000, abs=500)


@SAME
def test_shaft_stiffness_computed():
    """Computed, not published: steel 8 x 300 mm, lead 8: 34.5156 N/um in stretch, 65.6506 N/um from twist."""
    stretch = axial_train.shaft_axial_stiffness(root_diameter=8 * MM, loaded_length=300 * MM, **STEEL)
    twist = axial_train.shaft_torsional_stiffness(
        shear_modulus=79.4 * GPA, root_diameter=8 * MM, loaded_length=300 * MM
    )
    assert stretch / N_PER_UM == pytest.approx(34.5156, rel=1e-5)
    assert axial_train.torsion_seen_axially(twist, 8 * MM) / N_PER_UM == pytest.approx(65.6506, rel=1e-5)


@SAME
def test_gear_divides_the_torque_and_loses_its_share():
    """A 3:1 gear of 90 %: power in is power out over 0.9, at three times the speed."""
    assert torque.at_motor(2.7, 3.0, 0.9) * 3.0 == pytest.approx(2.7 / 0.9)


@SAME
def test_axial_frequency_is_that_of_an_integrated_swing():
    """1 kg on 1 N/um: period counted in a numerically integrated swing."""
    from scipy.integrate import solve_ivp

    run = solve_ivp(
        lambda _, y: [y[1], -1e6 * y[0]], (0, 0.02), [1e-6, 0.0], rtol=1e-9, atol=1e-15, max_step=1e-4
    )
    falls = [t for t, a, b in zip(run.t, run.y[0], run.y[0][1:], strict=False) if a > 0 >= b]
    assert axial_train.axial_frequency(1e6, 1.0) == pytest.approx(2 / (falls[2] - falls[0]), rel=0.02)


@SAME
def test_turns_of_a_layer_with_hop_and_return():
    """0.2 mm down, 0.4 mm hop down and up, 0.2 mm of the way back: 1.2 mm, 0.15 turns at lead 8 mm."""
    assert life.turns_per_layer(0.6, 8.0) == pytest.approx(0.15)


@SAME
def test_usual_limit_of_speed_times_diameter():
    """60 000 mm x rpm, the low end of the 60 000 to 150 000 that Engineers Edge prints for all returns."""
    assert pytest.approx(60e3 * MM / 60) == critical_speed.SPEED_DIAMETER_LIMIT
