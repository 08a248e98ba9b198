"""Wear of plain bearings and stiffness of rubber against textbook values."""

import math

import pytest

from bedsim.sizing import joint_parts, wear
from bedsim.units import GRAVITY, MM, MPA

INCH = 25.4 * MM
FOOT = 12 * INCH
LB = 0.45359237 * GRAVITY
SAME = pytest.mark.exact_inputs("the same numbers stand on both sides")


def test_wear_of_a_bushing_self_check():
    """Shigley, bushing wear example (from memory): 700 lbf, 33 ft/min, 0.005 in worn after 2180 h.

    K = 0.6e-10 in3 min/(lbf ft h), motion factor 1.3; the bore's peak pressure is 4/pi F/(D L) with D = L =
    1 in.
    """
    k = 1.3 * 0.6e-10 * INCH**3 / (LB * FOOT) / 60.0 * 1.0  # per hour at 1 ft/min are 60 ft
    pressure = 4 / math.pi * 700 * LB / INCH**2
    hours = 0.005 * INCH / (wear.wear_depth(k, pressure, 33 * FOOT * 60))
    assert hours == pytest.approx(2180, abs=5)


@SAME
@pytest.mark.parametrize(("shore", "mpa", "digits"), [(50, 2.46, 0.02), (70, 5.54, 0.05)])
def test_rubber_modulus_from_hardness_computed(shore, mpa, digits):
    """Gent, Rubber Chem. Technol. 31 (1958) 896: Young's modulus from Shore A (values computed from the
    equation).
    """
    assert 3 * joint_parts.rubber_shear_modulus(shore) / MPA == pytest.approx(mpa, abs=digits)


@SAME
def test_travel_to_clearance_is_worn_volume_over_area():
    """Archard's volume k F s spread over the flank area, by direct bookkeeping for 1000 turns."""
    d2, pitch, lead, length, load, k = 7 * MM, 2 * MM, 8 * MM, 15 * MM, 20.0, 1e-15
    flank = math.radians(15)
    turns = 1000
    slid = turns * math.hypot(math.pi * d2, lead)
    flank_area = math.pi * d2 * (pitch / 2) * (length / pitch) / math.cos(flank)
    worn = k * (load / math.cos(flank)) * slid / flank_area
    travel = wear.travel_to_clearance(
        worn / math.cos(flank),
        wear_coefficient=k,
        pressure=wear.thread_pressure(load, pitch_diameter=d2, nut_length=length),
        pitch_diameter=d2,
        lead=lead,
        flank_angle=flank,
    )
    assert travel == pytest.approx(turns * lead)
