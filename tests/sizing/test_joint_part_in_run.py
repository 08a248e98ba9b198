"""The joint's parts in `run`: one conversion, the same joint as `size` reports."""

import numpy as np
import pytest
from machines import loaded
from test_size_report import BALL, MAGNETS

from bedsim.analysis.cautions import cautions
from bedsim.analysis.sizing_gather import gather
from bedsim.errors import ModelError
from bedsim.model.joint_parts import joint_loads, make_joints
from bedsim.simulation import make_job, simulate
from bedsim.sizing.joint_parts import assemble
from bedsim.units import GRAVITY, MM, N_PER_MM

SPRING = {"spring": [{"x_mm": 15, "y_mm": 0, "force_n": 400, "length_mm": 30}]}
LEAF = {"x_mm": 10, "y_mm": 12, "thickness_mm": 0.3, "width_mm": 8, "length_mm": 25, "direction_deg": 30}


def joint_stiffness(machine, corner=0):
    (link,) = (x for x in machine.links if x.name == f"{machine.corner_names[corner]}.joint")
    return link.stiffness


@pytest.mark.parametrize("parts", [SPRING, MAGNETS, {"leaf": [LEAF, LEAF | {"x_mm": -10}]}])
def test_run_has_the_joint_that_size_reports(tmp_path, parts):
    """K = sum of B^T k B of the parts as warm as size has them; nothing of the stated 2 N/mm is left."""
    one = loaded(tmp_path, BALL, sizing={"joint_part": parts})
    corner = gather(one).corners[0]
    total = assemble(corner.joint.parts_warm)
    K = joint_stiffness(make_job(one).machine)
    np.testing.assert_allclose(K, total.stiffness, rtol=1e-12)
    assert corner.joint.lateral == pytest.approx(total.recentring, abs=1e-9 * K[0, 0])
    assert corner.joint.rotation == pytest.approx(K[2, 2])
    assert corner.joint.pull == pytest.approx(total.pull)


def test_a_spring_by_hand(tmp_path):
    """400 N over 30 mm: 13.33 N/mm sideways, 3 N m/rad at 15 mm, and 400 N more on the joint's friction."""
    stated, sprung = loaded(tmp_path, BALL), loaded(tmp_path, BALL, sizing={"joint_part": SPRING})
    K = joint_stiffness(make_job(sprung).machine)
    assert K[0, 0] / N_PER_MM == pytest.approx(13.333, abs=5e-4)
    assert K[2, 2] == pytest.approx(3.0) and K[1, 2] == pytest.approx(200.0)
    limits = [
        sum(f.limit(np.array([20.0]))[0] for f in make_job(x).machine.frictions if ".joint" in f.name)
        for x in (stated, sprung)
    ]
    assert limits[1] - limits[0] == pytest.approx(3 * 1e-3 * (400 - 10))  # magnets of 10 N by default
    few = [simulate(x.with_values({"print.layers": 6}), "equilibrium") for x in (stated,)]
    moved = [few[0].layers.joint_excursion, _layers(sprung).joint_excursion]
    assert np.abs(moved[0] - moved[1][:6]).max() > 1e-5


def _layers(one):
    return simulate(one, "equilibrium").layers


def test_balls_carry_the_load_and_end_the_travel(tmp_path):
    one = loaded(tmp_path, BALL, sizing={"joint_part": MAGNETS})
    joint = make_joints(one.scenario)[0]
    places = [[-20, 0], [10, 17.3], [10, -17.3]]
    np.testing.assert_allclose(joint.contacts / MM, places)
    np.testing.assert_allclose(joint.ends / MM, places)
    assert joint.load_share == pytest.approx([1 / 3] * 3)
    assert joint.pressed == pytest.approx(joint.magnet_force - 0.1 * GRAVITY)
    assert any("pinch" in line for line in cautions(one.scenario))


def test_dished_balls_are_as_stiff_as_under_the_heaviest_load(tmp_path):
    """W/(4 (Rs - r)) each for one dished plate; W a third of bed, part, carriage: a third of 15.36 N."""
    ball = {"diameter_mm": 5, "dish_radius_mm": 50, "dished_plates": 1}
    parts = {"ball": [b | ball for b in ({"x_mm": 20, "y_mm": 0}, {"x_mm": -20, "y_mm": 0})]}
    one = loaded(tmp_path, BALL, sizing={"joint_part": parts})
    load = (3.5 / 3 + 0.4) * GRAVITY
    assert joint_loads(one.scenario) == pytest.approx([load] * 3)
    joint = make_joints(one.scenario)[0]
    assert joint.planar[0, 0] == pytest.approx(load / (4 * 47.5 * MM))


def test_what_does_not_hold_is_refused(tmp_path):
    flat = {"ball": [{"x_mm": 20, "y_mm": 0, "diameter_mm": 5}]}
    with pytest.raises(ModelError, match="holds the nut against turning"):
        make_job(loaded(tmp_path, BALL, sizing={"joint_part": flat}))
    thin = LEAF | {"thickness_mm": 0.05, "length_mm": 60, "carries_load": True}
    leaves = {"leaf": [thin, thin | {"x_mm": -10}]}
    with pytest.raises(ModelError, match="buckle"):
        make_job(loaded(tmp_path, BALL, sizing={"joint_part": leaves}))
