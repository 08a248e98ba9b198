"""The stepper as a magnetic spring: T = -T_hold sin(N_r theta).

D. W. Jones, Stepping Motor Physics (University of Iowa): the torque over angle of a hybrid is nearly a sine
of period four steps, and the frequency rises to its small limit as a swing decays.  P. P. Acarnley, Stepping
Motors, for the static torque characteristic, from memory.  All numbers are computed.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import eigh
from scipy.optimize import brentq
from scipy.special import ellipk

from bedsim.components import motor as stepper
from bedsim.components.frame import Coordinates
from bedsim.components.motor import Motor
from bedsim.components.row import Path
from bedsim.units import MM, N_PER_UM

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")


def made(torque, inertia, gear=1.0, teeth=50.0, errors=()):
    return Motor(
        holding_torque=torque,
        place_errors=errors,
        teeth=teeth,
        microstep=stepper.microstep_angle(200, 16),
        inertia=inertia,
        gear=gear,
    )


def frequency(motor, extra=0.0):
    """Natural frequency, Hz, of the rotor on its own row."""
    coordinates = Coordinates(corners=3)
    rotor = coordinates.rotor(1)
    one = stepper.link(coordinates.size, 1, rotor, motor, "motor")
    K = (one.jacobian.T @ one.stiffness @ one.jacobian)[rotor : rotor + 1, rotor : rotor + 1]
    M = np.array([[motor.reflected_inertia + extra]])
    return math.sqrt(eigh(K, M, eigvals_only=True)[0]) / (2 * math.pi)


# holding torque N m, rotor inertia kg m2, bare Hz, Hz with 1 kg on lead 8, on lead 2; all computed
TABLE = [
    (0.40, 5.4e-6, 306.294, 268.616, 303.460),
    (0.55, 8.2e-6, 291.460, 266.321, 289.676),
    (0.26, 3.5e-6, 306.731, 253.576, 302.385),
]


@pytest.mark.parametrize(("torque", "inertia", "bare", "lead_8", "lead_2"), TABLE)
def test_small_oscillation_computed(torque, inertia, bare, lead_8, lead_2):
    """sqrt(N_r T_hold/J)/(2 pi); a mass m on a stiff screw adds m (lead/2 pi)^2 to J."""
    motor = made(torque, inertia)
    loaded = [frequency(motor, 1.0 * (lead * MM / (2 * math.pi)) ** 2) for lead in (8, 2)]
    np.testing.assert_allclose([frequency(motor), *loaded], [bare, lead_8, lead_2], rtol=2e-6)


def test_spring_seen_along_the_screw_computed():
    """0.40 N m on lead 8 mm: 12.337 N/um; on lead 2 mm 197.39 N/um."""
    for lead, expected in ((8, 12.337), (2, 197.39)):
        axial = made(0.4, 5.4e-6).stiffness / (lead * MM / (2 * math.pi)) ** 2
        assert axial / N_PER_UM == pytest.approx(expected, rel=5e-5)


def test_a_gear_multiplies_the_spring_by_its_square():
    """Torque and angle each by the ratio: the frequency of motor and gear stays, the axial spring grows."""
    plain, geared = made(0.4, 5.4e-6), made(0.4, 5.4e-6, gear=3.0)
    assert geared.stiffness == pytest.approx(9 * plain.stiffness)
    assert frequency(geared) == pytest.approx(frequency(plain))
    lag = 1e-7
    assert stepper.torque(geared, np.array(lag)) == pytest.approx(geared.stiffness * lag, rel=1e-6)


@pytest.mark.parametrize(("swing", "ratio"), [(30, 0.98289), (60, 0.93181), (90, 0.84721), (120, 0.72840)])
def test_large_swings_are_slower_computed(swing, ratio):
    """Pendulum: f/f0 = pi/(2 K(sin(a/2))), complete elliptic integral; a quarter swing is integrated."""
    motor = made(0.4, 5.4e-6)
    start = math.radians(swing) / motor.electrical

    def rate(_, y):
        return [y[1], -float(stepper.torque(motor, y[0])) / motor.inertia]

    def crossing(_, y):
        return y[0]

    crossing.terminal = True
    found = solve_ivp(rate, (0, 1), [start, 0.0], events=crossing, rtol=1e-9, atol=1e-12)
    f0 = frequency(motor)
    assert 1 / (4 * found.t_events[0][0]) / f0 == pytest.approx(ratio, abs=6e-6)
    assert ratio == pytest.approx(math.pi / 2 / ellipk(math.sin(math.radians(swing) / 2) ** 2), abs=6e-6)


@pytest.mark.parametrize(("lead", "lag_um"), [(8, 0.7953), (2, 0.0497)])
def test_static_lag_under_a_kilogram_computed(lead, lag_um):
    motor, i = made(0.4, 5.4e-6), lead * MM / (2 * math.pi)
    lag = brentq(lambda x: float(stepper.torque(motor, x)) - 9.81 * i, 0, 0.01)
    assert lag * i * 1e6 == pytest.approx(lag_um, abs=5e-5)


def heights(z):
    """A path at rest at the commanded heights z (t,) m of one corner."""
    z = np.asarray(z, dtype=float)[:, None]
    return Path(time=np.zeros(z.size), height=z, move_start=z, move_end=z)


def placed(motor, z, lead):
    """Place (t,) m of the nut along the screw that the motor's place errors add at the heights z."""
    turn = -2 * math.pi / lead
    found = [s for s in stepper.sources(motor, 0, "m", turn) if s.name.startswith(stepper.PLACE_ERROR)]
    return sum(s.amount * s.values(heights(z))[:, 0] for s in found) / turn


@pytest.mark.parametrize(("order", "steps"), [(1, 4), (2, 2), (3, 4 / 3), (4, 1)])
@pytest.mark.parametrize("gear", [1.0, 3.0])
def test_a_place_error_repeats_with_the_electrical_angle(order, steps, gear):
    """Once in so many full steps of the motor; its share of 360 degrees times lead/gear."""
    lead = 8 * MM
    errors = tuple((math.radians(0.05) if k == order else 0.0, 0.4) for k in (1, 2, 3, 4))
    motor = made(0.4, 5.4e-6, gear=gear, errors=errors)
    z = np.linspace(0, steps * lead / 200 / gear, 721)
    found = placed(motor, z, lead)
    assert found[0] == pytest.approx(found[-1], abs=1e-15)
    assert np.ptp(found) / 2 == pytest.approx(0.05 / 360 * lead / gear, rel=1e-4)
    assert np.count_nonzero(np.diff(np.sign(found - found.mean()))) == 2
    assert found[0] == pytest.approx(-0.05 / 360 * lead / gear * math.cos(0.4), rel=1e-6)


def test_microsteps_round_to_the_nearest():
    """Half a microstep at most, none on whole ones: lead 8 mm, 3200 a turn, 2.5 um."""
    turn = -2 * math.pi / (8 * MM)
    motor = made(0.4, 5.4e-6)
    source = next(s for s in stepper.sources(motor, 0, "m", turn) if s.name == "microstep rounding")
    z = -np.linspace(0, 50e-6, 2001)
    travel = source.values(heights(z))[:, 0] / turn
    assert np.max(np.abs(travel)) == pytest.approx(1.25e-6, rel=0.02)
    np.testing.assert_allclose((z + travel) / 2.5e-6, np.round((z + travel) / 2.5e-6), atol=1e-6)
    np.testing.assert_allclose(source.values(heights([0, -2.5e-6, -1e-5, -0.25e-3])), 0, atol=1e-12)
