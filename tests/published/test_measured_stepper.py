"""A stepper's place error against its turn, measured: resolver against command under current.

Open logs of a neutron slit axis on a screw of 1 mm lead, nine passes each way; harmonics and mean curve were
worked out from them outside this project [StepperMeasured].
"""

import math
from pathlib import Path

import numpy as np
import pytest
from printed import digits

from bedsim.components import motor as stepper
from bedsim.components.motor import Motor
from bedsim.components.row import Path as Course
from bedsim.scenario.defaults import default_ranges
from bedsim.units import DEG, MM

pytestmark = pytest.mark.read(
    "github.com/anderssandstrom/ecmc_bifrost_slits_sat, tests/11358/axis1/manualMeasurements"
)

# degrees of the motor by cycles per turn: screw driven down, driven up
MEASURED = {50: (0.0529, 0.0563), 100: (0.0257, 0.0314), 150: (0.0112, 0.0118), 200: (0.0084, 0.0126)}
# a second motor, at its full steps, where two orders can be told
OTHER_MOTOR = {50: 0.0122, 100: 0.0109}
# by order, as the defaults have them
USUAL = {
    k: (d.low * DEG, d.likely * DEG, d.high * DEG)
    for k in (1, 2, 3, 4)
    for d in [default_ranges("motor")[f"place_error_{k}_deg"]]
}


def test_the_motors_that_were_measured_lie_within_what_is_taken():
    for order, per_turn in enumerate((50, 100, 150, 200), start=1):
        low, likely, high = (a / DEG for a in USUAL[order])
        measured = [*MEASURED[per_turn], *([OTHER_MOTOR[per_turn]] if per_turn in OTHER_MOTOR else [])]
        assert low <= min(measured) and max(measured) <= high
        assert min(measured) <= likely <= max(measured)


def driven(errors, z, lead):
    """Place (t,) m along a right-hand screw that place errors add at commanded heights z (t,) m."""
    motor = Motor(
        holding_torque=0.4,
        place_errors=errors,
        teeth=50.0,
        microstep=stepper.microstep_angle(200, 16),
        inertia=5.4e-6,
        gear=1.0,
    )
    z = np.asarray(z)[:, None]
    path = Course(time=np.zeros(z.size), height=z, move_start=z, move_end=z)
    found = [
        s
        for s in stepper.sources(motor, 0, "m", -2 * math.pi / lead)
        if s.name.startswith(stepper.PLACE_ERROR)
    ]
    return sum(s.amount * s.values(path)[:, 0] for s in found) * lead / (2 * math.pi)


def measured_curve():
    """Place (t,) mm on a lead of 1 mm and place errors (t,) um of a stepper on the way up and down.

    [StepperMeasured], worked out from its open logs outside this project.
    """
    rows = np.genfromtxt(
        Path(__file__).with_name("measured_stepper_error_curve.csv"), delimiter=",", skip_header=3
    )
    return rows[:, 0], rows[:, 1], rows[:, 2]


def scatter_of_the_mean(way):
    """Standard uncertainty of a point of the curve, um: the scatter of nine passes, which the file holds."""
    column = {"up": 3, "down": 4}[way]
    file = Path(__file__).with_name("measured_stepper_error_curve.csv")
    passes = np.genfromtxt(file, delimiter=",", skip_header=3)[:, column]
    return float(np.sqrt(np.mean(passes**2)) / 3)


@pytest.mark.parametrize(
    ("way", "told", "rms", "left"),
    [
        ("up", (0.157, 0.083, 0.029, 0.028), 0.171, 0.113),
        ("down", (0.141, 0.067, 0.028, 0.019), 0.161, 0.115),
    ],
)
def test_the_place_error_of_a_motor_that_was_measured(way, told, rms, left, record_property):
    """Amplitudes and phases by least squares on 713 points (told to 0.01 um), put into the motor: what
    it then does is the measured curve but for single teeth."""
    place, up, down = measured_curve()
    wave = scatter_of_the_mean(way) * math.sqrt(2 / place.size)
    record_property("u_input", [wave / np.array(told), wave / math.sqrt(2) / rms, wave / math.sqrt(2) / left])
    record_property(
        "u_data", [[digits(f"{a:.3f}") for a in told], digits(f"{rms:.3f}"), digits(f"{left:.3f}")]
    )
    error = (up if way == "up" else down) - (up if way == "up" else down).mean()
    turn = 2 * np.pi * place
    waves = np.concatenate(
        [f(50 * k * turn)[:, None] for k in (1, 2, 3, 4) for f in (np.cos, np.sin)], axis=1
    )
    fit = np.linalg.lstsq(waves, error, rcond=None)[0].reshape(4, 2)
    amplitude, phase = np.hypot(*fit.T), np.arctan2(-fit[:, 1], fit[:, 0])
    assert amplitude == pytest.approx(told, abs=0.01)
    errors = tuple(zip(amplitude / 1000 * 2 * np.pi, phase, strict=True))
    drawn = driven(errors, -place * MM, 1 * MM) / 1e-6
    assert np.sqrt(np.mean(error**2)) == pytest.approx(rms, abs=0.001)
    assert np.sqrt(np.mean((error - drawn) ** 2)) == pytest.approx(left, abs=0.003)
