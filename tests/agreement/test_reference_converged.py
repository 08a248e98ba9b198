"""The reference engine is right before it is a reference: tighter tolerances and another method change
nothing."""

from engine_machines import REFERENCE, difference, drawn

from bedsim.engines.reference import ReferenceEngine

HARD = 9  # sliding joints, z-hop, jerk-limited moves, place errors


def test_tolerances_divided_by_ten():
    """What the tests here compare with is its own limit to far less than 0.01 um."""
    tighter = ReferenceEngine(rtol=REFERENCE.rtol / 10, atol=REFERENCE.atol / 10)
    assert difference(drawn(HARD, layers=2), REFERENCE, tighter) < 1e-3


def test_radau_against_lsoda():
    """A one-step Runge-Kutta method and a multistep method find the same layers."""
    assert (
        difference(drawn(0, layers=2), REFERENCE, ReferenceEngine(method="Radau", rtol=1e-5, atol=1e-9))
        < 1e-3
    )
