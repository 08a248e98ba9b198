"""Which layer heights suit a motor, and what the others leave: worked out outside this project from one that
was measured [StepperMeasured], and by trying phases."""

import itertools
from pathlib import Path

import numpy as np
import pytest
from printed import share, within

from bedsim.analysis.layer_height import trains
from bedsim.scenario.defaults import default_ranges
from bedsim.scenario.load import load_scenario
from bedsim.sizing.layer_heights import Train, friendly, grid_of, layer_heights, sentence, thickness_left
from bedsim.units import DEG, MM, UM

# the first one's worst phase, 0.0547, 0.0287 and 0.0106 degrees at 50, 100 and 200 cycles a turn: lead, layer
# (mm), full steps in a layer, peak to valley of thickness (um)
FOUR_STEP_ERROR = [
    (5, 0.25, 10, 3.04),
    (5, 0.20, 8, 0.0),
    (8, 0.20, 5, 4.98),
    (8, 0.16, 4, 0.0),
    (8, 0.24, 6, 4.86),
    (4, 0.20, 10, 2.43),
    (4, 0.16, 8, 0.0),
    (2, 0.25, 25, 1.25),
    (2, 0.20, 20, 0.0),
]
AMPLITUDES = {1: 0.0547, 2: 0.0287, 4: 0.0106}
SAME = pytest.mark.exact_inputs("the same numbers stand on both sides")


# by order, as the defaults have them
USUAL = {
    k: (d.low * DEG, d.likely * DEG, d.high * DEG)
    for k in (1, 2, 3, 4)
    for d in [default_ranges("motor")[f"place_error_{k}_deg"]]
}


def train(lead=8.0, steps=200, microsteps=16, gear=1.0):
    return Train(lead=lead * MM, steps_per_turn=steps, microsteps=microsteps, gear_ratio=gear)


def bounds(amplitudes):
    return {order: (a * DEG, a * DEG, a * DEG) for order, a in amplitudes.items()}


@pytest.mark.parametrize(("lead", "layer", "steps", "left"), FOUR_STEP_ERROR)
def test_four_step_error(lead, layer, steps, left, record_property):
    """To the two decimals given."""
    own = train(lead)

    def formula(first, second, fourth):
        amplitudes = bounds({1: first, 2: second, 4: fourth})
        return thickness_left(own, layer * MM, amplitudes)[0]

    # the amplitudes as given, of which nothing is left where D is zero; the count of steps takes none of them
    moved = share(formula, first="0.0547", second="0.0287", fourth="0.0106") if left else 0.0
    record_property("u_input", [0.0, moved, moved, moved])
    if left:
        record_property("u_data", [0.0, *[within(0.005 / left)] * 3])
    assert layer * MM / own.full_step == pytest.approx(steps)
    for found in thickness_left(own, layer * MM, bounds(AMPLITUDES)):
        assert found / UM == pytest.approx(left, abs=0.006)
    assert (grid_of(own, layer * MM) == "four full steps") == (left == 0)


@SAME
@pytest.mark.parametrize("layer", [0.2, 0.24, 0.1, 0.0925, 0.15, 0.33])
def test_worst_phase_by_trying_them(layer):
    """Layers written out one by one, the place error summed, over phases every 15 degrees: never more, and up
    to what that grid misses, (1 - cos 7.5 degrees) = 1 %, as much."""
    own, n = train(), np.arange(65)
    angle = 2 * np.pi * n * layer * MM / (4 * own.full_step)
    worst = 0.0
    for phases in itertools.product(np.arange(0, 2 * np.pi, np.pi / 12), repeat=2):
        place = sum(
            a * np.cos(k * angle + phase)
            for (k, a), phase in zip({1: 0.0547, 2: 0.0287}.items(), phases, strict=True)
        )
        worst = max(worst, np.ptp(np.diff(place)) / 360 * 8000)
    found = thickness_left(own, layer * MM, bounds({1: 0.0547, 2: 0.0287}))[1] / UM
    micro = 0 if grid_of(own, layer * MM) else own.microstep / UM
    assert worst <= found - micro + 1e-9
    assert worst >= 0.98 * (found - micro)


@SAME
def test_heights_of_a_lead_of_8_mm():
    """0.04 mm a full step: 0.2 mm is five of them, and only multiples of 0.16 mm are alike in every layer."""
    found = layer_heights(train(), 0.2 * MM, USUAL)
    assert [(round(h.height / MM, 6), h.grid) for h in found.near] == [
        (0.16, "four full steps"),
        (0.24, "two full steps"),
        (0.32, "four full steps"),
    ]
    assert friendly(found) == "0.16 or 0.32 mm"
    assert friendly(layer_heights(train(), 0.32 * MM, USUAL)) == "0.32 mm"
    assert not layer_heights(train(), 0.32 * MM, USUAL).near
    assert friendly(layer_heights(train(), 0.1 * MM, USUAL)) == "0.16 mm"


@SAME
def test_gear_and_microsteps_count():
    """Three turns of the motor to one of the screw: a third of the step and of the error's travel."""
    geared = train(gear=3.0)
    assert geared.full_step == pytest.approx(0.04 / 3 * MM)
    assert grid_of(geared, 0.16 / 3 * MM) == "four full steps"
    whole = thickness_left(train(), 5 * 0.04 * MM, USUAL)
    assert thickness_left(geared, 5 * 0.04 / 3 * MM, USUAL) == pytest.approx(np.array(whole) / 3)
    # 0.4 degree steps on the same lead: 0.0089 mm; 0.2 mm is 22.5 steps, half a step off
    fine = train(steps=900, microsteps=2)
    assert grid_of(fine, 0.2 * MM) == "a microstep"
    assert grid_of(train(steps=900, microsteps=1), 0.2 * MM) == ""
    coarse = thickness_left(train(steps=900, microsteps=1), 0.2 * MM, USUAL)
    assert coarse == pytest.approx(np.array(thickness_left(fine, 0.2 * MM, USUAL)) + 8 / 900 * MM)


@SAME
def test_orders_that_repeat_leave_nothing():
    """Two full steps leave the odd orders alone, one full step all but the fourth."""
    only = {k: thickness_left(train(), 0.24 * MM, bounds({k: 0.03}))[1] for k in (1, 2, 3, 4)}
    assert only[2] == pytest.approx(0, abs=1e-15) and only[4] == pytest.approx(0, abs=1e-15)
    assert only[1] == only[3] == pytest.approx(4 * 0.03 / 360 * 8 * MM)
    fourth = thickness_left(train(), 0.2 * MM, bounds({4: 0.03}))[1]
    assert fourth == pytest.approx(0, abs=1e-15)


@SAME
def test_the_sentence_says_what_is_left_and_where_nothing_is():
    told = sentence(layer_heights(train(), 0.26 * MM, USUAL))
    assert told.startswith(
        "0.26 mm is 6.5 full steps of the motor, not a multiple of four: its place error leaves"
    )
    assert "of four full steps 0.16 or 0.32 mm, nothing" in told
    assert "of two full steps 0.24 mm, 3.7 µm (1.2 to 11)" in told
    assert "of a full step 0.28 mm, 3.6 µm" in told
    assert "a microstep" not in told, "0.26 mm is one"
    assert "which even microsteps do not hit" in sentence(layer_heights(train(), 0.261 * MM, USUAL))
    assert "leaves nothing" in sentence(layer_heights(train(), 0.16 * MM, USUAL))


def scenario(*settings):
    file = Path(__file__).parents[2] / "scenarios" / "bent-rolled-rigid.toml"
    return load_scenario(file, ["corner.back.motor.steps_per_turn=400", *settings])


@SAME
def test_corners_whose_motors_differ_are_told_apart():
    """A motor of 400 steps: 0.0125 mm a full step beside 0.025 mm at a lead of 5 mm."""
    found = {corners: train.full_step for train, corners in trains(scenario()).items()}
    assert found == {
        ("front left", "front right"): pytest.approx(0.025 * MM),
        ("back",): pytest.approx(0.0125 * MM),
    }


@SAME
def test_a_belt_s_motor_is_that_of_the_first_corner():
    """The others have none, whatever their keys say."""
    (train,) = trains(scenario('drive.topology="belt"'))
    assert train.full_step == pytest.approx(0.025 * MM)
