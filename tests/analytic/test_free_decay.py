"""The end of a ring-down in one go: what its state at the end must agree with whatever happens on the way."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp, trapezoid

from bedsim.engines import exponential, free_decay
from bedsim.engines.modes import layer_modes, standing
from bedsim.engines.steps import ModalState
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

SCENARIO = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rolling-joints.toml"


def shaken(size):
    """The modes of a layer, and a state in which the slow ones move by about `size` m about their rest."""
    job = make_job(load_scenario(SCENARIO, ["print.layers=2"]))
    modes = layer_modes(job, job.machine.system(np.array([2])), slice(0, 1))
    b, n = modes.rows.bristles, modes.frequency.shape[1]
    rng = np.random.default_rng(5)
    g = np.zeros((modes.rows.size, 1))
    g[:b] = rng.uniform(-0.2, 0.2, (b, 1))
    away = np.where(modes.frequency.T < 700, size * rng.normal(0, 1, (n, 1)), 0.0)
    held = -modes.deflection_under(g).T
    phi = g[:b] + modes.rows.place[0].T[:b] @ (held + away)
    return modes, ModalState(motion=standing(held + away), phi=phi, g=g, rate=0 * g)


@pytest.mark.parametrize("span", [0.05, 0.3, 10.0])
def test_deflection_follows_force_and_motion(span):
    """phi = g + zeta and what does not change, at the end as at the beginning; when all is over modes stand
    where statics has them under the g that is left."""
    modes, now = shaken(1e-8)
    b = modes.rows.bristles
    rest = np.zeros_like(now.motion[0])
    ahead = free_decay.forecast(modes, now, rest, np.full((modes.rows.contacts, 1), 0.1))
    found = free_decay.decayed(modes, now, rest, span, ahead)

    def unchanged(state):
        return state.phi - state.g[:b] - modes.rows.place[0].T[:b] @ state.motion[0]

    np.testing.assert_allclose(unchanged(found.end), unchanged(now), atol=1e-9)
    assert np.abs(found.end.g - now.g).max() > 1e-4
    if span > 1:
        np.testing.assert_allclose(found.end.motion[0], -modes.deflection_under(found.end.g).T, atol=1e-15)


def test_bristles_rubbed_at_rest_against_scipy():
    """d phi = -(1 - L) phi dX with the bed at rest, all contacts at paces of their own, by scipy's solver."""
    modes, now = shaken(0.0)
    rows, path = modes.rows, np.linspace(0.02, 0.6, modes.rows.contacts)[:, None]
    pace = rows.every(path)[:, 0]
    gives = rows.place[0].T[: rows.bristles] @ (rows.push[0, : rows.bristles] / modes.frequency**2).T
    follow = np.eye(rows.bristles) - gives
    exact = solve_ivp(lambda _, phi: -follow @ (pace * phi), (0, 1), now.phi[:, 0], rtol=1e-10, atol=1e-14)
    released, phi = free_decay._relaxed(modes, now.phi, path)
    np.testing.assert_allclose(phi[:, 0], exact.y[:, -1], atol=2e-3 * np.abs(now.phi).max())
    np.testing.assert_allclose(follow @ released, phi - now.phi, atol=1e-12)


def test_path_of_one_mode_by_quadrature():
    """The integral of |speed| of a single decaying mode by brute force."""
    modes, now = shaken(0.0)
    mode, span = 0, 10.0
    away = np.zeros_like(now.motion[0])
    away[mode] = 1e-8
    phi = modes.rows.place[0].T[: modes.rows.bristles] @ away
    now = ModalState(motion=standing(away), phi=phi, g=0 * now.g, rate=now.rate)
    ahead = free_decay.forecast(modes, now, 0 * away, np.full((modes.rows.contacts, 1), 1e-6))
    found = free_decay.decayed(modes, now, 0 * away, span, ahead)
    time = np.linspace(0, 2.0, 400_001)
    mu = exponential.rate(modes.frequency, modes.damping)[0, mode]
    u = 1e-8 * (1 - 1j * (modes.damping / exponential.damped(modes.frequency, modes.damping))[0, mode])
    way = trapezoid(np.abs((mu * u * np.exp(mu * time)).real), time)
    place = modes.rows.place[0, mode, : modes.rows.bristles]
    c, pairs = modes.rows.contacts, modes.rows.bristles - modes.rows.contacts
    length = np.abs(place[:c])
    length[:pairs] = np.hypot(place[:pairs], place[c:])
    np.testing.assert_allclose(found.path[:, 0], way * length, rtol=0.03)
