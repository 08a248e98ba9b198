"""The propagator against the reference engine: height and lateral errors within 0.01 um at every layer.

Whole prints of all shipped scenarios take hours with the reference; `whole_prints.py` beside this file does
them.
"""

import numpy as np
import pytest
from engine_machines import REFERENCE, SCENARIOS, apart, difference, drawn, loaded, poses, shipped

from bedsim.engines import state
from bedsim.engines.base import LINEAR_LOAD_ANGLE, Job
from bedsim.engines.propagator import PropagatorEngine
from bedsim.engines.reference import ReferenceEngine
from bedsim.errors import EngineRefusalError, SolverError
from bedsim.simulate import make_job

CLOSE = 0.01  # um
PROPAGATOR = PropagatorEngine()
LAYERS = 2  # the first is reached by a layer change like all others, bristles come from the run-in


@pytest.mark.parametrize("name", sorted(path.stem for path in SCENARIOS.glob("*.toml")))
def test_shipped_scenarios(name):
    assert difference(shipped(name, LAYERS), PROPAGATOR, REFERENCE) < CLOSE


def test_fifty_machines_drawn_at_random():
    """Kinds of joint, mount, guide and screw, hops, reversals, S-curves, detent, three and four screws."""
    refused, far = [], []
    for seed in range(50):
        try:
            found = difference(drawn(seed), PROPAGATOR, REFERENCE)
        except (EngineRefusalError, SolverError) as error:
            refused.append(f"{seed}: {error}")
            continue
        if found >= CLOSE:
            far.append(f"{seed}: {found:.4f} um")
    assert not far
    assert not refused


def machine(**tables):
    """Three bent screws on a soft frame; tables merged over it."""
    tree = {
        "title": "one thing that is not linear",
        "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3},
        "print": {"layers": 3, "layer_mm": 0.3, "seconds_per_layer": 1.0, "settle_s": 0.2},
        "damping": {"ratio": 0.05},
        "screw": {"kind": "rolled_ball", "diameter_mm": 12, "lead_mm": 4, "length_mm": 400},
        "guide": {"kind": "profile_rail"},
        "joint": {"kind": "rolling"},
        "motor": {"detent_torque_n_m": 0.0},
        "corner": [
            {"name": "left", "x_mm": -180, "y_mm": -100, "screw": {"run_out": {"bow_tir_um": 300}}},
            {
                "name": "right",
                "x_mm": 180,
                "y_mm": -100,
                "screw": {"run_out": {"bow_tir_um": 200, "bow_deg": 130}},
            },
            {"name": "back", "x_mm": 0, "y_mm": 180},
        ],
    }
    for name, table in tables.items():
        tree[name] = tree.get(name, {}) | table
    return loaded(tree)


def both(scenario, reference=REFERENCE):
    """Difference um, and the propagator's chunks and notes of the last layer."""
    job = make_job(scenario)
    begin = state.start(job)
    one, note = poses(PROPAGATOR, job, begin)
    other, _ = poses(reference, job, begin)
    return apart(job, one, other), note, list(PROPAGATOR.run(job))


def test_stop_hit():
    """Joints that run into their stops while the screws turn."""
    found, _, chunks = both(
        machine(
            joint={"kind": "rolling", "travel_mm": 0.04},
            screw={"kind": "rolled_ball", "diameter_mm": 12, "lead_mm": 4, "length_mm": 400},
        )
    )
    assert any(chunk.stop_hit.any() for chunk in chunks)
    assert found < CLOSE


def test_load_angle_past_the_linear_range():
    """Such a layer is done by the reference engine with the motors' sine, and the run says so."""
    scenario = machine(
        motor={"holding_torque_n_m": 0.05, "detent_torque_n_m": 0.0}, motion={"acceleration_mm_s2": 900}
    )
    found, note, chunks = both(scenario, ReferenceEngine(rtol=1e-6, atol=1e-10, motor_sine=True))
    assert max(float(chunk.load_angle.max()) for chunk in chunks) > LINEAR_LOAD_ANGLE
    assert "load angle" in note
    assert found < CLOSE


def test_stick_slip():
    """Dry slideways that stick, break away and reverse with every hop."""
    scenario = machine(
        joint={"kind": "sliding", "friction_coefficient": 0.3},
        motion={"z_hop_mm": 0.4, "hop_dwell_s": 0.05},
        guide={"kind": "round_rod", "friction_n": 5.0},
    )
    assert both(scenario)[0] < CLOSE


def test_plain_nut_with_clearance():
    """Nuts that climb the flanks of a bent plain screw, with friction beside them."""
    scenario = machine(
        screw={"kind": "plain", "diameter_mm": 10, "lead_mm": 2, "length_mm": 400},
        nut={"clearance_um": 60, "friction_coefficient": 0.12},
        joint={"kind": "rigid"},
        print={"layers": 2, "layer_mm": 0.1, "seconds_per_layer": 0.6, "settle_s": 0.1},
    )
    assert make_job(scenario).machine.flanks
    assert both(scenario)[0] < CLOSE


def test_viscous_joint():
    """Explicit dampers act beside the modes' own damping."""
    scenario = machine(joint={"kind": "air_film", "rotation_nm_per_rad": 300.0, "damping_n_s_per_m": 60.0})
    assert both(scenario)[0] < CLOSE


def test_members_are_machines_one_by_one():
    """A batch of machines that differ in their screws gives what each gives alone, to the sweeps'
    tolerance."""
    job = make_job(shipped("bent-rolled-rolling-joints", 2))
    amounts = job.amounts * np.random.default_rng(1).uniform(0.3, 1.5, (3, 1))

    def of(rows):
        part = Job(machine=job.machine, program=job.program, probes=job.probes, amounts=rows)
        return poses(PROPAGATOR, part, state.start(part))[0]

    batch = of(amounts)
    for k in range(3):
        assert apart(job, batch[k : k + 1], of(amounts[k : k + 1])) < 5e-3


def test_rerun_is_identical_bit_for_bit():
    job = make_job(shipped("bent-rolled-rolling-joints", 2))
    one, other = (poses(PROPAGATOR, job, state.start(job))[0] for _ in range(2))
    assert one.tobytes() == other.tobytes()
