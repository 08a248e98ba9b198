"""The assembled machine in limits with a closed form: screw against guide, grooves, bolts, rigid joints."""

import math

import numpy as np
import pytest
from three_screws import circle, job, run, with_run_out

from bedsim.engines.equilibrium import linear_poses
from bedsim.model import assembly
from bedsim.simulation import relative_errors
from bedsim.units import GRAVITY

# a nut that does not hold the slope, a guide that does not tilt, no lever arms: a tug of war of forces alone
STRAIGHT = {
    "nut": {"tilt_nm_per_rad": 1e-9, "thread_height_mm": -30.0, "radial_n_per_um": 40.0},
    "joint": {"height_mm": -30.0},
    "guide": {
        "height_mm": -30.0,
        "tilt_nm_per_rad": 1e9,
        "radial_n_per_um": 40.0,
        "tangential_n_per_um": 40.0,
    },
    "frame": {"rotation_nm_per_rad": 1e9},
    "screw": {"bearing_radial_n_per_um": 30.0, "bearing_tilt_nm_per_rad": 3000.0},
    "print": {"layer_mm": 5.0, "first_layer_nut_mm": 200.0, "layers": 6},  # a lead per layer: one angle
    "mount": {"height_mm": -30.0},
}
GUIDE = 1 / (1 / 40e6 + 1 / 1e6)  # rail and frame one behind the other
E = 30e-6  # offset: half the total indicator reading
CORNER_MASS = 0.4 + 0.1


def shaft(machine, layers):
    """k_screw (l,): a cantilever pressed by its load, on a bearing that tilts, then nut and bearing sideways.

    EI y'' = P (d - y) + F (a - s) with slope M/k_tilt at the bearing, k = sqrt(P/EI), t = tan(k a)/k:
    d/F = (t/(1 - P t/k_tilt) - a)/P.
    """
    a = assembly.nut_position(machine, layers)[:, 0]
    EI = 206e9 * math.pi / 64 * 10e-3**4
    load = (3.0 / 3 + CORNER_MASS) * GRAVITY
    k = math.sqrt(load / EI)
    t = np.tan(k * a) / k
    return 1 / ((t / (1 - load * t / 3000) - a) / load + 1 / 30e6 + 1 / 40e6)


def loads(work):
    layers = np.arange(1, work.program.layers + 1)
    return layers, work.machine.system(layers).corner_load


def test_each_screw_carries_a_third_of_the_bed_and_its_own_carriage():
    _, load = loads(job(**STRAIGHT))
    np.testing.assert_allclose(load, (3.0 / 3 + CORNER_MASS) * GRAVITY, rtol=1e-9)


def test_one_corner_pulls_with_its_screw_against_its_guide():
    """e k_screw/(k_screw + k_guide) along the groove, where the bed holds nothing."""
    corners = with_run_out(circle(), {"eccentricity_tir_um": 2 * E * 1e6, "eccentricity_deg": 0.0})
    work = job(corners, **STRAIGHT)
    layers = np.arange(1, 7)
    k = shaft(work.machine, layers)
    found = run(corners, **STRAIGHT)
    np.testing.assert_allclose(found.side_force[:, 0] / GUIDE, E * k / (k + GUIDE), rtol=1e-5)
    np.testing.assert_allclose(found.side_force[:, 1:], 0, atol=1e-9)
    assert k.max() > 1.3 * k.min()  # the travel is long enough to tell


def test_three_screws_together_push_the_bed_as_one_corner():
    """All in phase: the bed goes where each corner would, at every height."""
    corners = with_run_out(circle(), *[{"eccentricity_tir_um": 2 * E * 1e6, "eccentricity_deg": 50.0}] * 3)
    found = run(corners, **STRAIGHT)
    k = shaft(job(corners, **STRAIGHT).machine, found.layer)
    way = E * k / (k + GUIDE)
    np.testing.assert_allclose(found.pose_raw[:, 0], way * math.cos(math.radians(50)), rtol=1e-5)
    np.testing.assert_allclose(found.pose_raw[:, 1], way * math.sin(math.radians(50)), rtol=1e-5)
    np.testing.assert_allclose(found.pose_raw[:, 5], 0, atol=1e-12)


def test_a_joint_with_a_spring_stands_in_series_with_the_screw():
    """e k/(k + k_guide), k the joint's recentring spring behind the shaft; small while the spring is soft."""
    joint = {
        "kind": "flexure",
        "height_mm": -30.0,
        "lateral_n_per_mm": 20.0,
        "rotation_nm_per_rad": 1000.0,
        "friction_coefficient": 0.0,
    }
    corners = with_run_out(circle(), {"eccentricity_tir_um": 2 * E * 1e6, "eccentricity_deg": 0.0})
    parts = STRAIGHT | {"joint": joint}
    k = shaft(job(corners, **parts).machine, np.arange(1, 7))
    series = 1 / (1 / k + 1 / 20e3)
    found = run(corners, **parts)
    # the loaded joint's geometric stiffness has no arm: the guide does not tilt
    np.testing.assert_allclose(found.side_force[:, 0] / GUIDE, E * series / (series + GUIDE), rtol=1e-5)


def test_the_lateral_error_at_the_top_of_the_part_has_the_tilt_in_it():
    """Abbe: a tilt of 0.115449 mrad, 20 mm above the bed, computed 2.30897 um."""
    work = job(print={"layers": 100, "layer_mm": 0.2})
    pose = np.zeros((2, 6))
    pose[1, 3:5] = 0.1e-3, -0.0576923e-3
    found = relative_errors(work, np.array([1, 100]), pose)
    assert np.hypot(*found["lateral_error"][1, 0]) * 1e6 == pytest.approx(2.30897, abs=6e-6)
    # the top leans the way a turn about +X or +Y takes it
    np.testing.assert_allclose(found["lateral_error"][1, 0], [-0.0576923e-3 * 0.02, -0.1e-3 * 0.02])


def test_layer_thickness_is_short_where_the_bed_rises():
    """h - (d_z(n) - d_z(n-1)): the bed too near the nozzle leaves less room. Definition."""
    work = job()
    pose = np.zeros((3, 6))
    pose[:, 2] = 0, 3e-6, 1e-6
    found = relative_errors(work, np.array([1, 2, 3]), pose)
    np.testing.assert_allclose(found["thickness_error"][:, 0], [0, -3e-6, 2e-6], atol=1e-18)


def test_grooves_pass_no_radial_force():
    """A bed hotter by 60 K grows along its grooves: no guide feels it and nothing moves. Kinematic mounts."""
    cold = run(bed={"temperature_rise_k": 0.0})
    hot = run(bed={"temperature_rise_k": 60.0})
    np.testing.assert_allclose(hot.side_force, cold.side_force, atol=1e-7)
    np.testing.assert_allclose(hot.pose_raw, cold.pose_raw, atol=1e-14)


def test_bolts_pass_the_whole_growth():
    """Bolted at R: the guide is pushed by alpha dT R against itself and the screw, 255 um here; computed."""
    parts = STRAIGHT | {"mount": {"kind": "bolted"}, "bed": {"temperature_rise_k": 60.0}}
    found = run(**parts)
    growth = 23.6e-6 * 60 * 0.18
    assert growth * 1e6 == pytest.approx(254.9, abs=0.05)
    np.testing.assert_allclose(found.side_force, growth * GUIDE, rtol=1e-6)


def soft_and_hard(change_soft, change_hard):
    """Poses (layers, 6) of one crooked machine with a constraint and with stiff springs in its place."""
    corners = with_run_out(
        circle(start_deg=20.0),
        {"bow_tir_um": 150.0, "bow_deg": 30.0},
        {"eccentricity_tir_um": 60.0, "eccentricity_deg": 200.0},
        {"tilt_tir_um_per_100mm": 40.0},
    )
    poses = []
    for change in (change_soft, change_hard):
        work = job(corners, bed={"centre_x_mm": 20.0, "temperature_rise_k": 10.0}, **change)
        poses.append(linear_poses(work, work.machine.system(np.arange(1, 5)))[0][0, :, :6])
    return poses


def test_a_rigid_joint_is_the_limit_of_a_stiff_one():
    stiff = {
        "kind": "flexure",
        "lateral_n_per_mm": 1e9,
        "elements": 4,
        "element_radius_mm": 30.0,
        "axial_n_per_um": 1e7,
        "rotation_nm_per_rad": 1e9,
    }
    bolted = {"kind": "rigid", "axial_n_per_um": 1e7}  # its flange gives along the screw as the joint does
    rigid, springs = soft_and_hard({"joint": bolted}, {"joint": stiff})
    np.testing.assert_allclose(springs, rigid, rtol=1e-4, atol=1e-10)
    assert np.abs(rigid[:, :2]).max() > 1e-7


def test_a_bolted_mount_is_the_limit_of_a_stiff_one():
    stiff = {
        "kind": "flexure",
        "radial_n_per_um": 1e6,
        "tangential_n_per_um": 1e6,
        "vertical_n_per_um": 1e6,
        "rotation_nm_per_rad": 1e9,
    }
    bolted, springs = soft_and_hard({"mount": {"kind": "bolted"}}, {"mount": stiff})
    np.testing.assert_allclose(springs, bolted, rtol=1e-4, atol=1e-10)
    assert np.abs(bolted[:, :2]).max() > 1e-7
