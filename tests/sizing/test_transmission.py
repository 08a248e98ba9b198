"""The tug of war against closed beam cases and a stepped Jenkins element."""

import numpy as np
import pytest

from bedsim.sizing import transmission
from bedsim.units import GPA, MM, UM


@pytest.mark.parametrize("ends", ["fixed-free", "supported-supported", "fixed-supported", "fixed-fixed"])
@pytest.mark.parametrize("z_mm", [50, 150, 250])
def test_screw_stiffness_against_beam_elements(ends, z_mm):
    """Two Euler-Bernoulli elements are exact for a point load at their common node."""
    EI = 206 * GPA * np.pi / 64 * (8 * MM) ** 4
    K = np.zeros((6, 6))
    for first, length in ((0, z_mm * MM), (2, (300 - z_mm) * MM)):
        L = length
        k = np.array([[12, 6 * L, -12, 6 * L], [6 * L, 4 * L**2, -6 * L, 2 * L**2]])
        k = np.vstack([k, -k[0], [6 * L, 2 * L**2, -6 * L, 4 * L**2]]) * EI / L**3
        K[first : first + 4, first : first + 4] += k
    held = {
        "fixed-free": [0, 1],
        "supported-supported": [0, 4],
        "fixed-supported": [0, 1, 4],
        "fixed-fixed": [0, 1, 4, 5],
    }[ends]
    free = [i for i in range(6) if i not in held]
    force = np.array([1.0 if i == 2 else 0.0 for i in free])
    deflection = np.linalg.solve(K[np.ix_(free, free)], force)[free.index(2)]
    ours = transmission.screw_lateral_stiffness(
        youngs_modulus=206 * GPA, root_diameter=8 * MM, free_length=0.3, nut_height=z_mm * MM, ends=ends
    )
    assert ours == pytest.approx(1 / deflection, rel=1e-9)


@pytest.mark.parametrize(("guide", "ratio"), [(1e6, 0.0240), (1e5, 0.1974), (0.0, 1.0)])
def test_rigid_joint_passes_the_ratio_of_stiffnesses(guide, ratio):
    """Computed, not published: a screw of 24.6 N/mm against the guide."""
    assert transmission.transmitted_rigid(1.0, 24600, guide) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize(("friction", "peak_um"), [(5, 18.1818), (1, 10.0), (0.5, 5.0), (0.1, 1.0)])
def test_joint_passes_its_friction_over_the_guide(friction, peak_um):
    """Against a quasi-static sweep of an elastic-slip element in series with the guide spring."""
    k_b, k_g, e, force, x = 1e6, 1e5, 20 * UM, 0.0, 0.0
    peak, last = 0.0, 0.0
    for run_out in e * np.sin(np.linspace(0, 4 * np.pi, 8001)):
        # The element is stretched by run_out - x and k_g x = force: elastic increment, then the slip limit.
        force = np.clip(force + k_b * k_g / (k_b + k_g) * (run_out - last), -friction, friction)
        x, last = force / k_g, run_out
        peak = max(peak, abs(x))
    ours = transmission.transmitted_by_joint(
        e, breakaway_stiffness=k_b, recentring=0.0, friction=friction, guide=k_g
    )
    assert ours == pytest.approx(peak, rel=1e-6)
    assert ours / UM == pytest.approx(peak_um, abs=5e-5)
