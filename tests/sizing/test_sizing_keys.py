"""Keys of sizing: what cannot be is refused with a sentence, what is not given stays unknown."""

import math

import pytest
from machines import PLAIN, loaded
from pydantic import ValidationError
from scipy.optimize import brentq

from bedsim.analysis.sizing_gather import gather
from bedsim.analysis.sizing_report import size_scenario
from bedsim.scenario.sizing_keys import BallPart, Sizing


def test_one_point_is_no_pull_out_curve():
    with pytest.raises(ValidationError, match="two points or more"):
        Sizing.model_validate({"pull_out": [{"speed_rpm": 0, "torque_n_m": 0.4}]})


def test_speeds_of_the_pull_out_curve_rise():
    points = [{"speed_rpm": 300, "torque_n_m": 0.2}, {"speed_rpm": 0, "torque_n_m": 0.4}]
    with pytest.raises(ValidationError, match="rising"):
        Sizing.model_validate({"pull_out": points})


def test_a_dish_is_wider_than_its_ball():
    with pytest.raises(ValidationError, match="dish_radius_mm"):
        BallPart(x_mm=0, y_mm=0, diameter_mm=5, dished_plates=1, dish_radius_mm=2)


def test_wear_range_is_not_upside_down():
    with pytest.raises(ValidationError, match="wear_low"):
        Sizing(wear_low_mm3_per_n_m=2e-5, wear_high_mm3_per_n_m=1e-6)


def half_the_load_on_an_elastic_root(root, corner):
    """A cantilever as long as the nut is high, u tan u = k a/EI: Timoshenko, Theory of Elastic Stability."""
    EI, a = 206e9 * math.pi / 64 * root**4, corner.nut_high
    stiff = corner.screw.shaft.bearing_tilt * a / EI
    u = brentq(lambda u: u * math.sin(u) - stiff * math.cos(u), 1e-6, math.pi / 2)
    return 0.5 * u**2 * EI / a**2


def test_the_other_screw_given_is_the_one_compared(tmp_path):
    other = {
        "kind": "ground_ball",
        "diameter_mm": 16,
        "root_diameter_mm": 13,
        "lead_mm": 5,
        "friction_coefficient": 0.005,
        "nut_axial_n_per_um": 100,
        "eccentricity_tir_um": 5,
    }
    report = size_scenario(loaded(tmp_path, PLAIN, sizing={"other_screw": other}))
    found = {row.name: row for row in report.decision}
    permitted = found["permitted push (half the buckling load)"]
    corner = gather(loaded(tmp_path)).corners[0]
    for value, root in ((permitted.ball, 13e-3), (permitted.plain, 5.5e-3)):
        assert value == pytest.approx(half_the_load_on_an_elastic_root(root, corner), rel=1e-6)
    assert found["run-out that reaches a bolted carriage"].ball > 0


def test_a_screw_of_the_same_type_is_no_decision(tmp_path):
    other = {
        "kind": "plain",
        "diameter_mm": 10,
        "root_diameter_mm": 7.5,
        "lead_mm": 2,
        "friction_coefficient": 0.15,
        "nut_axial_n_per_um": 50,
    }
    report = size_scenario(loaded(tmp_path, PLAIN, sizing={"other_screw": other}))
    assert report.decision == ()
    assert any("same type" in line for line in report.assumptions)


def test_given_wear_figures_replace_the_usual_ones(tmp_path):
    """The hours go with one over the wear coefficient (Archard)."""
    hours = []
    for k in (1e-6, 2e-6):
        sizing = {"plain_nut_length_mm": 15, "wear_low_mm3_per_n_m": k, "wear_high_mm3_per_n_m": k}
        found = {c.name: c for c in size_scenario(loaded(tmp_path, sizing=sizing)).checks}
        hours.append(found["hours until 100 µm of play"].value)
    assert hours[0] == pytest.approx(2 * hours[1])
