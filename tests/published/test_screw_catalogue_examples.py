"""Screw formulas against worked examples and coefficients read in catalogues and textbooks.

Every value was read in the source named beside it.  Tolerance: half a unit of the last printed digit, or the
rounding of the printed coefficient where that is coarser.
"""

import math

import pytest
from printed import digits, share, within

from bedsim.sizing import axial_train, buckling, critical_speed, torque
from bedsim.units import GPA, GRAVITY, MM

STEEL = {"youngs_modulus": 206 * GPA}
DENSITY = 7850.0
INCH = 25.4 * MM
POUND_FORCE = 0.45359237 * GRAVITY
WORKED = "a worked example: its author computed from the numbers that are printed beside it"
QUOTED = "a number is quoted, nothing goes into it"
# what the pages call steel, and do not say: 200 to 212 GPa, 7700 to 7900 kg/m3
SOME_STEEL = {"modulus_gpa": (206.0, within(6.0)), "density": (7850.0, within(100.0))}


# --- buckling ---


@pytest.mark.read("MISUMI screw catalogue (th.c.misumi-ec.com, THA_EconomySeries_e-catalog2025) p. 1676")
@pytest.mark.exact_inputs(WORKED)
def test_permissible_column_load_of_a_catalogue_example(record_property):
    """MISUMI screw catalogue p. 1676: fixed-supported, root 12.5 mm, 820 mm between supports: 3630 N."""
    # 3630 with the coefficient as rounded on the page
    record_property("u_data", math.hypot(within(5.0 / 3630), within(0.02 / 9.98)))
    load = buckling.permissible_column_load(
        root_diameter=12.5 * MM, free_length=820 * MM, ends="fixed-supported", **STEEL
    )
    # The page computes with the rounded coefficient 10 (exact 9.98): 0.2 %, on top of the last printed digit.
    assert load == pytest.approx(3630.0, rel=0.002, abs=5.0)


@pytest.mark.read("THK ball screw catalogue sheet A15-30; www.b2b-linearbearing.com/ball-screw/01-04.htm")
@pytest.mark.parametrize(
    ("ends", "coefficient", "rounding"),
    [
        # THK sheet A15-30: F = m d^4/L^2 x 10^4 N (mm); fixed-free 1.3 stands against 1.247, the sheet
        # rounds up.
        ("fixed-free", 1.3, 0.055),
        ("fixed-supported", 10.0, 0.05),
        ("fixed-fixed", 20.0, 0.05),
        # A second maker (b2b-linearbearing, ball screw sheet 01-04): 5.1 for two supports, with E = 2.1e4
        # kgf/mm2.
        ("supported-supported", 5.1, 0.15),
    ],
)
def test_column_coefficients_of_two_catalogues(ends, coefficient, rounding, record_property):
    # both rest on a modulus: 2.06e5 N/mm2, and 2.1e4 kgf/mm2 = 2.06e5 N/mm2
    record_property("u_input", digits("2.06"))
    record_property("u_data", within(rounding / coefficient))
    load = buckling.permissible_column_load(root_diameter=1 * MM, free_length=1 * MM, ends=ends, **STEEL)
    assert load / 1e4 == pytest.approx(coefficient, abs=rounding)


@pytest.mark.read("THK ball screw catalogue sheet A15-30")
@pytest.mark.exact_inputs("a diameter of 1 mm by definition")
def test_compressive_limit_of_a_catalogue(record_property):
    """THK sheet A15-30: 116 d^2 N with d in mm (exact 115.5)."""
    record_property("u_data", digits("116"))
    assert buckling.permissible_compression(root_diameter=1 * MM) == pytest.approx(116.0, abs=0.6)


# --- critical speed ---


@pytest.mark.read("white paper on ball screw selection, page read as zbook c7f374")
@pytest.mark.parametrize(("ends", "hertz"), [("supported-supported", 8.0), ("fixed-fixed", 18.0)])
def test_natural_frequency_of_a_long_screw(ends, hertz, record_property):
    """White paper on ball screw selection (zbook c7f374): root 1 inch, 100 inches long: about 8 and 18 Hz."""

    def formula(modulus_gpa, density):
        return critical_speed.first_bending_frequency(
            density=density,
            root_diameter=INCH,
            free_length=100 * INCH,
            ends=ends,
            youngs_modulus=modulus_gpa * GPA,
        )

    record_property("u_input", share(formula, **SOME_STEEL))
    record_property("u_data", digits(f"{hertz:.0f}"))
    frequency = formula(206, DENSITY)
    assert frequency == pytest.approx(hertz, abs=0.5)
    assert (
        abs(frequency / hertz - 1.0) < 0.02
    )  # "about": closer than a 5 % change of the formula would leave it


@pytest.mark.read("engineersedge.com/calculators/critical_speed_ball_screw_15635.htm")
@pytest.mark.parametrize(
    ("ends", "coefficient"),
    [("fixed-free", 3.4), ("supported-supported", 9.7), ("fixed-supported", 15.1), ("fixed-fixed", 21.9)],
)
def test_speed_coefficients_of_a_page(ends, coefficient, record_property):
    """n = k d/L^2 x 10^7 rpm (mm), one decimal; the page calls them factors of the critical speed, they are
    0.8 of it."""

    def formula(modulus_gpa, density):
        critical = critical_speed.first_bending_frequency(
            density=density,
            root_diameter=1 * MM,
            free_length=1000 * MM,
            ends=ends,
            youngs_modulus=modulus_gpa * GPA,
        )
        return critical_speed.permissible_speed(critical) * 60

    record_property("u_input", share(formula, **SOME_STEEL))
    record_property("u_data", digits(f"{coefficient:.1f}"))
    assert formula(206, DENSITY) / 10.0 == pytest.approx(coefficient, abs=0.05)


@pytest.mark.read("engineersedge.com/calculators/critical_speed_ball_screw_15635.htm")
@pytest.mark.exact_inputs(QUOTED)
def test_speed_times_diameter_of_a_page():
    """60 000 to 150 000 mm rpm in general, 76 200 with external return, 140 000 with internal: none less."""
    limit = critical_speed.SPEED_DIAMETER_LIMIT / MM * 60.0
    assert limit == pytest.approx(min(60000.0, 150000.0, 76200.0, 133300.0, 140000.0))


@pytest.mark.read("tech-doc-1tn.pages.dev, schneeberger/docs/am-ball-screws, page permissible-speed")
def test_slenderness_from_which_a_screw_sags():
    """Free length over nominal diameter: ask above 40, support the shaft above 50."""
    assert (critical_speed.SLENDERNESS_ASKED, critical_speed.SLENDERNESS_LIMIT) == (40.0, 50.0)


# --- torque ---


@pytest.mark.read("Adaptive Statics (adaptivebooks), screw threads, page of problems, problem 2")
@pytest.mark.exact_inputs(WORKED)
def test_screw_jack_of_a_statics_textbook(record_property):
    """Adaptive Statics, screw threads, problem 2: 10 000 lb, mean diameter 2 in, lead 0.5 in, f 0.2: 2840 in
    lb.
    """
    record_property("u_data", within(5 / 2840))
    angle = torque.lead_angle(0.5 * INCH, 2 * INCH)
    efficiency = torque.efficiency_raising(angle, torque.friction_angle(0.2))
    needed = torque.torque_raising(10000 * POUND_FORCE, 0.5 * INCH, efficiency)
    assert needed / (INCH * POUND_FORCE) == pytest.approx(2840, abs=5)


@pytest.mark.read("Adaptive Statics (adaptivebooks), screw threads, page of problems, problem 3")
@pytest.mark.exact_inputs("an identity at angles that are chosen")
def test_self_locking_screw_is_at_most_half_efficient():
    """Adaptive Statics, screw threads, problem 3: self-locking screws cannot exceed 50 % efficiency."""
    for degrees in (1.0, 4.0, 10.0, 30.0):
        angle = math.radians(degrees)
        efficiency = torque.efficiency_raising(angle, angle)
        assert 0.5 - 0.5 * math.tan(angle) ** 2 == pytest.approx(efficiency)
        assert efficiency < 0.5


@pytest.mark.read("smallmotors.com: J = 0.025 m L^2")
@pytest.mark.exact_inputs("1 kg and 1 m by definition")
def test_reflected_inertia_coefficient(record_property):
    """smallmotors.com prints J = 0.025 m L^2 for a screw-driven mass: two digits."""
    record_property("u_data", digits("0.025"))
    assert torque.load_inertia(1.0, 1.0) == pytest.approx(0.025, abs=0.0005)


# --- life ---


# --- axial train ---


@pytest.mark.read("University of Utah, ME EN 7960, ball screw slides, sheet 26")
@pytest.mark.exact_inputs("the same shaft stands on both sides")
def test_shaft_held_at_both_ends_is_softest_in_the_middle():
    """University of Utah ME EN 7960, ball screw slides, sheet 26: A E L/(a b), lowest 4 A E/L at mid-span."""

    def held(length):
        return axial_train.shaft_axial_stiffness(root_diameter=8 * MM, loaded_length=length * MM, **STEEL)

    both = [held(a) + held(300 - a) for a in (60, 150, 240)]
    one = held(300)
    assert both[1] == pytest.approx(4 * one)
    assert both[0] == both[2] == pytest.approx(one * 300**2 / (60 * 240))
