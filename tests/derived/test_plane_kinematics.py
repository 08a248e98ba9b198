"""Heights of three supports and the plane through them; Abbe's offset.

Derivation: solve [x y 1] (p, q, c) = z for the three supports, or weight the heights with area coordinates.
E. Abbe, Messapparate fuer Physiker, Z. Instrumentenkunde 10 (1890) 446: a tilt times the distance between
scale and work, from memory.  The numbers are computed from these, not printed.
"""

import math
from pathlib import Path

import numpy as np
import pytest

from bedsim.components.frame import point_motion
from bedsim.engines.base import probe_maps
from bedsim.model.build import build_machine
from bedsim.scenario.load import scenario_from_tree

pytestmark = pytest.mark.exact_inputs("the same numbers stand on both sides")
SUPPORTS = [(0.0, 150.0), (-130.0, -75.0), (130.0, -75.0)]


def machine(places=SUPPORTS):
    """A machine whose mounts stand at the given places, mm."""
    tree = {
        "title": "three supports",
        "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3.0},
        "print": {"layers": 3, "layer_mm": 0.25},
        "screw": {"kind": "rolled_ball", "diameter_mm": 12, "lead_mm": 5, "length_mm": 300},
        "guide": {"kind": "profile_rail"},
        "corner": [{"name": f"s{k}", "x_mm": x, "y_mm": y} for k, (x, y) in enumerate(places)],
    }
    return build_machine(scenario_from_tree(tree, folder=Path(), source="", name="m.toml").scenario, {})


def plane(heights_um, places=SUPPORTS):
    """Commanded bed pose (6,) for heights of the supports, um and urad."""
    return machine(places).command[:6] @ np.array(heights_um)


def height_at(pose, x_mm, y_mm):
    return float((probe_maps(machine(), np.array([[x_mm, y_mm]]) * 1e-3)[0] @ pose)[0])


def test_one_support_high_computed():
    """10, 0, 0 um: q = 0.0444444 um/mm, centre 3.333333, 8.222222 um at (110, 110)."""
    pose = plane([10, 0, 0])
    assert pose[2] == pytest.approx(3.333333, abs=5e-7)
    assert pose[3] * 1e-3 == pytest.approx(0.0444444, abs=5e-8)  # dz/dy = rotation about X
    assert pose[4] == pytest.approx(0, abs=1e-12)
    assert height_at(pose, 110, 110) == pytest.approx(8.222222, abs=5e-7)


def test_three_heights_computed():
    """20, -10, 5 um: slopes 0.0576923 and 0.1 um/mm, centre 5 um, and the four points."""
    pose = plane([20, -10, 5])
    np.testing.assert_allclose([-pose[4] * 1e-3, pose[3] * 1e-3, pose[2]], [0.0576923, 0.1, 5.0], atol=5e-8)
    points = {(100, 100): 20.769231, (-100, 100): 9.230769, (100, -100): 0.769231, (-100, -100): -10.769231}
    for (x, y), height in points.items():
        assert height_at(pose, x, y) == pytest.approx(height, abs=1e-6)


def test_area_coordinates_give_the_same():
    """Each support's weight is the share of the triangle opposite to it; outside it leaves 0 to 1."""
    a, b, c = (np.array(p) for p in SUPPORTS)

    def area(p, q, r):
        return ((q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1])) / 2

    heights = [12.0, -7.0, 3.0]
    for at in ((40.0, 20.0), (-120.0, 130.0)):
        p = np.array(at)
        weights = np.array([area(p, b, c), area(a, p, c), area(a, b, p)]) / area(a, b, c)
        assert height_at(plane(heights), *at) == pytest.approx(float(weights @ heights), rel=1e-9)


def test_one_screw_of_an_equilateral_machine_computed():
    """Radius R, height error d: centre d/3, slope (2/3) d/R, d at the screw, 0 at the opposite edge."""
    R, d = 150.0, 9.0
    corners = [(R * math.cos(a), R * math.sin(a)) for a in (0, 2 * math.pi / 3, 4 * math.pi / 3)]
    pose = plane([d, 0, 0], corners)
    assert pose[2] == pytest.approx(d / 3)
    assert -pose[4] == pytest.approx(2 / 3 * d / (R * 1e-3))
    assert height_at(pose, R, 0) == pytest.approx(d)
    assert height_at(pose, -R / 2, 77.0) == pytest.approx(0, abs=1e-9)


def test_lead_error_of_one_screw_of_three_tilts_the_bed_computed():
    """50 um over 300 mm on one of three screws at R = 150 mm: 50/225 = 0.222 mrad."""
    corners = [(150 * math.cos(a), 150 * math.sin(a)) for a in (0, 2 * math.pi / 3, 4 * math.pi / 3)]
    tilt = plane([50, 0, 0], corners)[3:5]
    assert np.hypot(*tilt) * 1e-3 == pytest.approx(50 / 225, rel=1e-9)


def test_abbe_offset_computed():
    """A tilt of 0.115449 mrad is 2.30897 um sideways, 20 mm above."""
    pose = plane([20, -10, 5])
    tilt = np.hypot(pose[3], pose[4]) * 1e-6
    assert tilt * 1e3 == pytest.approx(0.115449, abs=1e-6)
    _, _, abbe = probe_maps(machine(), np.zeros((1, 2)))
    sideways = 0.02 * np.hypot(*(abbe[0] @ pose))
    assert sideways == pytest.approx(2.30897, abs=5e-6)
    top = point_motion(6, 0, np.array([0, 0, 0.02])) @ np.append(np.zeros(3), pose[3:])
    assert np.hypot(top[0], top[1]) == pytest.approx(2.30897, abs=5e-6)


def test_four_screws_command_the_plane_of_best_fit_derived():
    """Least squares: a twist pattern (+ - + -) of four heights commands no motion of a rigid bed."""
    square = [(-130.0, -130.0), (130.0, -130.0), (130.0, 130.0), (-130.0, 130.0)]
    np.testing.assert_allclose(plane([5, -5, 5, -5], square), 0, atol=1e-9)
    np.testing.assert_allclose(plane([8, 0, 0, 0], square)[2], 2.0)
