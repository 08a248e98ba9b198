"""Prints of unequal layers: engines against each other, and against a print of equal layers read at the same
heights."""

import numpy as np
import pytest
from engine_machines import SCENARIOS, UM, apart, drawn, from_reference

from bedsim.engines import parallel
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, relative_errors

SECTIONS = [
    {"layers": 1, "layer_mm": 0.3},
    {"layers": 2, "layer_mm": 0.1, "z_hop_mm": 0.2, "hop_every": 2, "hop_dwell_s": 0.02, "settle_s": 0.03},
    {"layers": 1, "layer_mm": 0.25, "new_object": True, "seconds_per_layer": 0.7, "z_hop_mm": 0.0},
]


def poses(engine, job):
    return np.concatenate([chunk.pose for chunk in engine.run(job)], axis=1)


def frictionless(layers, *more):
    quiet = [f"{k}=0" for k in ("guide.friction_n", "nut.drag_torque_n_mm", "mount.friction_coefficient")]
    changes = [f"print.layers={layers}", *quiet, "joint.kind=rigid", *more]
    return make_job(load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", changes))


@pytest.mark.parametrize("seed", [3, pytest.param(11, marks=pytest.mark.long)])
def test_propagator_against_reference(seed):
    """A thick first layer, one hop in two, a second object: heights, times and motions of their own."""
    scenario = drawn(seed, layers=4).with_values({"print.section": SECTIONS})
    stations = make_job(scenario).machine.stations
    np.testing.assert_allclose(stations.z, [0.3e-3, 0.4e-3, 0.5e-3, 0.25e-3])
    np.testing.assert_allclose(stations.hop[1:], [0, 0.2e-3, 0])
    assert from_reference(scenario, PropagatorEngine(), 0.01) < 0.01


def test_equilibrium_against_propagator_without_friction():
    """Layers of 0.1 to 0.4 mm; statics is what vibration about it averages to."""
    rng = np.random.default_rng(5)
    listed = [f"{{layers=1,layer_mm={h:.4f}}}" for h in rng.uniform(0.1, 0.4, 12)]
    job = frictionless(12, f"print.section=[{','.join(listed)}]")
    assert apart(job, poses(EquilibriumEngine(), job), poses(PropagatorEngine(), job)) < 0.01


def test_a_height_is_the_same_in_layers_of_any_thickness():
    """Without friction the bed's place is a function of its height: a print of two thicknesses against equal
    layers of their common measure, at the same heights.

    Left are matrices that are taken half a layer above.
    """
    fine = frictionless(85, "print.layer_mm=0.1", "motor.microsteps=256")
    mixed = frictionless(
        40,
        "print.layer_mm=0.3",
        "print.section=[{layers=10,layer_mm=0.1},{layers=15,layer_mm=0.2}]",
        "motor.microsteps=256",
    )
    at = np.round(mixed.machine.stations.depth[1:] / 0.1e-3).astype(int)
    found = relative_errors(mixed, np.arange(1, 41), poses(EquilibriumEngine(), mixed))
    same = relative_errors(mixed, np.arange(1, 41), poses(EquilibriumEngine(), fine)[:, at])
    assert np.ptp(same["lateral_error"]) > 5 * UM
    for key in ("height_error", "lateral_error"):
        np.testing.assert_allclose(found[key], same[key], atol=0.005 * UM)
    edge = np.abs(mixed.probes).max()  # a turn counts by what it moves there
    np.testing.assert_allclose(found["tilt"] * edge, same["tilt"] * edge, atol=0.005 * UM)


def test_segments_of_equal_layers_are_the_layers_one_by_one(monkeypatch):
    """Two stretches parallel in time with odd layers between: within the engine's own error."""
    sections = "[{layers=4,layer_mm=0.3},{layers=13,layer_mm=0.2},{layers=1},{layers=13,layer_mm=0.1}]"
    changes = ["print.layers=31", f"print.section={sections}"]
    job = make_job(load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", changes))
    found = list(PropagatorEngine().run(job))
    assert [c.layers.size for c in found if c.layers.size > 1] == [13, 13]
    monkeypatch.setattr(parallel, "run", lambda *_: None)
    together = np.concatenate([c.pose for c in found], axis=1)
    assert apart(job, together, poses(PropagatorEngine(), job)) < 0.02


def test_stretches_are_alike_or_go_one_by_one():
    job = frictionless(40, "print.section=[{layers=6},{layers=1,layer_mm=0.1},{layers=13,layer_mm=0.2}]")
    assert parallel.stretches(job.program.stations, 4) == [(4, 7), (8, 20), (21, 40)]


def test_a_second_object_begins_lower():
    """The bed arrives from below, and drag of the nuts holds it there: its first layer lies about 13 um
    lower, as in the first object only one that comes after a hop up does."""
    sections = "[{layers=20},{layers=4,new_object=true}]"
    changes = ["print.layers=24", f"print.section={sections}"]
    job = make_job(load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", changes))
    errors = relative_errors(job, np.arange(1, 25), poses(EquilibriumEngine(), job))
    raw, relative = errors["height_raw"][0] / UM, errors["height_error"][0] / UM
    assert -14 < (raw[20] - raw[0]).mean() < -10
    np.testing.assert_array_equal(relative[20], 0.0)
    np.testing.assert_allclose(relative[20:], raw[20:] - raw[20])
    np.testing.assert_array_equal(errors["thickness_error"][0, 20], 0.0)
