"""Ball on a plate: Hertz's solution against the half-space it solves, and against values computed elsewhere.

Johnson, Contact Mechanics, section 3.4: a pressure p0 sqrt(1 - r^2/a^2) on a half-space presses its surface
down by pi p0 (2 a^2 - r^2)/(4 a E*).  Boussinesq (section 3.2): a point load sinks the surface by P/(pi E*
r).
"""

import numpy as np
import pytest
from scipy.integrate import quad

from bedsim.sizing import hertz
from bedsim.units import GPA, MM, MPA, N_PER_UM, UM

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
STEEL = hertz.contact_modulus(206 * GPA, 0.3, 206 * GPA, 0.3)


def flattening(load, radius, modulus):
    """Approach of ball and plate, m: a^2/R (Johnson, section 4.2)."""
    return hertz.contact_radius(load, radius, modulus) ** 2 / radius


@pytest.mark.parametrize(("radius_mm", "load"), [(2.5, 3.3), (5.0, 10.0)])
def test_pressure_carries_the_load_and_presses_the_plate_flat(radius_mm, load):
    """Boussinesq's point loads, summed over the pressure, give the flattening in the patch's middle."""
    R = radius_mm * MM
    a = hertz.contact_radius(load, R, STEEL)
    p0 = hertz.peak_pressure(load, R, STEEL)

    def pressure(r):
        return p0 * np.sqrt(1 - (r / a) ** 2)

    carried = quad(lambda r: pressure(r) * 2 * np.pi * r, 0, a, epsabs=0)[0]
    sunk = quad(lambda r: pressure(r) / (np.pi * STEEL * r) * 2 * np.pi * r, 0, a, epsabs=0)[0]
    assert carried == pytest.approx(load, rel=1e-6)
    assert flattening(load, R, STEEL) == pytest.approx(sunk, rel=1e-6)


@pytest.mark.parametrize(
    ("radius_mm", "load", "a_um", "delta_um", "p0_mpa", "k_n_per_um"),
    [
        (2.5, 1, 25.492, 0.25993, 734.7, 5.7707),
        (2.5, 10, 54.921, 1.20651, 1583.0, 12.4326),
        (5, 10, 69.196, 0.95761, 997.2, 15.6641),
        (1.5, 3.3, 32.010, 0.68311, 1537.7, 7.2463),
    ],
)
def test_steel_on_steel_computed(radius_mm, load, a_um, delta_um, p0_mpa, k_n_per_um):
    """Computed by another program, not published (E 206 GPa, Poisson's ratio 0.3)."""
    args = (load, radius_mm * MM, STEEL)
    assert hertz.contact_radius(*args) / UM == pytest.approx(a_um, abs=6e-4)
    assert flattening(*args) / UM == pytest.approx(delta_um, abs=6e-6)
    assert hertz.peak_pressure(*args) / MPA == pytest.approx(p0_mpa, abs=0.06)
    assert hertz.normal_stiffness(*args) / N_PER_UM == pytest.approx(k_n_per_um, abs=6e-5)


def test_stiffness_is_the_slope_of_load_over_flattening():
    R, F, h = 2.5 * MM, 5.0, 1e-4
    slope = 2 * h / (flattening(F + h, R, STEEL) - flattening(F - h, R, STEEL))
    assert hertz.normal_stiffness(F, R, STEEL) == pytest.approx(slope, rel=1e-6)


def test_load_at_pressure_is_the_inverse_of_peak_pressure():
    load = hertz.load_at_pressure(1200 * MPA, 2.5 * MM, STEEL)
    assert hertz.peak_pressure(load, 2.5 * MM, STEEL) == pytest.approx(1200 * MPA)


def test_rolling_loss_computed():
    """One per cent of hysteresis on a ball of 5 mm under 3.3 N: 2.846e-5."""
    assert hertz.rolling_loss_coefficient(3.3, 2.5 * MM, STEEL, 0.01) == pytest.approx(2.846e-5, rel=1e-3)
