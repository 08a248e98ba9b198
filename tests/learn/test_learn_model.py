"""The model of readings against machines that are read anew: by the engine, by scenario keys, by hand."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import triang

from bedsim.analysis.linear_machine import without_play
from bedsim.engines.named import ENGINES
from bedsim.learn.fit import _look, fit
from bedsim.learn.model import Model
from bedsim.learn.observations import ModelDoubt, Series
from bedsim.learn.unknowns import unknowns_of, value_at
from bedsim.model.stations import LayerRun, stations
from bedsim.scenario.load import load_scenario
from bedsim.scenario.places import settable
from bedsim.simulation import make_job, probe_points, relative_errors

SCENARIOS = Path(__file__).parents[2] / "scenarios"
TURN = np.arange(9) * np.pi / 4
LOT = {"eccentricity": 20e-6, "bow": 60e-6, "travel": 10e-6}


def series(probe, axis, value=None, **more):
    lines = tuple(range(2, 11))
    return Series(
        file="bed.csv",
        lines=lines,
        probe=probe,
        axis=axis,
        turn=TURN,
        value=np.zeros(9) if value is None else value,
        sigma=np.full(9, 1e-6),
        **more,
    )


@pytest.fixture(scope="module")
def rigid():
    return load_scenario(SCENARIOS / "bent-rolled-rigid.toml")


@pytest.fixture(scope="module")
def unknowns(rigid):
    return unknowns_of(rigid, LOT)


def keys_of(unknowns, u):
    """The machine at u as scenario keys: its keys, and its screws by size and direction."""
    found = unknowns.values(u)
    amounts = unknowns.amounts(u)
    for part, table, stem, size, sign in (
        ("eccentricity", "run_out", "eccentricity", "tir", 1),
        ("bow", "run_out", "bow", "tir", 1),
        ("travel", "travel", "once_per_turn", "pv", -1),
    ):
        for number, corner in enumerate(unknowns.loaded.scenario.corner):
            x, y = (
                a
                for a, v in zip(amounts, unknowns.vectors, strict=True)
                if (v.corner, v.part) == (number, part)
            )
            start = f"corner.{corner.name}.screw.{table}.{stem}"
            found[f"{start}_{size}_um"] = 2e6 * float(np.hypot(x, y))
            found[f"{start}_deg"] = float(np.rad2deg(np.arctan2(sign * y, x)))
    return found


def jogged_without_friction(loaded):
    """Bed motion (p, 3, 9) m while one lead is jogged, by the equilibrium engine without contacts."""
    job = make_job(loaded)
    step = loaded.scenario.corner[0].screw.lead_mm * 1e-3 / 8
    eighths = stations([LayerRun(count=9, thickness=step, period=20.0, settle=0.0, hop=0.0, hop_dwell=0.0)])
    machine = replace(job.machine, frictions=())
    one = replace(job, machine=machine, program=replace(job.program, stations=eighths))
    pose = np.concatenate([c.pose for c in ENGINES["equilibrium"].run(one)], axis=1)
    errors = relative_errors(one, np.zeros(9, int), pose)
    moved = np.concatenate([errors["lateral_raw"], errors["height_raw"][..., None]], axis=-1)[0]
    return moved.transpose(1, 2, 0)


def test_keys_set_in_place_make_the_scenario_that_reading_it_makes(rigid):
    """Against the loader itself, which checks everything anew."""
    found = settable(rigid)
    assert found.places is not None
    values = {name: key.low + 0.3 * (key.high - key.low) for name, key in found.keys.items()}
    assert found.at(values).scenario == rigid.with_values(values).scenario
    assert found.at({}).scenario == rigid.scenario


def test_a_keys_distribution_is_the_triangle_of_scipy(unknowns):
    key = next(k for k in unknowns.keys if k.key == "guide.radial_n_per_um")
    low, likely, high = np.log([key.low, key.likely, key.high])
    law = triang((likely - low) / (high - low), low, high - low)
    for u, share in ((-1.6448536, 0.05), (0.0, 0.5), (1.2815516, 0.9)):
        assert np.log(value_at(key, u)) == pytest.approx(law.ppf(share), rel=1e-6)


def test_readings_are_those_of_the_machine_written_as_a_scenario(rigid, unknowns):
    """The equilibrium engine over one lead, stiffness changing on the way, against the model that keeps the
    first layer's: 5 mm of 230 move it by less than 3 %."""
    u = np.random.default_rng(3).normal(size=unknowns.count)
    model = Model(
        unknowns=unknowns,
        observations=tuple(series(p, a) for p in ("centre", "front right") for a in "xyz"),
    )
    told = model.readings(u).reshape(2, 3, 9)
    names = probe_points(rigid)[0]
    engine = jogged_without_friction(without_play(rigid.with_values(keys_of(unknowns, u))))[
        [names.index("centre"), names.index("front right")]
    ]
    centred = [x - x.mean(axis=-1, keepdims=True) for x in (told, engine)]
    assert np.abs(centred[0] - centred[1]).max() < 0.03 * np.abs(centred[1]).max()


def test_a_turned_coupling_is_the_key_of_clocking(rigid, unknowns):
    """Turning the vectors against turning the angle of the scenario, by 70 degrees, exactly."""
    u = np.random.default_rng(4).normal(size=unknowns.count)
    turned = Model(
        unknowns=unknowns,
        observations=tuple(series("front left", a, clocked=1, by=np.deg2rad(70)) for a in "xyz"),
    )
    other = unknowns_of(rigid.with_values({"corner.front right.screw.clocking_deg": 70.0}), LOT)
    plain = Model(unknowns=other, observations=tuple(series("front left", a) for a in "xyz"))
    assert turned.readings(u) == pytest.approx(plain.readings(u), abs=1e-12)


def test_slopes_are_those_of_the_readings(unknowns):
    """By central differences of the whole model."""
    observations = (series("front right", "y"), series("front left", "x"))
    model = Model(unknowns=unknowns, observations=observations)
    u = 0.5 * np.random.default_rng(5).normal(size=unknowns.count)
    weights = np.zeros((16, 18))
    weights[:8, :9], weights[8:, 9:] = (one.weights() for one in observations)
    slope = _look(model, weights, np.zeros(18), u)[1]
    for k in (8, 20, len(unknowns.keys), len(unknowns.keys) + 8):
        step = np.eye(u.size)[k] * 0.01
        by_hand = weights @ (model.readings(u + step) - model.readings(u - step)) / 0.02
        assert slope[:, k] == pytest.approx(by_hand, abs=0.05 * np.abs(by_hand).max() + 1e-3)


def test_an_unknown_zero_costs_one_reading():
    """Weights against the covariance with a zero of 1 m standard deviation, by hand: same sum of squares."""
    one = series("centre", "x", error=ModelDoubt(white=0.5e-6, turning=2e-6))
    left = np.random.default_rng(6).normal(size=9) * 1e-6
    wave = np.stack([np.cos(TURN), np.sin(TURN)])
    spread = 1.25e-12 * np.eye(9) + 4e-12 * wave.T @ wave
    by_hand = left @ np.linalg.solve(spread + 1e-4 * np.ones((9, 9)), left)
    assert np.sum((one.weights() @ left) ** 2) == pytest.approx(by_hand, rel=1e-4)


def test_a_linear_machine_is_fitted_as_by_normal_equations(unknowns):
    """Screws alone unknown: the likeliest and its covariance against the closed form."""
    alone = replace(unknowns, keys=())
    model = Model(unknowns=alone, observations=(series("front right", "y"), series("front left", "x")))
    values = model.readings(np.random.default_rng(7).normal(size=alone.count)).reshape(2, 9)
    made = tuple(replace(one, value=v) for one, v in zip(model.observations, values, strict=True))
    found = fit(replace(model, observations=made))
    A = found.slope
    whole = np.linalg.inv(np.eye(alone.count) + A.T @ A)
    assert pytest.approx(whole, abs=1e-9) == found.P
    start = found.left + A @ found.u
    assert found.u == pytest.approx(whole @ A.T @ start, abs=1e-6)
