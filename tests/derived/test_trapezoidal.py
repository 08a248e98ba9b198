"""Trapezoidal screws: what the flank and driving back do, computed from the formulas named."""

import pytest

from bedsim.sizing import torque
from bedsim.units import DEG, MM

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")


@pytest.mark.parametrize(
    ("d", "pitch", "lead"), [(10, 2, 2), (12, 3, 6), (16, 4, 4), (20, 4, 20), (24, 5, 5)]
)
def test_flank_lowers_the_efficiency_by_a_hundredth(d, pitch, lead):
    """The 15 degree flank raises friction by 1/cos 15 = 1.035: 0.006 to 0.010 less efficiency (computed)."""
    lam = torque.lead_angle(lead * MM, (d - pitch / 2) * MM)
    for f in (0.1, 0.2):
        square = torque.efficiency_raising(lam, torque.friction_angle(f))
        flank = torque.efficiency_raising(lam, torque.friction_angle(f, 15 * DEG))
        assert 0.005 < square - flank < 0.0105


@pytest.mark.parametrize(
    ("pitch_diameter", "lead", "at_01", "at_02"),
    [(7.25, 1.5, -0.57, -2.1), (7.0, 2.0, -0.14, -1.25), (7.0, 4.0, 0.42, -0.13), (7.0, 8.0, 0.69, 0.40)],
)
def test_backdrive_efficiency_of_8_mm_screws_computed(pitch_diameter, lead, at_01, at_02):
    """Computed from tan(lambda - rho)/tan(lambda), not published: the 8 mm screw with lead 8 falls, with
    lead 2 not.
    """
    lam = torque.lead_angle(lead, pitch_diameter)
    for f, expected in ((0.1, at_01), (0.2, at_02)):
        eta = torque.efficiency_driven_back(lam, torque.friction_angle(f, 15 * DEG))
        assert eta == pytest.approx(expected, abs=0.05 if abs(expected) > 2 else 0.005)
