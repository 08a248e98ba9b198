"""Shares and once-per-turn answers of the machine itself."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

import synthetic

from bedsim.diagnosis.least_squares import diagnose
from bedsim.diagnosis.response import once_per_turn_response
from bedsim.ranges.shares import source_errors
from bedsim.scenario.load import load_scenario
from bedsim.scenario.toml_text import resolved_text
from bedsim.simulation import simulate
from bedsim.wall.bands import REMAINDER, source_shares
from bedsim.wall.relief import probe_index, wall_of_layers

FRICTIONLESS = {
    "joint.friction_coefficient": 0.0,
    "mount.friction_coefficient": 0.0,
    "guide.friction_n": 0.0,
    "nut.drag_torque_n_mm": 0.0,
}


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """Three screws with run-out and once-per-turn travel of their own, no friction."""
    machine = synthetic.scenario(layers=75)
    text = resolved_text(machine, (), {}, {"corner": [{"name": c.name} for c in machine.corner]})
    path = tmp_path_factory.mktemp("machine") / "machine.toml"
    path.write_text(text, encoding="utf-8")
    names = [c.name for c in machine.corner]
    values = dict(FRICTIONLESS)
    for name, tir, degrees, travel in zip(names, (40, 25, 10), (20, -130, 75), (4, 0, 7), strict=True):
        values[f"corner.{name}.screw.run_out.eccentricity_tir_um"] = float(tir)
        values[f"corner.{name}.screw.run_out.eccentricity_deg"] = float(degrees)
        values[f"corner.{name}.screw.travel.once_per_turn_pv_um"] = float(travel)
    return load_scenario(path).with_values(values)


@pytest.fixture(scope="module")
def run(loaded):
    return simulate(loaded, engine="equilibrium")


def test_sources_add_up_to_the_whole_without_friction(loaded, run):
    """Superposition: the errors of all sources, each computed alone, sum to those of the whole run."""
    parts = source_errors(loaded)
    assert {("run-out", "back"), ("once-per-turn travel", "back")} <= set(parts)
    lateral = sum(p[0] for p in parts.values())
    assert lateral == pytest.approx(run.layers.lateral_error, abs=1e-11)
    assert sum(p[1] for p in parts.values()) == pytest.approx(run.layers.height_error, abs=1e-11)
    assert np.abs(run.layers.lateral_error).max() > 1e-7


def test_shares_of_the_machine_leave_nothing_over(loaded, run):
    wall = wall_of_layers(run.layers, wall="+X", line_width=0.45e-3, probe="centre")
    shares = source_shares(wall, source_errors(loaded), probe_index(run.layers, "centre"), [5e-3])
    assert sum(s.variance_share for s in shares) == pytest.approx(1)
    assert next(s for s in shares if s.source == REMAINDER).variance_share == pytest.approx(0, abs=1e-6)


def test_answers_are_the_machine_read_by_a_gauge(loaded):
    """Run-outs and travel of the scenario through the answers, against the bed found by the engine over one
    turn.

    The engine's layers step through the turn at 25 layers of 0.2 mm; stiffness changes a little on the way.
    """
    answers = once_per_turn_response(loaded)
    corners = {c.name: c.screw for c in loaded.scenario.corner}
    x = np.array([_strength(corners[name], cause) for cause, name in answers.sources])
    predicted = answers.response @ x
    layers = simulate(loaded, engine="equilibrium").layers
    psi = 2 * np.pi * 0.2e-3 * np.arange(25) / 5e-3
    wave = np.exp(-1j * psi) * 2 / 25
    flat = np.moveaxis(layers.pose_raw[:25, :2], 0, -1) @ wave
    assert predicted[0, :2] == pytest.approx(flat, abs=0.05 * np.abs(predicted[0, :2]).max())
    height = layers.height_raw[:25].T @ wave
    assert predicted[:, 2] == pytest.approx(height, abs=0.05 * np.abs(predicted[:, 2]).max())


def _strength(screw, cause):
    if cause == "run-out":
        angle = np.deg2rad(screw.run_out.eccentricity_deg)
        return screw.run_out.eccentricity_tir_um / 2 * 1e-6 * np.exp(1j * angle)
    return (
        screw.travel.once_per_turn_pv_um / 2 * 1e-6 * np.exp(1j * np.deg2rad(screw.travel.once_per_turn_deg))
    )


def test_diagnosis_gives_the_scenario_back(loaded):
    """All probes in X, Y and height, noise of 10 nm: what is told agrees with the scenario."""
    answers = once_per_turn_response(loaded)
    corners = {c.name: c.screw for c in loaded.scenario.corner}
    x = np.array([_strength(corners[name], cause) for cause, name in answers.sources])
    rows = answers.response.reshape(-1, len(x))
    rng = np.random.default_rng(6)
    readings = rows @ x + 1e-8 * (rng.normal(size=len(rows)) + 1j * rng.normal(size=len(rows)))
    result = diagnose(rows, readings, np.full(len(rows), 1e-8), answers.sources)
    told = [(e, true) for e, true in zip(result.estimates, x, strict=True) if e.told]
    assert told
    for e, true in told:
        assert e.amplitude * np.exp(1j * e.direction) == pytest.approx(true, abs=5 * e.uncertainty)
    assert not result.outside_model


def test_left_hand_screw_is_given_back_in_its_own_direction(loaded):
    """The same with left-hand threads: the direction is that of the scenario."""
    names = [c.name for c in loaded.scenario.corner]
    left = loaded.with_values({"screw.hand": "left"})
    answers = once_per_turn_response(left)
    corners = {c.name: c.screw for c in left.scenario.corner}
    x = np.array([_strength(corners[name], cause) for cause, name in answers.sources])
    rows = answers.response.reshape(-1, len(x))
    result = diagnose(
        rows, rows @ x.conj(), np.full(len(rows), 1e-8), answers.sources, hand=dict.fromkeys(names, -1)
    )
    for e, true in zip(result.estimates, x, strict=True):
        if e.told:
            assert e.amplitude * np.exp(1j * e.direction) == pytest.approx(true, abs=1e-9)
