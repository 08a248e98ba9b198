"""What every builder knows comes out of the model; common practice, no source, unless a formula is given."""

import math

import numpy as np
import pytest
from three_screws import circle, job, run, with_run_out

BENT = [{"bow_tir_um": 200.0, "bow_deg": angle} for angle in (20.0, 135.0, 250.0)]
SOFT = {"radial_n_per_um": 0.5, "tangential_n_per_um": 0.5}


def push(found):
    """Peak-to-valley of the lateral error at the middle of the bed, m."""
    return float(np.max(np.ptp(found.lateral_error[:, 0], axis=0)))


def bent(layers=10, layer=0.5, **parts):
    return run(
        with_run_out(circle(), *BENT), frame=SOFT, print={"layers": layers, "layer_mm": layer}, **parts
    )


def test_a_thick_screw_pushes_a_soft_frame_harder_than_a_thin_one():
    """The same bend, fed straight into a bolted nut: 16 mm against 8 mm."""
    thick, thin = (
        bent(screw={"diameter_mm": d + 2.0, "root_diameter_mm": d, "ends": "fixed-supported"})
        for d in (16.0, 8.0)
    )
    assert push(thick) > 2 * push(thin) > 2e-7
    assert thick.side_force.max() > 2 * thin.side_force.max()


def off_centre(layers=10, layer=0.5, **parts):
    """Screws off their axis but straight: they push sideways and offer no slope."""
    corners = with_run_out(
        circle(), *[{"eccentricity_tir_um": 200.0, "eccentricity_deg": 30.0 * k} for k in range(3)]
    )
    return run(corners, print={"layers": layers, "layer_mm": layer}, **{"frame": SOFT} | parts)


def test_a_stiff_frame_is_pushed_about_less():
    """Sideways and in rotation ten times and more stiffer."""
    frame = {"radial_n_per_um": 8.0, "tangential_n_per_um": 8.0, "rotation_nm_per_rad": 40e3}
    guide = {"tilt_nm_per_rad": 20e3, "yaw_nm_per_rad": 20e3}
    assert push(off_centre(frame=frame, guide=guide)) < 0.2 * push(off_centre())


def test_a_joint_that_gives_way_takes_the_sideways_push_off():
    """Soft flexures in place of bolts: what is left is about the joint's spring over the screw's."""
    free = {"kind": "flexure", "lateral_n_per_mm": 1.0, "travel_mm": 5.0}
    assert push(off_centre(joint=free)) < 0.1 * push(off_centre())


def test_a_planar_joint_does_not_take_off_the_moment_of_a_bent_screw():
    """A bow's slope goes on tilting nut and carriage through a joint that is free sideways."""
    free = {"kind": "flexure", "lateral_n_per_mm": 1.0, "travel_mm": 5.0}
    assert push(bent(joint=free)) > 0.3 * push(bent())


def test_plain_screws_with_play_forgive_more():
    """The same bent shaft pushes less through a nut with clearance than through balls, which have none.

    The push is bounded by F tan(beta + rho), load F on each screw; with the play used up it is not.
    """
    plain = {"kind": "plain", "starts": 2, "ends": "fixed-supported"}
    nut = {"friction_coefficient": 0.1, "drag_torque_n_mm": 0.0, "radial_n_per_um": 40.0}
    loose, tight = (bent(layers=6, screw=plain, nut=nut | {"clearance_um": c}) for c in (150.0, 3.0))
    balls = bent(layers=6, screw={"ends": "fixed-supported"})
    assert push(loose) < 0.5 * push(balls)
    assert push(tight) > 1.5 * push(loose)
    limit = (3.0 / 3 + 0.5) * 9.80665 * math.tan(math.radians(15) + math.atan(0.1))
    assert loose.side_force.max() < limit < min(balls.side_force.max(), tight.side_force.max())


def height_lost(radius_mm, drag_n_mm=20.0):
    """Height after a hop, which ends upwards, less the height after a plain step down: m."""
    joint = {
        "kind": "flexure",
        "lateral_n_per_mm": 20.0,
        "elements": 4,
        "element_radius_mm": radius_mm,
        "rotation_nm_per_rad": 0.0,
        "travel_mm": 5.0,
    }
    nut = {"drag_torque_n_mm": drag_n_mm, "drag_breakaway_deg": 1.0}
    heights = [
        run(joint=joint, nut=nut, motion={"z_hop_mm": hop}, print={"layers": 3}).height_raw[2, 0]
        for hop in (0.0, 2.0)
    ]
    return heights[1] - heights[0]


@pytest.mark.parametrize("radius_mm", [15.0, 40.0])
def test_reversing_with_a_drag_torque_costs_height(radius_mm):
    """2 T/k lead/(2 pi), 1/k what yields between nut and motor: joint, carriage's yaw, magnetic spring."""
    k_joint = 20e3 * (radius_mm * 1e-3) ** 2
    yields = 1 / k_joint + 1 / 2000 + 1 / 3000 + 1 / (50 * 0.4 * 0.7)
    expected = 2 * 20e-3 * yields * 5e-3 / (2 * math.pi)
    lost = height_lost(radius_mm)
    assert abs(lost) == pytest.approx(expected, rel=0.01)
    # going up on a right-hand thread the nut is turned along and lags: the bed stays low
    assert lost < 0


def test_a_larger_anti_rotation_radius_loses_less_height():
    assert abs(height_lost(40.0)) < 0.5 * abs(height_lost(15.0))


def test_height_follows_the_bed_corner_that_is_wrong():
    """One screw short by d of three: the middle drops by d/3, as a plane through three points says."""
    slope = {"travel": {"slope_um_per_300mm": 300.0}}
    corners = circle()
    corners[0]["screw"] = slope
    found, straight = (
        run(corners, print={"layers": 9, "layer_mm": 5.0}),
        run(print={"layers": 9, "layer_mm": 5.0}),
    )
    change = (found.height_error - straight.height_error)[:, 0]
    np.testing.assert_allclose(change, -1e-3 * 5e-3 * np.arange(9) / 3, rtol=0.02, atol=1e-12)


def test_a_loaded_machine_is_as_heavy_as_its_parts():
    system = job().machine.system(np.array([1]))
    assert system.corner_load.sum() == pytest.approx((3.0 + 3 * 0.5) * 9.80665)
