"""The torque of a standing side force on a bent screw, by hand: F r sin(angle between them)."""

import math

import numpy as np
import pytest
from test_tug_of_war import GUIDE, STRAIGHT, shaft
from three_screws import RADIUS, circle, job, run

from bedsim.components.row import resting_path
from bedsim.model.side_torque import SideForce, largest_torque, standing_pull
from bedsim.units import GRAVITY

R = 60e-6  # offset of the thread
ASIDE = 400e-6  # axis against guide, along x
LEAD = 5e-3
MOTOR = 50 * 0.4 * 0.7  # N m/rad: 50 teeth, holding torque at 70 % of the current


def corners(hand="right"):
    """Three corners; the screw of the first stands 400 um outwards and is out of true."""
    found = circle()
    found[0]["screw"] = {
        "hand": hand,
        "alignment": {"offset_x_um": ASIDE * 1e6},
        "run_out": {"eccentricity_tir_um": 2 * R * 1e6, "eccentricity_deg": 25.0},
    }
    return found


PARTS = STRAIGHT | {
    "print": {"layer_mm": 1.0, "first_layer_nut_mm": 200.0, "layers": 7},
    "joint": {"height_mm": -30.0},
}


def torque_by_hand(machine, layers, hand):
    """N m by which the first screw is turned (+ seen from above) where it stands at each layer.

    The guide holds the carriage where neither screw nor guide is at ease: the screw is pulled back with
    F = k_screw k_guide/(k_screw + k_guide) times what it stands aside (`tug of war`), along -x.  The thread's
    middle stands at r (cos a, sin a): the torque of (-F, 0) there is F r sin(a).
    """
    turned = hand * 2 * np.pi * (layers - 1) * 1e-3 / LEAD + math.radians(25)
    k = shaft(machine, layers)
    return ASIDE * k * GUIDE / (k + GUIDE) * R * np.sin(turned)


@pytest.mark.parametrize(("name", "hand"), [("right", 1), ("left", -1)])
def test_side_force_times_offset_turns_the_motor(name, hand):
    """Load angle: weight times lead/(2 pi) and the torque, against the magnetic spring."""
    layers = np.arange(1, 8)
    work = job(corners(name), **PARTS)
    torque = torque_by_hand(work.machine, layers, hand)
    assert np.ptp(torque) > 1e-3
    weight = hand * 1.5 * GRAVITY * LEAD / (2 * np.pi)  # a right-hand screw runs ahead under its load
    found = run(corners(name), **PARTS).load_angle[:, 0]
    np.testing.assert_allclose(found, 50 * np.abs(weight + torque) / MOTOR, rtol=2e-4)


def test_corner_goes_with_motor_and_twist():
    """One corner of three by its screw's turn: -H lead/(2 pi) T (1/k_motor + twist of shaft and coupling)."""
    layers = np.arange(1, 8)
    torque = torque_by_hand(job(corners(), **PARTS).machine, layers, 1)
    twist = (0.2 - (layers - 1) * 1e-3) / (79.4e9 * math.pi / 32 * 10e-3**4) + 1 / 80
    by_hand = -LEAD / (2 * np.pi) * torque * (1 / MOTOR + twist)
    centred = corners()
    centred[0]["screw"]["alignment"] = {}
    poses = [run(c, **PARTS).pose_raw for c in (corners(), centred)]
    with_force, without = (pose[:, 2] - pose[:, 4] * RADIUS * 1e-3 for pose in poses)
    np.testing.assert_allclose(with_force - without, by_hand, atol=0.002 * np.abs(by_hand).max())


def test_one_motor_on_a_belt_takes_the_torque_of_all_screws():
    """Three screws in phase, each aside by the same: the motor lags by their sum."""
    layers = np.arange(1, 8)
    all_alike = [c | {"screw": corners()[0]["screw"]} for c in circle()]
    belt = PARTS | {"drive": {"topology": "belt"}}
    torque = torque_by_hand(job(all_alike, **belt).machine, layers, 1)
    weight = 1.5 * GRAVITY * LEAD / (2 * np.pi)
    found = run(all_alike, **belt).load_angle[:, 0]
    np.testing.assert_allclose(found, 50 * 3 * (weight + torque) / MOTOR, rtol=2e-4)


def test_a_later_object_turns_the_screws_under_the_weight_of_those_before():
    """The torque of its layers is that of the machine's own stiffness there, whose screws hang heavier: each
    object against a print of one that weighs as much."""
    heavy = PARTS["print"] | {"layers": 14, "part_mass_kg": 6.0, "part_x_mm": 60.0}
    rows = [{"layers": 7}, {"layers": 7, "new_object": True}]
    two = job(corners(), **PARTS | {"print": heavy | {"section": rows}}).machine
    alone = job(corners(), **PARTS | {"print": heavy | {"layers": 7, "part_mass_kg": 3.0}}).machine

    def torque(machine, begin):
        path = resting_path(np.full(7, begin), -np.arange(7)[:, None] * 1e-3 * np.ones(3))
        return machine.imposed(path)[:, machine.pushed]

    np.testing.assert_allclose(torque(two, 0.0), torque(alone, 0.0), rtol=1e-9, atol=1e-12)
    later = torque(two, float(two.stations.begin[7]))
    assert np.abs(later - torque(two, 0.0)).max() > 1e-6
    on_it = two.system(np.arange(8, 15))
    where = two.slices[f"{two.corner_names[0]}.screw"]
    pull = standing_pull(two, on_it, -two.stations.depth[8:])
    found = SideForce(machine=two).along(
        resting_path(two.stations.begin[7:], -two.stations.depth[8:, None] * np.ones(3)), 0
    )
    np.testing.assert_allclose(found, pull[:, where].T, rtol=1e-3, atol=1e-3 * np.abs(pull[:, where]).max())


def test_two_run_outs_add_and_a_straight_or_unloaded_screw_feels_nothing():
    """Linear in the run-out, and nothing without a side force or an offset."""
    layers = resting_path(np.zeros(7), -np.arange(7)[:, None] * 1e-3 * np.ones(3))
    machine = job(corners(), **PARTS).machine
    torque = machine.imposed(layers)[:, machine.pushed]
    np.testing.assert_allclose(machine.imposed(layers, 3 * machine.amounts)[:, machine.pushed], 3 * torque)
    assert not torque[:, 1:].any()
    assert largest_torque(machine)[0] == pytest.approx(np.abs(torque[:, 0]).max(), rel=0.05)
    for key in ("alignment", "run_out"):
        changed = corners()
        del changed[0]["screw"][key]
        assert not largest_torque(job(changed, **PARTS).machine).any()
