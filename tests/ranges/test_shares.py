"""What each cause contributes: parts against the whole."""

import numpy as np
import pytest

from bedsim.analysis.metrics import lateral_peak_to_valley
from bedsim.ranges.shares import share_note, shares_of, source_layers
from bedsim.simulation import simulate

FEW = ("print.layers=45", "screw.travel.once_per_turn_pv_um=8")


def test_shares_add_up_to_the_machine_without_friction(shipped, frictionless):
    """Superposition, derived: without friction the sum of all causes is the run, layer by layer."""
    loaded = shipped("bent-rolled-rolling-joints", *frictionless, *FEW)
    run = simulate(loaded, engine="equilibrium")
    parts = source_layers(loaded)
    assert sum(p[0] for p in parts.values()) == pytest.approx(run.layers.lateral_error, abs=1e-12)
    assert sum(p[1] for p in parts.values()) == pytest.approx(run.layers.height_error, abs=1e-12)
    assert shares_of(run, parts)["friction and vibration", ""] == pytest.approx((0, 0), abs=1e-11)


def test_the_torque_of_a_side_force_belongs_to_the_run_out_that_turns_in_it(shipped, frictionless):
    """A hot bolted bed: causes still add up; run-out lifts once per turn by more than in a cold one."""
    bolted = (*(key for key in frictionless if "mount" not in key), "mount.kind=bolted", "print.layers=45")
    hot, cold = (shipped("bent-rolled-rigid", *bolted, f"bed.temperature_rise_k={rise}") for rise in (60, 0))
    run, parts = simulate(hot, engine="equilibrium"), source_layers(hot)
    for way, whole in enumerate((run.layers.lateral_error, run.layers.height_error)):
        # the force that stands on the screws is solved at other heights here and there: good to 1e-5
        assert sum(p[way] for p in parts.values()) == pytest.approx(whole, abs=1e-5 * np.abs(whole).max())
    lifted, before = (np.ptp(source_layers(x)["run-out", "front right"][1], axis=0) for x in (hot, cold))
    assert (lifted - before).max() > 0.8e-6


def test_friction_is_the_remainder(shipped, frictionless):
    """With friction the causes' shares stay what they were, and the difference is named."""
    without = source_layers(shipped("bent-rolled-rolling-joints", *frictionless, *FEW))
    loaded = shipped("bent-rolled-rolling-joints", *FEW)
    run = simulate(loaded, engine="equilibrium")
    parts = source_layers(loaded)
    assert parts["run-out", "back"][0] == pytest.approx(without["run-out", "back"][0], abs=1e-12)
    left = run.layers.lateral_error - sum(p[0] for p in parts.values())
    told = shares_of(run, parts)
    assert told["friction and vibration", ""][1] == pytest.approx(lateral_peak_to_valley(left).max())
    assert told["friction and vibration", ""][1] > 1e-8


def test_a_straight_screw_contributes_nothing_and_travel_acts_on_height(shipped):
    """Run-out of one corner only: no other corner has a share; travel errors lift, each at its corner."""
    loaded = shipped(
        "bent-rolled-rigid",
        *FEW,
        "corner.back.screw.run_out.bow_tir_um=0",
        "corner.front left.screw.run_out.bow_tir_um=0",
    )
    told = shares_of(simulate(loaded, engine="equilibrium"), source_layers(loaded))
    assert [corner for cause, corner in told if cause == "run-out"] == ["front right"]
    height, lateral = told["once-per-turn travel", "back"]
    assert height == pytest.approx(8e-6, rel=0.5)
    assert lateral < height


def test_plain_nuts_are_shared_out_without_their_play(shipped):
    """With play the linear machine would pass nothing on: shares are those of fitting nuts, as is said."""
    loaded = shipped("plain-lead-screws", "print.layers=30")
    fitting = loaded.with_values({"nut.clearance_um": 0.0})
    parts, same = source_layers(loaded), source_layers(fitting)
    assert np.abs(parts["run-out", "back"][0]).max() > 1e-8
    assert parts["run-out", "back"][0] == pytest.approx(same["run-out", "back"][0], abs=1e-15)
    assert "without play" in share_note(loaded)
    assert "play" not in share_note(fitting)
