"""Stops, flanks and the motors' sine: forces along a motion, and the stiffness of a seated flank, against
differences of what they derive from."""

from pathlib import Path

import numpy as np
import pytest

from bedsim.components import stop
from bedsim.engines import course
from bedsim.model.nonlinear import Elastic, elastic, force_and_tangent, local_forces, local_motion
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

PLAIN = Path(__file__).parents[2] / "scenarios" / "plain-lead-screws.toml"
SLOPE, ROUNDING, STIFFNESS = 0.268, 2e-6, 5.5e6


def elements(flank):
    """Two stops, two flanks, one motor; rows are not asked for."""
    return Elastic(
        rows=np.zeros((11, 1)),
        imposed=np.zeros((11, 1)),
        gap=np.array([1e-5, 3e-5]),
        gap_squared=np.array([1e-10, 9e-10]),
        stop=np.array([3e7, 1e7]),
        slope=np.array([SLOPE, 0.2]),
        rounding=np.array([ROUNDING, 3e-6]),
        flank=flank,
        torque=np.array([0.45]),
        electrical=np.array([50.0]),
    )


@pytest.mark.parametrize("flank", [np.array([5e6, 4e6]), np.array([[5e6, 4e6], [6e6, 3e6], [7e6, 2e6]])])
def test_forces_along_a_motion(flank):
    """Members last or first, one stiffness or one for each: the same forces; rates are the derivative along
    the speed, and differences of the forces."""
    rng = np.random.default_rng(4)
    parts, scale = elements(flank), np.array([2e-5] * 4 + [4e-6] * 6 + [0.02])[:, None]
    place, speed = rng.normal(0, 1, (2, 11, 3)) * scale
    force, slope = local_forces(parts, place.T)
    found = local_motion(parts, place, speed)
    np.testing.assert_allclose(found[0], force.T, rtol=1e-12)
    np.testing.assert_allclose(found[1], np.einsum("mij,jm->im", slope, speed), rtol=1e-9, atol=1e-6)
    h = 1e-6
    ahead, behind = (local_motion(parts, place + way * speed, speed)[0] for way in (h, -h))
    np.testing.assert_allclose(found[1], (ahead - behind) / (2 * h), rtol=1e-4, atol=1e-4)


def test_a_seated_flank_by_its_energy():
    """A nut that hangs centred: k/2 (a - c)^2 with the cone's climb c, differenced twice sideways, where the
    load stretches the axial link by -F/k."""

    def energy(x, y, load):
        climb = SLOPE * (np.sqrt(x**2 + y**2 + ROUNDING**2) - ROUNDING)
        return STIFFNESS / 2 * (-load / STIFFNESS - climb) ** 2

    h = 2e-8
    for load in (3.0, 12.0):
        found = stop.seated_stiffness(np.array(load), SLOPE, ROUNDING)
        for way in ((h, 0.0), (0.0, h), (0.6 * h, 0.8 * h)):
            second = (energy(*way, load) + energy(-way[0], -way[1], load) - 2 * energy(0, 0, load)) / h**2
            assert found == pytest.approx(second, rel=2e-3)
    assert stop.seated_stiffness(np.array(-1.0), SLOPE, ROUNDING) == 0.0


def test_slopes_of_a_quartic_are_exact():
    time = np.linspace(0.2, 1.7, 9)
    values = (3 - time + 2 * time**3 - time**4)[:, None, None]
    exact = (-1 + 6 * time**2 - 4 * time**3) * (time[1] - time[0])
    np.testing.assert_allclose(course._slopes(values)[:, 0, 0], exact, rtol=1e-10, atol=1e-12)


def test_a_tap_finds_bristles_stuck_and_flanks_seated():
    """What modes are taken of: the stiffness, the bristles' at zero force, and that of the flanks' forces
    differenced where every nut hangs centred under its load."""
    job = make_job(load_scenario(PLAIN, ["print.layers=2"]))
    machine, system = job.machine, job.machine.system(np.array([2]))
    parts = elastic(machine, system, 0, motor_sine=False)
    flanks = parts.rows[2 * parts.gap.size :]
    place = np.zeros(flanks.shape[0])
    place[2::3] = -system.corner_load[0] / system.axial_stiffness[0]
    q, *_ = np.linalg.lstsq(flanks, place, rcond=None)
    np.testing.assert_allclose(flanks @ q, place, atol=1e-12)
    n, none, h = q.size, np.zeros(machine.rows.shape[0]), 1e-9

    def force(x):
        return force_and_tangent(parts, x, none)[0]

    seated = np.stack([(force(q + h * e) - force(q - h * e)) / (2 * h) for e in np.eye(n)], axis=1)
    rows = machine.contact_rows
    bristles = rows.T @ ((system.friction_limit[0] / machine.breakaway)[:, None] * rows)
    found = system.stuck[0] - system.K[0] - bristles
    np.testing.assert_allclose(found, seated, atol=1e-4 * np.abs(seated).max())
