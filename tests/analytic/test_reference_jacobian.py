"""The reference engine's analytic Jacobian against finite differences of its rate, all forces at work."""

import numpy as np
import pytest
from three_screws import circle, job, with_run_out

from bedsim.engines.reference import equations

PLAIN = {
    "screw": {"kind": "plain", "starts": 2},
    "nut": {"clearance_um": 60.0, "friction_coefficient": 0.1, "drag_torque_n_mm": 3.0},
    "guide": {"friction_n": 1.0},
    "mount": {"friction_coefficient": 0.1},
}
ROLLING = {
    "joint": {"kind": "rolling", "travel_mm": 0.02, "friction_coefficient": 1e-3},
    "nut": {"drag_torque_n_mm": 3.0},
    "guide": {"friction_n": 1.0},
    "mount": {"friction_coefficient": 0.1},
}


@pytest.mark.parametrize(
    "parts", [{}, PLAIN, ROLLING], ids=["linear", "plain nuts", "rolling joints at their stops"]
)
@pytest.mark.parametrize("motor_sine", [False, True])
def test_jacobian_is_the_derivative_of_the_rate(parts, motor_sine):
    """Central differences at a random state, each column scaled by what it moves."""
    work = job(with_run_out(circle(), {"bow_tir_um": 100.0}), **parts)
    eq = equations(work, work.machine.system(np.array([2])), 0, motor_sine)
    rng = np.random.default_rng(4)
    n, d = eq.n, eq.contact.shape[0]
    scale = np.concatenate([np.full(n, 2e-5), np.full(n, 1e-3), np.ones(d) * eq.limit])
    y = rng.normal(0, 1, scale.size) * scale
    y[2 * n :] *= 0.3
    imposed = rng.normal(0, 1e-5, work.machine.rows.shape[0])
    slip = rng.normal(0, 1e-3, d)
    force = rng.normal(0, 1, n)
    found = eq.jacobian(y, imposed, slip) * scale
    columns = []
    for k, step in enumerate(1e-6 * scale):
        h = np.zeros_like(y)
        h[k] = step
        ahead, behind = eq.rate(y + h, force, imposed, slip), eq.rate(y - h, force, imposed, slip)
        columns.append((ahead - behind) / (2 * step) * scale[k])
    expected = np.stack(columns, axis=1)
    size = np.max(np.abs(expected), axis=1, keepdims=True)
    np.testing.assert_allclose(found / size, expected / size, atol=2e-6)


@pytest.mark.parametrize(("parts", "kind", "count"), [(PLAIN, "slope", 3), (ROLLING, "gap", 9)])
def test_the_state_above_is_one_in_which_these_forces_act(parts, kind, count):
    """A flank at every corner; a stop at each of three balls at every corner."""
    work = job(**parts)
    eq = equations(work, work.machine.system(np.array([2])), 0, False)
    assert getattr(eq.parts, kind).size == count
    assert eq.contact.shape[0] > 0
