"""The machine read again with friction, against the engines; what its friction's ranges leave open."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "coverage"))

from dataclasses import replace

from read_machine import SCENARIOS, case, diagnosed, gauged, hands, near, places

from bedsim.diagnosis.least_squares import in_parts
from bedsim.diagnosis.reading_machine import beyond, friction_range, reading_machine
from bedsim.diagnosis.readings import reading_rows
from bedsim.diagnosis.response import once_per_turn_response
from bedsim.ranges.swings import contact_ends
from bedsim.scenario.load import load_scenario

UM = 1e-6
RIGID = "bent-rolled-rigid"
NO_FRICTION = ("guide.friction_n=0", "mount.friction_coefficient=0", "nut.drag_torque_n_mm=0")
PRINT = {"lead": 5e-3, "layer_height": 0.25e-3, "line_width": 0.45e-3}


@pytest.fixture(scope="module")
def rigid():
    return case(RIGID, "gauge", 2, np.random.default_rng(5))


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_machine_that_does_not_rub_shows_a_gauge_the_linear_answer(hand):
    """Real and imaginary part of a screw come in with the sign that its hand gives them, or else not zero."""
    loaded = load_scenario(SCENARIOS / f"{RIGID}.toml", (*NO_FRICTION, f"screw.hand={hand}"))
    answers = once_per_turn_response(loaded)
    readings = places(loaded, "gauge", answers.sources)
    rows = reading_rows(readings, answers, **PRINT, hand=hands(loaded))
    machine = reading_machine(loaded, readings, answers.sources, rows)
    assert machine.moves_freely
    x = 50 * UM * np.exp(1j * np.arange(6))[None]
    on_the_way = beyond(machine, x)
    assert np.abs(on_the_way).max() < 0.01 * np.abs(machine.rows @ x[0]).max()
    other = reading_machine(loaded.with_values({"guide.friction_n": 1e-6}), readings, answers.sources, rows)
    assert beyond(other, x) == pytest.approx(on_the_way, abs=1e-3 * UM)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_friction_of_a_gauge_s_turn_is_that_of_fine_steps(hand):
    """Coarse steps and the equilibrium engine's: over 1 um to 2 %, which 5 % of it would not keep."""
    read = case(RIGID, "gauge", 2, np.random.default_rng(5), (f"screw.hand={hand}",))
    extra = read.true - read.x @ read.machine.rows.T
    assert np.abs(extra).max() > 1 * UM
    assert beyond(read.machine, read.x) == pytest.approx(extra, abs=0.02 * np.abs(extra).max())


def test_the_slope_foretells_readings_of_screws_nearby(rigid):
    """Screws moved 4 um to and fro in many directions: what turns with them, and to a third what turns
    against them."""
    here = near(rigid, rigid.true[0], 0.3 * UM)
    step = 4 * UM * np.exp(1j * np.arange(6))
    ends = here.sources + np.stack([step, -step])
    shown = ends @ rigid.machine.rows.T + beyond(rigid.machine, ends)
    against = here.mirrored @ step.conj()
    found = here.response @ step + against
    assert found == pytest.approx((shown[0] - shown[1]) / 2, abs=np.abs(against).max() / 3)
    assert np.abs(against).max() > 0.02 * UM


def test_bands_are_those_of_the_propagator():
    """Friction and the whole print's change of stiffness: 1.9 um, to what slow motion misses: 0.08 um."""
    bands = case(RIGID, "bands", 1, np.random.default_rng(6))
    extra = bands.true - bands.x @ bands.machine.rows.T
    plain = [k for k, r in enumerate(bands.machine.readings) if not r.turned]
    assert np.abs(extra[:, plain]).max() > 1 * UM
    assert beyond(bands.machine, bands.x) == pytest.approx(extra, abs=0.08 * UM)


def test_left_hand_bands_without_friction_are_those_of_the_print():
    """A print of left-hand screws by the propagator, with a turned one."""
    bands = case(RIGID, "bands", 1, np.random.default_rng(6), (*NO_FRICTION, "screw.hand=left"))
    shown = beyond(bands.machine, bands.x) + bands.x @ bands.machine.rows.T
    assert shown == pytest.approx(bands.true, abs=0.01 * UM)


def test_newton_ends_where_the_readings_are_explained(rigid):
    """Readings without noise: the screws come back to a tenth of what friction adds."""
    here = near(rigid, rigid.true[0], 0.1 * UM)
    result = diagnosed(rigid, here, rigid.true[0], 0.1 * UM)
    found = np.array([e.amplitude * np.exp(1j * e.direction) for e in result.estimates])
    without = np.linalg.lstsq(rigid.machine.rows, rigid.true[0], rcond=None)[0]
    assert np.abs(found - rigid.x[0]).max() < 0.1 * np.abs(without - rigid.x[0]).max()


def test_range_of_friction_is_what_readings_at_its_ends_would_tell(rigid):
    """Machines with friction at both ends, read in fine steps and fitted with the likely friction."""
    here = near(rigid, rigid.true[0], 0.3 * UM)
    told = []
    for values in contact_ends(rigid.machine.loaded):
        other = replace(rigid.machine, loaded=rigid.machine.loaded.with_values(values))
        told.append(gauged(other, rigid.x[:1], 5e-3)[0])
    change = (told[1] - told[0]) / 2
    parts = np.concatenate([change.real, change.imag])
    moved = np.linalg.lstsq(in_parts(here.response, here.mirrored), parts, rcond=None)[0]
    moved = np.hypot(*np.split(moved, 2))
    stated = friction_range(rigid.machine, here, rigid.bound)
    assert stated == pytest.approx(moved, abs=0.05 * moved.max())
    assert moved.max() > 1 * UM
