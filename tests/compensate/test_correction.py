"""Moves of the nozzle against the rigid body itself, and steps of X and Y against all lines of a part."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bedsim.analysis.metrics import widest
from bedsim.compensate.correction import Correction, corner_heights, sideways, stepped_extents
from bedsim.compensate.printed import at_rest
from bedsim.units import MM, UM

FIRST = np.zeros(2, dtype=np.intp)


def test_the_worked_example():
    """By hand: tx 12, ty -5 um, wz 60 urad: at (150, 100) mm (+6, +4) um, opposite (+18, -14); one common
    offset leaves 60 urad x 180 mm = 10.8 um."""
    pose = np.zeros((2, 6))
    pose[1, [0, 1, 5]] = 12 * UM, -5 * UM, 60e-6
    places = np.array([[150.0, 100.0], [-150.0, -100.0]]) * MM
    found = sideways(pose, np.array([0.25, 0.5]) * MM, FIRST)
    assert found.moves(places)[1] / UM == pytest.approx(np.array([[6, 4], [18, -14]]), abs=1e-3)
    left = found.moves(places) - found.shift_at(np.zeros(2)).moves(places)
    assert np.linalg.norm(left[1], axis=-1) / UM == pytest.approx([10.8, 10.8], abs=0.02)


def test_a_rigid_body_is_followed_to_rounding():
    """Against a rotation written by others: a body turned about the vertical and shifted, every point."""
    rng = np.random.default_rng(3)
    turn, t = 120e-6, np.array([9e-6, -7e-6, 0.0])
    places = rng.uniform(-0.15, 0.15, (50, 2))
    pose = np.zeros((2, 6))
    pose[1, :2], pose[1, 5] = t[:2], turn
    body = Rotation.from_rotvec([0, 0, turn]).apply(np.column_stack([places, np.full(50, 0.03)])) + t
    moved = places + sideways(pose, np.array([0.0, 0.03]), FIRST).moves(places)[1]
    assert moved == pytest.approx(body[:, :2], abs=1e-15)


def test_tilts_act_over_the_height_of_the_part():
    """Small rotations: d = t + w x p."""
    rng = np.random.default_rng(4)
    pose = np.zeros((2, 6))
    pose[1] = rng.normal(size=6) * 1e-7
    places = rng.uniform(-0.15, 0.15, (20, 2))
    top = np.array([0.0002, 0.04])
    points = np.column_stack([places, np.full(20, top[1])])
    d = pose[1, :3] + np.cross(pose[1, 3:], points)
    found = sideways(pose, top, FIRST).moves(places)[1]
    assert found == pytest.approx(d[:, :2], abs=1e-13)  # w^2 x / 2
    assert corner_heights(pose, FIRST, places)[1] == pytest.approx(d[:, 2], abs=1e-20)


def test_what_a_run_says_is_what_a_correction_takes_off(shipped):
    """The errors of a machine at all its probes, with the motions of one layer after the other."""
    rest = at_rest(shipped("bent-rolled-rigid"))
    pose = rest.pose()
    lateral = rest.errors(pose)["lateral_error"]
    left = lateral - sideways(pose, rest.top, rest.zero).moves(rest.job.probes)
    assert np.ptp(lateral) > 30 * UM
    assert np.abs(left).max() < 2e-9  # cos w: (100 urad)^2 x 150 mm / 2


@pytest.mark.parametrize("size", [0.2, 3.0])
def test_steps_are_the_worst_of_all_lines(size):
    """Against every 40th of a step along X and along Y: 2 % of a step."""
    z = np.arange(1, 31) * 0.25 * MM
    turn = 2 * np.pi * z / (5 * MM)
    moves = size * UM * np.stack([np.sin(turn), np.cos(turn + 0.3)], axis=-1)[:, None]
    step = 5 * UM
    grid = [np.array([u, v]) for u in np.arange(40) / 40 * step for v in np.arange(40) / 40 * step]
    every = [widest(z, np.round((at + moves) / step) * step - at - moves).max() for at in grid]
    middle, worst = stepped_extents(z, moves, np.zeros_like(moves), step)
    assert worst == pytest.approx(max(every), abs=0.02 * step)
    assert middle == pytest.approx(np.median(every), abs=0.05 * step)


def test_no_steps_leave_what_is_left():
    z = np.arange(1, 11) * MM
    left = np.random.default_rng(5).normal(size=(10, 3, 2))
    whole = widest(z, left).max()
    assert stepped_extents(z, np.zeros_like(left), left, 0.0) == (whole, whole)


def test_a_shift_is_right_at_its_place():
    found = Correction(a=np.array([1e-6]), b=np.array([2e-6]), turn=np.array([1e-4]))
    place = np.array([0.1, -0.05])
    assert found.shift_at(place).moves(place[None]) == pytest.approx(found.moves(place[None]), abs=1e-18)
