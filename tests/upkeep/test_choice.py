"""The choice: parts by hand, what is not known, and where a requirement decides alone."""

import math

import pytest

from bedsim.analysis.requirements import read_requirement
from bedsim.scenario.upkeep_keys import Weights
from bedsim.upkeep.choice import Candidate, choose

KNOWN = {
    "kind": "ball, rolled",
    "figures": {"lateral_pv": 10e-6, "height_pv": 4e-6},
    "hold": 0.5,
    "back_driving": 0.05,
    "load": 8.0,
    "life": 10.0,
    "upkeep": 4.0,
    "rolling": 0.03,
    "price": 300.0,
    "currency": "EUR",
    "why": (),
}


def machine(name: str, **changes: object) -> Candidate:
    return Candidate(name=name, **{**KNOWN, **changes})


CHEAP = machine(
    "plain",
    kind="plain, bronze nut",
    figures={"lateral_pv": 20e-6, "height_pv": 2e-6},
    hold=math.inf,
    back_driving=1.5,
    life=5.0,
    rolling=None,
    price=100.0,
)


def test_a_score_is_the_mean_of_its_parts():
    """Error 2, price 1: ball (10/10 + 2/4)/2 and 100/300; plain (10/20 + 2/2)/2 and 1."""
    found = choose([machine("ball"), CHEAP], Weights(error=2, price=1), [], None)
    assert found.scores == pytest.approx(((2 * 0.75 + 1 / 3) / 3, (2 * 0.75 + 1) / 3))
    assert "plain comes first with 0.83" in found.verdict
    assert sum(line.parts is not None for line in found.lines) == 3


def test_what_is_not_known_of_all_has_no_part():
    """A plain screw's noise: without it there is nothing to weigh, and no score."""
    found = choose([machine("ball"), CHEAP], Weights(noise=3), [], None)
    assert found.scores is None
    assert "no score" in found.verdict
    noise = next(line for line in found.lines if line.name.startswith("noise"))
    assert noise.values == (0.0, None)
    assert noise.parts is None


def test_levels_against_the_first_with_balls():
    """Twice the rolling speed: 9.8 dB, a part of 10^(-0.49)."""
    found = choose([CHEAP, machine("a"), machine("b", rolling=0.06)], Weights(), [], None)
    noise = next(line for line in found.lines if line.name.startswith("noise"))
    assert noise.values[:2] == (None, 0.0)
    assert noise.values[2] == pytest.approx(9.8)
    found = choose([machine("a"), machine("b", rolling=0.06)], Weights(noise=1), [], None)
    assert found.scores == pytest.approx((1.0, 10**-0.49))


def test_held_is_held():
    """Twice what is needed is no better than once; half of it is half."""
    found = choose([machine("a", hold=2.0), CHEAP, machine("c", hold=0.5)], Weights(hold=1), [], None)
    assert found.scores == pytest.approx((1.0, 1.0, 0.5))


def test_a_requirement_decides_alone():
    """Whatever the weights say."""
    needs = [read_requirement("lateral_pv_um<=15")]
    found = choose([machine("ball"), CHEAP], Weights(price=100), needs, None)
    assert found.verdict == "lateral_pv_um<=15 decides alone: only ball meets it."
    found = choose([machine("ball"), CHEAP], Weights(price=1), needs, 12.0)
    assert "and that one fails another" in found.verdict
    found = choose([machine("ball"), CHEAP], Weights(price=1), [], 12.0)
    assert "None meets every requirement" in found.verdict
    found = choose([machine("ball", life=6.0), CHEAP, machine("c")], Weights(price=1), [], 6.0)
    assert found.verdict.startswith("Out by a requirement: plain.")


def test_no_weights_no_score():
    found = choose([machine("ball"), CHEAP], Weights(), [], None)
    assert found.scores is None
    assert all(line.parts is None for line in found.lines)


def test_a_refused_run_meets_no_requirement():
    broken = machine("broken", figures={}, why=("no errors: refused",))
    found = choose([machine("ball"), broken], Weights(error=1), [read_requirement("height_pv_um<=9")], None)
    assert found.needs[0].met == (True, False)
    assert found.notes == ("broken: no errors: refused",)
    assert found.scores is None
