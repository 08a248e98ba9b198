"""Where motion is slow, statics is enough: equilibrium and propagator within 0.1 um, friction included."""

import numpy as np
import pytest
from engine_machines import apart, loaded

from bedsim.engines.equilibrium import EquilibriumEngine
from bedsim.engines.propagator import PropagatorEngine
from bedsim.simulation import make_job


def slow(joint):
    return loaded(
        {
            "title": "slow",
            "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3},
            "print": {"layers": 4, "layer_mm": 0.2, "seconds_per_layer": 10.0},
            "motion": {"speed_mm_s": 0.2, "acceleration_mm_s2": 0.4, "jerk_mm_s3": 4.0},
            "damping": {"ratio": 0.2},
            "screw": {"kind": "rolled_ball", "diameter_mm": 12, "lead_mm": 4, "length_mm": 400},
            "guide": {"kind": "profile_rail"},
            "joint": {"kind": joint},
            "motor": {"detent_torque_n_m": 0.0},
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
