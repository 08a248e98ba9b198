"""Where motion is slow, statics is enough: equilibrium and propagator within 0.1 um, friction included."""

import numpy as np
import pytest
from engine_machines import SCENARIOS, UM, apart, loaded
from quiet import QUIET

from bedsim.analysis.figures import metric_values
from bedsim.analysis.summary import summarise, summary_lines
from bedsim.engines.equilibrium import REMARK, EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine
from bedsim.ranges.alone import leads_of, linear_values
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, simulate


def slow(joint, layers=4, seconds=10.0, **more):
    return loaded(
        {
            "title": "slow",
            "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3},
            "print": {"layers": layers, "layer_mm": 0.2, "seconds_per_layer": seconds},
            "motion": {"speed_mm_s": 0.2, "acceleration_mm_s2": 0.4, "jerk_mm_s3": 4.0},
            "damping": {"ratio": 0.2},
            "screw": {"kind": "rolled_ball", "diameter_mm": 12, "lead_mm": 4, "length_mm": 400},
            "guide": {"kind": "profile_rail"},
            "joint": {"kind": joint} | more,
            "motor": dict(QUIET),
            "corner": [
                {"name": "left", "x_mm": -180, "y_mm": -100, "screw": {"run_out": {"bow_tir_um": 300}}},
                {"name": "right", "x_mm": 180, "y_mm": -100},
                {"name": "back", "x_mm": 0, "y_mm": 180},
            ],
        }
    )


@pytest.mark.parametrize("joint", ["rigid", "rolling", "sliding"])
def test_slow_motion(joint):
    job = make_job(slow(joint))
    one, other = (
        np.concatenate([chunk.pose for chunk in engine.run(job)], axis=1)
        for engine in (EquilibriumEngine(), PropagatorEngine())
    )
    assert apart(job, one, other) < 0.1


@pytest.mark.long
def test_slow_motion_at_stops_that_turning_reaches():
    """Friction beside, where nuts are twisted into the ends of their travel."""
    job = make_job(slow("rolling", 1, 3.0, lateral_n_per_mm=1.0, travel_mm=0.15))
    one, other = (list(engine.run(job)) for engine in (EquilibriumEngine(), PropagatorEngine()))
    assert all(chunk.stop_hit.all() for chunk in (*one, *other))
    poses = (np.concatenate([chunk.pose for chunk in chunks], axis=1) for chunks in (one, other))
    assert apart(job, *poses) < 0.1


@pytest.mark.parametrize(
    ("name", "settings", "told"),
    [
        ("bent-rolled-rolling-joints", [], (0.1, 0.5)),
        ("four-screws", [], (0.1, 0.5)),
        ("bent-rolled-rolling-joints", ["joint.friction_coefficient=0.02"], (1.0, 3.0)),
    ],
)
def test_what_vibration_rubs_down_is_as_much_as_is_told(name, settings, told):
    """`OFF_BY` against the largest difference of lateral and height errors, um: within it, and not far below
    it in height.  Layer 1 is the zero of both."""
    machine = load_scenario(SCENARIOS / f"{name}.toml", settings)
    quick, exact = (simulate(machine, engine).layers for engine in ("equilibrium", "propagator"))
    lateral = np.linalg.norm(quick.lateral_error - exact.lateral_error, axis=-1).max() / UM
    height = np.abs(quick.height_error - exact.height_error).max() / UM
    assert lateral < told[0]
    assert 0.7 * told[1] < height < told[1]


@pytest.mark.parametrize(
    ("name", "joint", "apart"),
    [("bent-rolled-rigid", "sliding", (4, 5.5)), ("bent-rolled-rolling-joints", "sliding", (8, 10))],
)
def test_a_sweep_without_friction_is_as_far_off_as_its_plan_says(name, joint, apart):
    """Peak to valley sideways, um: propagator with friction less every layer at rest without."""
    machine = load_scenario(SCENARIOS / f"{name}.toml", [f"joint.kind={joint}"])
    exact = metric_values(simulate(machine).layers, leads_of(machine))["lateral_pv"]
    assert apart[0] < (exact - linear_values(machine)["lateral_pv"]) / UM < apart[1]


def test_whoever_picks_it_is_told_how_far_off_it_is():
    """In the answer where things rub; not where there is no friction to rub down."""
    rubbing = load_scenario(SCENARIOS / "bent-rolled-rolling-joints.toml", ["print.layers=2"])
    run = simulate(rubbing, "equilibrium")
    assert run.notes == (f"{REMARK}.",) and "up to 0.1 µm sideways and 0.5 µm in height" in REMARK
    assert f"{REMARK}." in summary_lines(summarise(run, rubbing))
    assert simulate(rubbing).notes == ()
    frictions = ("nut.drag_torque_n_mm", "guide.friction_n", "mount.friction_coefficient")
    still = rubbing.with_values(dict.fromkeys((*frictions, "joint.friction_coefficient"), 0.0))
    assert simulate(still, "equilibrium").notes == ()
