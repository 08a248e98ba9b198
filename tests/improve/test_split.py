"""The lateral error in parts: they add up, each is what it is called, and every command tells the same."""

from dataclasses import replace

import numpy as np
import pytest

from bedsim.analysis.metrics import lateral_peak_to_valley, worst_wall
from bedsim.analysis.worst_place import GRID, worst_places
from bedsim.ranges import split as splits
from bedsim.simulation import simulate
from bedsim.units import MM, UM

SHORT = "print.layers=24"


def told(loaded):
    return splits.split_lateral(loaded, *worst_places(loaded))


@pytest.mark.parametrize("name", ["bent-rolled-rigid", "bent-rolled-rolling-joints", "four-screws"])
def test_parts_add_up_to_rounding(shipped, name):
    split = told(shipped(name, SHORT))
    assert sum(split.parts.values()) == pytest.approx(split.whole, rel=1e-12)
    assert sum(split.causes.values()) == pytest.approx(split.whole, rel=1e-12)
    for cause in (splits.OFFSET, splits.SLOPE):  # what bends do to the bed goes through its carriages alone
        assert abs(split.parts[cause, splits.OWN]) < 1e-12 * UM + 1e-9 * split.whole


def test_whole_is_that_of_the_frictionless_engine(shipped):
    """Against the equilibrium engine, layer by layer, on a machine whose contacts have no friction."""
    loose = [
        f"{k}=0" for k in ("joint.friction_coefficient", "mount.friction_coefficient", "guide.friction_n")
    ]
    loose += ["nut.drag_torque_n_mm=0", "joint.magnet_force_n=0"]
    loaded = shipped("bent-rolled-rolling-joints", SHORT, *loose)
    run = simulate(loaded, engine="equilibrium")
    split = splits.split_of_run(run, loaded)
    assert split.whole == pytest.approx(lateral_peak_to_valley(run.layers.lateral_error).max(), rel=1e-12)
    assert abs(split.parts[splits.FRICTION, ""]) < 2e-3 * split.whole  # interpolation


def test_a_tilt_acts_over_the_arm_from_guide_to_mount(shipped):
    """Lever law: a carriage that tilts about its guide by w moves its mount aside by w (h_mount - h_guide);
    with the guide level with the mount nothing of the tilt reaches a bed that is not tilted itself."""
    far = told(shipped("bent-rolled-rolling-joints", SHORT))
    level = told(shipped("bent-rolled-rolling-joints", SHORT, "guide.height_mm=-15"))
    assert far.arm == pytest.approx(25 * MM)
    assert abs(far.of_path(splits.TILT)) > 0.5 * far.whole
    assert abs(level.of_path(splits.TILT)) < 0.1 * abs(far.of_path(splits.TILT))


def test_parts_of_a_carriage_are_rigid_motions_about_its_guide():
    """Each of the four moves points of the carriage as the kinematics of rigid bodies says, and their sum is
    the motion (derived anew by cross products)."""
    rng = np.random.default_rng(3)
    p, r, t, w = rng.normal(size=(4, 3))
    parts = {k: m @ np.concatenate([t, w]) for k, m in splits._carriage_parts(p).items()}
    moved = {k: q[:3] + np.cross(q[3:], r) for k, q in parts.items()}
    s = t + np.cross(w, p)
    flat, about = np.array([w[0], w[1], 0.0]), np.array([0.0, 0.0, w[2]])
    np.testing.assert_allclose(moved[splits.SHIFT], [s[0], s[1], 0.0])
    np.testing.assert_allclose(moved[splits.TILT], np.cross(flat, r - p))
    np.testing.assert_allclose(moved[splits.YAW], np.cross(about, r - p))
    np.testing.assert_allclose(moved[splits.VERTICAL], [0.0, 0.0, s[2]], atol=1e-14)
    np.testing.assert_allclose(sum(moved.values()), t + np.cross(w, r))


def test_a_screw_without_bend_has_neither_offset_nor_slope(shipped):
    straight = [f"corner.{c}.screw.run_out.bow_tir_um=0" for c in ("front left", "front right", "back")]
    split = told(shipped("bent-rolled-rigid", SHORT, *straight))
    assert splits.OFFSET not in split.causes
    assert split.whole < 0.5 * UM


def test_a_bolted_bed_has_no_paths(shipped):
    split = told(shipped("bent-rolled-rigid", SHORT, "mount.kind=bolted"))
    assert {path for _, path in split.parts} == {splits.BOLTED}
    assert sum(split.parts.values()) == pytest.approx(split.whole, rel=1e-12)


def test_the_worst_place_is_a_corner_of_the_plate(shipped):
    """The stated convexity, against a grid over the plate; own probes stand beside the corners."""
    loaded = shipped("four-screws", SHORT)
    names, _ = worst_places(loaded)
    assert names == ("centre", "front left", "front right", "back right", "back left")
    corner = told(loaded).whole
    half = np.array([loaded.scenario.bed.size_x_mm, loaded.scenario.bed.size_y_mm]) / 2 * MM
    steps = np.linspace(-1, 1, 7)
    grid = np.array([[x, y] for x in steps for y in steps]) * half
    assert splits.split_lateral(loaded, tuple(map(str, range(49))), grid).whole == pytest.approx(
        corner, rel=1e-9
    )


def test_five_screws_are_searched_on_a_grid(shipped):
    loaded = shipped("four-screws")
    more = loaded.scenario.model_copy(update={"corner": (*loaded.scenario.corner, loaded.scenario.corner[0])})
    assert len(worst_places(replace(loaded, scenario=more))[0]) >= GRID**2


def test_own_probes_do_not_hide_the_corners(shipped):
    loaded = shipped("bent-rolled-rigid", SHORT)
    corner, nose = loaded.scenario.probe[1], loaded.scenario.probe[0].model_copy(update={"name": "nose"})
    own = loaded.scenario.model_copy(update={"probe": (nose, corner)})
    names = worst_places(replace(loaded, scenario=own))[0]
    assert names == ("nose", "front left", "front right", "back right", "back left")
    centre = splits.split_lateral(loaded, ("centre",), np.zeros((1, 2)))
    assert centre.whole < told(loaded).whole


def test_worst_wall_has_the_value_of_the_peak_to_valley():
    rng = np.random.default_rng(5)
    lateral = rng.normal(size=(30, 4, 2))
    at = worst_wall(lateral)
    assert at.between(lateral) == pytest.approx(lateral_peak_to_valley(lateral).max(), rel=1e-12)


def test_run_compare_report_and_improve_tell_the_same_numbers(shipped):
    """One function: over the same places, without friction, they agree to what interpolation allows."""
    loaded = shipped("bent-rolled-rigid", SHORT)
    run = simulate(loaded, engine="equilibrium")
    of_run, own = splits.split_of_run(run, loaded), told(loaded)
    friction = abs(of_run.parts[splits.FRICTION, ""])
    assert of_run.place == own.place
    largest = next(iter(own.parts))
    assert of_run.parts[largest] == pytest.approx(own.parts[largest], abs=2 * friction + 1e-9)
    assert splits.split_lines(of_run)[0].startswith("Where the sideways error comes from")


def test_words_name_cause_path_and_what_is_taken_off():
    split = splits.Split(
        whole=1e-6,
        place="back left",
        direction=45.0,
        parts={(splits.SLOPE, splits.TILT): 1.5e-6, (splits.OFFSET, splits.SHIFT): -0.5e-6},
        arm=25 * MM,
    )
    text = splits.why(split)
    assert "slope of the screws tilts the carriages, over the 25 mm from guide to mount: 1.5 µm, of" in text
    assert "of which 1.0 µm is left" in text
    assert "offset of the screws shifts the carriages at their guides takes 0.50 µm off" in text
    assert split.cancelled == pytest.approx(2.0)
    lines = splits.split_lines(split)
    assert "back left" in lines[0] and any("-0.50 µm" in line for line in lines)
