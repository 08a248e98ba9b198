"""Machines to set engines against each other on: those shipped, drawn at random, and one per thing that is
not linear."""

from pathlib import Path

import numpy as np
from quiet import QUIET

from bedsim.engines import base, state
from bedsim.engines.reference import ReferenceEngine
from bedsim.scenario.load import load_scenario, scenario_from_tree
from bedsim.simulation import make_job, relative_errors

SCENARIOS = Path(__file__).parents[2] / "scenarios"
UM = 1e-6

# tolerances whose own error stays mostly below 0.001 um, and those that decide where engines differ
REFERENCE = ReferenceEngine(motor_sine=True, rtol=1e-5, atol=1e-9)
FINER = ReferenceEngine(motor_sine=True, rtol=1e-7, atol=1e-11)


def shipped(name, layers):
    return load_scenario(SCENARIOS / f"{name}.toml", [f"print.layers={layers}"])


def loaded(tree):
    return scenario_from_tree(tree, folder=Path(), source="", name="in this test")


def joint(kind):
    """A joint of this kind; an air film needs a part that keeps the nut from turning."""
    return {"kind": kind} | ({"rotation_nm_per_rad": 400.0} if kind == "air_film" else {})


def place_errors(times):
    """The place error that turns fastest, so many times 0.036 degrees."""
    return QUIET | {"place_error_4_deg": times * 0.036, "place_error_4_phase_deg": 90.0}


def drawn(seed, layers=3, ratio=None):
    """A machine and a print drawn at random: kinds, sizes, hops, reversals, screws; its damping too, unless
    a `ratio` is given."""
    rng = np.random.default_rng(seed)

    def pick(*choices):
        return choices[rng.integers(len(choices))]

    def between(low, high):
        return float(rng.uniform(low, high))

    count = 4 if rng.random() < 0.08 else 3
    angles = 2 * np.pi * np.arange(count) / count + between(0, 1)
    radius = between(120, 240)
    corners = [
        {
            "name": f"c{k}",
            "x_mm": float(radius * np.cos(a)),
            "y_mm": float(radius * np.sin(a)),
            "screw": {
                "clocking_deg": between(0, 360),
                "run_out": {
                    "eccentricity_tir_um": between(0, 150),
                    "eccentricity_deg": between(0, 360),
                    "bow_tir_um": between(0, 300),
                    "bow_deg": between(0, 360),
                },
                "travel": {"once_per_turn_pv_um": between(0, 15), "once_per_turn_deg": between(0, 360)},
            },
        }
        for k, a in enumerate(angles)
    ]
    return loaded(
        {
            "title": f"drawn {seed}",
            "bed": {"size_x_mm": 250, "size_y_mm": 250, "mass_kg": between(1, 5)},
            "print": {
                "layers": layers,
                "layer_mm": pick(0.1, 0.2, 0.3),
                "seconds_per_layer": 0.6,
                "settle_s": between(0.02, 0.1),
                "part_mass_kg": between(0, 1),
            },
            "motion": {
                "speed_mm_s": between(4, 8),
                "acceleration_mm_s2": between(100, 300),
                "jerk_mm_s3": pick(0.0, between(5e3, 2e4)),
                "z_hop_mm": pick(0.0, between(0.1, 0.3)),
                "hop_dwell_s": between(0.01, 0.04),
            },
            "damping": {"ratio": between(0.03, 0.1) if ratio is None else between(ratio, ratio)},
            "screw": {
                "kind": pick("rolled_ball", "rolled_ball", "ground_ball"),
                "diameter_mm": pick(10, 12, 16),
                "lead_mm": pick(2, 4, 5, 8),
                "length_mm": between(300, 450),
                "ends": pick("fixed-free", "fixed-free", "fixed-supported", "supported-supported"),
                "hand": pick("right", "left"),
            },
            "guide": {"kind": pick("profile_rail", "round_rod", "wheels"), "friction_n": between(0, 3)},
            "frame": {"radial_n_per_um": between(0.5, 10), "tangential_n_per_um": between(0.5, 10)},
            "mount": {"kind": pick("groove", "groove", "flexure")},
            "joint": joint(pick("rigid", "rolling", "sliding", "flexure", "air_film")),
            "motor": {"holding_torque_n_m": between(0.3, 0.6)} | place_errors(pick(0.0, 0.0, 1.0)),
            "corner": corners,
        }
    )


def layers_of(engine, job, begin):
    """Layers one after the other from the state `begin`."""
    system = job.machine.system(np.arange(1, job.program.layers + 1))
    observer = base.make_observer(job.machine, system, job.probes)
    now, chunks = begin, []
    for index, layer in enumerate(system.layers):
        now, chunk = engine.layer(job, system, observer, index, int(layer), now)
        chunks.append(chunk)
    return chunks


def poses(engine, job, begin):
    """Poses (m, n, b) of all layers."""
    return np.concatenate([chunk.pose for chunk in layers_of(engine, job, begin)], axis=1)


def apart(job, one, other):
    """Largest difference of height and of lateral errors, against the first layer and raw, um."""
    layers = np.arange(1, one.shape[1] + 1)
    a, b = relative_errors(job, layers, one), relative_errors(job, layers, other)
    keys = ("height_error", "lateral_error", "height_raw", "lateral_raw")
    return max(float(np.abs(a[key] - b[key]).max()) for key in keys) / UM


def difference(scenario, one, other):
    """Largest difference of two engines on a scenario, um; both from one and the same start."""
    job = make_job(scenario)
    begin = state.start(job)
    return apart(job, poses(one, job, begin), poses(other, job, begin))


def from_reference(scenario, engine, close):
    """Largest difference from the reference, um; where not `close`, the reference is tightened first."""
    job = make_job(scenario)
    begin = state.start(job)
    found = poses(engine, job, begin)
    first = apart(job, found, poses(REFERENCE, job, begin))
    return first if first < close else apart(job, found, poses(FINER, job, begin))


def observed(engine, along, steps, off):
    """What the page of checks draws: errors um beside steps or tolerances, named by `along`."""
    return {"engine": engine, "along": along, "steps": tuple(steps), "off_um": tuple(off)}
