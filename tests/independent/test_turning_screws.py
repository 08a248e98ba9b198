"""The torque of side forces on bent screws against the energy of screws that are bent by the angle they have.

All values are computed here, none is published. The independent machine knows no torque and no forcing: its
energy holds each screw's actual angle at the nut, and is least. So it also has what the package leaves out,
the torque of the run-outs' own forces (second order in the run-out, here with frames 1.0 by 0.8 N/um).
"""

import energies
import numpy as np
import pytest
from oracle_machine import hot_machine, numbers

from bedsim.simulation import probe_points, simulate

LAYERS = (2, 4, 6)  # a fifth of a turn a layer
ROTORS = [6 + energies.PER_CORNER * k + 9 for k in range(3)]
SMALL, WHOLE = 0.02, 1.0  # of the run-outs


@pytest.fixture(scope="module")
def equations():
    """The energy of every layer, which run-outs do not change, and the loads."""
    loaded, found = hot_machine(WHOLE), []
    for layer in LAYERS:
        loads = energies.derive(numbers(loaded, layer)).loads
        found.append((energies.derive_turning(numbers(loaded, layer, loads), loads), loads))
    return found


def at_rest(equations, loaded, push):
    """Heights at the probes (l, p) m and electrical load angles (l, 3) rad of the independent machine."""
    height, angle = [], []
    for layer, (eq, loads) in zip(LAYERS, equations, strict=True):
        x = energies.rest_of_turning(eq, numbers(loaded, layer, loads), -(layer - 1) * 1e-3, push)
        height.append(x[2] + np.array([x[3] * at[1] - x[4] * at[0] for at in probe_points(loaded)[1]]))
        angle.append(50 * np.abs(x[ROTORS]))  # 50 teeth
    return np.array(height), np.array(angle)


def compared(equations, bent):
    """What the package misses of heights and of load angles, each as a share of what the torque makes."""
    loaded = hot_machine(bent)
    run = simulate(loaded, "equilibrium").layers
    shares = []
    for ours, truth, none in zip(
        (run.height_raw[1::2], run.load_angle[1::2]),
        at_rest(equations, loaded, push=True),
        at_rest(equations, loaded, push=False),
        strict=True,
    ):
        shares.append(np.abs(ours - truth).max() / np.abs(none - truth).max())
    return shares


def test_twist_in_series_is_the_lumped_axial_spring(equations):
    """The twists eliminated, the stiffness is that of `derive`: both machines are one."""
    loaded = hot_machine(WHOLE)
    eq, loads = equations[0]
    n = eq.K.shape[0] - 3
    K = eq.K[:n, :n] - eq.K[:n, n:] @ np.linalg.solve(eq.K[n:, n:], eq.K[n:, :n])
    lumped = energies.derive(numbers(loaded, LAYERS[0], loads), loads)
    np.testing.assert_allclose(K, lumped.K, atol=1e-12 * np.abs(K).max())


def test_slightly_bent_screws_turn_as_their_energy_says(equations):
    """To 1 % of the torque's height plus 1 % for imperfections at commanded angles; load angles, which these
    do not move, to 0.5 %."""
    height, angle = compared(equations, SMALL)
    assert height < 0.02
    assert angle < 0.005


def test_the_run_outs_own_forces_are_left_out(equations):
    """130 N against run-outs up to 130 um TIR at the nut: 8 % of a torque worth 0.45 um and 1 degree."""
    loaded = hot_machine(WHOLE)
    (height, angle), (still, resting) = (at_rest(equations, loaded, push) for push in (True, False))
    assert np.abs(height - still).max() == pytest.approx(0.45e-6, rel=0.02)
    assert np.degrees(np.abs(angle - resting).max()) == pytest.approx(1.01, rel=0.02)
    assert all(0.06 < share < 0.1 for share in compared(equations, WHOLE))
