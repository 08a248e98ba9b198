"""Prints of unequal layers: engines against each other, and against a print of equal layers read at the same
heights."""

import numpy as np
import pytest
from engine_machines import SCENARIOS, UM, apart, drawn, from_reference

from bedsim.engines import base, parallel
from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, relative_errors

PLACED = {"part_x_mm": -90.0, "part_y_mm": 40.0, "part_mass_kg": 0.6}
SECTIONS = [
    {"layers": 1, "layer_mm": 0.3},
    {"layers": 2, "layer_mm": 0.1, "z_hop_mm": 0.2, "hop_every": 2, "hop_dwell_s": 0.02, "settle_s": 0.03},
    {"layers": 1, "layer_mm": 0.25, "new_object": True, "seconds_per_layer": 0.7, "z_hop_mm": 0.0, **PLACED},
]


def poses(engine, job):
    return np.concatenate([chunk.pose for chunk in engine.run(job)], axis=1)


def frictionless(layers, *more):
    quiet = [f"{k}=0" for k in ("guide.friction_n", "nut.drag_torque_n_mm", "mount.friction_coefficient")]
    changes = [f"print.layers={layers}", *quiet, "joint.kind=rigid", *more]
    return make_job(load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", changes))


@pytest.mark.parametrize("seed", [3, pytest.param(11, marks=pytest.mark.long)])
def test_propagator_against_reference(seed):
    """A thick first layer, one hop in two, a second object elsewhere: heights, times, motions and places of
    their own."""
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
    for key, arm in (("height_error", 1.0), ("lateral_error", 1.0), ("tilt", 0.15)):
        np.testing.assert_allclose(arm * found[key], arm * same[key], atol=0.005 * UM)


LEAD = 3
HEIGHTS = [0.3, 0.1, 0.14, 0.22, 0.3, 0.18, 0.1, 0.26, 0.12, 0.2, 0.16, 0.24, 0.3, 0.1]


def uneven(*more):
    """Layers of unlike heights, and `more` keys of the k-th."""
    rows = [{"layers": 1, "layer_mm": h, **{k: v(i) for k, v in more}} for i, h in enumerate(HEIGHTS)]
    return [{"layers": LEAD}, *rows]


def printed(name, sections, *changes):
    count = sum(section["layers"] for section in sections)
    rows = [",".join(f"{key}={str(value).lower()}" for key, value in row.items()) for row in sections]
    listed = "[" + ",".join(f"{{{row}}}" for row in rows) + "]"
    changes = [f"print.layers={count}", f"print.section={listed}", *changes]
    return make_job(load_scenario(SCENARIOS / f"{name}.toml", changes))


HOPS = ("z_hop_mm", lambda k: 0.0 if k % 3 else 0.4), ("seconds_per_layer", lambda k: 20 + k)


def both_ways(job):
    """Chunks of a print side by side, and one by one."""
    side = list(PropagatorEngine().run(job))
    assert [c.layers.size for c in side] == [LEAD + len(HEIGHTS)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parallel, "worth", lambda *_: False)
        return job, side, list(PropagatorEngine().run(job))


@pytest.fixture(scope="module")
def hopping():
    return both_ways(printed("bent-rolled-rolling-joints", uneven(*HOPS), "output.trace_layers=[8]"))


def agree(job, side, alone):
    """To the engine's own error; vibration is looked at every 2 ms, once it is below 0.1 um more seldom, and
    so told to a few per cent of its swings or of that."""
    one, other = (np.concatenate([c.pose for c in x], axis=1) for x in (side, alone))
    assert apart(job, one, other) < 0.01
    one, other = (np.concatenate([c.residual_height for c in x], axis=1) for x in (side, alone))
    np.testing.assert_allclose(one, other, rtol=0.05, atol=base.SETTLED)


def test_unlike_layers_side_by_side_are_the_layers_one_by_one(hopping):
    """Heights, hops before some, times of their own: each on a clock of its own."""
    agree(*hopping)


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("plain-lead-screws", []),
        ("bent-rolled-rolling-joints", ["motion.speed_mm_s=4", "motor.place_error_4_deg=0.08"]),
        ("bent-rolled-rolling-joints", ["motion.jerk_mm_s3=5000"]),
    ],
    ids=["plain nuts", "motors past their linear range", "limited jerk"],
)
def test_unlike_layers_of_other_machines(name, changes):
    agree(*both_ways(printed(name, uneven(), *changes)))


def test_a_history_side_by_side_is_told_on_the_clock_of_its_layer(hopping):
    """Instants, heights commanded and the bed's motion at them, against the layer on its own."""
    job, *ways = hopping
    side, alone = (next(h for c in way for h in c.histories) for way in ways)
    at = side.time[(side.time > 0) & (side.time < job.program.layer_change(8).duration)]
    assert at.size > 50
    for key, limit in (("commanded", 1e-6), ("q", 2e-8)):
        one, other = (
            np.array([np.interp(at, h.time, x) for x in np.atleast_2d(np.transpose(getattr(h, key)))[:3]])
            for h in (side, alone)
        )
        np.testing.assert_allclose(one, other, atol=limit)


def test_layers_too_short_to_come_to_rest_go_one_by_one():
    """Where one ends before it is at rest what follows hangs on when."""
    sections = uneven(("seconds_per_layer", lambda _: 0.6))
    found = list(PropagatorEngine().run(printed("bent-rolled-rolling-joints", sections)))
    assert [c.layers.size for c in found] == [1] * (LEAD + len(HEIGHTS))


def test_stretches_settle_alike_and_end_with_their_object():
    """What is printed after another goes down first, alone."""
    rows = "{layers=8},{layers=1,layer_mm=0.1},{layers=13,settle_s=0.2},{layers=20,new_object=true}"
    job = frictionless(42, f"print.section=[{rows}]")
    assert parallel.stretches(job.program.stations, 1) == [(1, 9), (10, 22), (23, 23), (24, 42)]


def test_a_thick_first_layer_goes_alone():
    """Those on it are of one motion."""
    job = frictionless(42, "print.section=[{layers=1,layer_mm=0.3},{layers=41}]")
    assert parallel.stretches(job.program.stations, 1) == [(1, 1), (2, 42)]


NO_FRICTION = {"guide.friction_n": 0.0, "nut.drag_torque_n_mm": 0.0, "mount.friction_coefficient": 0.0}


@pytest.mark.parametrize("friction", [True, False])
def test_a_layer_is_as_long_as_its_own_key_says(friction):
    """Of a machine that rings on: where motions end, and, without friction, the window that the mean in
    print is taken over, against one that is a twentieth shorter."""
    sections = [{"layers": 1, "seconds_per_layer": 0.5}, {"layers": 1, "seconds_per_layer": 0.4}]
    quiet = {} if friction else NO_FRICTION | {"joint.kind": "rigid"}
    told = {"print.section": sections, "print.settle_s": 0.01, "output.trace_layers": [2]}
    job = make_job(drawn(3, layers=2, ratio=0.002).with_values(told | quiet))
    *_, chunk = PropagatorEngine().run(job)
    (history,) = chunk.histories
    assert history.time[-1] == pytest.approx(0.4, abs=1e-9)
    bed = base.make_observer(job.machine, job.machine.system(np.array([2])), job.probes).bed
    moved = history.q @ bed[:3].T
    begin = job.program.layer_change(2).duration + 0.01
    assert np.ptp(moved[history.time > begin], axis=0).max() > UM

    def off(end):
        here = history.time <= end
        mean = base.print_mean(history.time[here], moved[here], moved[here][-1], begin, end)
        return float(np.abs(mean - chunk.pose[0, 0, :3]).max())

    if not friction:
        assert off(0.4) < 0.003 * UM < 0.015 * UM < off(0.38)


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
